"""Times of a day told by the clock, or by what is known without one."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from clearance.core.drive import Drive, Verdict
from clearance.outputs.measures import Units
from clearance.outputs.times import clock_at, moment_at, stop_text, times_text
from tests.outputs import samples


def day(departure: datetime | None, stay: int = 20, first: int = 0) -> Drive:
    """7,500 m (10 minutes) to a stop, then 3,750 m (5 minutes) on."""
    b = samples.Builder()
    b.stop("Here", (0, 0), first)
    b.road("A", "primary", [(0, 0), (0, 7500)]).stop("Middle", (0, 7500), stay)
    b.road("B", "primary", [(0, 7500), (0, 11250)]).stop("There", (0, 11250))
    return b.drive(Verdict.CLEAR, departure=departure)


MORNING = datetime(2026, 5, 1, 9, 0)


@pytest.mark.parametrize(
    ("drive", "texts"),
    [
        (
            day(MORNING),
            (
                "Leave 9:00 AM.",
                "Arrive 9:10 AM after 4.7 mi, 20 min there, leave 9:30 AM.",
                "Arrive 9:35 AM after 7.0 mi.",
            ),
        ),
        (
            day(MORNING, stay=0, first=15),
            (
                "Leave 9:15 AM, 15 min there.",
                "Arrive 9:25 AM after 4.7 mi.",
                "Arrive 9:30 AM after 7.0 mi.",
            ),
        ),
        (day(None), ("", "After 4.7 mi, 10 min, 20 min there.", "After 7.0 mi, 35 min.")),
    ],
    ids=["a stay", "a stay at the start", "no departure"],
)
def test_each_stop_in_words(drive: Drive, texts: tuple[str, ...]) -> None:
    assert tuple(stop_text(drive, stop) for stop in drive.stops) == texts


def test_metres_and_a_day_of_24_hours() -> None:
    drive = day(datetime(2026, 5, 1, 13, 0))
    assert stop_text(drive, drive.stops[1], Units.METRES) == (
        "Arrive 13:10 after 7.5 km, 20 min there, leave 13:30."
    )
    assert times_text(drive, drive.stops[1], Units.METRES) == "13:10 to 13:30"
    assert times_text(drive, drive.stops[2], Units.METRES) == "13:35"


def test_another_day_bears_its_date() -> None:
    drive = day(datetime(2026, 5, 1, 23, 45))
    assert times_text(drive, drive.stops[1]) == "11:55 PM to 12:15 AM on 2026-05-02"
    assert clock_at(drive, 900) == "12:00 AM on 2026-05-02"


def test_what_cannot_be_driven_has_no_times() -> None:
    drive = replace(day(MORNING), pieces=())
    assert moment_at(drive, 60) is None
    assert [stop_text(drive, stop) + times_text(drive, stop) for stop in drive.stops] == ["", "", ""]


def test_a_moment_is_whole_seconds() -> None:
    assert moment_at(day(MORNING), 59.6) == datetime(2026, 5, 1, 9, 1)
