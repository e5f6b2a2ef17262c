"""The time of departure as a user writes it."""

from __future__ import annotations

from datetime import datetime, timedelta

from clearance.core.errors import UsageError

__all__ = ["parse_departure"]

#: Nobody plans so far ahead; near the end of the calendar, times of arrival would lie beyond it.
_FURTHEST = timedelta(days=36_525)


def parse_departure(text: str, now: datetime, *, what: str = "--depart") -> datetime:
    """The local time that an ISO text such as 2027-07-04T08:30 names; `what` names it in messages.

    Raises UsageError for a text that is no time, one with a zone, one more than a day before `now` (the coach
    may start where it is not yet the day that it is here), and one years ahead.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{what} {text!r} is no time; write it as 2027-07-04T08:30") from None
    if moment.tzinfo is not None:
        raise UsageError(f"{what} {text!r} carries a zone; give the local time where the coach starts")
    if moment < now - timedelta(days=1):
        raise UsageError(f"{what} {text!r} is in the past; hours and days in the map are judged by it")
    if moment > now + _FURTHEST:
        raise UsageError(f"{what} {text!r} is more than a hundred years ahead; write it as 2027-07-04T08:30")
    return moment
