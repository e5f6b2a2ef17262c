"""Ways of a map file, packed as arrays.

As Python objects they take five times the memory (720 bytes a way against 130, measured), and most buildings
stand away from the roads: they become objects only once it is known that a road runs by them. Packed they
also go quickly from one process to another.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.extract import Way
from clearance.sources.wanted import Want, want_way

if TYPE_CHECKING:
    import numpy.typing as npt
    from osmium.osm import TagList
    from osmium.osm import Way as OsmWay

    Bool = npt.NDArray[np.bool_]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["FIRST_DATE", "WayBlock", "packed", "tags_of", "unpacked"]

#: Objects without a date are dated 1970 by the library; OpenStreetMap began in 2004.
FIRST_DATE = datetime(2004, 1, 1, tzinfo=UTC)
#: A block ends where it has so many nodes.
_MANY_NODES = 1 << 18


@dataclass(frozen=True, slots=True)
class WayBlock:
    """Wanted ways in the order of their file.

    Way i has the id `ids[i]`, the next `nodes[i]` of `refs`, and the next `tags[i]` of `keys` and
    `values`, which are indices into `strings`. `near_road` marks those wanted only near a road. `newest`
    is the newest date on one of them.
    """

    ids: I64
    near_road: Bool
    nodes: I32
    refs: I64
    tags: I32
    keys: I32
    values: I32
    strings: tuple[str, ...]
    newest: datetime


def packed(items: Iterable[object], outlines: frozenset[int]) -> Iterator[WayBlock]:
    """The wanted ways among `items`, objects of pyosmium; `outlines` are wanted whatever their tags."""
    from osmium.osm import Way as OsmWay

    texts: dict[str, str] = {}
    block = _Packer()
    for way in items:
        if not isinstance(way, OsmWay):
            continue
        tags = tags_of(way.tags, texts)
        want = Want.YES if way.id in outlines else want_way(tags)
        if want is Want.NO or not way.visible:
            continue
        block.add(way, tags, near_road=want is Want.NEAR_ROAD)
        if len(block.refs) >= _MANY_NODES:
            yield block.end()
            texts, block = {}, _Packer()
    yield block.end()


def tags_of(told: TagList, texts: dict[str, str]) -> dict[str, str]:
    """Tags as a mapping. Values of a key that stands twice become a list, so that none is lost.

    OpenStreetMap refuses such elements, other programs may write them: of two heights the lower must count.
    Texts are those of `texts` where it has them, for most come a thousand times.
    """
    same = texts.setdefault
    tags = {same(k, k): same(v, v) for k, v in told}
    if len(tags) == len(told):
        return tags
    values: dict[str, dict[str, None]] = {}
    for tag in told:
        values.setdefault(tag.k, {})[tag.v] = None
    return {key: ";".join(each) for key, each in values.items()}


class _Packer:
    """A block as it grows."""

    def __init__(self) -> None:
        self.refs = array("q")
        self._ids, self._near_road = array("q"), array("b")
        self._nodes, self._tags = array("i"), array("i")
        self._keys, self._values = array("i"), array("i")
        self._strings: dict[str, int] = {}
        self._newest = FIRST_DATE

    def add(self, way: OsmWay, tags: dict[str, str], *, near_road: bool) -> None:
        refs = [node.ref for node in way.nodes]
        self.refs.extend(refs)
        self._ids.append(way.id)
        self._near_road.append(near_road)
        self._nodes.append(len(refs))
        self._tags.append(len(tags))
        strings = self._strings
        at = strings.setdefault
        for key, value in tags.items():
            self._keys.append(at(key, len(strings)))
            self._values.append(at(value, len(strings)))
        self._newest = max(self._newest, way.timestamp)

    def end(self) -> WayBlock:
        return WayBlock(
            ids=np.array(self._ids, np.int64),
            near_road=np.array(self._near_road, np.bool_),
            nodes=np.array(self._nodes, np.int32),
            refs=np.array(self.refs, np.int64),
            tags=np.array(self._tags, np.int32),
            keys=np.array(self._keys, np.int32),
            values=np.array(self._values, np.int32),
            strings=tuple(self._strings),
            newest=self._newest,
        )


def unpacked(block: WayBlock, wanted: Bool, texts: dict[str, str]) -> list[Way]:
    """The ways of `block` for which `wanted` (n,) holds, in their order; `texts` as in `tags_of`."""
    strings = [texts.setdefault(text, text) for text in block.strings]
    refs = block.refs[np.repeat(wanted, block.nodes)].tolist()
    of_tags = np.repeat(wanted, block.tags)
    keys = [strings[at] for at in block.keys[of_tags].tolist()]
    values = [strings[at] for at in block.values[of_tags].tolist()]
    node_end, tag_end = _ends(block.nodes[wanted]), _ends(block.tags[wanted])
    ways, node, tag = [], 0, 0
    for ref, next_node, next_tag in zip(block.ids[wanted].tolist(), node_end, tag_end, strict=True):
        tags = dict(zip(keys[tag:next_tag], values[tag:next_tag], strict=True))
        ways.append(Way(ref, tuple(refs[node:next_node]), tags))
        node, tag = next_node, next_tag
    return ways


def _ends(counts: I32) -> Sequence[int]:
    ends: list[int] = np.cumsum(counts, dtype=np.int64).tolist()
    return ends
