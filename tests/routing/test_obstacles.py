"""What closes a route, told with its tag."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from clearance.core.coach import Coach
from clearance.core.conditions import Window
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.core.structure import Kind, Span, Structure
from clearance.network.build import build_network
from clearance.routing.mask import coach_costs, open_ends
from clearance.routing.obstacles import Closure, closures_on
from clearance.routing.plan import find_drive
from clearance.routing.rules import LIMIT_KINDS
from clearance.routing.snap import snap
from tests.towns import Town, lonlat

COACH = Coach(
    height=Length.from_metres("3.8"),
    width=Length.from_metres("2.5"),
    length=Length.from_metres("11"),
    weight_kg=9000,
)
NOON = Window(datetime(2026, 11, 25, 12), datetime(2026, 11, 25, 13))


def _closures(town: Town, *structures: Structure, coach: Coach = COACH) -> list[Closure]:
    """What closes the drive from way 10 to way 12, all limits lifted; way 11 lies between."""
    network = build_network(town.extract(), structures)
    costs = coach_costs(network, coach, Unverified.ACCEPT, NOON, ignore=LIMIT_KINDS | {"height"})
    start, end = (snap(network, *lonlat(x, 0), costs.usable) for x in (50, 350))
    costs = open_ends(network, costs, [s.arc for s in start], [s.arc for s in end])
    route = find_drive(network, costs, start, end)
    assert route is not None
    return list(closures_on(network, coach, NOON, route))


def _town(tags: dict[str, str] | None = None, node: dict[str, str] | None = None) -> Town:
    town = Town()
    for ref in range(1, 6):
        town.node(ref, (ref - 1) * 100, 0, node if ref == 3 else None)
    return town.way(10, [1, 2]).way(11, [2, 3, 4], {"highway": "residential", **(tags or {})}).way(12, [4, 5])


def test_an_open_road_has_no_closures() -> None:
    assert _closures(_town()) == []
    assert _closures(_town({"maxwidth": "2.5", "maxheight": "2"}, {"barrier": "cattle_grid"})) == []


@pytest.mark.parametrize(
    ("tags", "kind", "raw"),
    [
        ({"maxwidth": "2.4"}, "width", "maxwidth=2.4"),
        ({"maxlength": "10", "maxlength:forward": "9"}, "length", "maxlength=10; maxlength:forward=9"),
        ({"maxweight": "7.5"}, "weight", "maxweight=7.5"),
        ({"maxweight:conditional": "7.5 @ (We)"}, "weight", "maxweight:conditional=7.5 @ (We)"),
        ({"hazmat": "no"}, "hazmat", "hazmat=no"),
        ({"motorhome": "no"}, "access", "motorhome=no"),
        (
            {"motor_vehicle:conditional": "no @ (10:00-14:00)"},
            "access",
            "motor_vehicle:conditional=no @ (10:00-14:00)",
        ),
        ({"highway": "service", "service": "drive-through"}, "drive-through", "service=drive-through"),
    ],
)
def test_a_limit_on_a_way_is_told_once_with_its_tag(tags: dict[str, str], kind: str, raw: str) -> None:
    (closure,) = _closures(_town(tags, {"barrier": "cattle_grid"}))
    assert (closure.kind, closure.element, closure.raw) == (kind, "way/11", raw)
    assert closure.leg == 1
    assert not closure.at_node
    assert not closure.ends_only


def test_an_ends_only_road_in_the_middle_is_told_as_such() -> None:
    (closure,) = _closures(_town({"access": "private"}))
    assert (closure.kind, closure.raw, closure.ends_only) == ("access", "access=private", True)


@pytest.mark.parametrize(
    ("node", "kind", "ends_only"),
    [
        ({"barrier": "bollard"}, "access", False),
        ({"barrier": "gate"}, "access", True),
        ({"barrier": "kerb", "maxwidth": "2"}, "width", False),
    ],
)
def test_a_barrier_is_told_at_its_node(node: dict[str, str], kind: str, ends_only: bool) -> None:
    (closure,) = _closures(_town(node=node))
    assert (closure.kind, closure.element, closure.at_node) == (kind, "node/3", True)
    assert closure.ends_only is ends_only


def test_car_parks_are_told_on_decks_and_at_entrances() -> None:
    told = {"kind": Kind.CAR_PARK, "lon": 0.0, "lat": 0.0}
    deck = Structure(key="deck", spans=(Span(way=11, start=0.5, end=1.5),), **told)  # type: ignore[arg-type]
    entrance = Structure(key="entrance", nodes=(3,), **told)  # type: ignore[arg-type]
    town = _town({"highway": "service"})
    assert [(c.kind, c.element) for c in _closures(town, deck)] == [("car park", "way/11")]
    assert [(c.kind, c.element) for c in _closures(town, entrance)] == [("car park", "node/3")]


def test_what_binds_towing_or_propane_is_told_to_those_alone() -> None:
    town = _town({"trailer": "no", "hazmat": "no"})
    assert [c.kind for c in _closures(town)] == ["hazmat"]
    towing = replace(COACH, towing=True, propane=False)
    assert [(c.kind, c.raw) for c in _closures(town, coach=towing)] == [("access", "trailer=no")]


def test_closures_come_in_driving_order() -> None:
    town = _town({"maxwidth": "2", "access": "private"}, {"barrier": "bollard"})
    assert [(c.kind, c.element) for c in _closures(town)] == [
        ("access", "way/11"),
        ("width", "way/11"),
        ("access", "node/3"),
    ]
