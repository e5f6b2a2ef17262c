"""Rows of a screening by themselves: sums, what is met on the way, order."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.core.coach import Coach
from clearance.core.drive import InOut, InOutAnswer, Unverified, Verdict
from clearance.core.extract import ExtractInfo
from clearance.core.lengths import Length
from clearance.core.places import Place, StopRequest
from clearance.core.screening import (
    NO_WAY,
    UNLIMITED,
    Admitted,
    Flag,
    Problem,
    Row,
    Screening,
    SortBy,
    Trip,
    admitted,
    sorted_rows,
    totals,
)
from clearance.core.structure import Standing

PLACE = Place(lon=-40, lat=45)
OPEN = Admitted(way=True)
ROW = Row(
    number=1,
    place=PLACE,
    where="",
    coach=0,
    verdict=Verdict.CLEAR,
    off_road_m=0.0,
    tallest=OPEN,
    tallest_verified=OPEN,
)


def flag(key: str, standing: Standing = Standing.UNVERIFIED) -> Flag:
    return Flag(key=key, standing=standing)


THERE = Trip(
    distance_m=1000,
    duration_s=100,
    car_duration_s=70,
    ceiling=Length(45000),
    ceiling_key="b",
    passed=(flag("a"), flag("b", Standing.CLEAR), flag("c", Standing.TIGHT)),
    avoided=(flag("x"), flag("y")),
)
BACK = Trip(
    distance_m=1500,
    duration_s=160,
    car_duration_s=150,
    ceiling=Length(42000),
    ceiling_key="d",
    passed=(flag("d"), flag("a"), flag("c", Standing.TIGHT)),
    avoided=(flag("y"),),
)


def test_a_row_adds_up_both_drives() -> None:
    row = replace(ROW, there=THERE, back=BACK)
    assert (row.distance_m, row.duration_s, row.extra_s) == (2500, 260, 40)
    assert (row.unverified, row.tight) == (("a", "d"), ("c",))
    assert row.keys(Standing.CLEAR) == ()
    assert [f.key for f in row.avoided] == ["x", "y"]
    assert (row.ceiling, row.ceiling_key) == (Length(42000), "d")
    assert [f.key for f in THERE.flags] == ["a", "c"]
    assert THERE.extra_s == 30


def test_a_row_without_a_car_or_without_a_drive() -> None:
    alone = replace(THERE, car_duration_s=None)
    assert alone.extra_s is None
    assert replace(ROW, there=alone, back=BACK).extra_s is None
    assert replace(ROW, there=THERE, back=alone).extra_s is None
    none = (ROW.trips, ROW.distance_m, ROW.duration_s, ROW.extra_s, ROW.ceiling, ROW.avoided)
    assert none == ((), 0, 0, None, None, ())
    assert replace(ROW, there=THERE).ceiling_key == "b"
    unknown = replace(THERE, ceiling=None, ceiling_key="")
    assert (replace(ROW, there=unknown, back=BACK).ceiling_key, ROW.ceiling_key) == ("d", "")


@pytest.mark.parametrize(
    ("width", "way", "clearance"),
    [(NO_WAY, False, None), (UNLIMITED, True, None), (0, True, 0), (42000, True, 42000)],
)
def test_clearances_as_searches_tell_them(width: int, way: bool, clearance: int | None) -> None:
    told = admitted(width)
    assert (told.way, told.clearance) == (way, None if clearance is None else Length(clearance))
    height = told.coach_height(Length(1000))
    assert height == (None if clearance is None else Length(clearance - 1000))


def test_what_two_admit() -> None:
    low, high, none = (
        Admitted(way=True, clearance=Length(3)),
        Admitted(way=True, clearance=Length(5)),
        Admitted(way=False),
    )
    for one, other, both in (
        (low, high, low),
        (low, OPEN, low),
        (OPEN, OPEN, OPEN),
        (low, none, none),
        (none, none, none),
    ):
        assert one.least(other) == other.least(one) == both


def test_orders_of_rows() -> None:
    """Coach by coach; those alike as in the list."""
    long, short = replace(THERE, duration_s=300, passed=()), replace(THERE, duration_s=200, passed=())
    rows = [
        replace(ROW, number=1, there=short, place=replace(PLACE, name="b")),
        replace(ROW, number=2, there=long, place=replace(PLACE, name="C")),
        replace(ROW, number=3, verdict=Verdict.BLOCKED, place=replace(PLACE, name="A")),
        replace(ROW, number=4, verdict=Verdict.CARE, there=replace(short, passed=(flag("a"),))),
        replace(ROW, number=5, verdict=Verdict.CARE, there=replace(short, passed=(flag("a"), flag("b")))),
        replace(ROW, number=6, there=long, place=replace(PLACE, name="c")),
        replace(ROW, number=1, coach=1, there=replace(long, car_duration_s=10)),
    ]
    expected = {
        SortBy.VERDICT: [3, 5, 4, 2, 6, 1],
        SortBy.TIME: [2, 6, 1, 4, 5, 3],
        SortBy.EXTRA: [2, 6, 1, 4, 5, 3],
        SortBy.NAME: [4, 5, 3, 1, 2, 6],
        SortBy.LIST: [1, 2, 3, 4, 5, 6],
    }
    for by, numbers in expected.items():
        for order in (rows, rows[::-1]):
            assert [(r.coach, r.number) for r in sorted_rows(order, by)] == [
                *((0, n) for n in numbers),
                (1, 1),
            ]
    assert sorted_rows(rows) == sorted_rows(rows, SortBy.VERDICT)


def test_sums_of_each_coach() -> None:
    through, room = InOut(answer=InOutAnswer.DRIVES_THROUGH), InOut(answer=InOutAnswer.NEEDS_ROOM)
    rows = (
        replace(ROW, number=1, there=THERE, back=BACK, in_out=through),
        replace(
            ROW,
            number=2,
            verdict=Verdict.CARE,
            there=THERE,
            back=replace(BACK, car_duration_s=None),
            in_out=room,
        ),
        replace(ROW, number=3, verdict=Verdict.BLOCKED),
        replace(ROW, number=1, coach=1, verdict=Verdict.BLOCKED),
    )
    coach = Coach(height=Length.from_feet(13))
    problems = tuple(Problem(where="", name="", text="", coach=c) for c in (None, 0, 1, 1))
    screening = Screening(
        home=PLACE,
        coaches=(coach, coach),
        unverified=Unverified.AVOID,
        info=ExtractInfo(source="invented"),
        rows=rows,
        problems=problems,
    )
    first, second = totals(screening)
    assert (first.coach, first.clear, first.care, first.blocked, first.rows, first.problems) == (
        0,
        1,
        1,
        1,
        3,
        2,
    )
    assert (first.distance_m, first.duration_s, first.extra_s) == (5000, 520, 40)
    assert (first.unverified, first.not_through) == (2, 1)
    assert (second.coach, second.rows, second.blocked, second.problems) == (1, 1, 1, 3)
    assert (second.distance_m, second.extra_s, second.unverified, second.not_through) == (0, 0, 0, 0)


def test_what_a_stop_is_called() -> None:
    assert StopRequest(place="Mill Lane", where="line 4").label == "Mill Lane"
    assert StopRequest(place=replace(PLACE, name="Camp"), where="line 4").label == "Camp"
    assert StopRequest(place=PLACE, where="line 4").label == "line 4"
    assert StopRequest(place=PLACE).label == "45.00000,-40.00000"
    tagged = replace(PLACE, tags=(("fee", "no"),))
    assert (tagged.tag("fee"), tagged.tag("name")) == ("no", "")
