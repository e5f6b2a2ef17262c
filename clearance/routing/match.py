"""A line made elsewhere, brought onto the roads: hidden-Markov matching on the turn-aware network.

Each point of the line may lie on any arc near it (the nearer, the likelier), or on no road at all. From
one point to the next the likeliest ways are those about as long as the line itself. The likeliest chain
of places is found exactly (P. Newson and J. Krumm, "Hidden Markov map matching through noise and
sparseness", ACM SIGSPATIAL GIS 2009; from memory). What fits no road stays unmatched, and is said to be.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.errors import InputError
from clearance.routing.matching.chain import Chain, Leg, Run
from clearance.routing.matching.doubts import assumed, swapped, unmatched
from clearance.routing.matching.trace import Trace
from clearance.routing.matching.values import Match, MatchedPart, MatchSettings
from clearance.routing.route import Route

if TYPE_CHECKING:
    from clearance.core.line import Line
    from clearance.network.network import F64, Network

__all__ = ["LONGEST_LINE_M", "Match", "MatchSettings", "MatchedPart", "match_line"]

#: Longer than any drive of days; bounds the work that a line of strewn points makes (judgement).
LONGEST_LINE_M = 5_000_000.0

_SWAPPED = "latitude and longitude of the line look swapped: the other way round it is in the area"
_USUAL = MatchSettings()


def match_line(
    network: Network, line: Line, settings: MatchSettings = _USUAL, *, seconds: F64 | None = None
) -> Match:
    """The roads that a line follows, and the stretches where it follows none.

    Every road counts that a coach or a car may use, whatever is over it: what is too low for the coach is
    to be found there. Turns are kept; those forbidden only for a time or some vehicles, and closed nodes,
    count as open. `seconds` (a,) are the driving times for the routes; those of the network where not given.

    Points doubled or close together are passed over. The line needs no points between those that it has:
    from one to the next the shortest way of about that length is taken, and where it strays from the
    straight line it is listed as assumed.

    Raises InputError where the network has no roads, or the line is longer than `LONGEST_LINE_M`.
    """
    if not network.arc_tail.size:
        raise InputError("the road file holds no roads; make it again from an extract with streets")
    trace = Trace(line)
    length = float(trace.along[-1])
    if length > LONGEST_LINE_M:
        raise InputError(
            f"{line.source or 'the line'}: is {length / 1000:,.0f} km long, more than "
            f"{LONGEST_LINE_M / 1000:,.0f} km; cut it into days"
        )
    chain = Chain(network, trace, settings)
    found = chain.runs()
    legs = [run.legs() for run in found]
    ways = iter(chain.ways([leg for of_run in legs for leg in of_run], settings.jump))
    times = network.arc_seconds if seconds is None else seconds
    runs: list[Run] = []
    parts: list[MatchedPart] = []
    for run, of_run in zip(found, legs, strict=True):
        driven = [(leg, next(ways)) for leg in of_run]
        route = _route(chain, run, driven, times)
        if route is None:
            continue
        runs.append(run)
        first, last = int(trace.kept[run.points[0]]), int(trace.kept[run.points[-1]])
        parts.append(
            MatchedPart(
                route=route,
                first=first,
                last=last,
                distance_m=float(trace.along[first]),
                assumed=tuple(assumed(chain, driven)),
            )
        )
    return Match(
        parts=tuple(parts),
        unmatched=tuple(unmatched(chain, runs)),
        length_m=length,
        matched_m=sum(float(trace.along[part.last] - trace.along[part.first]) for part in parts),
        notes=(_SWAPPED,) if not parts and swapped(network, trace) else (),
    )


def _route(chain: Chain, run: Run, legs: Sequence[tuple[Leg, tuple[int, ...]]], seconds: F64) -> Route | None:
    """The route of a run; None where it gets nowhere, or a leg has no way after all."""
    network = chain.network
    if not all(way for _, way in legs):
        return None
    states = [chain.state(run.entries[0])]
    for _, way in legs:
        states += way[1:]
    arcs = network.state_arc[states].tolist()
    start, end = chain.place(run.entries[0]), chain.place(run.entries[-1])
    if len(arcs) == 1:
        end = max(start, end)
    shares = np.ones(len(arcs))
    shares[-1] = end
    shares[0] -= start
    length = float((network.arc_length[arcs] * shares).sum())
    if not length > 0.0:
        return None
    turns = []
    for here, there in pairwise(states):
        begin, stop = int(network.turn_ptr[here]), int(network.turn_ptr[here + 1])
        turns.append(begin + int(np.flatnonzero(network.turn_to[begin:stop] == there)[0]))
    return Route(
        states=tuple(states),
        arcs=tuple(arcs),
        turns=tuple(turns),
        start=start,
        end=end,
        seconds=float((seconds[arcs] * shares).sum()),
        policy_seconds=0.0,
        length_m=length,
    )
