"""Where a number stands in a sorted column."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["rows_of"]


def rows_of(column: npt.NDArray[np.integer], number: int) -> tuple[int, int]:
    """The first row of a sorted column (n,) that holds `number`, and the one behind the last.

    They are equal where none holds it. Takes the logarithm of n: numpy would change all of a column of
    32 bits to 64, each time, were a plain number looked for in it.
    """
    first, last = np.searchsorted(column, np.array((number, number + 1), column.dtype))
    return int(first), int(last)
