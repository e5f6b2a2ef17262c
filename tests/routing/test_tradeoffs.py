"""Trade-offs on random towns against every simple drive there is, and general libraries at both ends."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Iterator

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Standing, Structure
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.plan import find_drive, route_of
from clearance.routing.route import Route, hits_on
from clearance.routing.snap import Snap, snap
from clearance.routing.tradeoffs import driving_time, trade_offs
from clearance.routing.unverified import unproven, unverified_on, unverified_turns
from tests.routing.grid_towns import (
    COMFORT,
    FIRST_WAY,
    NEED,
    SPEEDS,
    GridTown,
    Street,
    grid_towns,
    segments,
)

COACH = Coach(height=Length(NEED - 1000), margin=Length(1000), comfort=Length(COMFORT), propane=False)
MANY = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
#: Drives of one town that are looked at one by one; a town with more is left out.
MOST_DRIVES = 60_000


def _evidence(tenths: int | None, direction: Direction) -> tuple[Evidence, ...]:
    if tenths is None:
        return ()
    return (Evidence(evidence_class=EvidenceClass.POSTED, figure=Length(tenths), direction=direction),)


@st.composite
def open_towns(draw: st.DrawFn) -> GridTown:
    """A grid of three by two or three blocks, all streets there, one a block, of differing speeds."""
    width, height = 3, draw(st.sampled_from((2, 3)))
    pairs = [(y * width + x, y * width + x + 1) for y in range(height) for x in range(width - 1)]
    pairs += [(y * width + x, y * width + x + width) for y in range(height - 1) for x in range(width)]
    streets = tuple(
        Street(ref=FIRST_WAY + i, nodes=pair, oneway="no", speed=draw(st.sampled_from(SPEEDS)))
        for i, pair in enumerate(pairs)
    )
    by_ref = {street.ref: street for street in streets}
    return GridTown(width=width, height=height, streets=streets, start=pairs[0], by_ref=by_ref)


@st.composite
def crowded_towns(draw: st.DrawFn) -> tuple[GridTown, tuple[Structure, ...]]:
    """A town of few corners with things over its streets: at points, over many blocks, on corners."""
    town = draw(st.one_of(open_towns(), grid_towns().filter(lambda t: t.width * t.height <= 9)))
    structures: list[Structure] = []

    def span(street: Street) -> Span:
        top = 4 * (len(street.nodes) - 1)
        a = draw(st.integers(0, top))
        b = draw(st.one_of(st.just(a), st.integers(a, top)))
        return Span(way=street.ref, start=a / 4, end=b / 4, whole_way=draw(st.integers(0, 9)) == 0)

    for i in range(draw(st.integers(0, 8))):
        streets = draw(st.lists(st.sampled_from(town.streets), max_size=2, unique=True))
        nodes = draw(st.lists(st.integers(1, town.width * town.height), max_size=1))
        if not streets and not nodes:
            continue
        # Mostly nothing is known; sometimes a figure for both directions, good or too low.
        tenths = draw(st.sampled_from((None, None, None, None, NEED, NEED - 1)))
        structures.append(
            Structure(
                key=f"thing {i}",
                kind=Kind.TUNNEL,
                lon=0.0,
                lat=0.0,
                evidence=_evidence(tenths, Direction.BOTH),
                spans=tuple(span(street) for street in streets),
                nodes=tuple(nodes),
            )
        )
    return town, tuple(structures)


class _TooManyError(Exception):
    """A town with more drives than can be walked."""


def every_drive(network: Network, costs: Costs, start: list[Snap], end: list[Snap]) -> Iterator[Route]:
    """All drives that come to no state twice, found by walking."""
    walked = 0
    for a in start:
        waiting = [[a.arc]]
        while waiting:
            states = waiting.pop()
            walked += 1
            if walked >= MOST_DRIVES:
                raise _TooManyError
            here = int(network.state_arc[states[-1]])
            for b in end:
                if b.arc == here and (len(states) > 1 or a.fraction <= b.fraction):
                    route = route_of(network, costs, states, a.fraction, b.fraction)
                    if np.isfinite(route.seconds) and np.isfinite(route.policy_seconds):
                        yield route
            if costs.closed[here]:
                continue
            for turn in range(int(network.turn_ptr[states[-1]]), int(network.turn_ptr[states[-1] + 1])):
                to = int(network.turn_to[turn])
                if to not in states and np.isfinite(costs.turn_extra[turn]):
                    waiting.append([*states, to])


def passed_unverified(network: Network, costs: Costs, route: Route) -> int:
    """What a report of the drive would list as unverified."""
    return sum(p.passed and p.standing(costs) is Standing.UNVERIFIED for p in hits_on(network, costs, route))


def compared(network: Network, costs: Costs, start: list[Snap], end: list[Snap]) -> int:
    """Compare the trade-offs with all simple drives; how many trade-offs there are."""
    found = [(c.unverified, c.route) for c in trade_offs(network, costs, start, end)]
    best: dict[int, float] = {}
    for route in every_drive(network, driving_time(network, costs), start, end):
        count = passed_unverified(network, costs, route)
        best[count] = min(best.get(count, np.inf), route.seconds)
    expected: list[tuple[int, float]] = []
    for count, seconds in sorted(best.items()):
        if not expected or seconds < expected[-1][1] - 1e-6:
            expected.append((count, seconds))

    assert [count for count, _ in found] == [count for count, _ in expected]
    assert [route.seconds for _, route in found] == pytest.approx([s for _, s in expected], rel=1e-9)
    for count, route in found:
        assert passed_unverified(network, costs, route) == count
        assert not any(p.standing(costs) is Standing.TOO_LOW for p in hits_on(network, costs, route))
        assert (route.arcs[0], route.start) in {(s.arc, s.fraction) for s in start}
        assert (route.arcs[-1], route.end) in {(s.arc, s.fraction) for s in end}
    return len(found)


@MANY
@given(crowded_towns(), st.data())
def test_nothing_beats_them_and_nothing_is_missing(
    drawn: tuple[GridTown, tuple[Structure, ...]], data: st.DataObject
) -> None:
    town, structures = drawn
    network = build_network(town.town().extract(), structures)
    costs = coach_costs(network, COACH, Unverified.ACCEPT, None)
    start = snap(network, *town.middle(town.start), costs.usable)
    end = snap(network, *town.middle(data.draw(st.sampled_from(segments(town)))), costs.usable)
    try:
        compared(network, costs, start, end)
    except _TooManyError:
        reject()


def test_towns_with_much_to_choose_from() -> None:
    """Quick streets are under something unknown, slow ones are not: most drives have several trade-offs."""
    counts = []
    for seed in range(12):
        chance = random.Random(seed)
        pairs = [(y * 3 + x, y * 3 + x + 1) for y in range(3) for x in range(2)]
        pairs += [(y * 3 + x, y * 3 + x + 3) for y in range(2) for x in range(3)]
        covered = [chance.random() < 0.6 for _ in pairs]
        streets = tuple(
            Street(ref=FIRST_WAY + i, nodes=pair, oneway="no", speed=80 if under else chance.choice((20, 30)))
            for i, (pair, under) in enumerate(zip(pairs, covered, strict=True))
        )
        town = GridTown(width=3, height=3, streets=streets, start=pairs[0])
        structures = tuple(
            Structure(
                key=f"thing {i}",
                kind=Kind.TUNNEL,
                lon=0.0,
                lat=0.0,
                spans=(Span(way=street.ref, start=0.25, end=chance.choice((0.25, 0.75))),),
            )
            for i, (street, under) in enumerate(zip(streets, covered, strict=True))
            if under
        )
        network = build_network(town.town().extract(), structures)
        costs = coach_costs(network, COACH, Unverified.ACCEPT, None)
        start = snap(network, *town.middle(pairs[0]), costs.usable)
        end = snap(network, *town.middle(pairs[5]), costs.usable)
        with contextlib.suppress(_TooManyError):
            counts.append(compared(network, costs, start, end))
    assert sum(count >= 2 for count in counts) > 6
    assert max(counts) >= 3


@MANY
@given(crowded_towns())
def test_the_quickest_and_the_one_with_fewest_equal_general_libraries(
    drawn: tuple[GridTown, tuple[Structure, ...]],
) -> None:
    """From corner to corner of the state graph; the ends of a drive are the ends of whole arcs here."""
    town, structures = drawn
    network = build_network(town.town().extract(), structures)
    costs = driving_time(network, coach_costs(network, COACH, Unverified.ACCEPT, None))
    start = snap(network, *town.middle(town.start), costs.usable)
    states = network.state_arc.size
    origin = np.repeat(np.arange(states), np.diff(network.turn_ptr))
    added = unverified_turns(network, unproven(network, costs))
    kept = np.isfinite(costs.cost[origin]) & np.isfinite(costs.turn_extra)
    pair = (origin[kept], network.turn_to[kept])
    graph = nx.DiGraph()
    graph.add_nodes_from(range(states))
    graph.add_edges_from(
        (a, b, {"count": int(n)}) for a, b, n in zip(*(x.tolist() for x in (*pair, added[kept])), strict=True)
    )
    times = coo_array((costs.cost[pair[0]], pair), shape=(states, states)).tocsr()
    goals = [Snap(arc=a, fraction=1.0, distance_m=0, lon=0, lat=0) for a in range(network.arc_tail.size)]
    for a in start:
        whole = Snap(arc=a.arc, fraction=0.0, distance_m=0, lon=0, lat=0)
        quickest = dijkstra(times, indices=a.arc)
        own = unverified_on(network, unproven(network, costs), [(a.arc, 0.0, 1.0)])
        fewest = nx.single_source_dijkstra_path_length(graph, a.arc, weight="count")
        for goal in goals:
            if goal.arc == a.arc:
                continue
            found = trade_offs(network, costs, [whole], [goal])
            reached = [
                s
                for s in range(states)
                if network.state_arc[s] == goal.arc
                and np.isfinite(quickest[s])
                and np.isfinite(costs.cost[s])
            ]
            if not reached or not np.isfinite(costs.cost[a.arc]):
                assert found == ()
                continue
            least = min(quickest[s] for s in reached) + costs.seconds[goal.arc]
            assert found[-1].route.seconds == pytest.approx(least, rel=1e-9)
            assert found[0].unverified == own + min(fewest[s] for s in reached)
            plain = find_drive(network, costs, [whole], [goal])
            assert plain is not None
            assert found[-1].route.seconds == pytest.approx(plain.seconds, rel=1e-9)


@MANY
@given(crowded_towns(), st.data())
def test_what_turns_add_is_what_a_drive_over_them_passes(
    drawn: tuple[GridTown, tuple[Structure, ...]], data: st.DataObject
) -> None:
    town, structures = drawn
    network = build_network(town.town().extract(), structures)
    costs = coach_costs(network, COACH, Unverified.ACCEPT, None)
    marked = unproven(network, costs)
    added = unverified_turns(network, marked)
    state = data.draw(st.integers(0, network.state_arc.size - 1))
    states, total = [state], unverified_on(network, marked, [(int(network.state_arc[state]), 0.0, 1.0)])
    for _ in range(8):
        turns = range(int(network.turn_ptr[states[-1]]), int(network.turn_ptr[states[-1] + 1]))
        if not turns:
            break
        turn = data.draw(st.sampled_from(turns))
        states.append(int(network.turn_to[turn]))
        total += int(added[turn])
        parts = [(int(network.state_arc[s]), 0.0, 1.0) for s in states]
        assert unverified_on(network, marked, parts) == total
    route = route_of(network, costs, states, 0.0, 1.0)
    assert passed_unverified(network, costs, route) == total
