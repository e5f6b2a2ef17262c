"""How much work is done, in counts that no busy machine changes: what keeps the tool quick stays true.

Each bound stands beside what was counted when it was set: room for other roads, not for another order.
"""

from __future__ import annotations

import tracemalloc
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import osmium
import pytest

from clearance.assess.case import Case
from clearance.assess.findings import findings_of, passages_of
from clearance.assess.turn_off import turn_off_before, with_turn_offs
from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.network import roadfile
from clearance.network.network import Network
from clearance.network.roadfile import open_road_file, write_road_file
from clearance.routing import pocket
from clearance.routing.guided import engine
from clearance.routing.kernels import ENGINE
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.needed import ENGINE as NEEDED
from clearance.routing.plan import find_drive
from clearance.routing.ran import Ran, Searched, recording
from clearance.routing.snap import Snap, snap
from clearance.routing.tradeoff_kernel import ENGINE as TRADE_OFFS
from clearance.routing.tradeoffs import trade_offs
from clearance.routing.way import best_way
from clearance.sources import way_blocks
from clearance.sources.osm_file import read_osm
from clearance.structures import grid
from clearance.workflow import network_of
from tests.assess.towns import COACH
from tests.routing.engines import for_engine, with_landmarks
from tests.sources.test_osm_file import as_pbf
from tests.synthetic import synthetic
from tests.towns import Town, lonlat


@cache
def _network() -> Network:
    return with_landmarks(synthetic(), 8)


def _costs(tenths: int, unverified: Unverified) -> Costs:
    height = Length(tenths - 1000)
    coach = Coach(height=height, margin=Length(1000), comfort=Length(tenths + 3000))
    return coach_costs(_network(), coach, unverified, None)


def _searched(network: Network, costs: Costs, source: int, target: int) -> list[Searched]:
    """The searches for the way from a state to another."""
    zero, ran = np.zeros(1), Ran(clock=lambda: 0.0)
    with recording(ran):
        best_way(
            network,
            costs,
            sources=np.array([source], np.int32),
            source_labels=zero,
            targets=np.array([target], np.int32),
            target_extra=zero,
        )
    return ran.searches


def test_landmarks_spare_most_of_the_network() -> None:
    network, costs = _network(), _costs(40_000, Unverified.ACCEPT)
    bare = for_engine(network, "plain")
    pairs = np.random.default_rng(8).integers(0, network.state_arc.size, (30, 2)).tolist()
    settled: dict[str, list[int]] = {}
    for name, one, told in (("plain", bare, ENGINE), ("landmarks", network, engine(network))):
        for source, target in pairs:
            searches = _searched(one, costs, source, target)
            assert {search.engine for search in searches} <= {told, pocket.ENGINE}
            settled.setdefault(name, []).append(sum(search.settled for search in searches))
    plain, guided = (float(np.median(settled[name])) for name in ("plain", "landmarks"))
    assert guided < 0.5 * plain, (guided, plain)  # 0.38 counted; it falls as networks grow


def test_a_look_backwards_stays_a_look() -> None:
    network, costs = _network(), _costs(48_000, Unverified.REFUSE)
    pairs = np.random.default_rng(9).integers(0, network.state_arc.size, (60, 2)).tolist()
    looks = [
        s.settled for a, b in pairs for s in _searched(network, costs, a, b) if s.engine == pocket.ENGINE
    ]
    assert len(looks) == 60
    assert max(looks) <= pocket.MOST_STATES + 1


def test_trade_offs_make_few_labels() -> None:
    network, costs = _network(), _costs(40_000, Unverified.AVOID)
    made: list[int] = []
    for a, b in np.random.default_rng(10).integers(0, network.arc_tail.size, (20, 2)).tolist():
        ends = [[Snap(arc=arc, fraction=0.5, distance_m=0.0, lon=0.0, lat=0.0)] for arc in (a, b)]
        ran = Ran(clock=lambda: 0.0)
        with recording(ran):
            trade_offs(network, costs, *ends)
        made += [search.settled for search in ran.searches if search.engine == TRADE_OFFS]
    assert len(made) > 10
    assert np.median(made) < 0.05 * network.state_arc.size  # 0.019 counted


def test_a_few_searches_tell_that_nothing_leads_round_a_structure() -> None:
    """A street with a blind street at each of 64 corners, under a railway at its end."""
    corners, town = 64, Town()
    for i in range(corners + 2):
        town.node(1 + i, 100 * i, 0)
    for i in range(1, corners + 1):
        town.node(1001 + i, 100 * i, 60).way(2000 + i, [1 + i, 1001 + i], {"highway": "residential"})
    town.way(10, [*range(1, corners + 3)], {"highway": "residential"})
    under = 100 * corners + 50
    town.node(5001, under, -30).node(5002, under, 30)
    town.way(11, [5001, 5002], {"railway": "rail", "bridge": "yes", "layer": "1"})
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.ACCEPT, None)
    start, end = (snap(network, *lonlat(x, 0), case.costs.usable) for x in (30, under + 20))
    route = find_drive(network, case.costs, start, end)
    assert route is not None
    (passage,) = passages_of(case, route)
    assert passage.leg >= corners
    ran = Ran(clock=lambda: 0.0)
    with recording(ran):
        assert turn_off_before(case, route, passage, end) is None
    assert 1 <= len(ran.searches) <= 8  # 7 counted; asked one by one, 64


