"""The best order of the stops of a day between its fixed ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Costs = npt.NDArray[np.float64]
    Owners = npt.NDArray[np.int64]

__all__ = ["MOST_EXACT", "Order", "best_order"]

#: Up to so many stops between the ends every order is weighed; more would take minutes.
MOST_EXACT = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """`stops` are the numbers of all stops in the order to drive them, the ends included; `cost` their sum.

    `exact` is False where there were too many to weigh every order: then a good one, not surely the best.
    """

    stops: tuple[int, ...]
    cost: float
    exact: bool


def best_order(cost: Costs, stop_of: Sequence[int]) -> Order | None:
    """The cheapest order of stops 0 to n - 1 that begins with 0 and ends with n - 1.

    A stop can be come to in more than one way, and what it takes to go on depends on it: `cost` (m, m)
    is from way to way, in seconds, infinite where no drive leads; `stop_of` (m,) is the stop of each way,
    and every stop has one way at least, stop 0 just one. Exact up to `MOST_EXACT` stops between the
    ends (dynamic programming over sets, Held and Karp 1962, from memory). None where no order has a
    drive on every leg.
    """
    owners = np.asarray(stop_of, dtype=np.int64)
    n = int(owners.max()) + 1
    if n - 2 <= MOST_EXACT:
        return _exact(cost, owners, n)
    return _good(cost, owners, n)


def _along(cost: Costs, owners: Owners, stops: Sequence[int]) -> float:
    """The least cost of an order, over all ways to come to each stop."""
    ways = np.flatnonzero(owners == stops[0])
    reach = np.zeros(len(ways))
    for stop in stops[1:]:
        ahead = np.flatnonzero(owners == stop)
        reach = (reach[:, None] + cost[np.ix_(ways, ahead)]).min(axis=0)
        ways = ahead
    return float(reach.min())


def _exact(cost: Costs, owners: Owners, n: int) -> Order | None:
    middle = n - 2
    full = (1 << middle) - 1
    ways = np.flatnonzero((owners > 0) & (owners < n - 1))
    bit = 1 << (owners[ways] - 1)
    ends = np.flatnonzero(owners == n - 1)
    start = int(np.flatnonzero(owners == 0)[0])
    if middle == 0:
        return _told(cost, owners, (0, n - 1), exact=True)
    # reach[s, w]: the least cost from the start through the stops of set s, the last of them come to by way w
    reach = np.full((full + 1, len(ways)), np.inf)
    before = np.full((full + 1, len(ways)), -1, np.int64)
    for w, way in enumerate(ways):
        reach[bit[w], w] = cost[start, way]
    between = cost[np.ix_(ways, ways)]
    for chosen in range(1, full + 1):
        here = np.flatnonzero(np.isfinite(reach[chosen]))
        if not here.size:
            continue
        totals = reach[chosen, here][:, None] + between[here]
        best = totals.argmin(axis=0)
        for w in np.flatnonzero((bit & chosen) == 0).tolist():
            grown, total = chosen | int(bit[w]), totals[best[w], w]
            if total < reach[grown, w]:
                reach[grown, w] = total
                before[grown, w] = here[best[w]]
    closing = (reach[full][:, None] + cost[np.ix_(ways, ends)]).min(axis=1)
    last, chosen, stops = int(np.argmin(closing)), full, [n - 1]
    while last >= 0:
        stops.append(int(owners[ways[last]]))
        chosen, last = chosen & ~int(bit[last]), int(before[chosen, last])
    return _told(cost, owners, tuple(reversed([*stops, 0])), exact=True)


def _told(cost: Costs, owners: Owners, stops: tuple[int, ...], *, exact: bool) -> Order | None:
    if len(set(stops)) != int(owners.max()) + 1:
        return None
    total = _along(cost, owners, stops)
    return Order(stops=stops, cost=total, exact=exact) if np.isfinite(total) else None


def _good(cost: Costs, owners: Owners, n: int) -> Order | None:
    """Cheapest insertion, then moves of up to three stops in a row until none helps."""
    # A finite stand-in lets a way through a missing drive be mended by the moves.
    finite = cost[np.isfinite(cost)]
    weighed = np.where(np.isfinite(cost), cost, (float(finite.max()) if finite.size else 1.0) * n * 10)
    stops = [0, n - 1]
    for stop in range(1, n - 1):
        tried = [[*stops[:at], stop, *stops[at:]] for at in range(1, len(stops))]
        stops = min(tried, key=lambda order: _along(weighed, owners, order))
    better: list[int] | None = stops
    while better is not None:
        stops = better
        best = _along(weighed, owners, stops)
        better = next((t for t in _moved(stops) if _along(weighed, owners, t) < best - 1e-9), None)
    return _told(cost, owners, tuple(stops), exact=False)


def _moved(stops: list[int]) -> Iterator[list[int]]:
    """The orders in which up to three stops in a row stand elsewhere, as they are or turned."""
    for size in (1, 2, 3):
        for k in range(1, len(stops) - size):
            block, rest = stops[k : k + size], stops[:k] + stops[k + size :]
            for at in range(1, len(rest)):
                yield [*rest[:at], *block, *rest[at:]]
                yield [*rest[:at], *block[::-1], *rest[at:]]
