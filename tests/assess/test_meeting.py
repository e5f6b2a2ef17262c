"""Where places meet the roads: how far off a place may lie, and what is done for one on an island."""

from __future__ import annotations

from typing import Any

import pytest

from clearance.assess.case import Case
from clearance.assess.day import plan_day
from clearance.assess.meeting import meet, on_road
from clearance.core.drive import Drive, Unverified
from clearance.core.errors import NoWayError, PlaceError
from clearance.core.places import Place
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, halt
from tests.towns import Town, lonlat


def town(gap: float = 60.0) -> Network:
    """Long Street with side streets, and north of it by `gap` metres a yard that nothing joins to it."""
    built = Town().node(1, 0, 0).node(2, 500, 0).node(3, 1000, 0).node(4, 1000, 500)
    built.way(10, [1, 2, 3, 4], {"highway": "residential", "name": "Long Street"})
    built.node(5, 400, gap).node(6, 600, gap).way(11, [5, 6], {"highway": "service", "name": "Yard"})
    built.node(7, 900, -900).node(8, 1000, -900).way(12, [3, 8, 7], {"highway": "residential"})
    return network_of(built.extract())


def drive(network: Network, *stops: tuple[float, float]) -> Drive:
    return plan_day(network, COACH, [halt(*s, name=f"stop {i}") for i, s in enumerate(stops)],
                    unverified=Unverified.AVOID)  # fmt: skip


def test_a_place_on_an_island_is_moved_to_the_town_and_it_is_said() -> None:
    found = drive(town(), (100, 0), (500, 58))
    assert found.stops[1].off_road_m == pytest.approx(58, rel=0.01)
    assert found.distance_m == pytest.approx(400, rel=0.01)
    (note,) = found.notes
    assert note.startswith("stop 1: the nearest road is cut off in the map data")
    back = drive(town(), (500, 58), (100, 0))
    assert back.distance_m == pytest.approx(400, rel=0.01)
    assert back.notes[0].startswith("stop 0:")


def test_a_stop_between_two_others_is_moved_once() -> None:
    found = drive(town(), (100, 0), (500, 58), (900, 0))
    assert len(found.notes) == 1
    assert found.distance_m == pytest.approx(800, rel=0.01)


def test_two_places_on_one_island_stay_there() -> None:
    found = drive(town(), (420, 58), (580, 58))
    assert found.notes == ()
    assert found.distance_m == pytest.approx(160, rel=0.01)


def test_an_island_too_far_from_the_town_is_no_way() -> None:
    with pytest.raises(NoWayError):
        drive(town(gap=200.0), (100, 0), (500, 200))


@pytest.mark.parametrize(
    ("place", "limit"),
    [
        ({}, 150),
        ({"osm": "node/1"}, 150),
        ({"osm": "way/1"}, 500),
        ({"osm": "relation/1"}, 500),
        *(({"osm": "node/1", "kind": kind}, 500) for kind in
          ("city", "town", "village", "hamlet", "suburb", "quarter", "neighbourhood", "isolated dwelling",
           "farm")),
        ({"osm": "node/1", "kind": "cafe"}, 150),
    ],
)  # fmt: skip
def test_how_far_a_place_may_lie_from_a_road(place: dict[str, Any], limit: int) -> None:
    network = town(gap=4000.0)
    case = Case.of(network, COACH, Unverified.AVOID, None)
    for metres, near in ((limit - 0.3, True), (limit + 0.3, False)):
        lon, lat = lonlat(500, -metres)
        there = Place(lon=lon, lat=lat, **place)
        if near:
            assert on_road(case, there, case.costs.usable)[0].distance_m == pytest.approx(metres, rel=0.01)
        else:
            with pytest.raises(PlaceError, match="from the nearest road"):
                on_road(case, there, case.costs.usable)


def test_the_last_of_three_is_moved_though_the_first_two_are_joined() -> None:
    found = drive(town(), (100, 0), (900, 0), (500, 58))
    assert [note.split(":")[0] for note in found.notes] == ["stop 2"]
    assert found.distance_m == pytest.approx(800 + 400, rel=0.01)
    both = drive(town(), (500, 58), (900, 0), (520, 58))
    assert [note.split(":")[0] for note in both.notes] == ["stop 0", "stop 2"]


def test_one_that_cannot_be_moved_does_not_keep_the_other_on_its_island() -> None:
    """Two islands, one of them too far from the town; neither is joined to the other."""
    built = Town().node(1, 0, 0).node(2, 500, 0).node(3, 1000, 0).node(4, 1000, 500)
    built.way(10, [1, 2, 3, 4], {"highway": "residential", "name": "Long Street"})
    built.node(5, 400, 60).node(6, 600, 60).way(11, [5, 6])
    built.node(7, 400, -900).node(8, 600, -900).way(12, [7, 8]).node(9, 1000, -300).way(13, [3, 9])
    network = network_of(built.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    far, near = (Place(lon=lonlat(500, y)[0], lat=lonlat(500, y)[1], name=f"{y}") for y in (-900, 58))
    for places in ([far, near], [near, far]):
        snaps = [on_road(case, place, case.costs.usable) for place in places]
        met = meet(case, snaps, places, reaches=lambda _start, _end: False)
        assert [note.split(":")[0] for note in met.notes] == ["58"]
        by_place = dict(zip((p.name for p in places), met.snaps, strict=True))
        assert by_place["58"][0].distance_m == pytest.approx(58, abs=0.5)
        assert by_place["-900"][0].distance_m == pytest.approx(0, abs=0.5)
        assert by_place["-900"] == snaps[places.index(far)]


def test_a_place_without_a_name_is_told_by_its_coordinates() -> None:
    found = plan_day(town(), COACH, [halt(100, 0), halt(500, 58)], unverified=Unverified.AVOID)
    lon, lat = lonlat(500, 58)
    assert found.notes[0].startswith(f"{lat:.5f},{lon:.5f}: the nearest road is cut off")


def test_where_the_town_is_closed_to_the_coach_everybody_stays() -> None:
    """Only the yard may be driven, so that there is no road to move a place to."""
    built = Town().node(1, 0, 0).node(2, 500, 0).node(3, 1000, 0).node(5, 400, 60).node(6, 600, 60)
    built.way(10, [1, 2, 3], {"highway": "residential", "motorhome": "no"}).way(11, [5, 6])
    found = drive(network_of(built.extract()), (420, 58), (580, 58))
    assert found.notes == ()
    assert found.distance_m == pytest.approx(160, rel=0.01)
