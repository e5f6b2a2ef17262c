"""Large inputs for measuring: what is made is a sound network, and copies of an extract are copies."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from clearance.core.extract import Extract
from clearance.network.build import build_network
from clearance.network.network import NO_LIMIT, Network
from clearance.network.roadfile import open_road_file, write_road_file
from clearance.sources.osm_file import read_osm
from clearance.structures.find import find_structures
from tests.synthetic import SCRIPT, script, synthetic
from tests.towns import Town


def test_the_shares_are_those_of_roads() -> None:
    network = synthetic()
    pieces = len(network.geom_ptr) - 1
    assert network.node_osm.size == 3000
    assert network.arc_tail.size / network.node_osm.size == pytest.approx(2.67, abs=0.01)
    assert 1 - np.unique(network.arc_geom[network.arc_reverse >= 0]).size / pieces == pytest.approx(
        0.08, abs=1e-3
    )
    assert len(network.structures) / pieces == pytest.approx(0.02, abs=1e-3)
    low = network.structure_low[network.structure_verified]
    assert low.min() >= 25_000
    assert low.max() <= 50_000
    unverified = network.structure_low[~network.structure_verified]
    assert 0.1 < unverified.size / network.structure_low.size < 0.4
    assert (unverified == NO_LIMIT).all()


def test_every_node_leads_to_every_other() -> None:
    network = synthetic()
    ones = np.ones(network.arc_tail.size)
    graph = coo_array((ones, (network.arc_tail, network.arc_head)), shape=(3000, 3000)).tocsr()
    assert connected_components(graph, directed=True, connection="strong")[0] == 1


def test_arcs_pieces_ways_and_hits_fit_together() -> None:
    n = synthetic()
    assert (np.diff(n.arc_tail) >= 0).all()
    both = np.flatnonzero(n.arc_reverse >= 0)
    back = n.arc_reverse[both]
    assert (n.arc_reverse[back] == both).all()
    assert (n.arc_tail[back] == n.arc_head[both]).all()
    assert (n.arc_from[back] == n.arc_to[both]).all()
    along = n.arc_from < n.arc_to
    first, last = n.geom_ptr[n.arc_geom], n.geom_ptr[n.arc_geom + 1] - 1
    at_tail = np.where(along, first, last)
    assert (n.geom_lon[at_tail] == n.node_lon[n.arc_tail]).all()
    assert (n.geom_lat[at_tail] == n.node_lat[n.arc_tail]).all()
    # The next piece of a way begins where the last one ends.
    end_of = {
        (w, p): h
        for w, p, h in zip(
            n.arc_way[along].tolist(), n.arc_to[along].tolist(), n.arc_head[along].tolist(), strict=True
        )
    }
    inner = along & (n.arc_from > 0)
    assert inner.sum() > 500
    for way, position, tail in zip(
        n.arc_way[inner].tolist(), n.arc_from[inner].tolist(), n.arc_tail[inner].tolist(), strict=True
    ):
        assert end_of[way, position] == tail
    for arc, structure in zip(n.hit_arc.tolist(), n.hit_structure.tolist(), strict=True):
        (span,) = n.structures[structure].spans
        assert span.way == n.ways[n.arc_way[arc]].id
        assert span.start == (n.arc_from[arc] + n.arc_to[arc]) / 2
    assert len(n.turn_ptr) == n.state_arc.size + 1
    state = np.repeat(np.arange(n.state_arc.size), np.diff(n.turn_ptr))
    assert (n.arc_tail[n.turn_to] == n.arc_head[state]).all()
    assert (n.arc_reverse[state] != n.turn_to).all()


def test_the_same_seed_makes_the_same_network_and_the_road_file_keeps_it(tmp_path: Path) -> None:
    network = synthetic()
    again, other = script().synthetic(3000, 1), script().synthetic(3000, 2)
    write_road_file(network, tmp_path / "one.roads")
    write_road_file(again, tmp_path / "again.roads")
    write_road_file(other, tmp_path / "other.roads")
    contents = [(tmp_path / f"{name}.roads").read_bytes() for name in ("one", "again", "other")]
    assert contents[0] == contents[1] != contents[2]
    kept = open_road_file(tmp_path / "one.roads")
    for field in fields(Network):
        a, b = getattr(network, field.name), getattr(kept, field.name)
        assert np.array_equal(a, b) if isinstance(a, np.ndarray) else b == a, field.name


def test_too_small_a_network_is_refused() -> None:
    with pytest.raises(ValueError, match="100 nodes"):
        script().synthetic(99)


def _town() -> Town:
    """Two roads, a bridge over one of them, a bar, a car park by relation and a banned turn."""
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).node(4, 100, 100)
    town.node(5, 50, -50).node(6, 50, 50).node(
        7, 150, 0, {"barrier": "height_restrictor", "maxheight": "2.1"}
    )
    for ref, (x, y) in enumerate([(90, 40), (110, 40), (110, 60), (90, 60)], start=8):
        town.node(ref, x, y)
    town.way(10, [1, 2, 7, 3], {"highway": "residential", "maxheight": "3.9"}).way(11, [2, 4])
    town.way(12, [5, 6], {"railway": "rail", "bridge": "yes", "layer": "1"})
    town.way(13, [8, 9, 10, 11, 8], {"source": "survey"})
    town.relation(20, [("w", 13, "outer")], {"type": "multipolygon", "building": "parking"})
    return town.relation(
        21,
        [("w", 10, "from"), ("n", 2, "via"), ("w", 11, "to")],
        {"type": "restriction", "restriction": "no_left_turn"},
    )


def test_copies_have_everything_as_many_times() -> None:
    town = _town().extract()
    one = build_network(town, find_structures(town))
    extract: Extract = script().tiled(town, 3)
    three = build_network(extract, find_structures(extract))
    assert len(one.structures) >= 3
    for name in ("node_osm", "arc_tail", "turn_to", "hit_arc", "nodehit_node", "ways", "structures"):
        assert len(getattr(three, name)) == 3 * len(getattr(one, name)), name
    assert np.unique(three.node_osm).size == three.node_osm.size
    assert sorted(three.arc_length) == pytest.approx(sorted([*one.arc_length] * 3), abs=1e-6)


def test_copies_can_be_joined_by_a_road_each_way() -> None:
    town = _town()
    town.node(31, -200, 0).node(32, 700, 30).way(30, [31, 1, 32], {"highway": "primary"})
    extract: Extract = script().joined(town.extract(), 3)
    network = build_network(extract, find_structures(extract))
    ones = np.ones(network.arc_tail.size)
    shape = (network.node_osm.size, network.node_osm.size)
    graph = coo_array((ones, (network.arc_tail, network.arc_head)), shape=shape).tocsr()
    parts = connected_components(graph, directed=True, connection="strong")[1]
    mains = [ref + k * 20_000_000_000 for ref in (31, 32) for k in range(3)]
    assert np.isin(mains, network.node_osm).all()
    assert np.unique(parts[np.isin(network.node_osm, mains)]).size == 1
    assert {way.id: way.nodes for way in extract.ways}[31] == (32, 20_000_000_031)
    with pytest.raises(ValueError, match="join copies"):
        script().joined(_town().extract(), 2)


def test_a_file_of_copies_reads_as_copies_of_what_was_read(tmp_path: Path) -> None:
    (tmp_path / "town.osm").write_text(_town().osm_xml(), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "tile", "town.osm", "4", "tiled.osm.pbf"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    read = read_osm(tmp_path / "tiled.osm.pbf")
    expected = script().tiled(read_osm(tmp_path / "town.osm"), 4)
    assert read.ways == expected.ways
    assert read.relations == expected.relations
    assert read.node_tags == expected.node_tags
    for name in ("node_ids", "lon", "lat"):
        assert np.array_equal(getattr(read, name), getattr(expected, name)), name


def test_a_row_of_copies_that_is_full_goes_on_to_the_north(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A town so wide that there are three copies of it in a row: two stand in the next one."""
    monkeypatch.syspath_prepend(str(SCRIPT.parent))
    town = Town().node(1, 0, 0).node(2, 5_500_000, 0).node(3, 0, 900)
    town.way(10, [1, 2, 3], {"highway": "residential"})
    (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
    one = read_osm(tmp_path / "town.osm")
    script().tile_file(tmp_path / "town.osm", tmp_path / "tiled.osm.pbf", 5)
    found = read_osm(tmp_path / "tiled.osm.pbf")
    east, north = np.ptp(one.lon) + 0.02, np.ptp(one.lat) + 0.02
    moved = [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1)]
    assert 3 * east - 0.02 < 180 - one.lon.min() < 4 * east - 0.02
    assert found.lon == pytest.approx(np.concatenate([one.lon + x * east for x, _ in moved]), abs=2e-7)
    assert found.lat == pytest.approx(np.concatenate([one.lat + y * north for _, y in moved]), abs=2e-7)
    assert [way.nodes for way in found.ways[:2]] == [(1, 2, 3), tuple(20_000_000_000 + n for n in (1, 2, 3))]
    with pytest.raises(ValueError, match="no room for 100000 copies"):
        script().tile_file(tmp_path / "town.osm", tmp_path / "more.osm.pbf", 100_000)
    assert not (tmp_path / "more.osm.pbf").exists()


def test_no_more_copies_than_there_is_room_for() -> None:
    town = _town().extract()
    with pytest.raises(ValueError, match="room for"):
        script().tiled(town, 100_000)
    high = replace(town, node_ids=town.node_ids + 20_000_000_000)
    with pytest.raises(ValueError, match="too high"):
        script().tiled(high, 2)
