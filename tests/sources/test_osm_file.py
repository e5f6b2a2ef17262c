"""Local files: what is read, and what is refused with one clear line."""

from __future__ import annotations

import bz2
import gzip
from pathlib import Path

import numpy as np
import pytest

from clearance.core.extract import ATTRIBUTION, Extract
from clearance.sources.osm_file import read_osm
from tests.towns import Town

DATA = Path(__file__).parents[3] / "shared" / "data"


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
        data = gzip.compress(data)
    path.write_bytes(data)
    return path


def as_pbf(path: Path, source: Path) -> Path:
    import osmium

    with osmium.SimpleWriter(str(path)) as writer:
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
