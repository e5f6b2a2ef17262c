"""The ways of a map file that may be wanted, sifted as they come, with the places of their nodes."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.extract import Relation, Way
from clearance.sources.assemble import Elements, boxes_met, on_earth
from clearance.sources.way_blocks import FIRST_DATE, WayBlock, unpacked

if TYPE_CHECKING:
    import numpy.typing as npt
    from osmium.index import LocationTable

    Bool = npt.NDArray[np.bool_]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["NodePlaces", "WantedWays"]

#: Where a node has no place: beyond every longitude and latitude, in whole 1e-7 degrees.
_NOWHERE = 2**31 - 1


class NodePlaces:
    """Where nodes are, in whole 1e-7 degrees."""

    def __init__(self, index: LocationTable) -> None:
        """By the library's index from a node's number to its place."""
        self._get = index.get

    def of(self, refs: I64) -> I32:
        """The places (n, 2), x and y, of nodes (n,); `_NOWHERE` for one that has none."""
        x, y, get = array("i"), array("i"), self._get
        for ref in refs.tolist():
            try:
                place = get(ref)
            except (KeyError, TypeError):  # TypeError: a number below 0, as editors give to what is new
                x.append(_NOWHERE)
                y.append(_NOWHERE)
                continue
            x.append(place.x)
            y.append(place.y)
        return np.stack((np.array(x, np.int32), np.array(y, np.int32)), axis=1)


class WantedWays:
    """The ways of a file that may be wanted, packed until it is known which buildings stand by a road.

    A way may be in a file more than once, and the last one counts. So all of them stay in the order of the
    file, and a building waits for a road only if no other way of its number is wanted.
    """

    def __init__(self, places: NodePlaces, texts: dict[str, str]) -> None:
        """None yet; `texts` holds the words of tags met so far, so that each is kept once."""
        self.newest = FIRST_DATE
        self._places, self._texts = places, texts
        #: Each block, and which of its ways wait for a road.
        self._blocks: list[tuple[WayBlock, Bool]] = []
        self._boxes: list[I32] = []
        self._pieces: list[I32] = []
        self._node_ids: list[I64] = []
        self._xy: list[I32] = []

    def add(self, blocks: Iterable[WayBlock]) -> None:
        """Take up the ways of blocks, in the order of the file."""
        for block in blocks:
            self.newest = max(self.newest, block.newest)
            refs, row = np.unique(block.refs, return_inverse=True)
            places = self._places.of(refs)
            xy = places[row]
            placed = on_earth(*xy.T)
            waits = block.near_road & _whole(block, placed)
            of_waiting = np.repeat(waits, block.nodes)
            self._blocks.append((block, waits))
            self._boxes.append(_boxes(xy[of_waiting], block.nodes[waits]))
            self._pieces.append(_road_pieces(block, xy, placed))
            needed = np.unique(row[~of_waiting])
            self._node_ids.append(refs[needed])
            self._xy.append(places[needed])

    def elements(self, node_tags: dict[int, dict[str, str]], relations: list[Relation]) -> Elements:
        """All that may be wanted; of the buildings that wait, those that a road or path runs by."""
        met = boxes_met(np.concatenate(self._boxes), np.concatenate(self._pieces))
        self._boxes, self._pieces = [], []
        waiting = np.concatenate([block.ids[waits] for block, waits in self._blocks])
        others = np.concatenate([block.ids[~waits] for block, waits in self._blocks])
        # All at once: to look the ids of each block up among those of all would take them squared.
        near = np.isin(waiting, np.union1d(waiting[met], others))
        chosen: list[Bool] = []
        for _, waits in self._blocks:
            rows = waits.copy()
            rows[waits], near = np.split(near, [np.count_nonzero(waits)])
            chosen.append(rows)
        tagged = np.fromiter(node_tags, np.int64, len(node_tags))
        late = [
            block.refs[np.repeat(rows, block.nodes)]
            for (block, _), rows in zip(self._blocks, chosen, strict=True)
        ]
        more = np.unique(np.concatenate((tagged, *late)))
        ids, xy = (*self._node_ids, more), (*self._xy, self._places.of(more))
        self._node_ids, self._xy, late = [], [], []
        ways: list[Way] = []
        self._blocks.reverse()
        chosen.reverse()
        while self._blocks:
            # Popped, so that what was packed goes away as the objects come.
            block, waits = self._blocks.pop()
            ways += unpacked(block, ~waits | chosen.pop(), self._texts)
        at = np.concatenate(xy)
        return Elements(
            node_ids=np.concatenate(ids),
            x=at[:, 0],
            y=at[:, 1],
            node_tags=node_tags,
            ways=ways,
            relations=relations,
        )


def _whole(block: WayBlock, placed: Bool) -> Bool:
    """Which ways (n,) have nodes, each with a place; `placed` (m,) tells which of `block.refs` have one."""
    missing = np.repeat(np.arange(len(block.ids)), block.nodes)[~placed]
    whole = block.nodes > 0
    whole[missing] = False
    return whole


def _boxes(xy: I32, counts: I32) -> I32:
    """The boxes (n, 4) of ways: west, south, east, north; each has the next `counts` of the places `xy`."""
    begin = np.cumsum(counts) - counts
    if not len(counts):
        return np.zeros((0, 4), np.int32)
    low, high = (of.reduceat(xy, begin, axis=0) for of in (np.minimum, np.maximum))
    return np.concatenate((low, high), axis=1)


def _road_pieces(block: WayBlock, xy: I32, placed: Bool) -> I32:
    """The straight pieces (m, 2, 2) of roads and paths; `xy` are the places of `block.refs` if `placed`."""
    way = np.repeat(np.arange(len(block.ids)), block.nodes)
    of_tags = np.repeat(np.arange(len(block.ids)), block.tags)
    road = np.zeros(len(block.ids), np.bool_)
    if "highway" in block.strings:
        road[of_tags[block.keys == block.strings.index("highway")]] = True
    here = np.flatnonzero((way[:-1] == way[1:]) & road[way[:-1]] & placed[:-1] & placed[1:])
    return xy[np.stack((here, here + 1), axis=1)]