def test_one_sweep_tells_of_all_structures_that_nothing_leads_round() -> None:
    """A street under 30 railways with a blind street before each."""
    railways, town = 30, Town()
    for i in range(railways + 2):
        town.node(1 + i, 100 * i, 0)
    for i in range(1, railways + 1):
        town.node(1001 + i, 100 * i, 60).way(2000 + i, [1 + i, 1001 + i], {"highway": "residential"})
        town.node(5000 + 2 * i, 100 * i + 50, -30).node(5001 + 2 * i, 100 * i + 50, 30)
        town.way(7000 + i, [5000 + 2 * i, 5001 + 2 * i], {"railway": "rail", "bridge": "yes", "layer": "1"})
    town.way(10, [*range(1, railways + 3)], {"highway": "residential"})
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.ACCEPT, None)
    start, end = (snap(network, *lonlat(x, 0), case.costs.usable) for x in (30, 100 * railways + 80))
    route = find_drive(network, case.costs, start, end)
    assert route is not None
    found = findings_of(case, route)
    assert len(found) == railways
    ran = Ran(clock=lambda: 0.0)
    with recording(ran):
        told = with_turn_offs(case, route, found, start=start, end=end)
    assert not any(finding.turn_off and finding.turn_off.leads_on for finding in told)
    engines = [search.engine for search in ran.searches]
    assert engines.count(NEEDED) == 1
    assert len(engines) < 180  # 131 counted; 248 without the sweep


@pytest.mark.parametrize("pieces", [1000, 4000])
def test_segments_are_compared_with_their_neighbours_alone(
    pieces: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    network = synthetic()
    points = np.rint(np.stack((network.geom_lon, network.geom_lat), axis=1) * 1e7).astype(np.int64)
    begin = np.setdiff1d(np.arange(len(points)), network.geom_ptr[1:] - 1)[:pieces]
    ends = np.concatenate((points[begin], points[begin + 1]), axis=1)
    nodes = np.unique(ends.reshape(-1, 2), axis=0, return_inverse=True)[1].reshape(-1, 2)
    compared = 0

    def meet(*told: Any) -> bool:
        nonlocal compared
        compared += 1
        found: bool = real(*told)
        return found

    real = grid._meet
    monkeypatch.setattr(grid, "_meet", meet)
    monkeypatch.setattr(grid, "_pairs", grid._pairs.py_func)
    low, _ = grid.meeting_pairs(tuple(ends.T), tuple(nodes.T), np.ones(len(ends), np.bool_))
    assert len(low) < len(ends)
    assert len(ends) <= compared < 15 * len(ends), compared  # 9.7 and 10.0 counted


def test_a_map_file_is_passed_through_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    town = Town()
    for ref in range(1, 120, 2):
        town.node(ref, 0, 20 * ref).node(ref + 1, 90, 20 * ref)
        town.way(ref, [ref, ref + 1], {"highway": "residential"} if ref % 3 else {"building": "yes"})
    (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
    path = as_pbf(tmp_path / "town.osm.pbf", tmp_path / "town.osm")
    handed: list[int] = []
    whole, buffer = osmium.io.File, osmium.io.FileBuffer

    def whole_file(*given: Any) -> osmium.io.File:
        handed.append(path.stat().st_size)
        return whole(*given)

    def part(data: bytes, kind: str) -> osmium.io.FileBuffer:
        handed.append(len(data))
        return buffer(data, kind)

    monkeypatch.setattr(osmium.io, "File", whole_file)
    monkeypatch.setattr(osmium.io, "FileBuffer", part)
    assert len(read_osm(path).ways) >= 39
    # A header goes along with each part.
    assert 1.5 * path.stat().st_size < sum(handed) < 2 * path.stat().st_size + 100


@pytest.mark.parametrize("nodes", [1, 1000])
def test_buildings_are_looked_up_once_however_many_blocks_there_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nodes: int
) -> None:
    town = Town()
    for ref in range(1, 120, 2):
        town.node(ref, 0, 20 * ref).node(ref + 1, 90, 20 * ref)
        town.way(ref, [ref, ref + 1], {"highway": "residential"} if ref % 3 else {"building": "yes"})
    (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
    looked_up: list[int] = []
    real = np.isin

    def isin(ids: Any, among: Any) -> Any:
        looked_up.append(len(ids) + len(among))
        return real(ids, among)

    monkeypatch.setattr(way_blocks, "_MANY_NODES", nodes)
    monkeypatch.setattr(np, "isin", isin)
    assert len(read_osm(tmp_path / "town.osm").ways) >= 39
    assert 60 <= sum(looked_up) <= 120


def test_opening_a_road_file_reads_no_more_than_it_must(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "synthetic.roads"
    write_road_file(_network(), path)
    summed: list[int] = []
    real = roadfile._word_sum

    def word_sum(content: Any) -> int:
        summed.append(content.size)
        return real(content)

    monkeypatch.setattr(roadfile, "_word_sum", word_sum)
    monkeypatch.setattr(roadfile, "CHECKED_BYTES", 300_000)
    monkeypatch.setattr(roadfile, "_READ_BYTES", 0)  # mapped, as large ones are
    open_road_file(path)
    assert 200_000 < sum(summed) <= 300_000 < path.stat().st_size / 4
    tracemalloc.start()
    try:
        network = open_road_file(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    # All arrays lie in the file: what is held besides is the list of its parts.
    assert peak < path.stat().st_size / 4  # 0.12 counted
    assert not network.arc_seconds.flags.owndata
