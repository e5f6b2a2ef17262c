"""The best pairing, checked against scipy's linear_sum_assignment and by leaving each pair out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.structures.assignment import best_pairing


def greatest_total(gain: npt.NDArray[np.float64]) -> float:
    """By the reference library; gains of 0 or less count as none."""
    from scipy.optimize import linear_sum_assignment

    counted = np.maximum(gain, 0.0)
    rows, columns = linear_sum_assignment(counted, maximize=True)
    return float(counted[rows, columns].sum())


@settings(max_examples=300, deadline=None)
@given(st.integers(1, 8), st.integers(1, 8), st.integers(1, 3), st.integers(0, 2**31))
def test_total_and_slack_are_those_of_the_reference(n: int, m: int, digits: int, seed: int) -> None:
    """Few digits make ties, where many pairings are best; slack is what leaving a pair out costs."""
    rng = np.random.default_rng(seed)
    gain = np.round(rng.random((n, m)), digits) * (rng.random((n, m)) < 0.6)
    found = best_pairing(gain)
    assert len(set(found.row.tolist())) == len(found.row)
    assert len(set(found.column.tolist())) == len(found.column)
    assert (gain[found.row, found.column] > 0).all()
    total = greatest_total(gain)
    assert float(gain[found.row, found.column].sum()) == pytest.approx(total, abs=1e-9)
    for row, column, slack in zip(found.row, found.column, found.slack, strict=True):
        without = gain.copy()
        without[row, column] = 0.0
        assert float(slack) == pytest.approx(total - greatest_total(without), abs=1e-9)


def test_larger_groups_too() -> None:
    gain = np.random.default_rng(5).random((70, 90))
    found = best_pairing(gain)
    assert float(gain[found.row, found.column].sum()) == pytest.approx(greatest_total(gain), abs=1e-9)


def test_the_pairing_as_a_whole_counts_and_not_each_best() -> None:
    """The first row would rather have the first column, but then the second row had nothing."""
    found = best_pairing(np.array([[0.9, 0.8], [0.8, 0.0]]))
    assert found.row.tolist() == [0, 1]
    assert found.column.tolist() == [1, 0]


def test_nothing_to_pair() -> None:
    found = best_pairing(np.zeros((3, 2)))
    assert found.row.tolist() == found.column.tolist() == found.slack.tolist() == []
