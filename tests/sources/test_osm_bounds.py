"""Small files that unfold into large ones, and single elements of XML without end."""

from __future__ import annotations

import bz2
import gzip
import io
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import pytest

from clearance.core.errors import InputError
from clearance.sources import osm_bounds
from clearance.sources.osm_bounds import check_pbf, check_xml
from clearance.sources.osm_file import read_osm
from tests.fuzz import pbf

MIB = 1 << 20
ROAD = b"<way id='5'><nd ref='1'/><nd ref='2'/><tag k='highway' v='residential'/></way>"
NODES = b"<node id='1' lat='1' lon='1'/><node id='2' lat='1.001' lon='1'/>"


def _xml(*inside: bytes) -> bytes:
    return b"<osm version='0.6'>" + NODES + ROAD + b"".join(inside) + b"</osm>"


class _Parts(io.RawIOBase):
    """A stream of parts, each made when it is asked for."""

    def __init__(self, parts: Iterable[bytes]) -> None:
        super().__init__()
        self._parts: Iterator[bytes] = iter(parts)

    def read(self, _size: int = -1) -> bytes:
        return next(self._parts, b"")


def _checked(parts: Iterable[bytes], size: int = 1 << 40) -> None:
    check_xml(Path("town.osm"), _Parts(parts), size)  # type: ignore[arg-type]


@pytest.mark.parametrize(("ending", "pack"), [(".osm.gz", gzip.compress), (".osm.bz2", bz2.compress)])
def test_a_packed_file_that_unfolds_a_hundred_times_is_refused(
    tmp_path: Path, ending: str, pack: Callable[[bytes], bytes]
) -> None:
    path = tmp_path / f"town{ending}"
    # Streams one behind another, as packers on several threads write them.
    nodes = NODES * 500
    path.write_bytes(pack(_xml()[:-6]) + pack(nodes) * (65 * MIB // len(nodes)) + pack(b"</osm>"))
    assert path.stat().st_size < MIB
    with pytest.raises(InputError, match=r"town\.osm\.\w+: unpacks to more than 64 MiB"):
        read_osm(path)


def test_the_same_elements_in_moderation_are_read(tmp_path: Path) -> None:
    path = tmp_path / "town.osm.gz"
    path.write_bytes(gzip.compress(_xml(NODES * 1000)))
    assert len(read_osm(path).ways) == 1


def test_what_is_as_large_as_it_says_may_be_large() -> None:
    _checked([NODES * (MIB // len(NODES))] * 80, size=MIB)
    with pytest.raises(InputError, match="unpacks to more than 100 MiB"):
        _checked([NODES * (MIB // len(NODES) + 1)] * 101, size=MIB)


@pytest.mark.parametrize(
    ("begin", "filling", "end"),
    [
        (b"<!--", b"<node", b"-->"),
        (b"<![CDATA[", b"<way ", b"]]>"),
        (b"<?x ", b"<node", b"?>"),
        (b"<tag k='name' v='", b"a", b"'/>"),
        (b"<way id='6'>", b"<nd ref='1'/>", b"</way>"),
        (b"", b" ", b""),
    ],
)
def test_one_piece_without_end_is_refused(begin: bytes, filling: bytes, end: bytes) -> None:
    part = filling * (MIB // len(filling))
    _checked([_xml()[:-6], begin, part[: MIB // 2], end, b"</osm>"])
    with pytest.raises(InputError, match="as long as none of map data"):
        _checked([_xml()[:-6] + begin, *[part] * 18, end + b"</osm>"])


def test_many_comments_are_not_one_wherever_the_parts_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(osm_bounds, "_LONGEST_REMARK", 1000)
    text = b"<!-- <? <![CDATA[ <!-- -->" + NODES + b"<?x <!-- ?><![CDATA[ --> ?> ]]>"
    for cut in range(1, len(text)):
        _checked([text[:cut], text[cut:], *[text * 20] * 3])
        with pytest.raises(InputError, match="as long as none"):
            _checked([text + text[:cut], text[cut:] + b"<!-- ", *[NODES * 10] * 4])


def _town(*blocks: bytes) -> bytes:
    table = [b"", b"highway", b"residential"]
    nodes = pbf.dense([1, 2, 3], [450_000_000, 450_001_000, 450_002_000], [-400_000_000] * 3)
    road = pbf.block(table, nodes, pbf.way(9, [1, 2, 3], [(1, 2)]))
    return pbf.header() + pbf.blob(b"OSMData", road) + b"".join(blocks)


def test_a_file_of_blocks_is_read_and_one_that_unfolds_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "town.osm.pbf"
    path.write_bytes(_town())
    assert len(read_osm(path).ways) == 1
    count = 3 * MIB
    many = pbf.field(2, pbf.field(2, b"".join(pbf.field(n, b"\x02" * count) for n in (1, 8, 9))))
    path.write_bytes(_town(pbf.blob(b"OSMData", pbf.block([b""], many))))
    assert path.stat().st_size < 20_000
    with pytest.raises(InputError, match="unpacks to more than 8 MiB"):
        read_osm(path)


@pytest.mark.parametrize("claim", [2**25, 2**31, 2**63, 2**64 - 1])
def test_a_block_that_claims_to_be_huge_is_refused(tmp_path: Path, claim: int) -> None:
    path = tmp_path / "town.osm.pbf"
    path.write_bytes(_town(pbf.blob(b"OSMData", b"abc", claim=claim)))
    with pytest.raises(InputError, match="unpacks to more than"):
        check_pbf(path)
    path.write_bytes(_town(pbf.blob(b"OSMData", b"abc", size=claim)))
    check_pbf(path)
    with pytest.raises(InputError, match=r"town\.osm\.pbf: cannot be read as PBF"):
        read_osm(path)


@pytest.mark.parametrize(
    "content",
    [b"", b"\x00", b"\xff\xff\xff\xff", b"\x00\x00\x00\x05\xff\xff\xff\xff\xff", b"\x00\x00\x00\x02\x18\x05"],
)
def test_frames_that_cannot_be_read_are_left_to_the_library(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "town.osm.pbf"
    path.write_bytes(content)
    check_pbf(path)
