"""What arcs and turns cost, and what is closed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given, settings

from clearance.core.coach import Coach
from clearance.core.conditions import Window
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.core.profile import STATIONS_M
from clearance.core.standing import standing
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network.build import build_network
from clearance.network.network import NO_LIMIT, Network
from clearance.routing.mask import STANDINGS, Costs, coach_costs, open_ends
from clearance.routing.plan import find_drive
from clearance.routing.policy import COACH_TOP_KMH
from clearance.routing.snap import snap
from tests.network.moves import arcs_between, network_of
from tests.routing.grid_towns import GridTown, grid_towns
from tests.towns import Town, lonlat

COACH = Coach(
    height=Length.from_metres("3.8"), margin=Length.from_metres("0.2"), comfort=Length.from_metres("4.3")
)
NOON = Window(datetime(2026, 11, 25, 12), datetime(2026, 11, 25, 13))
NIGHT = Window(datetime(2026, 11, 25, 23), datetime(2026, 11, 25, 23, 30))


def _line(tags: dict[str, str] | None = None) -> Town:
    """Way 11 over nodes 1 to 5, 100 m apart to the east, with a side road at each but the ends."""
    town = Town()
    for node in range(1, 6):
        town.node(node, node * 100, 0)
    town.way(11, [1, 2, 3, 4, 5], tags or {"highway": "residential", "maxspeed": "36"})
    for node in (2, 3, 4):
        town.node(node + 20, node * 100, 100).way(node + 20, [node, node + 20])
    return town


def _over(
    *figures: str, start: float = 1.5, end: float | None = None, whole_way: bool = False, **more: object
) -> Structure:
    """A structure over way 11 with posted figures in metres, after ``@`` a condition."""
    evidence = []
    for figure in figures:
        metres, _, condition = figure.partition("@")
        evidence.append(
            Evidence(
                evidence_class=EvidenceClass.POSTED,
                figure=Length.from_metres(metres),
                condition=condition,
            )
        )
    span = Span(way=11, start=start, end=start if end is None else end, whole_way=whole_way)
    told = {"evidence": tuple(evidence), "spans": (span,), **more}
    return Structure(key="over", kind=Kind.BRIDGE, lon=0.0, lat=0.0, **told)  # type: ignore[arg-type]


def _arc(network: Network, a: int, b: int) -> int:
    (arc,) = arcs_between(network, a, b)
    return arc


def _costs(network: Network, unverified: Unverified = Unverified.AVOID, **more: object) -> Costs:
    told = {"coach": COACH, "window": None, **more}
    return coach_costs(network, unverified=unverified, **told)  # type: ignore[arg-type]


def _extra(costs: Costs, arc: int) -> float:
    """Seconds beyond driving time; infinite where closed."""
    return round(float(costs.cost[arc] - costs.seconds[arc]), 3)


# --- structures --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("figures", "avoid", "accept", "refuse", "standing_"),
    [
        (("3.9999",), np.inf, np.inf, np.inf, "too low"),
        (("4",), 240.0, 1.0, 240.0, "tight"),
        (("4.2999",), 240.0, 1.0, 240.0, "tight"),
        (("4.3",), 0.0, 0.0, 0.0, "clear"),
        (("4.5", "3.9"), np.inf, np.inf, np.inf, "too low"),
        ((), 900.0, 1.0, np.inf, "unverified"),
    ],
)
def test_what_a_structure_costs_by_policy(
    figures: tuple[str, ...], avoid: float, accept: float, refuse: float, standing_: str
) -> None:
    network = build_network(_line().extract(), [_over(*figures)])
    for unverified, expected in zip(Unverified, (avoid, accept, refuse), strict=True):
        costs = _costs(network, unverified)
        for a, b in ((2, 3), (3, 2)):
            assert _extra(costs, _arc(network, a, b)) == expected
        assert _extra(costs, _arc(network, 1, 2)) == 0.0
        assert {str(STANDINGS[code]) for code in costs.standing[0]} == {standing_}


def test_need_equal_to_the_clearance_passes_and_a_tenth_of_a_millimetre_more_does_not() -> None:
    network = build_network(_line().extract(), [_over("4.1148")])
    coach = Coach(height=Length.from_feet(13), margin=Length.from_feet(0, 6))
    assert coach.need == Length(41148)
    arc = _arc(network, 2, 3)
    assert np.isfinite(_costs(network, coach=coach).cost[arc])
    taller = replace(coach, height=coach.height + Length(1))
    assert np.isinf(_costs(network, coach=taller).cost[arc])


def test_figures_that_cannot_clear_still_condemn() -> None:
    def told(metres: str) -> Structure:
        evidence = Evidence(
            evidence_class=EvidenceClass.POSTED, figure=Length.from_metres(metres), can_clear=False
        )
        return _over(evidence=(evidence,))

    low, high = (build_network(_line().extract(), [told(metres)]) for metres in ("3.9", "5"))
    assert np.isinf(_costs(low).cost[_arc(low, 2, 3)])
    assert _extra(_costs(high), _arc(high, 2, 3)) == 900.0


def test_directions_have_their_own_figures() -> None:
    evidence = tuple(
        Evidence(evidence_class=EvidenceClass.POSTED, figure=Length.from_metres(metres), direction=direction)
        for metres, direction in (("3.5", Direction.FORWARD), ("4.5", Direction.BACKWARD))
    )
    network = build_network(_line().extract(), [_over(evidence=evidence)])
    costs = _costs(network)
    assert np.isinf(costs.cost[_arc(network, 2, 3)])
    assert _extra(costs, _arc(network, 3, 2)) == 0.0


def test_conditional_figures_are_left_out_only_where_surely_off() -> None:
    network = build_network(_line().extract(), [_over("4.5", "3.5@20:00-06:00")])
    arc = _arc(network, 2, 3)
    assert np.isinf(_costs(network, window=None).cost[arc])
    assert np.isinf(_costs(network, window=NIGHT).cost[arc])
    assert _extra(_costs(network, window=NOON), arc) == 0.0
    only = build_network(_line().extract(), [_over("4.5@20:00-06:00")])
    for window, low in ((NOON, NO_LIMIT), (NIGHT, 45000)):
        costs = _costs(only, window=window)
        assert costs.low.tolist() == [[low, low]]
        assert _extra(costs, arc) == 900.0, "a figure under a condition never makes a structure clear"


def test_a_long_structure_costs_one_passage_over_all_its_arcs() -> None:
    network = build_network(_line().extract(), [_over(start=0.5, end=3.5)])
    costs = _costs(network)
    extras = [_extra(costs, _arc(network, a, a + 1)) for a in (1, 2, 3, 4)]
    assert extras == pytest.approx([150.0, 300.0, 300.0, 150.0], abs=0.1)
    assert sum(extras) == pytest.approx(900.0, abs=0.01)


def test_the_figure_of_a_whole_way_closes_all_of_it_but_charges_the_passage_alone() -> None:
    low = build_network(_line().extract(), [_over("3.5", whole_way=True)])
    tight = build_network(_line().extract(), [_over("4.1", whole_way=True)])
    unknown = build_network(_line().extract(), [_over(whole_way=True)])
    for a in (1, 2, 3, 4):
        assert np.isinf(_costs(low).cost[_arc(low, a, a + 1)])
        assert _extra(_costs(tight), _arc(tight, a, a + 1)) == (240.0 if a == 2 else 0.0)
        refused = _costs(unknown, Unverified.REFUSE).cost[_arc(unknown, a, a + 1)]
        assert np.isinf(refused) == (a == 2)
    assert np.isfinite(_costs(low).cost[_arc(low, 2, 22)])


@pytest.mark.parametrize(("metres", "extra"), [("3.5", np.inf), ("4.1", 240.0), ("5", 0.0), (None, 900.0)])
def test_a_structure_on_a_node_bears_on_every_turn_through_it(metres: str | None, extra: float) -> None:
    figures = () if metres is None else (metres,)
    network = build_network(_line().extract(), [_over(*figures, spans=(), nodes=(3,))])
    costs = _costs(network)
    through = [
        turn
        for arc in (_arc(network, 2, 3), _arc(network, 4, 3), _arc(network, 23, 3))
        for turn in range(network.turn_ptr[arc], network.turn_ptr[arc + 1])
    ]
    assert len(through) == 6
    assert costs.turn_extra[through].tolist() == [extra] * 6
    others = np.delete(costs.turn_extra, through)
    assert not others.any()
    assert np.isfinite(costs.cost).all()


@settings(max_examples=40, deadline=None)
@given(grid_towns())
def test_standings_are_those_of_the_core(town: GridTown) -> None:
    network = build_network(town.town().extract(), town.structures())
    costs = _costs(network)
    for structure, codes in zip(network.structures, costs.standing, strict=True):
        for side, code in zip((Direction.FORWARD, Direction.BACKWARD), codes, strict=True):
            assert STANDINGS[code] is standing(structure, side, COACH)


def test_heights_left_out_and_cars_see_no_structures() -> None:
    network = build_network(_line().extract(), [_over("3"), _over("3", spans=(), nodes=(3,))])
    for costs in (_costs(network, ignore=frozenset({"height"})), _costs(network, car=True)):
        assert np.isfinite(costs.cost).all()
        assert not costs.turn_extra.any()
        assert not costs.hit_extra.any()
        assert {str(STANDINGS[code]) for code in costs.standing.ravel()} == {"too low"}
    with pytest.raises(ValueError, match="no such limits"):
        _costs(network, ignore=frozenset({"hieght"}))


# --- limits, bans, access ----------------------------------------------------------------------------

BIG = replace(
    COACH, width=Length.from_metres("2.5"), length=Length.from_metres("11"), weight_kg=9000, propane=True
)


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"maxwidth": "2.4"}, "width"),
        ({"maxlength": "10"}, "length"),
        ({"maxweight": "7.5"}, "weight"),
        ({"hazmat": "no"}, "hazmat"),
        ({"motorhome": "no"}, "access"),
        ({"highway": "service", "service": "drive-through"}, "access"),
        ({"maxweight:conditional": "7.5 @ (Mo-Su)"}, "weight"),
        ({"hazmat:conditional": "no @ (Mo-Su)"}, "hazmat"),
        ({"motor_vehicle:conditional": "no @ (Mo-Su)"}, "access"),
    ],
)
def test_limits_close_arcs_unless_they_are_left_out(tags: dict[str, str], kind: str) -> None:
    network = network_of(_line({"highway": "residential", **tags}))
    arc = _arc(network, 2, 3)
    costs = _costs(network, coach=BIG, window=NOON)
    assert np.isinf(costs.cost[arc])
    assert costs.closed[arc]
    assert not costs.usable[arc]
    assert np.isfinite(_costs(network, coach=BIG, window=NOON, ignore=frozenset({kind})).cost[arc])
    assert np.isfinite(_costs(network, coach=BIG, window=NOON, car=True).cost[arc]) == (
        not any(key.startswith("motor_vehicle") for key in tags)
    )


def test_limits_just_met_are_open_and_those_not_told_are_not_judged() -> None:
    tags = {"highway": "residential", "maxwidth": "2.5", "maxlength": "11", "maxweight": "9"}
    arc_costs = _costs(network_of(_line(tags)), coach=BIG).cost
    assert np.isfinite(arc_costs).all()
    tags = {"highway": "residential", "maxwidth": "1", "maxlength": "5", "maxweight": "1"}
    assert np.isfinite(_costs(network_of(_line(tags)), coach=COACH).cost).all()


def test_no_coach_gains_by_driving_faster_than_it_can() -> None:
    network = network_of(_line({"highway": "motorway", "maxspeed": "130", "oneway": "no"}))
    arc = _arc(network, 2, 3)
    length = float(network.arc_length[arc])
    assert _costs(network).seconds[arc] == pytest.approx(length * 3.6 / COACH_TOP_KMH)
    assert _costs(network, car=True).seconds[arc] == pytest.approx(length * 3.6 / 130)


@pytest.mark.parametrize(
    ("tags", "closes_coach", "closes_car"),
    [
        ({"barrier": "bollard"}, True, True),
        ({"barrier": "bollard", "motorcar": "yes"}, True, False),
        ({"barrier": "kerb", "maxwidth": "2"}, True, False),
        ({"barrier": "cattle_grid"}, False, False),
        ({"barrier": "gate", "access": "yes", "access:conditional": "no @ (Mo-Su)"}, True, True),
        ({"barrier": "gate", "access": "yes", "trailer": "no"}, False, False),
    ],
)
def test_barriers_close_the_turns_through_them(
    tags: dict[str, str], closes_coach: bool, closes_car: bool
) -> None:
    network = network_of(_line().node(3, 300, 0, tags))
    turn = int(network.turn_ptr[_arc(network, 2, 3)])
    assert np.isinf(_costs(network, coach=BIG).turn_extra[turn]) == closes_coach
    assert np.isinf(_costs(network, coach=BIG, car=True).turn_extra[turn]) == closes_car
    assert _costs(network, coach=BIG, ignore=frozenset({"access", "width"})).turn_extra[turn] == 0.0
    towing = _costs(network, coach=replace(BIG, towing=True)).turn_extra[turn]
    assert np.isinf(towing) == (closes_coach or "trailer" in tags)


def test_rules_on_turns_close_them_at_their_time() -> None:
    town = _line().relation(
        900,
        [("w", 11, "from"), ("n", 3, "via"), ("w", 23, "to")],
        {"type": "restriction", "restriction:conditional": "no_left_turn @ (10:00-14:00)"},
    )
    network = network_of(town)
    closed = {window: np.isinf(_costs(network, window=window).turn_extra).sum() for window in (NOON, NIGHT)}
    assert closed == {NOON: 1, NIGHT: 0}
    assert np.isinf(_costs(network, window=None).turn_extra).sum() == 1


# --- ends-only roads ---------------------------------------------------------------------------------


def _block(middle: dict[str, str]) -> Town:
    """1 - 2 - 3 - 4 in a row; a short way 2 - 3 with tags, and a long open one over 5, 6, 7."""
    town = Town()
    for node, x, y in ((1, 0, 0), (2, 100, 0), (3, 300, 0), (4, 400, 0), (5, 100, 300), (6, 300, 300)):
        town.node(node, x, y)
    town.node(8, 200, 0)
    town.way(11, [1, 2]).way(12, [2, 8, 3], {"highway": "residential", **middle}).way(13, [3, 4])
    return town.way(14, [2, 5, 6, 3])


def _ways_driven(
    network: Network, start: tuple[float, float], end: tuple[float, float], **more: object
) -> list[int] | None:
    costs = _costs(network, **more)  # type: ignore[arg-type]
    a, b = (snap(network, *lonlat(*place), costs.usable) for place in (start, end))
    opened = open_ends(network, costs, [s.arc for s in a], [s.arc for s in b])
    route = find_drive(network, opened, a, b)
    if route is None:
        return None
    return list(dict.fromkeys(network.ways[int(network.arc_way[arc])].id for arc in route.arcs))


@pytest.mark.parametrize("value", ["private", "destination", "customers", "delivery"])
def test_no_drive_goes_through_an_ends_only_road(value: str) -> None:
    network = network_of(_block({"access": value}))
    assert _ways_driven(network, (50, 0), (350, 0)) == [11, 14, 13]
    assert _ways_driven(network, (50, 0), (250, 0)) == [11, 12]
    assert _ways_driven(network, (150, 0), (350, 0)) == [12, 13]
    assert _ways_driven(network_of(_block({})), (50, 0), (350, 0)) == [11, 12, 13]


def test_a_zone_of_several_roads_is_opened_as_one() -> None:
    town = (
        _block({"access": "private"})
        .node(9, 200, -100)
        .way(15, [8, 9], {"highway": "service", "access": "private"})
    )
    network = network_of(town)
    assert _ways_driven(network, (350, 0), (200, -80)) == [13, 12, 15]
    assert _ways_driven(network, (50, 0), (350, 0)) == [11, 14, 13]


def test_an_ends_only_zone_elsewhere_stays_shut() -> None:
    town = (
        _block({"access": "private"})
        .node(9, 600, 0)
        .way(15, [4, 9], {"highway": "service", "access": "private"})
    )
    assert _ways_driven(network_of(town), (50, 0), (550, 0)) == [11, 14, 13, 15]


def test_an_open_road_behind_a_gate_is_reached_through_it_and_none_goes_through() -> None:
    gate = {"barrier": "gate"}
    town = _block({}).node(9, 600, 0).node(10, 700, 0).node(4, 400, 0, gate).way(15, [4, 9]).way(16, [9, 10])
    network = network_of(town)
    assert _ways_driven(network, (50, 0), (650, 0)) == [11, 12, 13, 15, 16]
    assert _ways_driven(network, (650, 0), (50, 0)) == [16, 15, 13, 12, 11]
    # Two gates on the short way: whoever lives between may come in, nobody passes.
    town = _block({}).node(2, 100, 0).node(8, 200, 0, gate)
    network = network_of(town)
    assert _ways_driven(network, (50, 0), (350, 0)) == [11, 14, 13]
    town = _block({})
    town._ways = [w for w in town._ways if w.id != 12]
    town.node(17, 150, 0, gate).node(18, 250, 0, gate).way(12, [2, 17, 8, 18, 3])
    network = network_of(town)
    assert _ways_driven(network, (50, 0), (350, 0)) == [11, 14, 13]
    assert _ways_driven(network, (50, 0), (210, 0)) == [11, 12]


def test_parts_within_parts_are_opened_outwards() -> None:
    gate = {"barrier": "gate"}
    town = Town()
    for node in range(1, 8):
        town.node(node, node * 100, 0, gate if node in (4, 6) else None)
    for way in range(11, 17):
        town.way(way, [way - 10, way - 9])
    network = network_of(town)
    assert _ways_driven(network, (150, 0), (650, 0)) == [11, 12, 13, 14, 15, 16]
    assert _ways_driven(network, (450, 0), (650, 0)) == [14, 15, 16]


def test_a_road_ends_only_by_the_hour_is_open_to_those_who_live_there() -> None:
    network = network_of(_block({"motor_vehicle:conditional": "destination @ (20:00-06:00)"}))
    assert _ways_driven(network, (50, 0), (350, 0), window=NOON) == [11, 12, 13]
    assert _ways_driven(network, (50, 0), (350, 0), window=NIGHT) == [11, 14, 13]
    assert _ways_driven(network, (50, 0), (250, 0), window=NIGHT) == [11, 12]


def test_a_car_has_zones_of_its_own() -> None:
    network = network_of(_block({"motorcar": "private", "motorhome": "yes"}))
    assert _ways_driven(network, (50, 0), (350, 0)) == [11, 12, 13]
    assert _ways_driven(network, (50, 0), (350, 0), car=True) == [11, 14, 13]
    assert _ways_driven(network, (50, 0), (250, 0), car=True) == [11, 12]


def test_opening_changes_no_costs_that_were_given() -> None:
    network = network_of(_block({"access": "private"}))
    costs = _costs(network)
    before = costs.cost.copy()
    opened = open_ends(network, costs, arcs_between(network, 2, 3), [_arc(network, 3, 4)])
    assert (costs.cost == before).all()
    assert np.isfinite(opened.cost).all()


def _promised(metres: str) -> Structure:
    rule = Evidence(evidence_class=EvidenceClass.IMPLIED, can_clear=False, implied=Length.from_metres(metres))
    return _over(evidence=(rule,))


def test_a_rule_that_promises_the_need_is_worth_a_smaller_detour_and_clears_nothing() -> None:
    """The need is 4.0 m: 3.8 m and 0.2 m to spare."""
    extra = {}
    for metres in ("3.9999", "4.0", "6"):
        network = build_network(_line().extract(), (_promised(metres),))
        costs = _costs(network)
        assert STANDINGS[costs.standing[0, 0]].value == "unverified"
        assert np.isinf(_extra(_costs(network, Unverified.REFUSE), _arc(network, 2, 3)))
        extra[metres] = _extra(costs, _arc(network, 2, 3))
    plain = _extra(_costs(build_network(_line().extract(), (_over(),))), _arc(network, 2, 3))
    assert extra["3.9999"] == plain > 0
    assert extra["4.0"] == extra["6"] == pytest.approx(plain / 2)


def test_a_dip_is_taken_off_for_a_coach_whose_wheelbase_is_told() -> None:
    """A dip of x^2 / 200 under 10 m between the axles takes L^2 / 800 = 12.5 cm."""
    network = build_network(
        _line().extract(), (_over("4.1", "4.05@(22:00-05:00)"), replace(_over(), key="b"))
    )
    network = replace(
        network,
        profile_structure=np.array([0, 1], dtype=np.int32),
        profile_height=np.stack([STATIONS_M**2 / 200, STATIONS_M**2 / 200]),
    )
    long = replace(COACH, wheelbase=Length.from_metres("10"), rear_overhang=Length.from_metres("1"))
    assert _costs(network).low.tolist() == [[40_500] * 2, [NO_LIMIT] * 2]
    assert _costs(network).lost.tolist() == [0, 0]
    for window, low in ((NOON, 41_000), (NIGHT, 40_500)):
        costs = _costs(network, coach=long, window=window)
        lost = int(costs.lost[0])
        # Between stations 1 m apart the ground is straight: up to 1 / 800 m more or less.
        assert lost == pytest.approx(1250, abs=13)
        assert costs.low.tolist() == [[low - lost] * 2, [NO_LIMIT] * 2]
        assert STANDINGS[costs.standing[0, 0]].value == "too low"
        assert np.isinf(costs.arc_cost[_arc(network, 2, 3)])
        assert STANDINGS[costs.standing[1, 0]].value == "unverified"
