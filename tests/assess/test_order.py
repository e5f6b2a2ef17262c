"""The order of stops, against every order there is."""

from __future__ import annotations

import random
from itertools import pairwise, permutations, product

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.assess.order import MOST_EXACT, best_order

Table = tuple[npt.NDArray[np.float64], list[int]]


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Costs between the ways to come to up to seven stops, some without a drive; one way to the first."""
    n = draw(st.integers(2, 7))
    stop_of = [0] + [stop for stop in range(1, n) for _ in range(draw(st.integers(1, 2)))]
    m = len(stop_of)
    values = draw(st.lists(st.one_of(st.integers(0, 50), st.none()), min_size=m * m, max_size=m * m))
    return np.array([np.inf if v is None else float(v) for v in values]).reshape(m, m), stop_of


@settings(max_examples=150, deadline=None)
@given(tables())
def test_equal_to_brute_force(table: Table) -> None:
    """Reference: all permutations with all ways to come to each stop, summed one by one."""
    cost, stop_of = table
    n = max(stop_of) + 1
    ways = [[w for w, stop in enumerate(stop_of) if stop == s] for s in range(n)]
    least = min(
        sum(cost[a, b] for a, b in pairwise(chosen))
        for middle in permutations(range(1, n - 1))
        for chosen in product(*(ways[s] for s in (0, *middle, n - 1)))
    )
    found = best_order(cost, stop_of)
    if not np.isfinite(least):
        assert found is None
        return
    assert found is not None
    assert found.exact
    assert found.cost == least
    assert sorted(found.stops) == list(range(n))
    assert (found.stops[0], found.stops[-1]) == (0, n - 1)


def test_ten_are_exact_and_eleven_say_that_they_are_not() -> None:
    chance = np.random.default_rng(5)
    for middle in (MOST_EXACT, MOST_EXACT + 1):
        places = chance.random((middle + 2, 2))
        cost = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
        found = best_order(cost, range(middle + 2))
        assert found is not None
        assert found.exact is (middle <= MOST_EXACT)
        assert sorted(found.stops) == list(range(middle + 2))


def test_a_long_list_on_a_line_comes_out_in_order() -> None:
    along = np.array([0, 7, 3, 11, 1, 9, 5, 2, 10, 4, 8, 6, 12, 13, 14], dtype=np.float64)
    found = best_order(np.abs(along[:, None] - along[None]), range(15))
    assert found is not None
    assert found.cost == 14
    assert not found.exact


def moves(stops: list[int]) -> list[list[int]]:
    """The orders in which one to three stops in a row stand elsewhere, as they are or turned; ends stay."""
    found = []
    for first in range(1, len(stops) - 1):
        for behind in range(first + 1, min(first + 3, len(stops) - 1) + 1):
            block, rest = stops[first:behind], stops[:first] + stops[behind:]
            for at in range(1, len(rest)):
                found += [[*rest[:at], *turned, *rest[at:]] for turned in (block, block[::-1])]
    return found


@pytest.mark.parametrize("seed", range(3))
def test_no_move_makes_a_long_list_better(seed: int) -> None:
    """One-way costs, as of streets; each order of the moves is summed by itself."""
    chance = np.random.default_rng(seed)
    n = MOST_EXACT + 3
    cost = chance.integers(1, 40, (n, n)).astype(np.float64)
    found = best_order(cost, range(n))
    assert found is not None

    def along(stops: list[int]) -> float:
        return float(sum(cost[a, b] for a, b in pairwise(stops)))

    assert found.cost == along(list(found.stops))
    assert found.cost <= min(map(along, moves(list(found.stops))))
    assert (found.stops[0], found.stops[-1]) == (0, n - 1)


@pytest.mark.parametrize("seed", range(6))
def test_a_long_list_with_few_drives_is_brought_in_an_order_that_has_them_all(seed: int) -> None:
    """Drives lead to the next and the one after it alone, and some of them cost nothing."""
    chance = random.Random(seed)
    n = MOST_EXACT + 3
    middle = list(range(1, n - 1))
    chance.shuffle(middle)
    order = [0, *middle, n - 1]
    cost = np.full((n, n), np.inf)
    for k, stop in enumerate(order):
        for other in (order[k + d] for d in (1, 2, -1) if 0 <= k + d < n):
            cost[stop, other] = chance.choice([0.0, 1.0, 9.0]) * 1000 ** (seed % 2)
    found = best_order(cost, range(n))
    assert found is not None
    assert np.isfinite(found.cost)
    assert found.cost == sum(cost[a, b] for a, b in pairwise(found.stops))


def test_where_nothing_leads_anywhere_there_is_no_order() -> None:
    for middle in (0, 1, 3, MOST_EXACT + 1):
        n = middle + 2
        assert best_order(np.full((n, n), np.inf), range(n)) is None
    # One drive alone is missing, and no order goes without it.
    cost = np.ones((14, 14))
    cost[:, 5] = np.inf
    assert best_order(cost, range(14)) is None


def test_two_stops_need_no_order() -> None:
    cost = np.array([[0.0, 5.0, 4.0], [9.0, 0.0, 9.0], [9.0, 9.0, 0.0]])
    found = best_order(cost, [0, 1, 1])
    assert found is not None
    assert (found.stops, found.cost, found.exact) == ((0, 1), 4.0, True)


def test_no_move_makes_any_of_many_short_lists_better(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if no order were weighed exactly: short lists are quick to move about."""
    monkeypatch.setattr("clearance.assess.order.MOST_EXACT", 0)
    worse = 0
    for seed in range(60):
        chance = np.random.default_rng(seed)
        n = 6 + seed % 3
        cost = chance.integers(1, 60, (n, n)).astype(np.float64)
        found = best_order(cost, range(n))
        assert found is not None
        assert not found.exact

        def along(stops: list[int], cost: npt.NDArray[np.float64] = cost) -> float:
            return float(sum(cost[a, b] for a, b in pairwise(stops)))

        assert found.cost == along(list(found.stops))
        assert found.cost <= min(map(along, moves(list(found.stops))))
        least = min(along([0, *middle, n - 1]) for middle in permutations(range(1, n - 1)))
        assert found.cost >= least
        worse += found.cost > least
    # Moves find the best order of most such lists, though not of all.
    assert 0 < worse < 30


def test_a_dear_order_that_has_every_drive_is_better_than_cheap_ones_without() -> None:
    """To the next stop it costs ten, and to the one after it nothing, which leaves every other out."""
    n = MOST_EXACT + 3
    cost = np.full((n, n), np.inf)
    for k in range(n - 1):
        cost[k, k + 1] = 10.0
        if k + 2 < n:
            cost[k, k + 2] = 0.0
    found = best_order(cost, range(n))
    assert found is not None
    assert found.stops == tuple(range(n))
    assert found.cost == 10.0 * (n - 1)
