"""The legs of a day: from stop to stop, without turning round at a stop unless there is no other way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from clearance.routing.plan import find_drive

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.coach import Coach
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap

__all__ = [
    "TURN_ROUND_S",
    "TURN_ROUND_TOWING_S",
    "Legs",
    "NoLegError",
    "dead_end_cost",
    "hop",
    "leave_forward",
    "plan_legs",
    "turn_cost",
]

#: What turning round at a stop costs when ways are compared: seconds, no driving time. Judgement, no source.
TURN_ROUND_S = 1800.0
#: The same with something in tow that cannot be reversed: unhitch, turn, hitch. Judgement, no source.
TURN_ROUND_TOWING_S = 7200.0


class NoLegError(Exception):
    """No drive from stop `leg` to the next; for this room, never for a user."""

    def __init__(self, leg: int) -> None:
        """Keep the number of the leg."""
        super().__init__(f"no drive on leg {leg}")
        self.leg = leg


@dataclass(frozen=True, slots=True, kw_only=True)
class Legs:
    """A route for each leg; `forward[i]` tells whether stop i is left in the direction it was come to.

    The last stop counts as left for the start, and the start is left as one likes. `turns_s` is what
    turning round added in comparing ways.
    """

    routes: tuple[Route, ...]
    forward: tuple[bool, ...]
    turns_s: float


@dataclass(frozen=True, slots=True)
class _Best:
    """The cheapest way to have come to a stop by one snap."""

    cost: float
    turns_s: float
    routes: tuple[Route, ...]
    forward: tuple[bool, ...]


def turn_cost(coach: Coach) -> float:
    """What turning round at a stop costs this coach when ways are compared, in seconds."""
    return TURN_ROUND_TOWING_S if coach.towing and not coach.tow_reversible else TURN_ROUND_S


def leave_forward(case: Case, arrived: Snap, homes: Sequence[Snap]) -> Route | None:
    """A drive from a stop on in the direction of arrival to any of `homes`; None where there is none."""
    opened = case.opened([arrived.arc], [s.arc for s in homes])
    return find_drive(case.network, opened.costs, [arrived], homes)


@dataclass(frozen=True, slots=True)
class _Hop:
    """A leg driven in one way: its route, what it costs with turning round, and whether it began forward."""

    route: Route
    cost: float
    turned: float
    forward: bool


def hop(case: Case, start: Sequence[Snap], goal: Snap, arrived: Snap | None) -> _Hop | None:
    """The cheapest leg to `goal` from a stop that was come to by `arrived` (None: the start of the day).

    A stop is left in the direction in which it was come to; the other ways cost a turn-round. `case` has
    the ends-only roads of both ends opened.
    """
    if arrived is None:
        choices = [(list(start), 0.0)]
    else:
        turn = turn_cost(case.coach)
        choices = [([arrived], 0.0), ([s for s in start if s.arc != arrived.arc], turn)]
    hops = [
        _Hop(route, route.seconds + route.policy_seconds + added, added, added == 0.0)
        for snaps, added in choices
        if snaps and (route := find_drive(case.network, case.costs, snaps, [goal])) is not None
    ]
    return min(hops, key=lambda h: h.cost, default=None)


def dead_end_cost(case: Case, goal: Snap, homes: Sequence[Snap]) -> float:
    """What an end of the day costs that cannot be left forward back to where the day began."""
    return 0.0 if leave_forward(case, goal, homes) is not None else turn_cost(case.coach)


def plan_legs(case: Case, stops: Sequence[Sequence[Snap]]) -> Legs:
    """The cheapest way through `stops` in order, exact over the ways to come to and leave each of them.

    Each stop is the snaps of its place, one for each direction of its road. A stop is left in the
    direction in which it was come to; the other way costs a turn-round, and so does an end that cannot
    be left forward back to the start.

    Raises NoLegError with the number of the first leg that has no drive.
    """
    arrivals: list[tuple[Snap | None, _Best]] = [(None, _Best(0.0, 0.0, (), (True,)))]
    for leg, (start, end) in enumerate(pairwise(stops)):
        opened = case.opened([s.arc for s in start], [s.arc for s in end])
        last = leg == len(stops) - 2
        ahead: list[tuple[Snap | None, _Best]] = []
        for goal in end:
            back = dead_end_cost(case, goal, stops[0]) if last else 0.0
            options = [
                _Best(
                    cost=so_far.cost + one.cost + back,
                    turns_s=so_far.turns_s + one.turned + back,
                    routes=(*so_far.routes, one.route),
                    forward=(*so_far.forward[:-1], one.forward, back == 0.0),
                )
                for arrived, so_far in arrivals
                if (one := hop(opened, start, goal, arrived)) is not None
            ]
            if options:
                ahead.append((goal, min(options, key=lambda o: o.cost)))
        if not ahead:
            raise NoLegError(leg)
        arrivals = ahead
    best = min((option for _, option in arrivals), key=lambda o: o.cost)
    return Legs(routes=best.routes, forward=best.forward, turns_s=best.turns_s)
