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


@pytest.mark.parametrize(("metres", "near"), [(149.9, True), (150.1, False)])
@pytest.mark.parametrize(("east", "north"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_what_is_too_far_on_each_side(east: int, north: int, metres: float, near: bool) -> None:
    """A place without a line, so that nothing but the crossing counts."""
    spot = bridge(**ON_MAP, lines=np.empty((0, 4)), gates=np.array([place(0, 0)]), length_m=0.0)
    found = paired(listing(metres * east, metres * north, **NAMED), spot)
    assert bool(found.matches) is near
    assert found.unmatched == ({} if near else {0: "no bridge of the map within 150 m"})


def test_a_bridge_without_a_line_is_at_its_crossing_and_has_no_angle() -> None:
    spot = bridge(**ON_MAP, lines=np.empty((0, 4)), gates=np.array([place(0, 0)]), length_m=0.0)
    (match,) = paired(listing(30, 40, **NAMED, skew_deg=0), spot).matches
    assert match.distance_m == pytest.approx(50, abs=0.1)
    assert "directions" not in match.reason
    # Nor has one without a crossing, which is all along its line.
    line = bridge(length=100, **ON_MAP, points=np.empty((0, 2)), by_line=True)
    (match,) = paired(listing(20, 40, **NAMED, skew_deg=0), line).matches
    assert match.distance_m == pytest.approx(20, abs=0.1)
    assert "directions" not in match.reason


def test_a_piece_of_the_deck_without_length_is_a_point() -> None:
    """A deck whose node is drawn twice; beside it a bridge that is nearer by its second piece."""
    lines = np.array([[*place(0, 0), *place(0, 0)], [*place(0, 0), *place(0, 60)]])
    twice = bridge(**ON_MAP, lines=lines, gates=np.concatenate([lines[:, :2], lines[:, 2:]]), length_m=60.0)
    (match,) = paired(listing(10, 30, **NAMED), twice).matches
    assert match.distance_m == pytest.approx(10, abs=0.1)


def test_each_bridge_has_its_own_line_and_crossing() -> None:
    """Decks of one and of three pieces, and one without: each listing is as far as from its bridge alone."""
    pieces = np.array([[*place(500, 0), *place(500, 30)], [*place(500, 30), *place(500, 60)]])
    bent = bridge(500, 0, **ON_MAP, lines=pieces, gates=np.concatenate([pieces[:, :2], pieces[:, 2:]]))
    spot = bridge(1000, 0, **ON_MAP, lines=np.empty((0, 4)), gates=np.array([place(1000, 0)]), length_m=0.0)
    bridges = [bridge(0, 0, **ON_MAP), bent, spot, bridge(1500, 0, **ON_MAP)]
    listings = [listing(x, 25, **NAMED) for x in (1512, 1012, 508, 20)]
    found = pair_up(listings, bridges)
    assert [(m.listing, m.bridge) for m in found.matches] == [(0, 3), (1, 2), (2, 1), (3, 0)]
    for match in found.matches:
        (alone,) = paired(listings[match.listing], bridges[match.bridge]).matches
        assert match.distance_m == pytest.approx(alone.distance_m)
        assert match.score == pytest.approx(alone.score)


@pytest.mark.parametrize(
    ("mapped", "worth"),
    [(75.0, 0.15), (75.5, 0.075), (104.9, 0.075), (105.0, 0.0), (105.5, 0.0), (285.0, 0.15)],
)
def test_directions_to_the_degree(mapped: float, worth: float) -> None:
    told = listing(**NAMED, heading=0.0)
    assert score(told, bridge(**ON_MAP, heading=mapped)) == pytest.approx(0.85 + worth)
    # Between the bounds it is told by whether both are one-way.
    told = listing(**NAMED, heading=0.0, oneway=True)
    expected = {0.15: 1.0, 0.075: 1.0, 0.0: 0.85}[worth]
    assert score(told, bridge(**ON_MAP, heading=mapped, oneway=True)) == pytest.approx(expected)


@pytest.mark.parametrize(("skew", "worth"), [(20, 0.15), (21, 0.075), (45, 0.0)])
def test_skews_to_the_degree(skew: int, worth: float) -> None:
    assert score(listing(**NAMED, skew_deg=skew), bridge(**ON_MAP)) == pytest.approx(0.85 + worth)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("up", [-1, 1])
def test_the_piece_next_to_the_crossing_wherever_the_deck_goes_on(side: int, up: int) -> None:
    """Square over the road, then along it on either side."""
    along = [[*place(0, 20 * up), *place(200 * side, 20 * up)]]
    for lines in (
        np.array([[*place(0, -20 * up), *place(0, 20 * up)], *along]),
        np.array([*along, [*place(0, -20 * up), *place(0, 20 * up)]]),
    ):
        bent = bridge(**ON_MAP, lines=lines, gates=np.concatenate([lines[:, :2], lines[:, 2:]]))
        assert score(listing(**NAMED, skew_deg=0), bent) == pytest.approx(1.0)


def test_a_crossing_slants_as_much_to_either_side() -> None:
    for x, y in ((50, 50), (50, -50), (-50, 50), (-50, -50)):
        slanting = bridge(**ON_MAP, below=(*place(-x, -y), *place(x, y)))
        assert score(listing(**NAMED, skew_deg=45), slanting) == pytest.approx(1.0)
        assert score(listing(**NAMED, skew_deg=90), slanting) < 0.95


def spread(apart: float) -> Paired:
    """Two bridges so far apart, and a record at the very place of each; nothing else tells them apart."""
    bridges = [bridge(0, 0, **ON_MAP), bridge(apart, 0, **ON_MAP)]
    return pair_up([listing(0, 0, **NAMED), listing(apart, 0, **NAMED)], bridges)


def test_how_far_apart_places_tell_bridges_apart() -> None:
    """A swap costs 2 * 0.35 * (1 - exp(-d / 60)): 0.05 at 4.4 m, where it is no tie, 0.25 at 26.5 m."""
    assert set(spread(4.3).unmatched) == {0, 1}
    for apart in (4.6, 26.0):
        found = spread(apart)
        assert [(m.listing, m.bridge) for m in found.matches] == [(0, 0), (1, 1)]
        assert {b: [p.listing for p in pairs] for b, pairs in found.twins.items()} == {0: [1], 1: [0]}
        assert found.rivals == {}
    found = spread(27.0)
    assert len(found.matches) == 2
    assert found.twins == {}


def test_what_differs_is_no_twin_and_no_rival() -> None:
    """Bell Street over Clay Street: a record that names another street as well as one of the two."""
    other = inventory_names("OAK ST")
    bridges = [bridge(0, 0, **ON_MAP)]
    half = listing(1, 0, over=BELL, under=other)
    rival = listing(3, 0, over=BELL, under=NO_NAME)
    found = pair_up([listing(0, 0, **NAMED), half, rival], bridges)
    assert [m.listing for m in found.matches] == [0]
    assert [p.listing for p in found.rivals[0]] == [2]
    assert not found.rivals[0][0].differs
    near = pair_up(
        [listing(0, 0, **NAMED), listing(12, 0, over=BELL, under=other)],
        [bridge(0, 0, **ON_MAP), bridge(12, 0, over_names=BELL, under_names=other)],
    )
    assert len(near.matches) == 2
    assert near.twins == {}


def test_single_names_can_be_rivals_too() -> None:
    found = pair_up([listing(0, 0, either=BELL), listing(30, 0, either=BELL)], [bridge(0, 0, **ON_MAP)])
    assert [p.listing for p in found.rivals[0]] == [1]
    assert found.matches[0].reason == "0 m away, name agrees"


def test_the_nearest_bridge_that_does_not_fit_is_told() -> None:
    oak = inventory_names("OAK ST")
    bridges = [bridge(60, 0, over_names=oak), bridge(30, 0, under_names=oak), bridge(90, 0, over_names=oak)]
    told = pair_up([listing(0, 0, **NAMED)], bridges).unmatched[0]
    assert told == "nearest, 30 m away: name beneath differs, name above not told"
    weak = pair_up([listing(60, 0, over=NO_NAME, under=NO_NAME)], [bridge(0, 0)]).unmatched[0]
    assert weak == (
        "nearest, 60 m away: does not fit well enough: 60 m away, name beneath not told, "
        "name above not told, kind agrees"
    )


def test_what_is_not_told_is_of_no_tunnel_and_no_road_beneath() -> None:
    lon, lat = place(0, 0)
    plain = Listing(lon=lon, lat=lat, step_m=0.0, over=BELL, under=CLAY)
    assert score(plain, bridge(**ON_MAP)) == pytest.approx(0.875)
    assert paired(plain, bridge(**ON_MAP, under=(), public=False)).matches


def test_a_limit_on_a_tunnel_is_no_reason_against_either() -> None:
    """A height of a road of which the map tells no more may be of a tunnel or of a bridge."""
    limit = bridge(**ON_MAP, kinds=frozenset({Kind.LIMIT}))
    assert paired(listing(**{**NAMED, "tunnel": True}), limit).matches
    assert paired(listing(**NAMED), limit).matches


@pytest.mark.parametrize("bearing", [30, -30, 150, 210])
def test_the_angle_of_a_deck_that_slants_is_that_on_the_ground(bearing: float) -> None:
    """30 degrees off north over a road that runs east: they cross at 60, a skew of 30."""
    x, y = 20 * math.sin(math.radians(bearing)), 20 * math.cos(math.radians(bearing))
    slanting = bridge(**ON_MAP, lines=np.array([[*place(-x, -y), *place(x, y)]]))
    for skew, worth in ((20, 0.15), (30, 0.15), (40, 0.15), (8, 0.075), (52, 0.075), (76, 0.0)):
        assert score(listing(**NAMED, skew_deg=skew), slanting) == pytest.approx(0.85 + worth)
