"""The time of departure: what is refused, and why."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from clearance.core.departure import parse_departure
from clearance.core.errors import UsageError

NOW = datetime(2027, 7, 1, 12)


def test_a_time_near_now_is_taken() -> None:
    assert parse_departure("2027-07-04T08:30", NOW) == datetime(2027, 7, 4, 8, 30)
    # Where the coach starts it may still be the day before.
    assert parse_departure("2027-06-30T12:00", NOW) == NOW - timedelta(days=1)
    assert parse_departure("2127-06-30", NOW) == datetime(2127, 6, 30)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is no time"),
        ("08:30", "is no time"),
        ("2027-02-29T08:00", "is no time"),
        ("2027-07-04T08:30Z", "carries a zone"),
        ("2027-06-30T11:59", "is in the past"),
        ("2127-07-03", "more than a hundred years ahead"),
        # A drive that begins then would end beyond the last day there is.
        ("9999-12-31T23:59", "more than a hundred years ahead"),
    ],
)
def test_what_cannot_be_meant_is_refused(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said) as caught:
        parse_departure(text, NOW, what="--depart")
    assert repr(text) in str(caught.value)


def test_the_first_and_the_last_moment_that_can_be_meant() -> None:
    """A day before now, and 100 years of 365.25 days after it; the option is named where no other is told."""
    for moment in (NOW - timedelta(days=1), NOW + timedelta(days=36_525)):
        assert parse_departure(moment.isoformat(), NOW) == moment
    for moment in (NOW - timedelta(days=1, minutes=1), NOW + timedelta(days=36_525, minutes=1)):
        with pytest.raises(UsageError, match=r"^--depart "):
            parse_departure(moment.isoformat(), NOW)
    with pytest.raises(UsageError, match=r"^day '8' is no time"):
        parse_departure("8", NOW, what="day")
