"""The best order of the stops of a day between its fixed ends."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

__all__ = ["MOST_EXACT", "Order", "best_order"]

#: Up to so many stops between the ends every order is weighed; more would take minutes.
MOST_EXACT = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """`stops` are the indices of all places in the order to drive them, the ends included; `cost` their sum.

    `exact` is False where there were too many to weigh every order: then a good one, not surely the best.
    """

    stops: tuple[int, ...]
    cost: float
    exact: bool


def best_order(cost: npt.NDArray[np.float64]) -> Order | None:
    """The cheapest order of places 0 to n - 1 that begins with 0 and ends with n - 1.

    `cost` has shape (n, n), seconds from row to column, not the same both ways, infinite where no drive
    leads. Exact up to `MOST_EXACT` places between the ends (dynamic programming over sets, Held and Karp
    1962, from memory). None where no order has a drive on every leg; with two places there is one order.
    """
    n = cost.shape[0]
    if n - 2 <= MOST_EXACT:
        return _exact(cost)
    return _good(cost)


def _sum(cost: npt.NDArray[np.float64], stops: tuple[int, ...]) -> float:
    return float(cost[list(stops[:-1]), list(stops[1:])].sum())


def _exact(cost: npt.NDArray[np.float64]) -> Order | None:
    n = cost.shape[0]
    middle = n - 2
    full = (1 << middle) - 1
    # reach[s, i]: the least cost from the start through the stops of set s, ending at stop i of the set
    reach = np.full((full + 1, max(middle, 1)), np.inf)
    before = np.full((full + 1, max(middle, 1)), -1, np.int64)
    for i in range(middle):
        reach[1 << i, i] = cost[0, i + 1]
    for chosen in range(1, full + 1):
        for i in range(middle):
            if not chosen >> i & 1 or not np.isfinite(reach[chosen, i]):
                continue
            for j in range(middle):
                if chosen >> j & 1:
                    continue
                grown, total = chosen | 1 << j, reach[chosen, i] + cost[i + 1, j + 1]
                if total < reach[grown, j]:
                    reach[grown, j] = total
                    before[grown, j] = i
    if middle == 0:
        return _told(cost, (0, n - 1), exact=True)
    last = int(np.argmin(reach[full, :middle] + cost[1 : n - 1, n - 1]))
    stops, chosen = [n - 1], full
    while last >= 0:
        stops.append(last + 1)
        chosen, last = chosen & ~(1 << last), int(before[chosen, last])
    return _told(cost, tuple(reversed([*stops, 0])), exact=True)


def _told(cost: npt.NDArray[np.float64], stops: tuple[int, ...], *, exact: bool) -> Order | None:
    if len(set(stops)) != cost.shape[0]:
        return None
    total = _sum(cost, stops)
    return Order(stops=stops, cost=total, exact=exact) if np.isfinite(total) else None


def _good(cost: npt.NDArray[np.float64]) -> Order | None:
    """Cheapest insertion, then moves of up to three stops in a row until none helps."""
    n = cost.shape[0]
    # A finite stand-in lets a way through a missing drive be mended by the moves.
    finite = cost[np.isfinite(cost)]
    weighed = np.where(np.isfinite(cost), cost, (float(finite.max()) if finite.size else 1.0) * n * 10)
    stops = [0, n - 1]
    for _ in range(n - 2):
        left = [i for i in range(n) if i not in stops]
        _, at, stop = min(
            (weighed[a, i] + weighed[i, b] - weighed[a, b], k, i)
            for i in left
            for k, (a, b) in enumerate(pairwise(stops), start=1)
        )
        stops.insert(at, stop)
    better: list[int] | None = stops
    while better is not None:
        stops = better
        best = _sum(weighed, tuple(stops))
        better = next((t for t in _moved(stops) if _sum(weighed, tuple(t)) < best - 1e-9), None)
    return _told(cost, tuple(stops), exact=False)


def _moved(stops: list[int]) -> Iterator[list[int]]:
    """The orders in which up to three stops in a row stand elsewhere, as they are or turned."""
    for size in (1, 2, 3):
        for k in range(1, len(stops) - size):
            block, rest = stops[k : k + size], stops[:k] + stops[k + size :]
            for at in range(1, len(rest)):
                yield [*rest[:at], *block, *rest[at:]]
                yield [*rest[:at], *block[::-1], *rest[at:]]
