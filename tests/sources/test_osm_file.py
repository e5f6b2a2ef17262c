"""Local files: what is read, and what is refused with one clear line."""

from __future__ import annotations

import bz2
import gzip
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.errors import InputError
from clearance.core.extract import ATTRIBUTION, Extract
from clearance.sources.osm_file import read_osm
from tests.towns import Town


def town() -> Town:
    """A street with a height bar, a railway bridge over it, a house by the way and a car park."""
    return (
        Town()
        .node(1, 0, 0)
        .node(2, 100, 0, {"barrier": "height_restrictor", "maxheight": "2.1"})
        .node(3, 200, 0, {"natural": "tree"})
        .node(4, 150, -50)
        .node(5, 150, 50)
        .node(6, 0, 300)
        .node(7, 20, 300)
        .node(8, 20, 320)
        .node(9, 60, 10)
        .node(10, 80, 10)
        .node(11, 80, -10)
        .node(12, 500, 500, {"place": "hamlet", "name": "Lower Fenwick"})
        .way(20, [1, 2, 3], {"highway": "residential", "name": "Mill Lane"})
        .way(21, [4, 5], {"railway": "rail", "bridge": "yes", "layer": "1"})
        .way(22, [6, 7, 8, 6], {"building": "house"})
        .way(23, [9, 10, 11, 9], {"building": "yes"})
        .way(24, [9, 11], {"natural": "cliff"})
        .relation(30, [("w", 20, "from"), ("n", 2, "via"), ("w", 20, "to")], {"type": "restriction"})
    )


def write(path: Path, text: str | None = None) -> Path:
    data = (text if text is not None else town().osm_xml()).encode()
    if path.name.endswith(".bz2"):
        data = bz2.compress(data)
    elif path.name.endswith(".gz"):
        data = gzip.compress(data, mtime=0)
    path.write_bytes(data)
    return path


def as_pbf(path: Path, source: Path) -> Path:
    import osmium

    with osmium.SimpleWriter(str(path), overwrite=True) as writer:
        for item in osmium.FileProcessor(str(source)):
            writer.add(item)
    return path


def same(one: Extract, other: Extract) -> bool:
    return (
        np.array_equal(one.node_ids, other.node_ids)
        and np.array_equal(one.lon, other.lon)
        and np.array_equal(one.lat, other.lat)
        and (one.ways, one.node_tags, one.relations) == (other.ways, other.node_tags, other.relations)
    )


def test_a_town_is_read_with_what_matters_and_nothing_else(tmp_path: Path) -> None:
    extract = read_osm(write(tmp_path / "town.osm"))
    assert [way.id for way in extract.ways] == [20, 21, 23]
    assert extract.ways[0].nodes == (1, 2, 3)
    assert extract.ways[0].tags == {"highway": "residential", "name": "Mill Lane"}
    assert extract.node_ids.tolist() == [1, 2, 3, 4, 5, 9, 10, 11, 12]
    assert dict(extract.node_tags) == {
        2: {"barrier": "height_restrictor", "maxheight": "2.1"},
        12: {"place": "hamlet", "name": "Lower Fenwick"},
    }
    assert [(r.id, [(m.kind, m.ref, m.role) for m in r.members]) for r in extract.relations] == [
        (30, [("w", 20, "from"), ("n", 2, "via"), ("w", 20, "to")])
    ]
    whole = town().extract()
    there = np.searchsorted(whole.node_ids, extract.node_ids)
    assert np.array_equal(extract.lon, whole.lon[there])
    assert np.array_equal(extract.lat, whole.lat[there])
    assert extract.info.source == "town.osm"
    assert extract.info.attribution == ATTRIBUTION
    assert extract.node_ids.dtype == np.int64
    assert not extract.lon.flags.writeable


@pytest.mark.parametrize("name", ["t.osm.bz2", "t.osm.gz", "T.OSM", "t.osm.pbf", "t.pbf"])
def test_every_format_gives_the_same_extract(tmp_path: Path, name: str) -> None:
    plain = write(tmp_path / "plain.osm")
    other = as_pbf(tmp_path / name, plain) if name.endswith("pbf") else write(tmp_path / name)
    assert same(read_osm(plain), read_osm(other))


