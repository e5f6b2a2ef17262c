"""A drive on the network: its arcs in order, its line, and the structures passed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.lengths import Length
from clearance.core.structure import Direction, Standing
from clearance.network.geometry import arc_points
from clearance.network.network import NO_LIMIT
from clearance.network.sorted_rows import rows_of
from clearance.routing.mask import STANDINGS

if TYPE_CHECKING:
    from clearance.network.network import F64, I32, Network
    from clearance.routing.mask import Costs

__all__ = ["ONE_PASSAGE_M", "Passage", "Route", "covered_hits", "hits_on", "route_points"]

#: Two hits of one structure nearer than this, in metres along the drive, are one passage.
ONE_PASSAGE_M = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """A drive from within its first arc to within its last.

    `states` in driving order, and `arcs` of the same length; `turns` (indices into the network's turns)
    between each two. It begins at fraction `start` of the first arc and ends at fraction `end` of the
    last. `seconds` is driving time; `policy_seconds` what the policy added in comparing ways.
    """

    states: tuple[int, ...]
    arcs: tuple[int, ...]
    turns: tuple[int, ...]
    start: float
    end: float
    seconds: float
    policy_seconds: float
    length_m: float

    def span(self, i: int) -> tuple[float, float]:
        """The fractions between which arc number `i` of the route is driven."""
        last = len(self.arcs) - 1
        return (self.start if i == 0 else 0.0), (self.end if i == last else 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A structure passed on a route: where, and which of its figures holds.

    `side` is the column of the structure arrays (0 along its way, 1 against), -1 for one at a node,
    where both count. `distance_m` and `seconds` are from the start of the drive to where the structure
    begins; `leg` is the number of the arc in the route and `fraction` the place on it. `passed` is False
    where only a figure of the whole way bears on the drive, which does not come to the structure itself.
    """

    structure: int
    side: int
    distance_m: float
    seconds: float
    leg: int
    fraction: float
    passed: bool

    @property
    def direction(self) -> Direction:
        """Along the way of the structure."""
        return (Direction.FORWARD, Direction.BACKWARD, Direction.BOTH)[self.side]

    def standing(self, costs: Costs) -> Standing:
        """How it stands for the vehicle of `costs`."""
        codes = costs.standing[self.structure]
        return STANDINGS[int(codes.min() if self.side < 0 else codes[self.side])]

    def clearance(self, costs: Costs) -> Length | None:
        """The lowest figure that may hold; None where there is none."""
        figures = costs.low[self.structure]
        tenths = int(figures.min() if self.side < 0 else figures[self.side])
        return None if tenths == NO_LIMIT else Length(tenths)


def route_points(network: Network, route: Route) -> tuple[F64, F64]:
    """Longitudes and latitudes of the whole drive, in order, no point twice in a row."""
    lon, lat = (
        np.concatenate(parts)
        for parts in zip(
            *(arc_points(network, arc, *route.span(i)) for i, arc in enumerate(route.arcs)), strict=True
        )
    )
    moved = np.ones(lon.size, np.bool_)
    moved[1:] = (np.diff(lon) != 0) | (np.diff(lat) != 0)
    return lon[moved], lat[moved]


def covered_hits(network: Network, arc: int, start: float, end: float) -> list[int]:
    """Indices of the hits that bear on an arc driven from fraction `start` to `end`.

    What touches the driven part counts, its ends included; the figure of a whole way always does.
    """
    first, last = rows_of(network.hit_arc, arc)
    return [
        hit
        for hit in range(first, last)
        if not network.hit_passed[hit] or (network.hit_end[hit] >= start and network.hit_start[hit] <= end)
    ]


def hits_on(network: Network, costs: Costs, route: Route) -> tuple[Passage, ...]:
    """The structures passed, in driving order, each once for every passage.

    Several hits of one structure that follow one another without a gap, as in a tunnel over many arcs,
    are one passage.
    """
    found: list[tuple[Passage, float]] = []  # with where the structure ends, in metres from the start
    arcs = np.array(route.arcs)
    share = np.ones(arcs.size)
    share[-1] = route.end
    share[0] -= route.start
    lengths, times = network.arc_length[arcs], costs.seconds[arcs]
    # Metres and seconds from the start of the drive to the end of each arc.
    metres, clock = np.cumsum(lengths * share), np.cumsum(times * share)
    standing_on = _standing_on(network, network.arc_head[arcs[:-1]])
    under = np.searchsorted(network.hit_arc, arcs) < np.searchsorted(network.hit_arc, arcs, side="right")
    under[list(standing_on)] = True
    for leg in np.flatnonzero(under).tolist():
        start, end = route.span(leg)
        distance, seconds = (float(metres[leg - 1]), float(clock[leg - 1])) if leg else (0.0, 0.0)
        length, time = float(lengths[leg]), float(times[leg])
        for hit in covered_hits(network, route.arcs[leg], start, end):
            begin = max(float(network.hit_start[hit]), start)
            stop = min(float(network.hit_end[hit]), end)
            passage = Passage(
                structure=int(network.hit_structure[hit]),
                side=int(network.hit_side[hit]),
                distance_m=distance + (begin - start) * length,
                seconds=seconds + (begin - start) * time,
                leg=leg,
                fraction=begin,
                passed=bool(network.hit_passed[hit]),
            )
            found.append((passage, distance + (stop - start) * length))
        found += [
            (
                Passage(
                    structure=structure,
                    side=-1,
                    distance_m=float(metres[leg]),
                    seconds=float(clock[leg]),
                    leg=leg,
                    fraction=1.0,
                    passed=True,
                ),
                float(metres[leg]),
            )
            for structure in standing_on.get(leg, ())
        ]
    return _passages(found)


def _standing_on(network: Network, heads: I32) -> dict[int, list[int]]:
    """The structures on the nodes that a drive passes, by the number of the arc before."""
    here = np.flatnonzero(np.isin(heads, network.nodehit_node))
    found: dict[int, list[int]] = {}
    for leg in here.tolist():
        found[leg] = network.nodehit_structure[network.nodehit_node == heads[leg]].tolist()
    return found


def _passages(found: list[tuple[Passage, float]]) -> tuple[Passage, ...]:
    """Hits joined to passages: one structure without a gap is passed once.

    The figure of a whole way is told only where the structure itself is nowhere passed, and once.
    """
    open_at: dict[int, int] = {}
    passages: list[Passage] = []
    ends: list[float] = []
    passed = {passage.structure for passage, _ in found if passage.passed}
    for passage, end in sorted(found, key=lambda f: (f[0].distance_m, f[0].leg, f[0].structure)):
        at = open_at.get(passage.structure)
        if not passage.passed and (passage.structure in passed or at is not None):
            continue
        if at is None or passage.distance_m > ends[at] + ONE_PASSAGE_M:
            open_at[passage.structure] = len(passages)
            passages.append(passage)
            ends.append(end)
            continue
        ends[at] = max(ends[at], end)
        if passages[at].side < 0 <= passage.side:
            passages[at] = replace(passages[at], side=passage.side)
    return tuple(sorted(passages, key=lambda p: (p.distance_m, p.leg, p.structure)))
