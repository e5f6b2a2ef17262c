"""Buildings of a large file, put off until its roads are known: what is read is what it was without that."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.extract import Way
from clearance.sources import assemble, osm_file
from clearance.sources.assemble import Elements, near_road
from clearance.sources.osm_file import read_osm
from clearance.sources.put_off import PutOff
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


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(PLACES, WAYS, st.booleans())
def test_the_extract_is_the_same(
    places: list[tuple[int, int]], ways: list[tuple[int, list[int], dict[str, str]]], area: bool
) -> None:
    """Ways may come more than once, as in files with history, and lose nodes at the edge."""
    town = Town().node(98, 900, 900).node(99, 990, 900).way(1000, [98, 99], {"highway": "track"})
    for ref, (x, y) in enumerate(places, start=1):
        town.node(ref, x, y)
    text = town.osm_xml()
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
    text = text.replace("</osm>", versions + (relation if area else "") + "</osm>")
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as monkeypatch:
        (Path(folder) / "town.osm").write_text(text, encoding="utf-8")
        path = as_pbf(Path(folder) / "town.osm.pbf", Path(folder) / "town.osm")
        monkeypatch.setattr(osm_file, "_LARGE_BYTES", 2**40)
        whole = read_osm(path)
        monkeypatch.setattr(osm_file, "_LARGE_BYTES", 0)
        sparing = read_osm(path)
        assert same(whole, sparing)
        assert whole.info.warnings == sparing.info.warnings
        assert whole.info.data_date == sparing.info.data_date


def test_a_large_file_is_passed_through_once_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    town = Town().node(1, 0, 0).node(2, 90, 0).way(10, [1, 2], {"highway": "residential"})
    town.node(3, 40, -5).node(4, 50, -5).node(5, 50, 5).way(11, [3, 4, 5, 3], {"building": "yes"})
    (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
    path = as_pbf(tmp_path / "town.osm.pbf", tmp_path / "town.osm")
    monkeypatch.setattr(osm_file, "_LARGE_BYTES", 0)
    told: list[tuple[str, int, int]] = []
    found = read_osm(path, lambda *step: told.append(step))
    assert [way.id for way in found.ways] == [10, 11]
    assert ("reading buildings", 2, 3) in told
    assert ("reading ways", 3, 3) in told


@pytest.mark.parametrize("part", [1, 3, 1000])
def test_boxes_that_a_road_meets(monkeypatch: pytest.MonkeyPatch, part: int) -> None:
    """Against the plain rule for a level or upright road: the box and the road overlap in both directions."""
    monkeypatch.setattr(assemble, "_PART", part)
    draw = np.random.default_rng(4)
    low = draw.integers(0, 1000, (60, 2))
    boxes = np.concatenate((low, low + draw.integers(0, 80, low.shape)), axis=1).astype(np.int32)
    begin = draw.integers(0, 1000, (25, 2))
    end = begin + np.where(draw.random((25, 1)) < 0.5, [[200, 0]], [[0, 200]])
    ids = np.arange(50, dtype=np.int64).reshape(25, 2)
    xy = np.stack((begin, end), axis=1).reshape(-1, 2).astype(np.int32)
    ways = [
        Way(100 + i, tuple(pair), {"highway": "service"} if i % 5 else {"railway": "rail"})
        for i, pair in enumerate(ids.tolist())
    ]
    elements = Elements(node_ids=ids.reshape(-1), x=xy[:, 0], y=xy[:, 1], ways=ways)
    road = np.arange(25) % 5 > 0
    meets = (boxes[:, None, :2] <= end[None, road]) & (boxes[:, None, 2:] >= begin[None, road])
    expected = np.logical_and(meets[:, :, 0], meets[:, :, 1]).any(axis=1)
    assert 5 < expected.sum() < 55
    assert np.array_equal(near_road(elements, boxes), expected)


def test_nothing_put_off_is_nothing_wanted() -> None:
    none = np.zeros(0, np.int32)
    assert PutOff().wanted(Elements(node_ids=none.astype(np.int64), x=none, y=none)) == frozenset()
