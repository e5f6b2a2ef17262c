"""From towns to arrays: where roads are cut, what arcs tell, where structures bear on them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from pyproj import Geod

from clearance.core.extract import Extract, ExtractInfo
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network.build import build_network
from clearance.network.network import (
    ACCESS_CLOSED,
    ACCESS_ENDS,
    ACCESS_OPEN,
    FLAG_CAR_PARK,
    FLAG_DRIVE_THROUGH,
    FLAG_HAZMAT_BAN,
    NO_LIMIT,
    NODE_CAR_PARK,
    NODE_TURNING_CIRCLE,
    NODE_TURNING_LOOP,
    Network,
)
from tests.network.moves import arcs_between, network_of
from tests.routing.grid_towns import GridTown, grid_towns
from tests.towns import Town


def _line(tags: dict[str, str] | None = None, *, count: int = 5) -> Town:
    """Way 11 over nodes 1 to `count`, 100 m apart to the east."""
    town = Town()
    for node in range(1, count + 1):
        town.node(node, node * 100, 0)
    return town.way(11, list(range(1, count + 1)), tags)


def _nodes(network: Network) -> set[int]:
    return set(network.node_osm.tolist())


def _arc(network: Network, a: int, b: int) -> int:
    (arc,) = arcs_between(network, a, b)
    return arc


# --- cuts --------------------------------------------------------------------------------------------


def test_a_road_is_one_piece_between_its_ends() -> None:
    network = network_of(_line())
    assert _nodes(network) == {1, 5}
    assert network.arc_tail.size == 2
    arc = _arc(network, 1, 5)
    assert (network.arc_from[arc], network.arc_to[arc]) == (0, 4)
    back = int(network.arc_reverse[arc])
    assert (network.arc_from[back], network.arc_to[back]) == (4, 0)
    assert network.arc_reverse[back] == arc
    assert network.arc_geom[back] == network.arc_geom[arc]


def test_cuts_are_at_junctions_barriers_turning_places_and_structures() -> None:
    town = _line(count=8)
    town.node(3, 300, 0, {"barrier": "gate"})
    town.node(5, 500, 0, {"highway": "turning_circle"})
    town.node(7, 700, 0, {"highway": "crossing"})
    town.node(20, 200, 100).way(12, [2, 20])
    structure = Structure(key="bar", kind=Kind.HEIGHT_BAR, lon=0.0, lat=0.0, nodes=(6,))
    network = build_network(town.extract(), [structure])
    assert _nodes(network) == {1, 2, 3, 5, 6, 8, 20}


def test_ways_that_are_no_roads_cut_nothing() -> None:
    town = _line().node(20, 300, 100)
    town.way(12, [3, 20], {"highway": "footway"}).way(13, [2, 20], {"highway": "service", "access": "no"})
    assert _nodes(network_of(town)) == {1, 5}


def test_a_way_that_meets_itself_is_cut_there() -> None:
    town = _line().way(12, [5, 2])
    assert _nodes(network_of(town)) == {1, 2, 5}
    lasso = Town().node(1, 0, 0).node(2, 100, 0).node(3, 150, 50).node(4, 150, -50).way(11, [1, 2, 3, 4, 2])
    network = network_of(lasso)
    assert _nodes(network) == {1, 2}
    assert len(arcs_between(network, 2, 2)) == 2


def test_a_node_named_twice_in_a_row_leaves_no_arc_without_length() -> None:
    network = network_of(Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).way(11, [1, 2, 2, 3]))
    assert network.arc_tail.size == 4
    assert (network.arc_length > 0).all()


def test_an_extract_without_roads_makes_an_empty_network() -> None:
    network = network_of(Town().node(1, 0, 0).node(2, 1, 1).way(11, [1, 2], {"highway": "footway"}))
    assert network.node_osm.size == network.arc_tail.size == network.turn_to.size == 0
    assert network.turn_ptr.tolist() == [0]
    nothing = Extract(
        info=ExtractInfo(source="nothing"),
        node_ids=np.zeros(0, np.int64),
        lon=np.zeros(0),
        lat=np.zeros(0),
        ways=(),
    )
    assert build_network(nothing, ()).geom_ptr.tolist() == [0]


@settings(max_examples=40, deadline=None)
@given(grid_towns())
def test_pieces_cover_every_way_once_and_lengths_are_geodesic(town: GridTown) -> None:
    network = build_network(town.town().extract(), ())
    geod = Geod(ellps="WGS84")
    by_way: dict[int, list[tuple[int, int, float]]] = {}
    for arc in range(network.arc_tail.size):
        start, end = int(network.arc_from[arc]), int(network.arc_to[arc])
        row = network.ways[int(network.arc_way[arc])]
        street = town.by_ref[row.id]
        assert network.node_osm[network.arc_tail[arc]] == street.nodes[start] + 1
        assert network.node_osm[network.arc_head[arc]] == street.nodes[end] + 1
        assert (street.oneway, start < end) not in {("yes", False), ("-1", True)}
        assert network.arc_seconds[arc] == pytest.approx(network.arc_length[arc] / street.speed * 3.6)
        by_way.setdefault(row.id, []).append((min(start, end), max(start, end), network.arc_length[arc]))
    for street in town.streets:
        pieces = sorted(set(by_way[street.ref]))
        assert [p[0] for p in pieces] == [0, *(p[1] for p in pieces[:-1])]
        assert pieces[-1][1] == len(street.nodes) - 1
        lons, lats = zip(*(town.place(node) for node in street.nodes), strict=True)
        whole = geod.line_length(lons, lats)
        assert sum(p[2] for p in pieces) == pytest.approx(whole, abs=1e-6)


def test_the_same_town_gives_the_same_arrays() -> None:
    town = _line()
    one, other = network_of(town), network_of(town)
    for name in ("node_osm", "arc_tail", "turn_to", "geom_lon"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    with pytest.raises(ValueError, match="read-only"):
        one.arc_length[0] = 1.0


def test_arcs_are_sorted_by_tail_and_turns_lead_from_head_to_tail() -> None:
    town = _line().node(20, 200, 100).way(12, [2, 20]).node(30, 300, 100).way(13, [3, 30])
    network = network_of(town)
    assert (np.diff(network.arc_tail) >= 0).all()
    for state in range(network.state_arc.size):
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            head = network.arc_head[network.state_arc[state]]
            assert network.arc_tail[network.state_arc[network.turn_to[turn]]] == head


# --- tags --------------------------------------------------------------------------------------------


def test_one_way_streets_have_one_arc() -> None:
    for value, pair in (("yes", (1, 5)), ("-1", (5, 1))):
        network = network_of(_line({"highway": "residential", "oneway": value}))
        assert network.arc_tail.size == 1
        assert network.arc_reverse.tolist() == [-1]
        assert _arc(network, *pair) == 0


def test_access_differs_by_vehicle_and_direction() -> None:
    tags = {"highway": "residential", "motorhome": "no", "motorcar:backward": "private"}
    network = network_of(_line(tags))
    there, back = _arc(network, 1, 5), _arc(network, 5, 1)
    assert network.arc_access[[there, back]].tolist() == [ACCESS_CLOSED, ACCESS_CLOSED]
    assert network.arc_access_car[[there, back]].tolist() == [ACCESS_OPEN, ACCESS_ENDS]


def test_a_one_way_street_may_be_two_way_for_one_vehicle() -> None:
    network = network_of(_line({"highway": "residential", "oneway": "yes", "oneway:motorcar": "no"}))
    back = _arc(network, 5, 1)
    assert network.arc_access[back] == ACCESS_CLOSED
    assert network.arc_access_car[back] == ACCESS_OPEN


def test_limits_hold_by_direction() -> None:
    tags = {
        "highway": "residential",
        "maxwidth": "2.3",
        "maxlength:forward": "10",
        "maxweight:backward": "7.5",
    }
    network = network_of(_line(tags))
    there, back = _arc(network, 1, 5), _arc(network, 5, 1)
    assert network.arc_max_width[[there, back]].tolist() == [23000, 23000]
    assert network.arc_max_length[[there, back]].tolist() == [100000, NO_LIMIT]
    assert network.arc_max_weight[[there, back]].tolist() == [NO_LIMIT, 7500]


def test_flags_of_lanes_and_bans() -> None:
    network = network_of(_line({"highway": "service", "service": "drive-through", "hazmat": "no"}))
    assert set(network.arc_flags.tolist()) == {FLAG_DRIVE_THROUGH | FLAG_HAZMAT_BAN}


def test_conditions_become_rules_of_their_arcs() -> None:
    tags = {
        "highway": "residential",
        "motor_vehicle:conditional": "no @ (22:00-06:00)",
        "maxweight:conditional": "5 @ wet",
        "hazmat:forward:conditional": "no @ (Mo)",
    }
    network = network_of(_line(tags))
    by_arc: dict[int, list[tuple[str, str, int, tuple[str, ...]]]] = {0: [], 1: []}
    for arc, index in zip(network.rule_arc, network.rule_index, strict=True):
        rule = network.rules[index]
        assert rule.element == "way/11"
        by_arc[int(arc)].append((rule.target, rule.condition, rule.value, rule.modes))
    both = [
        ("access", "22:00-06:00", ACCESS_CLOSED, ()),
        ("weight", "wet", 5000, ("motorhome",)),
    ]
    there, back = _arc(network, 1, 5), _arc(network, 5, 1)
    assert sorted(by_arc[back]) == both
    assert sorted(by_arc[there]) == [both[0], ("hazmat", "Mo", 1, ("motorhome",)), both[1]]


def test_a_road_closed_but_at_times_is_kept_with_its_rule() -> None:
    network = network_of(
        _line({"highway": "residential", "access": "no", "motorhome:conditional": "yes @ (10:00-16:00)"})
    )
    assert network.arc_access.tolist() == [ACCESS_CLOSED] * 2
    assert [(r.value, r.modes) for r in network.rules] == [(ACCESS_OPEN, ("motorhome",))]


def test_what_towing_closes_is_a_rule_for_those_who_tow() -> None:
    network = network_of(_line({"highway": "residential", "trailer": "no"}))
    assert network.arc_access.tolist() == [ACCESS_OPEN] * 2
    assert {(r.target, r.condition, r.value, r.modes, r.raw) for r in network.rules} == {
        ("access", "", ACCESS_CLOSED, ("trailer",), "trailer=no")
    }


def test_nodes_tell_of_barriers_limits_and_places_to_turn() -> None:
    town = _line()
    town.node(2, 200, 0, {"barrier": "bollard"})
    town.node(3, 300, 0, {"barrier": "gate", "motorcar": "yes", "maxwidth": "2.2"})
    town.node(4, 400, 0, {"highway": "turning_loop"}).node(5, 500, 0, {"highway": "turning_circle"})
    network = network_of(town)
    at = {int(osm): i for i, osm in enumerate(network.node_osm)}
    assert [network.node_access[at[n]] for n in (1, 2, 3, 4)] == [
        ACCESS_OPEN,
        ACCESS_CLOSED,
        ACCESS_ENDS,
        ACCESS_OPEN,
    ]
    assert network.node_access_car[at[3]] == ACCESS_OPEN
    assert network.node_flags[at[4]] == NODE_TURNING_LOOP
    assert network.node_flags[at[5]] == NODE_TURNING_CIRCLE
    (rule,) = (network.rules[i] for i in network.noderule_index)
    assert network.noderule_node.tolist() == [at[3]]
    assert (rule.target, rule.value, rule.element, rule.raw) == ("width", 22000, "node/3", "maxwidth=2.2")


def test_unread_limits_and_doubtful_directions_are_warnings() -> None:
    town = _line({"highway": "residential", "maxweight": "much", "oneway": "reversible"}).way(12, [5, 1])
    warnings = network_of(town).info.warnings
    assert any(w.startswith("way/11: maxweight='much'") for w in warnings)
    assert any(w.startswith("way/11: direction of traffic changes") for w in warnings)


def test_rows_of_ways_and_places_are_kept() -> None:
    place = Place(lon=1.0, lat=2.0, name="Mill Lane", kind="street", osm="way/11")
    tags = {"highway": "residential", "name": "Mill Lane", "ref": "B 7", "maxheight": "3"}
    network = build_network(_line(tags).extract(), (), [place])
    (row,) = network.ways
    assert (row.id, row.name, row.ref, row.highway, row.tags) == (11, "Mill Lane", "B 7", "residential", tags)
    assert network.places == (place,)


# --- structures --------------------------------------------------------------------------------------


def _posted(metres: str, direction: Direction = Direction.BOTH, condition: str = "") -> Evidence:
    return Evidence(
        evidence_class=EvidenceClass.POSTED,
        figure=Length.from_metres(metres),
        direction=direction,
        condition=condition,
    )


def _structure(
    *spans: Span, nodes: tuple[int, ...] = (), kind: Kind = Kind.BRIDGE, **more: object
) -> Structure:
    return Structure(key="over", kind=kind, lon=0.0, lat=0.0, spans=spans, nodes=nodes, **more)  # type: ignore[arg-type]


def _hits(network: Network, arc: int) -> list[tuple[float, float, float, float, bool, int]]:
    return [
        (
            round(float(network.hit_position[h]), 3),
            round(float(network.hit_start[h]), 3),
            round(float(network.hit_end[h]), 3),
            round(float(network.hit_share[h]), 3),
            bool(network.hit_passed[h]),
            int(network.hit_side[h]),
        )
        for h in np.flatnonzero(network.hit_arc == arc)
    ]


def test_a_crossing_hits_both_arcs_where_it_is() -> None:
    network = build_network(_line().extract(), [_structure(Span(way=11, start=1.2, end=1.2))])
    assert _hits(network, _arc(network, 1, 5)) == [(0.3, 0.3, 0.3, 1.0, True, 0)]
    assert _hits(network, _arc(network, 5, 1)) == [(0.7, 0.7, 0.7, 1.0, True, 1)]


def test_positions_go_by_length_and_not_by_node() -> None:
    town = Town().node(1, 0, 0).node(2, 10, 0).node(3, 100, 0).way(11, [1, 2, 3])
    network = build_network(town.extract(), [_structure(Span(way=11, start=1.5, end=1.5))])
    assert _hits(network, _arc(network, 1, 3))[0][0] == 0.55


def _cut_line() -> Town:
    """The line with side roads at nodes 2, 3 and 4."""
    town = _line()
    for node in (2, 3, 4):
        town.node(node + 20, node * 100, 100).way(node + 20, [node, node + 20])
    return town


def test_a_crossing_at_a_cut_bears_on_both_pieces_half_each() -> None:
    network = build_network(_cut_line().extract(), [_structure(Span(way=11, start=2.0, end=2.0))])
    assert _hits(network, _arc(network, 2, 3)) == [(1.0, 1.0, 1.0, 0.5, True, 0)]
    assert _hits(network, _arc(network, 3, 4)) == [(0.0, 0.0, 0.0, 0.5, True, 0)]
    assert network.hit_arc.size == 4


def test_a_span_hits_what_it_overlaps_and_its_shares_add_up() -> None:
    network = build_network(_cut_line().extract(), [_structure(Span(way=11, start=0.5, end=3.0))])
    assert _hits(network, _arc(network, 1, 2)) == [(0.75, 0.5, 1.0, 0.2, True, 0)]
    assert _hits(network, _arc(network, 3, 2)) == [(0.5, 0.0, 1.0, 0.4, True, 1)]
    assert _hits(network, _arc(network, 4, 3)) == [(0.5, 0.0, 1.0, 0.4, True, 1)]
    assert _hits(network, _arc(network, 4, 5)) == []
    along = network.hit_side == 0
    assert network.hit_share[along].sum() == pytest.approx(1.0)


def test_a_figure_of_the_whole_way_bears_on_the_rest_without_being_passed() -> None:
    span = Span(way=11, start=1.5, end=1.5, whole_way=True)
    network = build_network(_cut_line().extract(), [_structure(span)])
    for a, b in pairwise((1, 2, 3, 4, 5)):
        passed = (a, b) == (2, 3)
        structure, figure = (0.5, 0.5, 0.5, 1.0, True, 0), (0.5, 0.0, 1.0, 0.0, False, 0)
        expected = [structure, figure] if passed else [figure]
        assert sorted(_hits(network, _arc(network, a, b)), reverse=True) == expected
    assert _hits(network, _arc(network, 2, 22)) == []


def test_spans_beyond_the_way_or_of_other_ways_do_no_harm() -> None:
    spans = (Span(way=11, start=-3.0, end=99.0), Span(way=77, start=0.0, end=1.0))
    network = build_network(_line().extract(), [_structure(*spans)])
    assert _hits(network, _arc(network, 1, 5)) == [(0.5, 0.0, 1.0, 1.0, True, 0)]


def test_figures_are_kept_by_direction() -> None:
    evidence = (_posted("3.5", Direction.FORWARD), _posted("4.2"), _posted("3.9", condition="wet"))
    network = build_network(
        _line().extract(),
        [_structure(Span(way=11, start=1.5, end=1.5), evidence=evidence), _structure(nodes=(3,))],
    )
    assert network.structure_low.tolist() == [[35000, 39000], [NO_LIMIT, NO_LIMIT]]
    assert network.structure_verified.tolist() == [[True, True], [False, False]]
    assert network.structure_conditional.tolist() == [True, False]
    assert network.structures[0].evidence == evidence


def test_a_structure_on_a_node_is_hit_there() -> None:
    network = build_network(_line().extract(), [_structure(nodes=(3, 77)), _structure(nodes=(3,))])
    at = network.node_osm.tolist().index(3)
    assert network.nodehit_node.tolist() == [at, at]
    assert network.nodehit_structure.tolist() == [0, 1]


def test_car_park_decks_are_service_ways_under_their_span() -> None:
    for highway, flagged in (("service", True), ("residential", False)):
        town = _cut_line()
        town._ways = [w for w in town._ways if w.id != 11]
        town.way(11, [1, 2, 3, 4, 5], {"highway": highway})
        deck = _structure(Span(way=11, start=2.0, end=3.0), kind=Kind.CAR_PARK)
        network = build_network(town.extract(), [deck])
        assert bool(network.arc_flags[_arc(network, 3, 4)] & FLAG_CAR_PARK) is flagged
        assert not network.arc_flags[_arc(network, 4, 5)] & FLAG_CAR_PARK


def test_car_park_entrances_are_nodes_where_only_service_ways_meet() -> None:
    town = _line({"highway": "service"})
    network = build_network(town.extract(), [_structure(nodes=(3,), kind=Kind.CAR_PARK)])
    assert network.node_flags[network.node_osm.tolist().index(3)] == NODE_CAR_PARK
    network = build_network(_line().extract(), [_structure(nodes=(3,), kind=Kind.CAR_PARK)])
    assert not network.node_flags.any()
