"""The kernels of matching against slow and plain readings of the same rules."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.routing.matching.kernels import (
    LINK_JUMP,
    LINK_NETWORK,
    candidates,
    likeliest,
    paths,
)

JUMP, LEAVE, OFF, BACK_M = 24.0, 10.0, 8.0, 15.0
INF = float("inf")


class Tiny:
    """A random graph of states with lengths, and random entries for a few points."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.size = int(rng.integers(2, 12))
        turns = [
            sorted(
                rng.choice(self.size, int(rng.integers(0, 4)), replace=False).tolist()
                if self.size > 3
                else [0]
            )
            for _ in range(self.size)
        ]
        self.ptr = np.cumsum([0, *(len(t) for t in turns)]).astype(np.int64)
        self.to = np.array([t for ts in turns for t in ts], dtype=np.int32)
        self.length = rng.uniform(5, 150, self.size)
        self.points = int(rng.integers(2, 8))
        counts = rng.integers(0, 5, self.points)
        self.entry_ptr = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        entries = int(self.entry_ptr[-1])
        self.state = rng.integers(0, self.size, entries).astype(np.int32)
        self.at = rng.uniform(0, 1, entries) * self.length[self.state]
        self.cost = rng.uniform(0, 6, entries)
        self.line_m = rng.uniform(0, 300, self.points - 1)
        self.line_m[rng.random(self.points - 1) < 0.1] = INF
        self.spread = rng.uniform(5, 40, self.points - 1)
        graph = nx.DiGraph()
        graph.add_nodes_from(range(self.size))
        for state, ts in enumerate(turns):
            graph.add_weighted_edges_from((state, to, self.length[state]) for to in ts)
        self.graph = graph
        self.from_start = dict(nx.all_pairs_dijkstra_path_length(graph))

    def round_m(self, a: int, b: int) -> float:
        """Metres from entry to entry by one turn or more."""
        rest = self.length[self.state[a]] - self.at[a]
        return min(
            (
                rest + self.from_start[to][self.state[b]] + self.at[b]
                for to in self.graph.successors(self.state[a])
                if self.state[b] in self.from_start[to]
            ),
            default=INF,
        )

    def step(self, point: int, a: int, b: int) -> float:
        """Penalty of the way from an entry of `point` to one of the next."""
        line = self.line_m[point]
        if line == INF:
            return INF
        ways = [self.round_m(a, b)]
        if self.state[a] == self.state[b] and self.at[b] - self.at[a] >= -BACK_M:
            ways.append(max(float(self.at[b] - self.at[a]), 0.0))
        return min(abs(way - line) / self.spread[point] if way < INF else INF for way in ways)

    def best(self) -> float:
        """The least penalty of all chains, by the plain recurrence."""
        roads = {j: self.cost[j] for j in range(self.entry_ptr[0], self.entry_ptr[1])}
        off = LEAVE + OFF
        for point in range(1, self.points):
            lowest = min(roads.values(), default=INF)
            new = {
                j: self.cost[j]
                + min(
                    off + LEAVE,
                    lowest + JUMP,
                    min((cost + self.step(point - 1, i, j) for i, cost in roads.items()), default=INF),
                )
                for j in range(self.entry_ptr[point], self.entry_ptr[point + 1])
            }
            off = min(off, lowest + LEAVE) + OFF
            roads = new
        return float(min(min(roads.values(), default=INF), off + LEAVE))


@settings(deadline=None, max_examples=300)
@given(st.integers(0, 2**32 - 1))
def test_the_likeliest_chain_has_the_least_penalty(seed: int) -> None:
    tiny = Tiny(seed)
    chain, link = likeliest(
        (tiny.ptr, tiny.to),
        tiny.length,
        entries=(tiny.entry_ptr, tiny.state, tiny.at, tiny.cost, np.ones(tiny.state.size, np.bool_)),
        line_m=tiny.line_m,
        spread=tiny.spread,
        weights=(JUMP, LEAVE, OFF, BACK_M),
    )
    total = sum(OFF if j < 0 else tiny.cost[j] for j in chain)
    total += LEAVE * (int(chain[0] < 0) + int(chain[-1] < 0))
    for point, (a, b) in enumerate(pairwise(chain.tolist())):
        assert b < 0 or tiny.entry_ptr[point + 1] <= b < tiny.entry_ptr[point + 2]
        if (a < 0) != (b < 0):
            total += LEAVE
        elif a >= 0 and link[point + 1] == LINK_JUMP:
            total += JUMP
        elif a >= 0:
            assert link[point + 1] == LINK_NETWORK
            total += tiny.step(point, a, b)
    assert total == pytest.approx(tiny.best())


def test_a_chain_begins_only_where_it_may() -> None:
    """Two entries at one place; the cheaper one stands for a memory that a beginning cannot have."""
    chain, _ = likeliest(
        (np.array([0, 0, 0], dtype=np.int64), np.empty(0, np.int32)),
        np.array([100.0, 100.0]),
        entries=(
            np.array([0, 2, 4], dtype=np.int64),
            np.array([0, 1, 0, 1], dtype=np.int32),
            np.array([10.0, 10.0, 50.0, 50.0]),
            np.array([1.0, 0.0, 1.0, 0.0]),
            np.array([True, False, True, False]),
        ),
        line_m=np.array([40.0]),
        spread=np.array([10.0]),
        weights=(JUMP, LEAVE, OFF, BACK_M),
    )
    assert chain.tolist() == [0, 2]


