from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from clearance.core.drive import Drive
from clearance.outputs.lines import WIDTH
from clearance.outputs.measures import Units
from clearance.outputs.report import drive_text
from clearance.outputs.wording import CAUTIONS
from tests.outputs import samples

DRIVES: list[Callable[[], Drive]] = [
    samples.care_drive,
    samples.clear_drive,
    samples.blocked_drive,
    samples.inspected_line,
    samples.hostile_drive,
    samples.long_drive,
]


def _flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("make", DRIVES)
def test_it_fits_a_terminal_and_holds_no_control_marks(make: Callable[[], Drive], units: Units) -> None:
    text = drive_text(make(), units)
    assert text.endswith("\n")
    for line in text.split("\n"):
        assert len(line) <= WIDTH or " " not in line.strip(" -")
        assert line == line.rstrip()
        assert line.isprintable()


@pytest.mark.parametrize("make", DRIVES)
def test_the_verdict_comes_first_and_cautions_and_date_last(make: Callable[[], Drive]) -> None:
    text = drive_text(make())
    assert text.startswith(("CLEAR. ", "TAKE CARE. ", "BLOCKED. "))
    flat = _flat(text)
    assert all(caution in flat for caution in CAUTIONS)
    last = _flat(text.rstrip().rsplit("\n\n", 1)[1])
    assert last.startswith("Map data of 2026-01-01")
    assert "OpenStreetMap" in last


def test_flagged_findings_stand_in_order_and_clear_ones_are_summed_up() -> None:
    text = drive_text(samples.care_drive())
    at = [text.index(f"\n {n}  ") for n in (6, 7, 8)]
    assert at == sorted(at)
    assert "\n 1  " not in text
    assert "Clear: 1 gantry, Ridge Highway 17'0\"" in text
    assert "NOT VERIFIED after 4.9 mi: railway bridge (Coast Line), Tannery Lane" in text
    assert "Last turn-off 1000 ft before it" in _flat(text)


def test_the_car_stands_beside_it_with_what_made_the_difference() -> None:
    text = _flat(drive_text(samples.care_drive()))
    assert "A car 1.8 mi, 4 min; the coach takes 8 min more" in text
    assert (
        "Why not the way a car would go - railway bridge (Coast Line), Mill Street: 12'6\", too low" in text
    )


def test_no_difference_no_reason() -> None:
    assert "Why not" not in drive_text(samples.clear_drive())


def test_blocked_names_what_is_in_the_way_and_the_height_that_gets_through() -> None:
    text = _flat(drive_text(samples.blocked_drive()))
    assert "TOO LOW after 0.7 mi: aqueduct (Neck Aqueduct), Neck Road, 13'0\"" in text
    assert "tunnel (Point Tunnel), Shore Road, 13'1\"" in text
    assert "weight limit on Weir Road: maxweight=10 st (way/348)" in text
    assert "needs no more than 13'1\", its margin included" in text
    assert "Length" not in text


def test_metres_replace_feet_everywhere() -> None:
    text = drive_text(samples.care_drive(), Units.METRES)
    assert "4.20 m" in text
    assert "km" in text
    assert not re.search(r"\d (mi|ft|in)\b", text)
    assert "'9\"" not in text


def test_departure_is_a_clock_time() -> None:
    assert "leaving at 9:05 AM" in drive_text(samples.care_drive(datetime(2026, 5, 4, 9, 5)))


def test_stops_tell_their_times_where_a_departure_is_set() -> None:
    text = _flat(drive_text(samples.care_drive(datetime(2026, 5, 4, 8, 30))))
    assert "- Ridge Highway: Leave 8:30 AM. -" in text
    assert "- Pellowick Quay: Arrive 8:38 AM after 3.9 mi, 45 min there, leave 9:23 AM. Drives" in text
    assert "- Ferry Landing: Arrive 9:26 AM after 5.6 mi. Needs room to turn." in text
    assert "away. The nearest road for the coach is 400 ft from it." in text


def test_without_a_departure_stops_tell_their_distance_and_stay() -> None:
    text = _flat(drive_text(samples.care_drive()))
    assert "- Pellowick Quay: After 3.9 mi, 8 min, 45 min there. Drives through" in text
    assert "- Ridge Highway:" not in text


def test_facilities_stand_along_the_way() -> None:
    text = _flat(drive_text(samples.care_drive()))
    assert "Along the way - Fuel: Ridge Fuel, after 0.9 mi, 2 min detour; height told 13'8\", tight" in text
    assert "Full tank before the end: Tannery Fuel, after 4.7 mi, 1 min detour" in text
    assert "Along the way" not in drive_text(samples.clear_drive())


def test_unchecked_parts_are_told() -> None:
    assert "Not checked for 1050 ft" in drive_text(samples.inspected_line())


def test_a_drive_with_nothing_on_it_is_not_called_high() -> None:
    drive = replace(samples.clear_drive(), findings=(), ceiling=None)
    text = drive_text(drive)
    assert "shows nothing over or across the road" in _flat(text)
    assert "no posted or measured height on it" in text


def test_data_without_a_date_says_so() -> None:
    drive = samples.clear_drive()
    assert "date not known" in drive_text(replace(drive, info=replace(drive.info, data_date="")))
