"""The search bounded by landmarks against the plain one and scipy; its bounds against what it takes."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TypedDict

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.network.build import build_network
from clearance.network.landmarks import LONGEST_MS
from clearance.network.network import Network
from clearance.routing.guided import Guide, Tried, guided
from clearance.routing.kernels import shortest
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.ran import Ran, recording
from clearance.routing.rules import LIMIT_KINDS
from clearance.routing.way import Way, best_way
from clearance.sources.osm_file import read_osm
from clearance.structures.find import find_structures
from tests.network.moves import network_of
from tests.routing.engines import with_landmarks
from tests.routing.grid_towns import GridTown, grid_towns
from tests.synthetic import synthetic
from tests.towns import Town

# Data © OpenStreetMap contributors, ODbL 1.0.
DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
MANY = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))

#: States, with the seconds at which they are come to or that they add.
Places = list[tuple[int, float]]
heights = st.integers(20_000, 52_000)
ignored = st.sampled_from([frozenset[str](), frozenset({"height"}), LIMIT_KINDS, LIMIT_KINDS | {"height"}])


def _coach(tenths: int) -> Coach:
    return Coach(height=Length(tenths - 1000), margin=Length(1000), comfort=Length(tenths + 3000))


class Asked(TypedDict):
    sources: npt.NDArray[np.int32]
    source_labels: npt.NDArray[np.float64]
    targets: npt.NDArray[np.int32]
    target_extra: npt.NDArray[np.float64]


def _asked(sources: Places, targets: Places) -> Asked:
    return {
        "sources": np.array([state for state, _ in sources], np.int32),
        "source_labels": np.array([label for _, label in sources], np.float64),
        "targets": np.array([state for state, _ in targets], np.int32),
        "target_extra": np.array([extra for _, extra in targets], np.float64),
    }


def _labels(
    network: Network, costs: Costs, sources: Places, targets: Places
) -> tuple[npt.NDArray[np.float64], int]:
    labels, _, found = shortest(
        network.turn_ptr,
        network.turn_to,
        cost=costs.cost,
        turn_extra=costs.turn_extra,
        **_asked(sources, targets),
    )
    return labels, found


def _way(network: Network, costs: Costs, sources: Places, targets: Places) -> Way | None:
    return best_way(network, costs, **_asked(sources, targets))


def _summed(network: Network, costs: Costs, way: Way, first: float) -> float:
    """What a way costs, added up along its states in driving order; each turn must be there and open."""
    label = first
    for here, there in zip(way.states, way.states[1:], strict=False):
        turns = range(int(network.turn_ptr[here]), int(network.turn_ptr[here + 1]))
        label = min(
            label + float(costs.cost[here]) + float(costs.turn_extra[t])
            for t in turns
            if network.turn_to[t] == there
        )
    return label


@MANY
@given(grid_towns(), heights, ignored, st.booleans(), st.data())
def test_ways_cost_what_the_plain_search_finds(
    drawn: GridTown, tenths: int, ignore: frozenset[str], car: bool, data: st.DataObject
) -> None:
    town = build_network(drawn.town().extract(), drawn.structures())
    landmarks = data.draw(st.integers(1, 6), "landmarks")
    network = with_landmarks(town, landmarks)
    costs = coach_costs(network, _coach(tenths), Unverified.AVOID, None, car=car, ignore=ignore)
    state = st.integers(0, network.state_arc.size - 1)
    # Sums of times of any length, a state more than once, and such as are closed.
    seconds = st.one_of(st.floats(0, 2000), st.just(np.inf))
    sources = data.draw(st.lists(st.tuples(state, seconds), min_size=1, max_size=4), "sources")
    targets = data.draw(st.lists(st.tuples(state, seconds), min_size=1, max_size=5), "targets")
    labels, found = _labels(network, costs, sources, targets)
    way = _way(network, costs, sources, targets)
    assert (way is None) == (found < 0)
    if way is None:
        return
    # The very same sums: not a bit of difference.
    state_there, extra = targets[found]
    assert way.cost == labels[state_there] + extra
    assert way.states[-1] == targets[way.target][0]
    first = min(t for s, t in sources if s == way.states[0])
    assert way.cost == _summed(network, costs, way, first) + targets[way.target][1]


@MANY
@given(grid_towns(), heights, ignored, st.booleans(), st.data())
def test_no_bound_is_higher_than_what_it_takes_any_vehicle(
    drawn: GridTown, tenths: int, ignore: frozenset[str], car: bool, data: st.DataObject
) -> None:
    network = with_landmarks(build_network(drawn.town().extract(), drawn.structures()), 3)
    costs = coach_costs(network, _coach(tenths), Unverified.REFUSE, None, car=car, ignore=ignore)
    states = network.state_arc.size
    targets = np.array(data.draw(st.lists(st.integers(0, states - 1), min_size=1, max_size=4)), np.int32)
    extra = np.array(data.draw(st.lists(st.floats(0, 1e6), min_size=targets.size, max_size=targets.size)))
    guide = Guide.to(network, targets, extra)
    times = network.landmark_ms.astype(np.int64)
    for state in range(states):
        labels, _ = _labels(network, costs, [(state, 0.0)], [])
        takes = float((labels[targets] + extra).min())
        node = network.arc_tail[network.state_arc[state]]
        bound = int(max((guide.low - times[node, :3]).max(), (times[node, 3:] - guide.high).max()))
        if bound > LONGEST_MS + 500_000_000:
            assert takes == np.inf
        else:
            assert bound / 1000 <= takes


def _scipy(network: Network, costs: Costs, source: int) -> npt.NDArray[np.float64]:
    states = network.state_arc.size
    origin = np.repeat(np.arange(states), np.diff(network.turn_ptr))
    weight = costs.cost[origin] + costs.turn_extra
    kept = np.isfinite(weight)
    graph = coo_array((weight[kept], (origin[kept], network.turn_to[kept])), shape=(states, states)).tocsr()
    found: npt.NDArray[np.float64] = dijkstra(graph, indices=source)
    return found


def _against_scipy(network: Network, seed: int, rounds: int) -> tuple[int, int]:
    """Compare random pairs by random coaches; how many have a way and how many have none."""
    random = np.random.default_rng(seed)
    found = none = 0
    for _ in range(rounds):
        coach = _coach(int(random.integers(25_000, 50_000)))
        unverified = [*Unverified][int(random.integers(3))]
        costs = coach_costs(network, coach, unverified, None, car=bool(random.random() < 0.2))
        source = int(random.integers(network.state_arc.size))
        exact = _scipy(network, costs, source)
        for target in random.integers(0, network.state_arc.size, 25).tolist():
            way = _way(network, costs, [(source, 0.0)], [(target, 0.0)])
            if way is None:
                assert exact[target] == np.inf
                none += 1
            else:
                assert way.cost == pytest.approx(exact[target], rel=1e-12)
                found += 1
    return found, none


@cache
def _large() -> Network:
    return with_landmarks(synthetic(), 8)


def test_random_pairs_and_coaches_cost_what_scipy_finds() -> None:
    found, none = _against_scipy(_large(), seed=5, rounds=40)
    assert found > 500
    assert none > 0


def test_a_real_area_costs_what_scipy_finds() -> None:
    path = DATA / "liechtenstein.osm.pbf"
    if not path.exists():
        pytest.skip(f"{path} is not there")
    extract = read_osm(path)
    network = with_landmarks(build_network(extract, find_structures(extract)), 8)
    found, none = _against_scipy(network, seed=6, rounds=20)
    assert found > 100
    assert none > 0


def test_the_same_question_has_the_same_answer() -> None:
    network = _large()
    costs = coach_costs(network, _coach(40_000), Unverified.AVOID, None)
    one, other = (_way(network, costs, [(5, 3.0), (11, 2.5)], [(4321, 0.0), (17, 9.0)]) for _ in range(2))
    assert one is not None
    assert one == other


def test_what_was_tried_in_vain_is_passed_by_and_nothing_else() -> None:
    network = _large()
    costs = coach_costs(network, _coach(48_000), Unverified.REFUSE, None)
    random = np.random.default_rng(9)
    failed = saved = 0
    for target in random.integers(0, network.state_arc.size, 40).tolist():
        ran, alone = Ran(clock=lambda: 0.0), Ran(clock=lambda: 0.0)
        tried = Tried(network)
        for source in random.integers(0, network.state_arc.size, 12).tolist():
            asked = _asked([(source, 1.5)], [(target, 2.5)])
            with recording(ran):
                way = guided(network, cost=costs.cost, turn_extra=costs.turn_extra, **asked, tried=tried)
            with recording(alone):
                assert way == guided(network, cost=costs.cost, turn_extra=costs.turn_extra, **asked)
            if way is not None:
                break
            failed += 1
            saved += alone.searches[-1].settled - ran.searches[-1].settled
            assert sum(s.settled for s in ran.searches) <= network.state_arc.size
    assert failed > 20
    assert saved > 1000


def test_nothing_to_start_from_or_to_come_to() -> None:
    network = _large()
    costs = coach_costs(network, _coach(40_000), Unverified.AVOID, None)
    assert _way(network, costs, [], [(3, 0.0)]) is None
    assert _way(network, costs, [(3, 0.0)], []) is None
    assert _way(network, costs, [(3, np.inf)], [(4, 0.0)]) is None
    way = _way(network, costs, [(3, 2.0)], [(3, 0.5)])
    assert way == Way(target=0, cost=2.5, states=[3])


def test_the_other_side_of_a_gap_is_not_looked_for() -> None:
    """Two towns that nothing joins: bounds between them say so, or at least never say too much."""
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).node(5, 0, 900).node(6, 90, 900)
    network = with_landmarks(network_of(town.way(11, [1, 2, 3]).way(12, [5, 6])), 2)
    costs = coach_costs(network, _coach(40_000), Unverified.AVOID, None)
    far = int(np.flatnonzero(network.arc_way == 1)[0])
    assert _way(network, costs, [(0, 0.0)], [(far, 0.0)]) is None


def test_without_landmarks_it_is_refused() -> None:
    network = network_of(Town().node(1, 0, 0).node(2, 100, 0).way(11, [1, 2]))
    nothing = np.zeros(0)
    with pytest.raises(ValueError, match="no landmarks"):
        guided(
            network,
            cost=nothing,
            turn_extra=nothing.astype(np.float32),
            sources=nothing.astype(np.int32),
            source_labels=nothing,
            targets=nothing.astype(np.int32),
            target_extra=nothing,
        )