@settings(deadline=None, max_examples=200)
@given(st.integers(0, 2**32 - 1))
def test_paths_are_shortest_and_drivable(seed: int) -> None:
    tiny = Tiny(seed)
    count = tiny.state.size
    pairs = [(a, b) for a in range(count) for b in range(count)][:40]
    if not pairs:
        return
    a, b = (np.array(side) for side in zip(*pairs, strict=True))
    longest = np.full(len(pairs), 400.0)
    ptr, states = paths(
        (tiny.ptr, tiny.to),
        tiny.length,
        sources=(tiny.state[a], tiny.at[a]),
        targets=(tiny.state[b], tiny.at[b]),
        longest=longest,
    )
    for i, (source, target) in enumerate(pairs):
        way = states[ptr[i] : ptr[i + 1]].tolist()
        shortest = tiny.round_m(source, target)
        if not way:
            assert shortest > 400.0 - 1e-9
            continue
        assert way[0] == tiny.state[source]
        assert way[-1] == tiny.state[target]
        assert all(tiny.graph.has_edge(here, there) for here, there in pairwise(way))
        metres = tiny.length[way[:-1]].sum() - tiny.at[source] + tiny.at[target]
        assert metres == pytest.approx(shortest)
        assert metres <= 400.0


@settings(deadline=None, max_examples=100)
@given(st.integers(0, 2**32 - 1))
def test_candidates_are_all_pieces_near_and_where_on_them(seed: int) -> None:
    """On a plane with 1 m a degree, against the distances of a geometry library."""
    rng = np.random.default_rng(seed)
    lines = [np.cumsum(rng.normal(0, 30, (int(rng.integers(2, 7)), 2)), axis=0) for _ in range(8)]
    lines = [line + rng.uniform(-200, 200, 2) for line in lines]
    ptr = np.cumsum([0, *(len(line) for line in lines)]).astype(np.int64)
    x, y = (np.ascontiguousarray(np.concatenate(lines)[:, i]) for i in (0, 1))
    at = rng.uniform(-250, 250, (20, 2))
    forward = np.arange(8, dtype=np.int32)
    backward = np.where(rng.random(8) < 0.5, forward + 8, -1).astype(np.int32)
    radius = 60.0
    ones = np.ones(20)
    begin, arcs, fractions, distances, bearings = candidates(
        np.ascontiguousarray(at[:, 0]),
        np.ascontiguousarray(at[:, 1]),
        scale=(ones, ones),
        lines=(x, y, ptr),
        arcs=(forward, backward),
        radius=radius,
        most=200,
    )
    shapes = [shapely.LineString(line) for line in lines]
    for i, place in enumerate(at):
        point = shapely.Point(place)
        found: dict[int, list[tuple[float, float]]] = {}
        mine = slice(int(begin[i]), int(begin[i + 1]))
        assert (np.diff(distances[mine]) >= 0).all()
        for arc, fraction, distance in zip(arcs[mine], fractions[mine], distances[mine], strict=True):
            found.setdefault(int(arc), []).append((float(distance), float(fraction)))
        for piece, shape in enumerate(shapes):
            near = shape.distance(point)
            expected = {piece, *([int(backward[piece])] if backward[piece] >= 0 else [])}
            if near > radius:
                assert not expected & found.keys()
                continue
            assert expected <= found.keys()
            where = shape.project(point, normalized=True)
            for arc in expected:
                distance, fraction = min(found[arc])
                assert distance == pytest.approx(near, abs=1e-9)
                assert fraction == pytest.approx(where if arc == piece else 1 - where, abs=1e-9)
    assert np.isfinite(bearings).all()


def test_a_piece_that_comes_near_twice_is_there_twice_and_a_corner_once() -> None:
    x = np.array([0.0, 100.0, 100.0, 0.0])
    y = np.array([0.0, 0.0, 20.0, 20.0])

    def near(px: float, py: float) -> list[tuple[float, float]]:
        one = np.ones(1)
        _, _, fractions, distances, bearings = candidates(
            np.array([px], dtype=np.float64),
            np.array([py], dtype=np.float64),
            scale=(one, one),
            lines=(x, y, np.array([0, 4], dtype=np.int64)),
            arcs=(np.array([0], dtype=np.int32), np.array([-1], dtype=np.int32)),
            radius=50.0,
            most=10,
        )
        assert bearings.size == fractions.size
        return list(zip(distances.round(6).tolist(), (fractions * 220).round(6).tolist(), strict=True))

    assert near(30, 8) == [(8.0, 30.0), (12.0, 190.0)]
    assert near(110, -10) == [(14.142136, 100.0)]


def test_only_the_nearest_are_kept() -> None:
    count = 30
    y = np.repeat(np.arange(count, dtype=np.float64), 2)
    x = np.tile([0.0, 100.0], count)
    one = np.ones(1)
    begin, arcs, _, distances, _ = candidates(
        np.array([50.0]),
        np.array([-1.0]),
        scale=(one, one),
        lines=(x, y, np.arange(0, 2 * count + 1, 2, dtype=np.int64)),
        arcs=(np.arange(count, dtype=np.int32), np.full(count, -1, np.int32)),
        radius=50.0,
        most=4,
    )
    assert begin.tolist() == [0, 4]
    assert arcs.tolist() == [0, 1, 2, 3]
    assert distances.tolist() == [1.0, 2.0, 3.0, 4.0]
