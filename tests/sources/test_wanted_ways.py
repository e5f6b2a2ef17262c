"""Ways sifted as they come: what is read is what plain values in one list would give."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way
from clearance.sources import assemble, wanted_ways, way_blocks
from clearance.sources.assemble import Elements
from clearance.sources.osm_file import read_osm
from clearance.sources.wanted import want_way
from clearance.sources.way_blocks import WayBlock, unpacked
from tests.sources.test_osm_file import as_pbf, same
from tests.towns import Town

TAGS: tuple[dict[str, str], ...] = (
    {"highway": "residential"},
    {"highway": "footway"},
    {"building": "yes"},
    {"building": "house", "addr:housenumber": "7"},
    {"building:part": "yes"},
    {"building": "yes", "name": "Corn Hall"},
    {"building": "yes", "maxheight": "3.1"},
    {"landuse": "meadow"},
)
NODES = 12
# Nodes stand close together, so that about half of the buildings have a road by them; one has no place.
WAYS = st.lists(
    st.tuples(
        st.integers(1, 6),
        st.lists(st.integers(1, NODES + 1), min_size=2, max_size=5, unique=True),
        st.sampled_from(TAGS),
    ),
    min_size=1,
    max_size=8,
)
PLACES = st.lists(
    st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=NODES, max_size=NODES, unique=True
)


def plainly(path: Path) -> Extract:
    """All of the file as plain values, left to `assemble` to sift."""
    import osmium
    from osmium.osm import Node
    from osmium.osm import Relation as OsmRelation
    from osmium.osm import Way as OsmWay

    places: dict[int, tuple[int, int]] = {}
    ways: list[Way] = []
    relations: list[Relation] = []
    for item in osmium.FileProcessor(str(path)):
        tags = dict(item.tags)
        if isinstance(item, Node):
            places[item.id] = (item.location.x, item.location.y)
        elif isinstance(item, OsmWay):
            ways.append(Way(item.id, tuple(node.ref for node in item.nodes), tags))
        elif isinstance(item, OsmRelation):
            relations.append(
                Relation(item.id, tuple(Member(m.type, m.ref, m.role) for m in item.members), tags)
            )
    xy = np.array(list(places.values()), np.int32)
    outlines = {m.ref for r in relations for m in r.members}
    # The last version that is wanted counts, not one that says no more than before.
    ways = [w for w in ways if w.id in outlines or want_way(w.tags)]
    ids = np.array(list(places), np.int64)
    elements = Elements(node_ids=ids, x=xy[:, 0], y=xy[:, 1], ways=ways, relations=relations)
    return assemble.assemble(elements, ExtractInfo(source=path.name))


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(PLACES, WAYS, st.booleans(), st.sampled_from([1, 7, 1000]))
def test_the_extract_is_the_same(
    places: list[tuple[int, int]], ways: list[tuple[int, list[int], dict[str, str]]], area: bool, many: int
) -> None:
    """Ways may come more than once, as in files with history, and lose nodes at the edge."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as monkeypatch:
        path = written(Path(folder), places, ways, area=area)
        plain = plainly(path)
        monkeypatch.setattr(way_blocks, "_MANY_NODES", many)
        for name in (path, path.with_name("town.osm")):
            found = read_osm(name)
            assert same(plain, found)
            assert [w for w in found.info.warnings if "lost" in w or "left out" in w] == list(
                plain.info.warnings
            )
            dates = [
                f"2024-01-0{version}T00:00:00Z"
                for version, (ref, _, tags) in enumerate(ways, start=1)
                if want_way(tags) or (area and ref == 1)
            ]
            assert found.info.data_date == max(dates, default="")


def written(
    folder: Path,
    places: list[tuple[int, int]],
    ways: list[tuple[int, list[int], dict[str, str]]],
    *,
    area: bool,
) -> Path:
    """A town of these ways, the version of each its number in the list, as XML and as PBF."""
    town = Town().node(98, 900, 900).node(99, 990, 900).way(1000, [98, 99], {"highway": "track"})
    for ref, (x, y) in enumerate(places, start=1):
        town.node(ref, x, y)
    versions = "".join(
        f'<way id="{ref}" version="{version}" timestamp="2024-01-0{version}T00:00:00Z">'
        + "".join(f'<nd ref="{node}"/>' for node in nodes)
        + "".join(f'<tag k="{k}" v="{v}"/>' for k, v in tags.items())
        + "</way>"
        for version, (ref, nodes, tags) in enumerate(ways, start=1)
    )
    relation = (
        '<relation id="9" version="1"><member type="way" ref="1" role="outer"/>'
        '<tag k="type" v="multipolygon"/><tag k="building" v="yes"/></relation>'
    )
    text = town.osm_xml().replace("</osm>", versions + (relation if area else "") + "</osm>")
    (folder / "town.osm").write_text(text, encoding="utf-8")
    return as_pbf(folder / "town.osm.pbf", folder / "town.osm")


def test_a_building_waits_for_a_road_as_values_in_little_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of buildings that stand alone no object is ever made."""
    town = Town().node(1, 0, 0).node(2, 90, 0).way(10, [1, 2], {"highway": "residential"})
    town.node(3, 40, -5).node(4, 50, -5).node(5, 50, 5).way(11, [3, 4, 5, 3], {"building": "yes"})
    for k in range(20):
        x = 40 + 20 * k
        town.node(100 + 3 * k, x, 300).node(101 + 3 * k, x + 9, 300).node(102 + 3 * k, x + 9, 309)
        town.way(100 + k, [100 + 3 * k, 101 + 3 * k, 102 + 3 * k, 100 + 3 * k], {"building": "yes"})
    made: list[int] = []
    real = unpacked

    def counted(block: WayBlock, wanted: np.ndarray, texts: dict[str, str]) -> list[Way]:
        made.append(int(wanted.sum()))
        return real(block, wanted, texts)

    monkeypatch.setattr(wanted_ways, "unpacked", counted)
    (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
    assert [way.id for way in read_osm(tmp_path / "town.osm").ways] == [10, 11]
    assert sum(made) == 2
