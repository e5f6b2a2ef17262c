"""Where ways cross without a shared node: an index of boxes, then an exact test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from clearance.core.extract import Extract, Way

    _Points = tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]  # x and y, each of shape (m,)

__all__ = ["Crossings", "Segments", "cross", "segments_of"]

#: OpenStreetMap keeps places to 1e-7 degrees; as whole numbers the orientation test below is exact.
_UNITS_PER_DEGREE = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """Straight pieces between consecutive nodes of ways; all arrays have shape (n,).

    `way` indexes the list of ways given, `position` counts node intervals within that way, `node_a`
    and `node_b` are OSM ids, `ax`, `ay`, `bx`, `by` are lon and lat in whole 1e-7 degrees.
    """

    way: npt.NDArray[np.int64]
    position: npt.NDArray[np.int64]
    node_a: npt.NDArray[np.int64]
    node_b: npt.NDArray[np.int64]
    ax: npt.NDArray[np.int64]
    ay: npt.NDArray[np.int64]
    bx: npt.NDArray[np.int64]
    by: npt.NDArray[np.int64]


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
    refs = np.fromiter((n for w in ways for n in w.nodes), dtype=np.int64, count=int(counts.sum()))
    index = np.searchsorted(extract.node_ids, refs)
    x = np.rint(extract.lon[index] * _UNITS_PER_DEGREE).astype(np.int64)
    y = np.rint(extract.lat[index] * _UNITS_PER_DEGREE).astype(np.int64)
    way = np.repeat(np.arange(len(ways), dtype=np.int64), counts)
    starts = np.repeat(np.cumsum(counts) - counts, counts)
    position = np.arange(len(refs), dtype=np.int64) - starts
    begins = np.flatnonzero(way[:-1] == way[1:]) if len(way) else np.empty(0, dtype=np.int64)
    ends = begins + 1
    return Segments(
        way=way[begins],
        position=position[begins],
        node_a=refs[begins],
        node_b=refs[ends],
        ax=x[begins],
        ay=y[begins],
        bx=x[ends],
        by=y[ends],
    )


def _side(p: _Points, q: _Points, r: _Points) -> npt.NDArray[np.int64]:
    """Twice the signed area of p, q, r: exact, as segments are far shorter than a degree."""
    (px, py), (qx, qy), (rx, ry) = p, q, r
    return (qx - px) * (ry - py) - (qy - py) * (rx - px)


def cross(segments: Segments, chosen: npt.NDArray[np.bool_]) -> Crossings:
    """Where a `chosen` segment meets any other segment without a shared node.

    `chosen` has shape (n,): the segments that are roads. Each pair comes once, first < second.
    Touching counts: a node of one way exactly on another way joins nothing unless it is shared.
    Segments on one line count as running together, not crossing. Neighbours within a way share a
    node, so they never count.
    """
    import shapely

    empty_i, empty_f = np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64)
    picked = np.flatnonzero(chosen)
    if len(picked) == 0:
        return Crossings(first=empty_i, second=empty_i, t=empty_f, u=empty_f)
    boxes = shapely.box(
        np.minimum(segments.ax, segments.bx),
        np.minimum(segments.ay, segments.by),
        np.maximum(segments.ax, segments.bx),
        np.maximum(segments.ay, segments.by),
    )
    tree = shapely.STRtree(boxes)
    asked, found = tree.query(boxes[picked])
    i, j = picked[asked], found.astype(np.int64)
    # Two roads find each other twice; keep the pair in which the first comes first.
    once = np.where(chosen[j], i < j, True)
    i, j = i[once], j[once]
    i, j = np.minimum(i, j), np.maximum(i, j)

    s = segments
    apart = (
        (s.node_a[i] != s.node_a[j])
        & (s.node_a[i] != s.node_b[j])
        & (s.node_b[i] != s.node_a[j])
        & (s.node_b[i] != s.node_b[j])
    )
    i, j = i[apart], j[apart]
    ia, ib = (s.ax[i], s.ay[i]), (s.bx[i], s.by[i])
    ja, jb = (s.ax[j], s.ay[j]), (s.bx[j], s.by[j])
    d1, d2 = _side(ia, ib, ja), _side(ia, ib, jb)
    d3, d4 = _side(ja, jb, ia), _side(ja, jb, ib)
    meets = (
        (np.sign(d1) * np.sign(d2) <= 0)
        & (np.sign(d3) * np.sign(d4) <= 0)
        & ((d1 != 0) | (d2 != 0))
        & ((d3 != 0) | (d4 != 0))
    )
    i, j, d1, d2, d3, d4 = (a[meets] for a in (i, j, d1, d2, d3, d4))
    return Crossings(first=i, second=j, t=d3 / (d3 - d4), u=d1 / (d1 - d2))
