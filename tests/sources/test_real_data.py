"""Real extracts, © OpenStreetMap contributors, ODbL 1.0: nothing that matters is lost in reading."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from clearance.core.place_text import find_place
from clearance.sources.osm_file import read_osm
from clearance.sources.place_names import named_places

DATA = Path(__file__).parents[3] / "shared" / "data"
FILES = [
    "bangor-maine.osm.pbf",
    "kings-lynn-fuel.osm",
    "leeds.osm",
    "liechtenstein.osm.pbf",
    "monaco-2021.osm.pbf",
    "monaco-2022.osm.pbf",
    "monaco-small.osm.pbf",
    "monaco.osm.pbf",
    "seattle-northgate.osm",
]


def real(name: str) -> Path:
    if not (DATA / name).exists():
        pytest.skip(f"{DATA / name} is not there")
    return DATA / name


@pytest.mark.parametrize("name", FILES)
def test_what_a_plain_reading_counts_is_there(name: str) -> None:
    """Counted by looping over the file with the library, without any of our rules."""
    import osmium

    path = real(name)
    limited: dict[str, set[int]] = {"n": set(), "w": set()}
    by_key: dict[str, set[int]] = {"highway": set(), "railway": set(), "fuel": set()}
    restrictions = set()
    for item in osmium.FileProcessor(str(path)).with_filter(osmium.filter.EmptyTagFilter()):
        tags = dict(item.tags)
        kind = item.type_str()
        if kind == "r" and tags.get("type", "").startswith("restriction"):
            restrictions.add(item.id)
        if kind not in limited:
            continue
        if any(key.startswith("maxheight") for key in tags):
            limited[kind].add(item.id)
        if kind == "w":
            by_key["highway"] |= {item.id} if "highway" in tags else set()
            by_key["railway"] |= {item.id} if tags.get("railway") == "rail" else set()
            by_key["fuel"] |= {item.id} if tags.get("amenity") == "fuel" else set()
    extract = read_osm(path)
    told = {
        int(ref)
        for text in extract.info.warnings
        if "left out" in text
        for ref in re.findall(r"way/(\d+)", text)
    }
    ways = {way.id for way in extract.ways}
    for ids in (*by_key.values(), limited["w"]):
        assert ids <= ways | told
    assert {way.id for way in extract.ways if "highway" in way.tags} == by_key["highway"] - told
    assert limited["n"] == {
        ref for ref, tags in extract.node_tags.items() if any(key.startswith("maxheight") for key in tags)
    }
    assert restrictions == {r.id for r in extract.relations if r.tags["type"].startswith("restriction")}
    assert len(by_key["highway"]) > 5


@pytest.mark.parametrize("name", FILES)
def test_an_extract_is_whole(name: str) -> None:
    extract = read_osm(real(name))
    nodes = set(extract.node_ids.tolist())
    assert len(nodes) == len(extract.node_ids)
    assert (extract.node_ids[1:] > extract.node_ids[:-1]).all()
    assert [way.id for way in extract.ways] == sorted(way.id for way in extract.ways)
    assert all(len(way.nodes) > 1 and nodes.issuperset(way.nodes) for way in extract.ways)
    assert nodes.issuperset(extract.node_tags)
    assert (abs(extract.lon) <= 180).all()
    assert (abs(extract.lat) <= 90).all()


@pytest.mark.parametrize(
    ("name", "date"),
    [
        ("liechtenstein.osm.pbf", "2022-07-24T20:21:51Z"),
        ("monaco.osm.pbf", "2023-12-26T21:21:22Z"),
        ("leeds.osm", "2024-03-22T14:09:45Z"),
        ("bangor-maine.osm.pbf", ""),
    ],
)
def test_the_date_of_the_data(name: str, date: str) -> None:
    assert read_osm(real(name)).info.data_date == date


def test_a_date_in_the_future_is_not_believed() -> None:
    info = read_osm(real("monaco-small.osm.pbf")).info
    assert info.data_date == ""
    assert any("2068" in text for text in info.warnings)


def test_places_of_a_real_town_are_found() -> None:
    places = named_places(read_osm(real("bangor-maine.osm.pbf")))
    assert sum(place.kind == "fuel" for place in places) == 17
    assert find_place("i95", places).kind == "road"
