"""Drives on towns of raw tags against a slow reader of the same elements that shares no code."""

from __future__ import annotations

from itertools import groupby

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.assess.day import Halt, plan_day
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.errors import NoWayError
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.routing.tagged_reader import TURN_S, TURN_TOWING_S, AmbiguousError, Reader
from tests.routing.tagged_towns import WHEN, TaggedTown, Vehicle, tagged_towns, vehicles
from tests.towns import lonlat


def coach_of(vehicle: Vehicle) -> Coach:
    return Coach(
        height=Length(vehicle.need - 1000),
        margin=Length(1000),
        comfort=Length(vehicle.comfort),
        width=None if vehicle.width is None else Length(vehicle.width),
        length=None if vehicle.length is None else Length(vehicle.length),
        weight_kg=vehicle.weight,
        towing=vehicle.towing,
        tow_reversible=vehicle.reversible,
        propane=vehicle.propane,
    )


def planned(
    network: Network, town: TaggedTown, vehicle: Vehicle, when: str, end: tuple[int, int]
) -> Drive | None:
    """The drive from the middle of the start to that of `end`; None where not even a car gets there."""
    halts = [Halt(place=Place(lon=lon, lat=lat)) for lon, lat in (town.middle(town.start), town.middle(end))]
    try:
        return plan_day(network, coach_of(vehicle), halts, unverified=Unverified.AVOID, departure=WHEN[when])
    except NoWayError:
        return None


def corners_of(town: TaggedTown, drive: Drive) -> list[int]:
    """The corners that a drive comes by, in order."""
    by_place = {
        tuple(round(c, 6) for c in lonlat(*town.xy(corner))): corner
        for corner in range(town.width * town.height)
    }
    points = [point for piece in drive.pieces for point in piece.points]
    met = [by_place.get((round(lon, 6), round(lat, 6))) for lon, lat in points]
    return [corner for corner, _ in groupby(met) if corner is not None]


def check_itself(town: TaggedTown, reader: Reader, drive: Drive, end: tuple[int, int]) -> None:
    """Whether the reader allows this very drive, at the same cost and with the same findings."""
    cost, met = reader.priced(corners_of(town, drive), end)
    assert cost < float("inf")
    turning = drive.duration_s + drive.policy_seconds - cost
    assert min(abs(turning - allowed) for allowed in (0, TURN_S, TURN_TOWING_S)) < 1e-3 + 1e-6 * cost
    standings = {standing for standing, _ in met}
    assert {str(f.standing) for f in drive.findings} == standings
    assert drive.verdict is (Verdict.CLEAR if standings <= {"clear"} else Verdict.CARE)
    lowest = min((figure for _, figure in met if figure is not None), default=None)
    assert drive.ceiling == (None if lowest is None else Length(lowest))


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.data())
def test_drives_are_those_of_a_slow_reader_of_raw_tags(
    town: TaggedTown, vehicle: Vehicle, when: str, data: st.DataObject
) -> None:
    reader = Reader(town, vehicle, when)
    if not reader.usable(town.start):
        return
    ends = [s for s in town.segments() if s != town.start and reader.usable(s)]
    if not ends:
        return
    network = network_of(town.town().extract())
    for end in data.draw(st.lists(st.sampled_from(ends), unique=True, min_size=1, max_size=3)):
        try:
            expected = reader.answer(end)
        except AmbiguousError:
            return
        drive = planned(network, town, vehicle, when, end)
        if drive is not None and drive.notes:
            continue  # a place was moved off an island of the map
        if expected is None:
            assert drive is None or drive.verdict is Verdict.BLOCKED
            continue
        assert drive is not None
        assert drive.verdict is not Verdict.BLOCKED
        assert drive.duration_s + drive.policy_seconds == pytest.approx(expected, rel=1e-6, abs=1e-3)
        check_itself(town, reader, drive, end)
