"""Ways packed in arrays come out as they were."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from clearance.core.extract import Way
from clearance.sources.way_blocks import WayBlock, packed, unpacked


def block_of(ways: list[Way]) -> WayBlock:
    """The ways packed as they come from a file."""
    import osmium

    text = "".join(
        f"w{way.id} T{','.join(f'{k}={v}' for k, v in way.tags.items())} "
        f"N{','.join(f'n{node}' for node in way.nodes)}\n"
        for way in ways
    )
    (block,) = packed(osmium.FileProcessor(osmium.io.FileBuffer(text.encode(), "opl")), frozenset())
    return block


def test_packed_ways_come_out_as_they_were() -> None:
    ways = [
        Way(7, (1, 2, 3), {"highway": "service", "name": "yes"}),
        Way(8, (), {"highway": "yes"}),
        Way(-3, (-4, 3), {"building": "yes"}),
        Way(9, (2**40, 2), {"highway": "service"}),
    ]
    block = block_of(ways)
    assert block.near_road.tolist() == [False, False, True, False]
    texts = {"service": "service"}
    for chosen in ([1, 1, 1, 1], [0, 0, 0, 0], [0, 1, 1, 0], [1, 0, 0, 1]):
        wanted = np.array(chosen, np.bool_)
        expected = [way for way, wish in zip(ways, chosen, strict=True) if wish]
        assert unpacked(block, wanted, texts) == expected
    first, last = unpacked(block, np.array([1, 0, 0, 1], np.bool_), texts)
    assert first.tags["highway"] is last.tags["highway"] is texts["service"]


def test_ways_not_wanted_are_not_packed() -> None:
    assert block_of([Way(1, (1, 2), {"landuse": "meadow"})]).ids.size == 0
    assert block_of([]).newest == datetime(2004, 1, 1, tzinfo=UTC)
