"""Where ways cross without a shared node."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from clearance.core.extract import Extract, Way

__all__ = ["Crossings", "Segments", "cross", "segments_of"]

#: OpenStreetMap keeps places to 1e-7 degrees; as whole numbers the tests of crossing are exact.
_UNITS_PER_DEGREE = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """Straight pieces between consecutive nodes of ways; all arrays have shape (n,).

    `way` indexes the list of ways given, `position` counts node intervals within that way, `node_a`
    and `node_b` are OSM ids, `ax`, `ay`, `bx`, `by` are lon and lat in whole 1e-7 degrees.
    """

    way: npt.NDArray[np.int32]
    position: npt.NDArray[np.int32]
    node_a: npt.NDArray[np.int64]
    node_b: npt.NDArray[np.int64]
    ax: npt.NDArray[np.int32]
    ay: npt.NDArray[np.int32]
    bx: npt.NDArray[np.int32]
    by: npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossings:
    """Pairs of segments that meet at a place where they share no node; arrays of shape (m,).

    `first` and `second` index the segments; `t` and `u` are the fractions along them, 0 to 1.
    """

    first: npt.NDArray[np.int64]
    second: npt.NDArray[np.int64]
    t: npt.NDArray[np.float64]
    u: npt.NDArray[np.float64]


def segments_of(extract: Extract, ways: Sequence[Way]) -> Segments:
    """The segments of `ways`, in the order of the ways. No ways, or ways of one node, give empty arrays."""
    counts = np.fromiter((len(w.nodes) for w in ways), dtype=np.int64, count=len(ways))
    refs = np.fromiter(chain.from_iterable(w.nodes for w in ways), dtype=np.int64, count=int(counts.sum()))
    index = np.searchsorted(extract.node_ids, refs)
    # 32 bits hold any place and any number of ways: there are tens of millions of segments in a large file.
    x = np.rint(extract.lon * _UNITS_PER_DEGREE).astype(np.int32)[index]
    y = np.rint(extract.lat * _UNITS_PER_DEGREE).astype(np.int32)[index]
    del index
    way = np.repeat(np.arange(len(ways), dtype=np.int32), counts)
    begins = np.flatnonzero(way[:-1] == way[1:])
    ends = begins + 1
    position = (begins - (np.cumsum(counts) - counts)[way[begins]]).astype(np.int32)
    return Segments(
        way=way[begins],
        position=position,
        node_a=refs[begins],
        node_b=refs[ends],
        ax=x[begins],
        ay=y[begins],
        bx=x[ends],
        by=y[ends],
    )


def cross(segments: Segments, chosen: npt.NDArray[np.bool_]) -> Crossings:
    """Where a `chosen` segment meets any other segment without a shared node.

    `chosen` has shape (n,): the segments that are roads. Each pair comes once, first < second, in order.
    Touching counts: a node of one way exactly on another way joins nothing unless it is shared.
    Segments on one line count as running together, not crossing. Neighbours within a way share a
    node, so they never count. Exact, also for segments around the Earth.
    """
    from clearance.structures.grid import meeting_pairs

    s = segments
    i, j = meeting_pairs((s.ax, s.ay, s.bx, s.by), (s.node_a, s.node_b), chosen)
    a, b, c, d = (
        np.stack((x[at], y[at]), axis=1).astype(np.int64)
        for at in (i, j)
        for x, y in ((s.ax, s.ay), (s.bx, s.by))
    )
    return Crossings(first=i, second=j, t=_fraction(a, b, c, d), u=_fraction(c, d, a, b))


def _fraction(
    a: npt.NDArray[np.int64], b: npt.NDArray[np.int64], c: npt.NDArray[np.int64], d: npt.NDArray[np.int64]
) -> npt.NDArray[np.float64]:
    """How far along from a to b the line through c and d is met; all are points, of shape (m, 2)."""

    def area(r: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
        # Twice the triangle c, d, r, exact in 64 bits anywhere on the Earth, then the nearest float.
        return ((d - c)[:, 0] * (r - c)[:, 1] - (d - c)[:, 1] * (r - c)[:, 0]).astype(np.float64)

    to_a, to_b = area(a), area(b)
    return to_a / (to_a - to_b)
