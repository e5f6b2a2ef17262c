"""The pieces of a route: they hang together, and none is without length."""

from __future__ import annotations

import pytest

from clearance.assess.case import Case
from clearance.assess.day import plan_day
from clearance.assess.pieces import pieces_of
from clearance.core.drive import Drive, Unverified
from clearance.network.network import Network
from clearance.routing.plan import find_drive
from clearance.routing.snap import snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.towns import Town, lonlat


def drive(network: Network, *stops: tuple[float, float]) -> Drive:
    return plan_day(network, COACH, [halt(*stop) for stop in stops], unverified=Unverified.AVOID)


@pytest.mark.parametrize(
    ("stops", "roads"),
    [
        (((0, 0), (1000, 0)), ["Low Street"]),
        (((0, 0), END), ["Low Street", "East Road"]),
        ((START, (1000, 0)), ["West Road", "Low Street"]),
        ((START, (0, 0), END), ["West Road", "Low Street", "East Road"]),
        (((-500, 0), (0, 0), (1000, 0), (1500, 0)), ["West Road", "Low Street", "East Road"]),
    ],
)
def test_a_drive_from_corner_to_corner_has_no_piece_without_length(
    stops: tuple[tuple[float, float], ...], roads: list[str]
) -> None:
    found = drive(two_ways({"maxheight": "16'"}), *stops)
    assert [p.road for p in found.pieces] == roads
    for piece in found.pieces:
        assert piece.length_m > 1
        assert len(piece.points) > 1
        assert all(a != b for a, b in zip(piece.points, piece.points[1:], strict=False))
    for before, after in zip(found.pieces, found.pieces[1:], strict=False):
        assert before.points[-1] == pytest.approx(after.points[0], abs=1e-9)


def test_a_road_goes_on_over_its_ways_until_name_or_kind_changes() -> None:
    """Three ways of one name, the last of another kind; two with a number alone, and one with neither."""
    town = Town()
    for ref in range(1, 8):
        town.node(ref, 100 * ref, 0).node(10 + ref, 100 * ref, 50).way(50 + ref, [ref, 10 + ref])
    tags = [
        {"highway": "residential", "name": "Mill Lane", "ref": "R 1"},
        {"highway": "residential", "name": "Mill Lane"},
        {"highway": "tertiary", "name": "Mill Lane"},
        {"highway": "tertiary", "ref": "R 7"},
        {"highway": "tertiary", "ref": "R 7", "name": ""},
        {"highway": "tertiary"},
    ]
    for n, own in enumerate(tags, start=1):
        town.way(20 + n, [n, n + 1], own)
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    ends = [snap(network, *lonlat(x, 0), case.costs.usable) for x in (150, 650)]
    route = find_drive(network, case.costs, *ends)
    assert route is not None
    pieces = pieces_of(case, route, distance_m=1000.0, seconds=500.0)
    assert [(p.road, p.highway, p.ways) for p in pieces] == [
        ("Mill Lane", "residential", (21, 22)),
        ("Mill Lane", "tertiary", (23,)),
        ("R 7", "tertiary", (24, 25)),
        ("", "tertiary", (26,)),
    ]
    assert [round(p.length_m) for p in pieces] == [150, 100, 200, 50]
    assert [round(p.distance_m) for p in pieces] == [1000, 1150, 1250, 1450]
    seconds = 500.0
    for piece in pieces:
        assert piece.seconds == pytest.approx(seconds)
        seconds += piece.duration_s
    assert seconds == pytest.approx(500 + route.seconds)
    assert not any(p.roundabout or p.exit for p in pieces)