def test_the_order_of_elements_does_not_matter(tmp_path: Path) -> None:
    head, *lines = town().osm_xml().split("\n")
    body = "\n".join(lines[1:-2])
    nodes, rest = body.split("<way", 1)
    ways, relations = ("<way" + rest).split("<relation", 1)
    turned = f'{head}\n<osm version="0.6">\n<relation{relations}\n{ways}\n{nodes}\n</osm>\n'
    assert same(
        read_osm(write(tmp_path / "a.osm")),
        read_osm(write(tmp_path / "b.osm", turned)),
    )


def pbf_bytes(tmp_path: Path) -> bytes:
    return as_pbf(tmp_path / "whole.osm.pbf", write(tmp_path / "whole.osm")).read_bytes()


def xml(inner: str, head: str = "") -> str:
    return f'<?xml version="1.0" encoding="UTF-8"?>{head}<osm version="0.6">{inner}</osm>'


ENTITIES = '<!DOCTYPE osm [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
OUTSIDE = '<!DOCTYPE osm SYSTEM "file:///etc/hostname">'


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.osm", b"", "is empty"),
        ("a.osm.pbf", b"", "is empty"),
        ("a.osm.gz", gzip.compress(b"", mtime=0), "not XML"),
        ("a.osm.bz2", b"BZ", "cannot be read as bzip2ed OSM XML"),
        ("a.osm.gz", b"<osm>", "cannot be read as gzipped OSM XML"),
        ("a.osm.pbf", b"<osm>", "cannot be read as PBF"),
        ("a.osm", b"\x1f\x8b\x08\x00", "not XML"),
        ("a.osm", b"lat,lon\n1,2\n", "not XML"),
        ("a.osm", b'{"elements": []}', "not XML"),
        ("a.osm", "<osm version='0.6'></osm>".encode("utf-16"), "not XML in UTF-8"),
        ("a.osm", b"<gpx version='1.1'/>", "its root is <gpx>, not <osm>"),
        ("a.osm", b"<?xml version='1.0'?><!-- <osm> --><osmChange/>", "its root is <osmChange>"),
        ("a.osm", b"<!DOCTYPE html><html><body>busy</body></html>", "web page"),
        ("a.osm", xml("<node id='1' lat='1' lon='1'/>", ENTITIES).encode(), "document type or entities"),
        ("a.osm", xml("", OUTSIDE).encode(), "document type or entities"),
        ("a.osm", b"<osm version='0.5'></osm>", "version 0.5"),
        ("a.osm", b"<osm version='0.6'><node id='1'", "cannot be read as OSM XML"),
        ("a.osm", b"<osm version='0.6'>" + b"<a>" * 100_000, "nested too deep"),
        ("a.osm", xml("<node id='1' lat='x' lon='1'/>").encode(), "cannot be read as OSM XML"),
        ("a.osm", xml("<node id='1' lat='nan' lon='1'/>").encode(), "cannot be read as OSM XML"),
        ("a.osm", xml(f"<node id='{10**30}' lat='1' lon='1'/>").encode(), "illegal id"),
        ("a.osm", xml("<node id='1' lat='1' lon='1'/>").encode(), "holds no roads"),
        (
            "a.osm",
            xml("<way id='1'><nd ref='1'/><nd ref='2'/><tag k='highway' v='x'/></way>").encode(),
            "no roads",
        ),
        ("a.txt", b"<osm version='0.6'/>", "ends in none of .osm"),
        ("osm", b"<osm version='0.6'/>", "ends in none of .osm"),
    ],
)
def test_a_file_that_cannot_be_meant_is_refused(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_osm(path)
    assert str(path) in str(caught.value)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_osm(tmp_path / "none.osm")
    (tmp_path / "folder.osm").mkdir()
    with pytest.raises(InputError, match="is a folder"):
        read_osm(tmp_path / "folder.osm")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.999])
