"""A route changed only where it is too low: off before the structure, back onto the route after it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.findings import passages_of
from clearance.core.structure import Standing
from clearance.routing.kernels import shortest
from clearance.routing.plan import route_of, stretch

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.routing.route import Passage, Route

__all__ = ["mended"]


def mended(case: Case, route: Route) -> tuple[Route, int, tuple[int, ...]]:
    """The route with a way round everything too low that has one.

    Each way round begins at the last junction before the structure from which one leads back onto the
    route, and of those the quickest to the end is taken; it keeps to everything that closes a way to the
    coach. Returns the route, how many ways round were put in, and the structures that have none.
    """
    changed = 0
    without: list[int] = []
    while True:
        low = next(
            (
                p
                for p in passages_of(case, route)
                if p.standing(case.costs) is Standing.TOO_LOW and p.structure not in without
            ),
            None,
        )
        if low is None:
            return route, changed, tuple(dict.fromkeys(without))
        round_it = _round(case, route, low)
        if round_it is None:
            without.append(low.structure)
        else:
            route = round_it
            changed += 1


def _round(case: Case, route: Route, passage: Passage) -> Route | None:
    network, costs = case.network, case.costs
    last = len(route.arcs) - 1
    after, remaining = [], []
    ahead = 0.0
    for leg in range(last, passage.leg, -1):
        start, end = route.span(leg)
        part = stretch(network, costs, route.arcs[leg], start, end).cost
        ahead += float(costs.seconds[route.arcs[leg]]) * (end - start)
        if part < np.inf:
            after.append(leg)
            remaining.append(ahead)
    if not after:
        return None
    for leg in range(passage.leg - 1, -1, -1):
        state = route.states[leg]
        turns = np.arange(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1]))
        turns = turns[np.isfinite(costs.turn_extra[turns])]
        _, before, found = shortest(
            network.turn_ptr,
            network.turn_to,
            cost=costs.cost,
            turn_extra=costs.turn_extra,
            sources=network.turn_to[turns].astype(np.int32),
            source_labels=costs.turn_extra[turns].astype(np.float64),
            targets=np.array([route.states[a] for a in after], dtype=np.int32),
            target_extra=np.array(remaining),
        )
        if found < 0:
            continue
        back = after[found]
        way = [route.states[back]]
        while before[way[-1]] >= 0:
            way.append(int(before[way[-1]]))
        states = [*route.states[: leg + 1], *way[::-1], *route.states[back + 1 :]]
        return route_of(network, costs, states, route.start, route.end)
    return None
