"""Ways cut into pieces where a drive may turn off or must be judged anew, and their lengths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.extract import Extract, Way
    from clearance.network.network import F64, I64

__all__ = ["Pieces", "cut", "morton_order"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Pieces (g) of ways, in the order of the ways and along each.

    `row` is the way of each, `first` and `last` the positions of its ends in the way's node list,
    `start` and `end` those ends as indices into the extract's nodes. `length` is in metres. Points of
    piece g are `points`[ptr[g] : ptr[g + 1]], indices into the extract's nodes.

    Along each way: `way_ptr` (w + 1,) says where the nodes of a way begin in `along` (all nodes of all
    ways), which holds the metres from the first node of the first way.
    """

    row: I64
    first: I64
    last: I64
    start: I64
    end: I64
    length: F64
    ptr: I64
    points: I64
    way_ptr: I64
    along: F64

    def metres(self, row: int, position: npt.NDArray[np.float64] | I64) -> F64:
        """Metres from the first node of way `row` to a position in node intervals."""
        begin, stop = int(self.way_ptr[row]), int(self.way_ptr[row + 1])
        here = self.along[begin:stop]
        metres: F64 = np.interp(position, np.arange(stop - begin), here - here[0])
        return metres


def cut(extract: Extract, ways: Sequence[Way], special: npt.NDArray[np.int64]) -> Pieces:
    """The pieces of `ways` (which are among the extract's, two nodes or more each).

    Cut is at every node that more than one of the ways uses or one of them twice, and at `special`
    (OSM ids). Lengths are geodesic on WGS84. A piece from a node to itself without length is dropped.
    """
    counts = np.array([len(way.nodes) for way in ways], dtype=np.int64)
    way_ptr = np.concatenate((np.zeros(1, np.int64), np.cumsum(counts)))
    total = int(way_ptr[-1])
    osm = np.fromiter(chain.from_iterable(way.nodes for way in ways), np.int64, total)
    node = np.searchsorted(extract.node_ids, osm)
    row = np.repeat(np.arange(len(ways)), counts)

    at_cut = np.bincount(node, minlength=extract.node_ids.size) > 1
    known = special[np.isin(special, extract.node_ids)]
    at_cut[np.searchsorted(extract.node_ids, known)] = True
    cut_here = at_cut[node]
    cut_here[way_ptr[:-1]] = True
    cut_here[way_ptr[1:] - 1] = True

    along = np.concatenate((np.zeros(min(total, 1)), np.cumsum(_steps(extract, node, row))))
    places = np.flatnonzero(cut_here)
    begin, stop = places[:-1], places[1:]
    inside = row[begin] == row[stop]
    begin, stop = begin[inside], stop[inside]
    length = along[stop] - along[begin]
    real = (length > 0) | (node[begin] != node[stop])
    begin, stop, length = begin[real], stop[real], length[real]

    sizes = stop - begin + 1
    ptr = np.concatenate((np.zeros(1, np.int64), np.cumsum(sizes)))
    points = np.arange(int(ptr[-1])) + np.repeat(begin - ptr[:-1], sizes)
    return Pieces(
        row=row[begin],
        first=begin - way_ptr[row[begin]],
        last=stop - way_ptr[row[begin]],
        start=node[begin],
        end=node[stop],
        length=length,
        ptr=ptr,
        points=node[points],
        way_ptr=way_ptr,
        along=along,
    )


def _steps(extract: Extract, node: I64, row: I64) -> F64:
    """Metres from each node of the ways to the next, 0 from way to way."""
    from pyproj import Geod

    steps = np.zeros(max(node.size - 1, 0))
    same = np.flatnonzero(row[:-1] == row[1:])
    a, b = node[:-1][same], node[1:][same]
    _, _, steps[same] = Geod(ellps="WGS84").inv(
        extract.lon[a], extract.lat[a], extract.lon[b], extract.lat[b]
    )
    return steps


def morton_order(lon: F64, lat: F64, ids: I64) -> I64:
    """An order of points along a curve through the plane that keeps neighbours near one another.

    Z-order of longitude and latitude with 16 bits each over their own extent; ties by id. Searches run
    faster where what is near on the ground is near in memory.
    """
    if not lon.size:
        return np.zeros(0, np.int64)

    def spread(values: F64) -> npt.NDArray[np.uint64]:
        low, high = values.min(), values.max()
        bits: npt.NDArray[np.uint64] = ((values - low) / max(high - low, 1e-9) * 65535).astype(np.uint64)
        for shift, mask in ((8, 0x00FF00FF), (4, 0x0F0F0F0F), (2, 0x33333333), (1, 0x55555555)):
            bits = (bits | (bits << np.uint64(shift))) & np.uint64(mask)
        return bits

    return np.lexsort((ids, spread(lon) | (spread(lat) << np.uint64(1))))