@pytest.mark.parametrize("name", ["t.osm", "t.osm.gz", "t.osm.bz2", "t.osm.pbf"])
def test_a_truncated_file_is_refused(tmp_path: Path, name: str, share: float) -> None:
    path = tmp_path / name
    raw = pbf_bytes(tmp_path) if name.endswith("pbf") else write(path).read_bytes().rstrip()
    path.write_bytes(raw[: int(len(raw) * share)])
    with pytest.raises(InputError, match=re.escape(str(path))):
        read_osm(path)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0), flip=st.integers(1, 255), name=st.sampled_from(["t.osm", "t.osm.pbf", "t.osm.gz"]))
def test_a_flipped_byte_is_an_extract_or_an_input_error(
    tmp_path: Path, at: int, flip: int, name: str
) -> None:
    path = tmp_path / name
    raw = bytearray(pbf_bytes(tmp_path) if name.endswith("pbf") else write(path).read_bytes())
    raw[at % len(raw)] ^= flip
    path.write_bytes(raw)
    try:
        extract = read_osm(path)
    except InputError:
        return
    nodes = set(extract.node_ids.tolist())
    assert all(nodes.issuperset(way.nodes) for way in extract.ways)


@pytest.mark.parametrize(
    ("stamp", "date"),
    [
        ("2025-03-01T10:00:00Z", "2025-03-01T10:00:00Z"),
        ("2068-01-01T00:00:00Z", ""),
        ("soon", ""),
        ("1970-01-01T00:00:00Z", ""),
    ],
)
def test_the_date_a_server_wrote_into_the_file(tmp_path: Path, stamp: str, date: str) -> None:
    text = town().osm_xml().replace("<node", f'<meta osm_base="{stamp}"/><node', 1)
    info = read_osm(write(tmp_path / "a.osm", text)).info
    assert info.data_date == date
    assert any("date" in warning for warning in info.warnings) is (date == "")


def test_the_newest_element_dates_a_file_without_a_date(tmp_path: Path) -> None:
    text = town().osm_xml().replace('<way id="20"', '<way id="20" timestamp="2024-05-06T07:08:09Z"')
    assert read_osm(write(tmp_path / "a.osm", text)).info.data_date == "2024-05-06T07:08:09Z"


def test_deleted_elements_do_not_count(tmp_path: Path) -> None:
    text = town().osm_xml().replace('<way id="21" version="1"', '<way id="21" version="2" visible="false"')
    assert [way.id for way in read_osm(write(tmp_path / "a.osm", text)).ways] == [20, 23]


def test_progress_is_told(tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    read_osm(write(tmp_path / "a.osm"), lambda *step: told.append(step))
    assert ("reading ways", 1, 1) in told


def test_of_two_heights_under_one_key_none_is_lost(tmp_path: Path) -> None:
    """No element of OpenStreetMap has a key twice; of what another program wrote so, the lower counts."""
    tags = "".join(
        f"<tag k='{k}' v='{v}'/>" for k, v in (("highway", "road"), ("maxheight", "3.1"), ("maxheight", "5"))
    )
    gate = "<tag k='barrier' v='gate'/>"
    nodes = f"<node id='1' lat='1' lon='1'/><node id='2' lat='1' lon='2'>{gate * 2}</node>"
    path = tmp_path / "twice.osm"
    path.write_text(xml(f"{nodes}<way id='5'><nd ref='1'/><nd ref='2'/>{tags}</way>"), encoding="utf-8")
    extract = read_osm(path)
    assert dict(extract.ways[0].tags) == {"highway": "road", "maxheight": "3.1;5"}
    assert extract.node_tags == {2: {"barrier": "gate"}}


@pytest.mark.parametrize(
    "head",
    [
        "<?x <osm ?><!DOCTYPE osm [<!ENTITY a 'b'>]>",
        f"<!--{' ' * (1 << 20)}--><!DOCTYPE osm [<!ENTITY a 'b'>]>",
    ],
)
def test_a_document_type_behind_what_hides_it_is_refused_too(tmp_path: Path, head: str) -> None:
    path = tmp_path / "hidden.osm"
    road = "<way id='5'><nd ref='1'/><nd ref='2'/><tag k='highway' v='&a;'/></way>"
    path.write_text(
        xml(f"<node id='1' lat='1' lon='1'/><node id='2' lat='1' lon='2'/>{road}", head), encoding="utf-8"
    )
    with pytest.raises(InputError, match=r"hidden\.osm"):
        read_osm(path)
