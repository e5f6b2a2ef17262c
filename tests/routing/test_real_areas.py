"""Real extracts: whatever the coach, no drive passes below its need, and scipy finds the same costs."""

from __future__ import annotations

from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.core.structure import Standing
from clearance.network.build import build_network
from clearance.network.network import NO_LIMIT, Network
from clearance.network.roadfile import open_road_file, write_road_file
from clearance.routing.kernels import shortest
from clearance.routing.mask import coach_costs, open_ends
from clearance.routing.plan import find_drive, greatest_height
from clearance.routing.route import hits_on
from clearance.routing.snap import Snap, snap
from clearance.sources.osm_file import read_osm
from clearance.structures.find import find_structures
from tests.routing.engines import for_engine

# Data © OpenStreetMap contributors, ODbL 1.0.
DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
AREAS = {"liechtenstein.osm.pbf": 3.4, "monaco-small.osm.pbf": 3.0, "seattle-northgate.osm": 2.6}


@cache
def _network(path: Path) -> Network:
    extract = read_osm(path)
    return build_network(extract, find_structures(extract))


@pytest.fixture(params=product(AREAS, ("plain", "landmarks")), ids="-".join)
def area(request: pytest.FixtureRequest) -> tuple[Network, float]:
    """A network for each engine, and a height of coach that some of its figures are too low for."""
    name, engine = request.param
    path = DATA / name
    if not path.exists():
        pytest.skip(f"{path} is not there")
    return for_engine(_network(path), engine), AREAS[name]


def _coach(metres: float) -> Coach:
    return Coach(height=Length.from_metres(str(metres)), margin=Length.from_metres("0.15"))


def _places(network: Network, count: int, seed: int) -> list[tuple[float, float]]:
    nodes = np.random.default_rng(seed).integers(0, network.node_osm.size, count)
    return [(float(network.node_lon[n]), float(network.node_lat[n])) for n in nodes]


def _snaps(network: Network, usable: np.ndarray, place: tuple[float, float]) -> list[Snap]:
    return snap(network, *place, usable, 5000.0)


def test_no_drive_passes_a_figure_below_the_need(area: tuple[Network, float]) -> None:
    network, metres = area
    coach = _coach(metres)
    costs = coach_costs(network, coach, Unverified.AVOID, None)
    assert (costs.standing == list(Standing).index(Standing.TOO_LOW)).any(), (
        "nothing to avoid: a test of nothing"
    )
    places = _places(network, 60, seed=7)
    found = 0
    for start, end in zip(places[::2], places[1::2], strict=True):
        a, b = _snaps(network, costs.usable, start), _snaps(network, costs.usable, end)
        opened = open_ends(network, costs, [s.arc for s in a], [s.arc for s in b])
        route = find_drive(network, opened, a, b)
        if route is None:
            continue
        found += 1
        for passage in hits_on(network, opened, route):
            assert passage.standing(opened) is not Standing.TOO_LOW
            figure = network.structures[passage.structure].lowest(passage.direction)
            assert figure is None or figure >= coach.need
        for i, turn in enumerate(route.turns):
            assert network.turn_to[turn] == route.states[i + 1]
            assert np.isfinite(opened.turn_extra[turn])
        assert np.isfinite(opened.arc_cost[list(route.arcs[1:-1])]).all()
    assert found >= 10


def test_costs_are_those_of_scipy(area: tuple[Network, float]) -> None:
    network, metres = area
    costs = coach_costs(network, _coach(metres), Unverified.AVOID, None)
    states = network.state_arc.size
    origin = np.repeat(np.arange(states), np.diff(network.turn_ptr))
    weight = costs.cost[origin] + costs.turn_extra
    kept = np.isfinite(weight)
    graph = coo_array((weight[kept], (origin[kept], network.turn_to[kept])), shape=(states, states)).tocsr()
    for source in np.random.default_rng(3).integers(0, states, 5).tolist():
        labels, _, _ = shortest(
            network.turn_ptr,
            network.turn_to,
            cost=costs.cost,
            turn_extra=costs.turn_extra,
            sources=np.array([source], dtype=np.int32),
            source_labels=np.zeros(1),
            targets=np.zeros(0, np.int32),
            target_extra=np.zeros(0),
        )
        np.testing.assert_allclose(labels, dijkstra(graph, indices=source), rtol=1e-9)


def test_a_coach_just_as_tall_as_the_tallest_gets_through_and_no_taller(area: tuple[Network, float]) -> None:
    network, _ = area
    figures = np.unique(network.structure_low[network.structure_low < NO_LIMIT])
    low = figures[figures < 45000]
    # A place that lies behind one of the lower figures: on an arc that it bears on.
    free = coach_costs(network, _coach(3), Unverified.ACCEPT, None, ignore=frozenset({"height"}))
    checked = 0
    for place in _places(network, 12, seed=11):
        for hit in np.flatnonzero(
            np.isin(network.structure_low[network.hit_structure, network.hit_side], low)
        )[:12]:
            head = network.arc_head[network.hit_arc[hit]]
            goal = (float(network.node_lon[head]), float(network.node_lat[head]))
            a, b = _snaps(network, free.usable, place), _snaps(network, free.usable, goal)
            opened = open_ends(network, free, [s.arc for s in a], [s.arc for s in b])
            tallest = greatest_height(network, opened, a, b, unverified_passable=True)
            if tallest.route is None or tallest.height is None or not 17000 < tallest.height.tenths < 60000:
                continue
            checked += 1
            margin = Length(1000)
            for extra, passes in ((0, True), (1, False)):
                coach = Coach(height=tallest.height - margin + Length(extra), margin=margin)
                costs = coach_costs(network, coach, Unverified.ACCEPT, None)
                # Other limits alike, so that only the height differs.
                costs = open_ends(network, costs, [s.arc for s in a], [s.arc for s in b])
                assert (find_drive(network, costs, a, b) is not None) is passes
    if not checked:
        pytest.skip("no figure of this area limits the way between the places drawn")


def test_a_small_area_comes_back_from_its_road_file(tmp_path: Path) -> None:
    path = DATA / "liechtenstein.osm.pbf"
    if not path.exists():
        pytest.skip(f"{path} is not there")
    extract = read_osm(path)
    structures = find_structures(extract)
    write_road_file(build_network(extract, structures), tmp_path / "area.roads")
    network = open_road_file(tmp_path / "area.roads")
    assert list(network.structures) == list(structures)
