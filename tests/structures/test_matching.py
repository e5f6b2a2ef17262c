"""How well a listing fits a bridge, part by part, and which pairings are sure.

The weights are the judgement of the module, written out here a second time: place 0.35, each name 0.20, kind
0.10, direction 0.15; for a list of single names place 0.35, name 0.5 and 0.15 given.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from clearance.core.structure import Kind
from clearance.structures.map_bridges import M_PER_DEGREE, MapBridge
from clearance.structures.matching import LEAST_SCORE, Listing, Paired, pair_up
from clearance.structures.names import Names, inventory_names

LON, LAT = -40.0, 45.0
SCALE = math.cos(math.radians(LAT))
BELL, CLAY, NO_NAME = inventory_names("BELL ST"), inventory_names("CLAY ST"), Names()


def place(x: float, y: float) -> tuple[float, float]:
    return LON + x / M_PER_DEGREE / SCALE, LAT + y / M_PER_DEGREE


def bridge(
    x: float = 0.0, y: float = 0.0, *, length: float = 20.0, east: bool = False, **told: Any
) -> MapBridge:
    """A road bridge running north over a road running east, unless told otherwise; x, y in metres."""
    half = length / 2
    ends = [place(x - half, y), place(x + half, y)] if east else [place(x, y - half), place(x, y + half)]
    line = np.array([[*ends[0], *ends[1]]])
    point = np.array([place(x, y)])
    plain: dict[str, Any] = {
        "under": (0,),
        "kinds": frozenset({Kind.BRIDGE}),
        "public": True,
        "points": point,
        "gates": np.concatenate([point, line[:, :2], line[:, 2:]]),
        "lines": line,
        "length_m": length,
        "below": (*place(x - 50, y), *place(x + 50, y)),
    }
    return MapBridge(**{**plain, **told})


def listing(x: float = 0.0, y: float = 0.0, **told: Any) -> Listing:
    lon, lat = place(x, y)
    plain: dict[str, Any] = {"step_m": 0.0, "over": NO_NAME, "under": NO_NAME, "above": frozenset({"road"})}
    return Listing(lon=lon, lat=lat, **{**plain, **told})


def paired(one: Listing, other: MapBridge) -> Paired:
    return pair_up([one], [other])


def score(one: Listing, other: MapBridge) -> float:
    """The score of a pair that is above the least one: names that agree are worth 0.2 each."""
    (match,) = paired(one, other).matches
    return match.score


def refused(one: Listing, other: MapBridge) -> str:
    found = paired(one, other)
    assert found.matches == ()
    return found.unmatched[0]


NAMED: dict[str, Any] = {"over": BELL, "under": CLAY}
ON_MAP: dict[str, Any] = {"over_names": BELL, "under_names": CLAY}


def test_everything_agrees() -> None:
    told = listing(**NAMED, heading=0.0)
    assert score(told, bridge(**ON_MAP, heading=0.0)) == pytest.approx(1.0)


@pytest.mark.parametrize("metres", [0.0, 10.0, 60.0, 100.0])
@pytest.mark.parametrize("step", [0.0, 30.0])
def test_the_place_falls_off_with_distance(metres: float, step: float) -> None:
    """Beside the middle of the deck, so that deck and crossing are as far."""
    told = listing(metres, 0, **NAMED, step_m=step)
    expected = 0.35 * math.exp(-metres / (60 + step / 2)) + 0.4 + 0.1 + 0.075
    assert score(told, bridge(**ON_MAP)) == pytest.approx(expected, abs=1e-4)


def test_along_the_deck_half_of_it_is_free() -> None:
    """Off the end of a deck of 100 m: 20 m from the deck, 70 from the crossing, 50 of them on the deck."""
    told = listing(0, 70, **NAMED)
    (match,) = paired(told, bridge(length=100, **ON_MAP)).matches
    assert match.distance_m == pytest.approx((20 + 20) / 2, abs=0.1)
    (on,) = paired(listing(0, 40, **NAMED), bridge(length=60, **ON_MAP)).matches
    assert on.distance_m == pytest.approx((10 + 10) / 2, abs=0.1)
    (beside,) = paired(listing(30, 40, **NAMED), bridge(length=100, **ON_MAP)).matches
    assert beside.distance_m == pytest.approx((30 + 30) / 2, abs=0.1)
    (line,) = paired(listing(30, 40, **NAMED), bridge(length=100, by_line=True, **ON_MAP)).matches
    assert line.distance_m == pytest.approx(30, abs=0.1)


@pytest.mark.parametrize(
    ("metres", "step", "near"), [(149, 0, True), (151, 0, False), (179, 30, True), (181, 30, False)]
)
def test_what_is_too_far(metres: float, step: float, near: bool) -> None:
    told = listing(metres, 0, **NAMED, step_m=step, heading=0.0)
    found = paired(told, bridge(**ON_MAP, heading=0.0))
    assert bool(found.matches) is near
    if not near:
        assert found.unmatched[0] == "no bridge of the map within 150 m"


def test_a_place_in_coarse_steps_is_of_no_bridge() -> None:
    assert refused(listing(**NAMED, step_m=201), bridge(**ON_MAP)) == "its place is told to 201 m only"
    assert paired(listing(**NAMED, step_m=200), bridge(**ON_MAP)).matches


@pytest.mark.parametrize(
    ("over", "under", "worth"),
    [(BELL, CLAY, 0.4), (NO_NAME, CLAY, 0.3), (BELL, NO_NAME, 0.3), (BELL, BELL, 0.2), (CLAY, CLAY, 0.2)],
)
def test_what_names_are_worth(over: Names, under: Names, worth: float) -> None:
    told = listing(over=over, under=under, heading=0.0)
    assert score(told, bridge(**ON_MAP, heading=0.0)) == pytest.approx(0.35 + worth + 0.1 + 0.15)


def test_names_that_differ_and_none_that_agrees() -> None:
    for over, under in ((CLAY, BELL), (NO_NAME, BELL), (CLAY, NO_NAME)):
        assert "differs" in refused(listing(over=over, under=under), bridge(**ON_MAP))


@pytest.mark.parametrize(
    ("listed", "mapped", "worth"),
    [
        (0.0, 0.0, 0.15),
        (0.0, 74.0, 0.15),
        (350.0, 60.0, 0.15),
        (0.0, 76.0, 0.075),
        (0.0, 104.0, 0.075),
        (0.0, 106.0, 0.0),
        (10.0, 190.0, 0.0),
        (None, 0.0, 0.075),
        (0.0, None, 0.075),
    ],
)
def test_what_directions_are_worth(listed: float | None, mapped: float | None, worth: float) -> None:
    told = listing(**NAMED, heading=listed)
    assert score(told, bridge(**ON_MAP, heading=mapped)) == pytest.approx(0.85 + worth)


@pytest.mark.parametrize(
    ("listed", "mapped", "worth"),
    [(True, True, 0.15), (False, False, 0.15), (True, False, 0.0), (None, True, 0.075), (True, None, 0.075)],
)
def test_what_one_ways_are_worth(listed: bool | None, mapped: bool | None, worth: float) -> None:
    told = listing(**NAMED, oneway=listed)
    assert score(told, bridge(**ON_MAP, oneway=mapped)) == pytest.approx(0.85 + worth)


@pytest.mark.parametrize(
    ("skew", "worth"), [(0, 0.15), (19, 0.15), (21, 0.075), (44, 0.075), (46, 0.0), (90, 0.0)]
)
def test_what_the_skew_is_worth(skew: int, worth: float) -> None:
    """The deck crosses the road square: a skew of 0 by Item 34."""
    told = listing(**NAMED, skew_deg=skew)
    assert score(told, bridge(**ON_MAP)) == pytest.approx(0.85 + worth)
    slanting = bridge(**ON_MAP, below=(*place(-50, -50), *place(50, 50)))
    assert score(listing(**NAMED, skew_deg=45), slanting) == pytest.approx(1.0)
    assert score(told, bridge(**ON_MAP, below=None)) == pytest.approx(0.925)


def test_directions_that_contradict_each_other_tell_nothing() -> None:
    told = listing(**NAMED, oneway=True, skew_deg=0)
    assert score(told, bridge(**ON_MAP, oneway=False)) == pytest.approx(0.925)
    assert score(told, bridge(**ON_MAP, oneway=True)) == pytest.approx(1.0)


FITS = {
    "road": (Kind.BRIDGE, Kind.COVERED_BRIDGE),
    "rail": (Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE),
    "foot": (Kind.FOOTBRIDGE,),
    "building": (Kind.BUILDING, Kind.BUILDING_PASSAGE, Kind.COVERED),
    "other": (Kind.AQUEDUCT, Kind.PIPE, Kind.CONVEYOR, Kind.GANTRY, Kind.COVERED),
    "water": (Kind.AQUEDUCT, Kind.PIPE, Kind.CONVEYOR, Kind.GANTRY),
}
UNTOLD = (Kind.LIMIT, Kind.UNKNOWN_CROSSING)


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("above", sorted(FITS))
def test_what_kinds_are_worth(kind: Kind, above: str) -> None:
    told = listing(**{**NAMED, "above": frozenset({above})})
    other = bridge(**ON_MAP, kinds=frozenset({kind}))
    if kind is Kind.TUNNEL:
        assert refused(told, other).endswith("one is a tunnel, the other is not")
    elif kind in FITS[above]:
        assert score(told, other) == pytest.approx(0.925)
    elif kind in UNTOLD:
        assert score(told, other) == pytest.approx(0.875)
    elif any(kind in kinds for kinds in FITS.values()):
        assert f"the list has a {above} above, the map a " in refused(told, other)
    else:
        assert refused(told, other).endswith(f"the map has a {kind} there, no bridge")


def test_tunnels() -> None:
    tunnel = bridge(**ON_MAP, kinds=frozenset({Kind.TUNNEL}))
    assert score(listing(**NAMED, tunnel=True), tunnel) == pytest.approx(0.925)
    assert "one is a tunnel" in refused(listing(**NAMED, tunnel=True), bridge(**ON_MAP))
    both = bridge(**ON_MAP, kinds=frozenset({Kind.TUNNEL, Kind.BRIDGE}))
    assert "one is a tunnel" in refused(listing(**NAMED, tunnel=True), both)
    assert score(listing(**NAMED), both) == pytest.approx(0.925)


def test_what_must_be_beneath() -> None:
    none = bridge(**ON_MAP, under=(), public=False)
    for told in ({"route_under": True}, {"beneath": frozenset({"road", "water"})}):
        assert refused(listing(**NAMED, **told), none).endswith("the map has none there")
        assert score(listing(**NAMED, **told), bridge(**ON_MAP)) == pytest.approx(0.925)
    river = listing(**NAMED, beneath=frozenset({"water"}))
    assert refused(river, bridge(**ON_MAP)).endswith("the list has only water beneath, the map a road")
    assert score(river, bridge(**ON_MAP, public=False)) == pytest.approx(0.925)
    assert score(river, none) == pytest.approx(0.925)
    other = listing(**NAMED, beneath=frozenset({"other"}))
    assert score(other, bridge(**ON_MAP)) == pytest.approx(0.925)


def test_a_bridge_of_which_the_map_is_not_sure_gets_nothing_for_its_kind() -> None:
    assert score(listing(**NAMED), bridge(**ON_MAP, unsure=True)) == pytest.approx(0.825)
    assert score(listing(**{**NAMED, "above": frozenset()}), bridge(**ON_MAP)) == pytest.approx(0.875)


@pytest.mark.parametrize(
    ("name", "worth"), [(BELL, 0.5), (CLAY, 0.5), (NO_NAME, 0.25), (inventory_names("OAK ST"), 0.0)]
)
def test_a_list_of_single_names(name: Names, worth: float) -> None:
    told = listing(20, 0, either=name)
    expected = 0.35 * math.exp(-20 / 60) + worth + 0.15
    if expected >= LEAST_SCORE:
        assert score(told, bridge(**ON_MAP)) == pytest.approx(expected, abs=1e-4)
    else:
        assert "does not fit well enough" in refused(told, bridge(**ON_MAP))


def test_two_that_only_places_tell_apart_are_matched_and_known_as_such() -> None:
    bridges = [bridge(0, 0), bridge(60, 0)]
    found = pair_up([listing(0, 0), listing(60, 0)], bridges)
    assert [(m.listing, m.bridge) for m in found.matches] == [(0, 0), (1, 1)]
    assert {b: [p.listing for p in pairs] for b, pairs in found.twins.items()} in ({}, {0: [1], 1: [0]})


def test_one_listing_between_two_bridges_is_a_tie() -> None:
    found = pair_up([listing(5, 0, **NAMED)], [bridge(0, 0, **ON_MAP), bridge(10, 0, **ON_MAP)])
    assert found.matches == ()
    assert found.unmatched[0].startswith("tie: another pairing fits nearly as well")


def test_a_listing_left_over_is_a_rival() -> None:
    found = pair_up([listing(0, 0, **NAMED), listing(30, 0, **NAMED)], [bridge(0, 0, **ON_MAP)])
    assert [(m.listing, m.bridge) for m in found.matches] == [(0, 0)]
    assert found.unmatched == {1: "its bridge fits another record of the list better"}
    assert [p.listing for p in found.rivals[0]] == [1]
    assert found.twins == {}
    assert pair_up([], [bridge()]).matches == ()
    assert pair_up([listing()], []).unmatched == {0: "no bridge of the map within 150 m"}


def test_the_piece_of_the_deck_next_to_the_crossing_gives_the_angle() -> None:
    """A deck that bends: north over the road, then east; the road runs east."""
    lines = np.array([[*place(0, -20), *place(0, 20)], [*place(0, 20), *place(200, 20)]])
    for order in (lines, lines[::-1]):
        bent = bridge(**ON_MAP, lines=order, gates=np.concatenate([order[:, :2], order[:, 2:]]))
        assert score(listing(**NAMED, skew_deg=0), bent) == pytest.approx(1.0)
        assert score(listing(**NAMED, skew_deg=90), bent) == pytest.approx(0.85)


def test_a_tie_does_not_keep_the_rest_of_its_group_alone() -> None:
    """Two records that fit two bridges alike, and a third of the same group that is sure."""
    bridges = [bridge(0, 0, **ON_MAP), bridge(4, 0, **ON_MAP), bridge(100, 0, **ON_MAP)]
    records = [listing(2, 0, **NAMED), listing(2, 0, **NAMED), listing(100, 0, **NAMED)]
    for shift in range(3):
        order = [(i + shift) % 3 for i in range(3)]
        found = pair_up([records[i] for i in order], bridges)
        assert [(order[m.listing], m.bridge) for m in found.matches] == [(2, 2)]
        assert {order[i] for i in found.unmatched} == {0, 1}
        assert all(text.startswith("tie: ") for text in found.unmatched.values())
