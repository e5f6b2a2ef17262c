from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from clearance.outputs.legs import along, bearing, halts, legs, lines, span_m, stop_letter
from tests.outputs import samples
from tests.towns import lonlat

near = st.tuples(st.floats(-3000, 3000), st.floats(-3000, 3000))


@given(near, near)
def test_spans_and_bearings_agree_with_the_ellipsoid(a: samples.XY, b: samples.XY) -> None:
    """Against PROJ's geodesics on WGS84: within a part in a hundred, and a degree."""
    start, end = lonlat(*a), lonlat(*b)
    angle, _, metres = Geod(ellps="WGS84").inv(*start, *end)
    assert span_m(start, end) == pytest.approx(metres, rel=0.01, abs=0.02)
    if metres > 10:
        assert abs((bearing(start, end) - angle + 180) % 360 - 180) < 1


def test_a_line_over_the_date_line_is_short() -> None:
    assert span_m((179.999, 0.0), (-179.999, 0.0)) < 250
    assert bearing((179.999, 0.0), (-179.999, 0.0)) == pytest.approx(90)
    (lon, _), _ = along([(179.999, 0.0), (-179.999, 0.0)], 150)
    assert -180 <= lon < -179.9


def test_along_ends_where_the_line_does() -> None:
    line = [lonlat(0, 0), lonlat(100, 0)]
    assert along(line, -1) == (line[0], 1)
    assert along(line, 1e6) == (line[1], 2)
    assert span_m(line[0], along(line, 40)[0]) == pytest.approx(40, abs=0.1)


def test_each_leg_ends_at_its_stop() -> None:
    drive = samples.care_drive()
    found = legs(drive)
    assert len(found) == len(drive.stops) - 1
    for leg, stop in zip(found, drive.stops[1:], strict=True):
        assert leg[-1].distance_m + leg[-1].length_m == pytest.approx(stop.distance_m)
    assert [p for leg in found for p in leg] == list(drive.pieces)


def test_a_piece_driven_past_a_stop_is_cut_there() -> None:
    drive = samples.clear_drive()
    whole = drive.pieces[0]
    start, end = halts(drive)
    middle = replace(start, distance_m=1200.0, arrives_s=96.0, leaves_s=96.0)
    first, second = legs(replace(drive, stops=(start, middle, end), places=(*drive.places, drive.places[0])))
    assert first[0].points[-1] == second[0].points[0]
    assert first[0].length_m == pytest.approx(1200)
    assert first[0].length_m + second[0].length_m == pytest.approx(whole.length_m)
    assert first[0].duration_s + second[0].duration_s == pytest.approx(whole.duration_s)
    assert second[0].distance_m == pytest.approx(1200)
    drawn = sum(span_m(a, b) for a, b in pairwise(first[0].points))
    assert drawn == pytest.approx(1200, rel=0.01)


def test_two_stops_at_one_place_leave_an_empty_leg() -> None:
    drive = samples.care_drive()
    a, b, c = drive.stops
    assert [bool(leg) for leg in legs(replace(drive, stops=(a, b, b, c)))] == [True, False, True]


def test_a_drive_without_stops_has_its_two_ends() -> None:
    drive = samples.clear_drive()
    start, end = halts(drive)
    assert (start.distance_m, end.distance_m) == (0, drive.distance_m)
    assert (end.lon, end.lat) == drive.pieces[-1].points[-1]
    assert len(legs(drive)) == 1


def test_stops_between_unnamed_ends_get_those_ends() -> None:
    drive = samples.care_drive()
    assert [s.place.name for s in halts(replace(drive, stops=drive.stops[1:2]))] == [
        "Ridge Highway",
        "Pellowick Quay",
        "Ferry Landing",
    ]


def test_a_blocked_drive_has_places_and_no_legs() -> None:
    drive = samples.blocked_drive()
    assert [(s.lon, s.lat) for s in halts(drive)] == [(p.lon, p.lat) for p in drive.places]
    assert legs(drive) == ()


def test_an_unchecked_gap_parts_the_line() -> None:
    (leg,) = legs(samples.inspected_line())
    first, second = lines(leg)
    assert first[-1] == lonlat(-800, 300)
    assert second[0] == lonlat(-700, 0)
    assert all(a != b for line in (first, second) for a, b in pairwise(line))


@given(st.integers(0, 2000))
def test_letters_of_stops_count_like_columns(index: int) -> None:
    value = 0
    for letter in stop_letter(index):
        value = value * 26 + ord(letter) - ord("A") + 1
    assert value == index + 1
