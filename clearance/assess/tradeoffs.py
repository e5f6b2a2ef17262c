"""The trade-offs between time and unverified structures from one place to another, each a whole drive."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from clearance.assess.case import Case
from clearance.assess.day import FIRST_WINDOW, LAST_WINDOW, drives_between, plan_day
from clearance.core.conditions import Window
from clearance.core.drive import Unverified
from clearance.core.tradeoff import TradeOff, TradeOffs
from clearance.routing.tradeoffs import Choice, trade_offs

if TYPE_CHECKING:
    from datetime import datetime

    from clearance.assess.day import Halt
    from clearance.core.coach import Coach
    from clearance.network.network import Network
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap

__all__ = ["plan_trade_offs"]


def plan_trade_offs(
    network: Network, coach: Coach, start: Halt, end: Halt, *, departure: datetime | None = None
) -> TradeOffs:
    """Every drive from `start` to `end` that no other beats on both time and unverified structures.

    What is too low for the coach is never driven under; what is tight counts as driven like any other. Time
    is driving time alone. Conditions are judged as in `assess.day.plan_day`, for the longest of the drives.

    Raises PlaceError for a place far from any road, NoWayError where not even a car gets there.
    """
    length = FIRST_WINDOW
    while True:
        window = None
        if departure is not None and length <= LAST_WINDOW:
            window = Window(departure, departure + length)
        found = _found(Case.of(network, coach, Unverified.ACCEPT, window), start, end, departure)
        takes = timedelta(seconds=max((c.drive.duration_s for c in found), default=0.0))
        if window is None or takes <= length:
            break
        length = 2 * takes
    return TradeOffs(
        places=(start.place, end.place),
        coach=coach,
        info=network.info,
        choices=found,
        blocked=None
        if found
        else plan_day(network, coach, [start, end], unverified=Unverified.ACCEPT, departure=departure),
        departure=departure,
        notes=tuple(dict.fromkeys(note for choice in found for note in choice.drive.notes)),
    )


def _found(case: Case, start: Halt, end: Halt, departure: datetime | None) -> tuple[TradeOff, ...]:
    counts: list[int] = []

    def find(opened: Case, begin: Sequence[Snap], goal: Sequence[Snap]) -> list[Route]:
        choices: tuple[Choice, ...] = trade_offs(opened.network, opened.costs, begin, goal)
        counts.extend(choice.unverified for choice in choices)
        return [choice.route for choice in choices]

    drives = drives_between(case, start, end, find, departure=departure)
    return tuple(TradeOff(unverified=count, drive=drive) for count, drive in zip(counts, drives, strict=True))
