"""Where a number stands in a sorted column, against counting."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.network.sorted_rows import rows_of


@pytest.mark.parametrize("kind", [np.int32, np.int64])
@given(st.lists(st.integers(-5, 5)), st.integers(-6, 6))
def test_all_rows_of_a_number_and_no_other(
    kind: type[np.integer[Any]], numbers: list[int], number: int
) -> None:
    column = np.array(sorted(numbers), kind)
    first, last = rows_of(column, number)
    assert column[first:last].tolist() == [number] * numbers.count(number)
    assert first == sum(n < number for n in numbers)


def test_the_column_is_not_changed_to_other_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is looked for is of the column's kind, or the whole column would be copied each time."""
    kinds: list[Any] = []
    real = np.searchsorted

    def searchsorted(column: Any, wanted: Any) -> Any:
        kinds.append((column.dtype, wanted.dtype))
        return real(column, wanted)

    monkeypatch.setattr(np, "searchsorted", searchsorted)
    assert rows_of(np.array([1, 3, 3, 4], np.int32), 3) == (1, 3)
    assert rows_of(np.array([1, 3, 3, 4], np.int64), np.int64(2)) == (1, 1)  # type: ignore[arg-type]
    assert kinds == [(np.int32, np.int32), (np.int64, np.int64)]
