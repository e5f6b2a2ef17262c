from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from datetime import datetime
from typing import Any

import pytest

from clearance.core.drive import Drive
from clearance.core.lengths import Length
from clearance.outputs import json_report
from clearance.outputs.json_report import drive_json
from tests.outputs import samples

DRIVES: list[Callable[[], Drive]] = [
    samples.care_drive,
    samples.clear_drive,
    samples.blocked_drive,
    samples.inspected_line,
    samples.hostile_drive,
]


def _walk(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from _walk(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _walk(inner)


@pytest.mark.parametrize("make", DRIVES)
def test_it_is_plain_json_and_comes_back_equal(make: Callable[[], Drive]) -> None:
    report = drive_json(make())
    assert json.loads(json.dumps(report, allow_nan=False)) == report


@pytest.mark.parametrize("make", DRIVES)
def test_every_key_stands_in_the_docstring(make: Callable[[], Drive]) -> None:
    documented = set(re.findall(r"[a-z_]+", re.sub(r"``[^`]*``", "", drive_json.__doc__ or "")))
    used = {key for part in _walk(drive_json(make())) for key in part}
    assert used <= documented


@pytest.mark.parametrize("make", DRIVES)
def test_lengths_are_the_same_in_metres_and_in_tenths(make: Callable[[], Drive]) -> None:
    lengths = [part for part in _walk(drive_json(make())) if "tenths_of_mm" in part]
    assert lengths
    for length in lengths:
        assert isinstance(length["tenths_of_mm"], int)
        assert length["metres"] == float(Length(length["tenths_of_mm"]).metres)
        assert round(length["metres"] * 10_000) == length["tenths_of_mm"]


def test_the_keys_of_the_top_level_stay() -> None:
    assert list(drive_json(samples.clear_drive())) == [
        *("format", "format_version", "verdict", "verdict_text", "places", "coach", "unverified"),
        *("policy_seconds", "distance_m", "duration_s", "ceiling", "departure", "pieces", "findings", "car"),
        *("in_the_way", "gets_through", "obstacles", "stops", "along", "unchecked", "area", "notes"),
        *("cautions", "data"),
    ]
    assert json_report.FORMAT_VERSION == 1


def test_no_field_of_a_drive_is_left_out() -> None:
    renamed = {"info": "data"}
    keys = set(drive_json(samples.clear_drive()))
    assert {renamed.get(f.name, f.name) for f in fields(Drive)} <= keys


def test_values_of_a_finding() -> None:
    report = drive_json(samples.care_drive())
    low = report["car"]["differences"][0]
    assert low["standing"] == "too low"
    assert low["clearance"] == {"metres": 3.81, "tenths_of_mm": 38100, "feet": "12'6\""}
    assert low["headroom"] == {"metres": -0.1016, "tenths_of_mm": -1016, "feet": "-0'4\""}
    assert low["structure"]["kind"] == "railway bridge"
    assert low["structure"]["ways"] == [203]
    assert low["structure"]["evidence"][0]["key"] == "maxheight"
    unknown = report["findings"][-1]
    assert unknown["clearance"] is None
    assert unknown["structure"]["evidence"][0]["class"] == "none"
    assert unknown["turn_off"]["onto"] == "Weir Road"


def test_stops_have_local_times_and_their_distance_from_the_road() -> None:
    stops = drive_json(samples.care_drive(datetime(2026, 5, 1, 8, 30)))["stops"]
    assert [s["arrives"] for s in stops] == [
        "2026-05-01T08:30:00",
        "2026-05-01T08:38:20",
        "2026-05-01T09:26:57",
    ]
    assert stops[1]["leaves"] == "2026-05-01T09:23:20"
    assert [s["off_road_text"] for s in stops] == [
        "",
        "",
        "The nearest road for the coach is 400 ft from it.",
    ]
    assert [s["arrives"] for s in drive_json(samples.care_drive())["stops"]] == [None] * 3


def test_facilities_along_the_way() -> None:
    along = drive_json(samples.care_drive())["along"]
    assert [f["kind"] for f in along] == ["fuel", "propane", "camp", "dump", "water", "fuel"]
    fuel, dump, tank = along[0], along[3], along[5]
    assert fuel["canopy"] == {"metres": 4.1656, "tenths_of_mm": 41656, "feet": "13'8\""}
    assert fuel["place"]["name"] == "Ridge Fuel"
    assert fuel["notes"] == ["octane 87, 91", "room for trucks"]
    assert dump["in_out"]["serious"] is True
    assert dump["canopy"] is None
    assert tank["full_tank"] is True
    assert tank["text"].startswith("Full tank before the end: Tannery Fuel, after 4.7 mi, 1 min detour")


def test_the_coach_is_rounded_up_and_clearances_down() -> None:
    drive = samples.clear_drive()
    odd = Length.from_metres("4.11")
    report = drive_json(replace(drive, coach=replace(drive.coach, height=odd), ceiling=odd))
    assert report["coach"]["height"]["feet"] == "13'6\""
    assert report["ceiling"]["feet"] == "13'5\""


def test_a_headroom_of_nothing_is_not_negative() -> None:
    drive = samples.care_drive()
    finding = replace(drive.findings[0], headroom=Length(0))
    report = drive_json(replace(drive, findings=(finding,)))
    assert report["findings"][0]["headroom"]["feet"] == "0'0\""
