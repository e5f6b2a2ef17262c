"""The best one-to-one pairing of two small groups, and how sure each pair of it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["Pairing", "best_pairing"]


@dataclass(frozen=True, slots=True)
class Pairing:
    """Pairs of a best pairing, sorted by row: arrays of shape (k,).

    `slack` is by how much the total would fall if that pair were not allowed: 0 where another pairing
    without it is just as good.
    """

    row: npt.NDArray[np.int64]
    column: npt.NDArray[np.int64]
    slack: npt.NDArray[np.float64]


def best_pairing(gain: npt.NDArray[np.float64]) -> Pairing:
    """Pairs of rows and columns, each used at most once, with the greatest total of `gain` (n, m).

    A gain of 0 or less is no pair. Exact, by shortest augmenting paths (Kuhn 1955, Munkres 1957, in the
    form of Jonker and Volgenant 1987), in about (n + m) cubed steps: for groups, not for whole countries.

    >>> found = best_pairing(np.array([[0.9, 0.8], [0.8, 0.0]]))
    >>> found.row.tolist(), found.column.tolist(), found.slack.round(3).tolist()
    ([0, 1], [1, 0], [0.7, 0.7])
    """
    n, m = gain.shape
    size = n + m
    # Everybody may also stay alone, at no gain: a column of its own for each row, and the reverse.
    cost = np.zeros((size, size))
    cost[:n, :m] = -np.maximum(gain, 0.0)
    column_of, u, v = _cheapest(cost)
    slack = _slack(cost - u[:, None] - v[None, :], column_of)
    real = np.flatnonzero(column_of[:n] < m)
    real = real[gain[real, column_of[real]] > 0]
    return Pairing(real, column_of[real], slack[real])


def _cheapest(
    cost: npt.NDArray[np.float64],
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """The column of each row in a cheapest full pairing of a square matrix, and the two potentials.

    ``cost[i, j] - u[i] - v[j]`` is never below 0, and 0 for the pairs chosen (but for rounding).
    """
    size = len(cost)
    u, v = np.zeros(size), np.zeros(size)
    row_of = np.full(size, -1, dtype=np.int64)
    for row in range(size):
        # Dijkstra from `row` over reduced costs to the nearest free column.
        distance = np.full(size, np.inf)
        before = np.full(size, -1, dtype=np.int64)
        done = np.zeros(size, dtype=np.bool_)
        at, column, base = row, -1, 0.0
        while True:
            reach = base + cost[at] - u[at] - v
            closer = ~done & (reach < distance)
            distance[closer] = reach[closer]
            before[closer] = column
            column = int(np.argmin(np.where(done, np.inf, distance)))
            base = float(distance[column])
            done[column] = True
            if row_of[column] < 0:
                break
            at = int(row_of[column])
        passed = done.copy()
        passed[column] = False
        u[row] += base
        u[row_of[passed]] += base - distance[passed]
        v[passed] -= base - distance[passed]
        while column >= 0:
            previous = int(before[column])
            row_of[column] = row_of[previous] if previous >= 0 else row
            column = previous
    column_of = np.empty(size, dtype=np.int64)
    column_of[row_of] = np.arange(size)
    return column_of, u, v


def _slack(reduced: npt.NDArray[np.float64], column_of: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """For each row, what it costs at least to give it another column: the cheapest ring of exchanges."""
    # step[i, k]: row i takes the column of row k.
    step = np.maximum(reduced[:, column_of], 0.0)
    np.fill_diagonal(step, np.inf)
    path = step.copy()
    for k in range(len(path)):
        np.minimum(path, path[:, k, None] + path[None, k, :], out=path)
    return np.diagonal(path).copy()
