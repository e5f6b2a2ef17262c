"""What of a line is on no known road, and where its way is a guess; each stretch with its reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.drive import Unchecked

if TYPE_CHECKING:
    from clearance.network.network import F64, Network
    from clearance.routing.matching.chain import Chain, Leg, Run
    from clearance.routing.matching.trace import Trace

__all__ = ["assumed", "swapped", "unmatched"]


def _stretch(trace: Trace, a: int, b: int, reason: str, length_m: float | None = None) -> Unchecked:
    """The line from its point `a` to its point `b`."""
    return Unchecked(
        points=tuple((lon, lat) for lon, lat in trace.points[a : b + 1].tolist()),
        length_m=float(trace.along[b] - trace.along[a]) if length_m is None else length_m,
        distance_m=float(trace.along[a]),
        reason=reason,
    )


def _rounded(metres: float) -> int:
    return round(metres / 10) * 10


# --- guesses -------------------------------------------------------------------------------------------


def assumed(chain: Chain, legs: Iterable[tuple[Leg, tuple[int, ...]]]) -> Iterator[Unchecked]:
    """The stretches of a run where its way is a guess; legs that follow one another are one stretch."""
    held: list[tuple[Leg, float, int]] = []
    for leg, way in legs:
        stray, left_out = chain.stray_m(leg, way), _left_out(chain, leg)
        if stray > chain.settings.stray_m or left_out:
            held.append((leg, stray, left_out))
        elif held:
            yield _guess(chain, held)
            held = []
    if held:
        yield _guess(chain, held)


def _left_out(chain: Chain, leg: Leg) -> int:
    """How many of the points between the two of a leg are farther from it than noise explains."""
    trace = chain.trace
    between = trace.kept[leg.first + 1 : leg.last]
    if not between.size:
        return 0
    a, b = int(trace.kept[leg.first]), int(trace.kept[leg.last])
    off = trace.off_chord(a, b, trace.points[between, 0], trace.points[between, 1])
    return int(np.count_nonzero(off > chain.radius / 2))


def _guess(chain: Chain, held: Sequence[tuple[Leg, float, int]]) -> Unchecked:
    stray = max(stray for _, stray, _ in held)
    left_out = sum(count for _, _, count in held)
    reasons = []
    if stray > chain.settings.stray_m:
        reasons.append(f"the line tells too little: the likeliest way leaves it by up to {_rounded(stray)} m")
    if left_out:
        points = "a point" if left_out == 1 else f"{left_out} points"
        reasons.append(f"{points} far off the way that the others follow left out")
    kept = chain.trace.kept
    a, b = int(kept[held[0][0].first]), int(kept[held[-1][0].last])
    return _stretch(chain.trace, a, b, "; ".join(reasons))


# --- no known road -------------------------------------------------------------------------------------


def unmatched(chain: Chain, runs: Sequence[Run]) -> Iterator[Unchecked]:
    """What lies before, between and behind the runs of each section, and between the sections."""
    trace = chain.trace
    of_section: dict[int, list[Run]] = defaultdict(list)
    for run in runs:
        of_section[run.section].append(run)
    for section, (begin, behind) in enumerate(pairwise(trace.section_ptr.tolist())):
        if section:
            a, b = int(trace.kept[begin - 1]), int(trace.kept[begin])
            gap = float(trace.distance(a, b))
            yield _stretch(trace, a, b, f"the line is interrupted for {_rounded(gap)} m", gap)
        at, before = begin, None
        for run in of_section[section]:
            if run.points[0] > at:
                yield _lost(chain, at, run.points[0], before, run)
            at, before = run.points[-1], run
        if at < behind - 1 or before is None:
            yield _lost(chain, at, behind - 1, before, None)


def _lost(chain: Chain, first: int, last: int, before: Run | None, after: Run | None) -> Unchecked:
    """The stretch from kept point number `first` to number `last`, between two runs or at an end."""
    trace = chain.trace
    a, b = int(trace.kept[first]), int(trace.kept[last])
    # The ends that belong to a run are on a road; the others say why there is none.
    near = chain.near_roads(first + (before is not None), last + (after is None))
    if before is not None and after is not None and _turns_back(chain, before, after):
        reason = "the line turns back on the road, where no place to turn is mapped"
    elif not _inside(chain.network, trace.points[a : b + 1, 0], trace.points[a : b + 1, 1]):
        reason = "the line is outside the area of the road file"
    elif near.size and 2 * np.count_nonzero(near) <= near.size:
        reason = f"no known road is within {chain.radius:.0f} m of the line"
    else:
        reason = "no way on known roads that keeps one-way streets and turn restrictions follows the line"
    return _stretch(trace, a, b, reason)


def _turns_back(chain: Chain, before: Run, after: Run) -> bool:
    """Whether a run goes on where the one before ended, in the other direction."""
    ended, begins = chain.arc(before.entries[-1]), chain.arc(after.entries[0])
    return int(chain.network.arc_reverse[ended]) == begins


def _inside(network: Network, lon: F64, lat: F64) -> bool:
    """Whether any of some places lies in the box round all roads."""
    x, y = network.geom_lon, network.geom_lat
    return bool(((x.min() <= lon) & (lon <= x.max()) & (y.min() <= lat) & (lat <= y.max())).any())


def swapped(network: Network, trace: Trace) -> bool:
    """Whether the line lies outside the box round all roads, and inside once its columns are swapped."""
    x, y = trace.points[:, 0], trace.points[:, 1]
    return not _inside(network, x, y) and _inside(network, y, x)
