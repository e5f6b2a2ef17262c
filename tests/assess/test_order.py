"""The order of stops, against every order there is."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.assess.order import MOST_EXACT, best_order


@st.composite
def tables(draw: st.DrawFn) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    n = draw(st.integers(2, 8))
    values = draw(st.lists(st.one_of(st.integers(0, 50), st.just(None)), min_size=n * n, max_size=n * n))
    return np.array([np.inf if v is None else float(v) for v in values]).reshape(n, n)


@settings(max_examples=200, deadline=None)
@given(tables())
def test_equal_to_brute_force(cost: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> None:
    """Reference: all permutations, summed one by one."""
    n = cost.shape[0]
    sums = [
        sum(cost[a, b] for a, b in pairwise((0, *middle, n - 1))) for middle in permutations(range(1, n - 1))
    ]
    found = best_order(cost)
    if not np.isfinite(min(sums)):
        assert found is None
        return
    assert found is not None
    assert found.exact
    assert found.cost == min(sums)
    assert sorted(found.stops) == list(range(n))
    assert (found.stops[0], found.stops[-1]) == (0, n - 1)


def test_ten_are_exact_and_eleven_say_that_they_are_not() -> None:
    chance = np.random.default_rng(5)
    for middle in (MOST_EXACT, MOST_EXACT + 1):
        places = chance.random((middle + 2, 2))
        cost = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
        found = best_order(cost)
        assert found is not None
        assert found.exact is (middle <= MOST_EXACT)
        assert sorted(found.stops) == list(range(middle + 2))


def test_a_long_list_on_a_line_comes_out_in_order() -> None:
    along = np.array([0, 7, 3, 11, 1, 9, 5, 2, 10, 4, 8, 6, 12, 13, 14], dtype=np.float64)
    found = best_order(np.abs(along[:, None] - along[None]))
    assert found is not None
    assert found.cost == 14
    assert not found.exact
