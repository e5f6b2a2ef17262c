"""Turns, U-turns and restrictions on tiny towns."""

from __future__ import annotations

import pytest

from clearance.network.network import Network
from tests.network.moves import arcs_between, can_drive, network_of, rules_on_the_way
from tests.towns import Town


def _cross() -> Town:
    """Four streets that meet at node 1: 11 north, 12 east, 13 south, 14 west, with ends 2, 3, 4, 5."""
    town = Town().node(1, 0, 0).node(2, 0, 100).node(3, 100, 0).node(4, 0, -100).node(5, -100, 0)
    for way, end in ((11, 2), (12, 3), (13, 4), (14, 5)):
        town.way(way, [end, 1])
    return town


def _sign(town: Town, value: str, from_way: int, via: int | list[int], to_way: int, **more: str) -> Town:
    vias = [("n", via, "via")] if isinstance(via, int) else [("w", way, "via") for way in via]
    tags = {"type": "restriction", **({"restriction": value} if value else {}), **more}
    return town.relation(900, [("w", from_way, "from"), *vias, ("w", to_way, "to")], tags)


def _ways_on(network: Network, start: int, middle: int) -> set[int]:
    """The nodes that can be gone on to."""
    return {
        int(node)
        for node in network.node_osm
        if node != middle and can_drive(network, start, middle, int(node))
    }


def test_every_turn_is_open_but_back_where_one_came_from() -> None:
    network = network_of(_cross())
    for start in (2, 3, 4, 5):
        assert _ways_on(network, start, 1) == {2, 3, 4, 5} - {start}
    assert network.turn_to.size == 12
    assert network.state_arc.tolist() == list(range(8))


def test_a_no_sign_bars_one_turn() -> None:
    network = network_of(_sign(_cross(), "no_left_turn", 13, 1, 14))
    assert _ways_on(network, 4, 1) == {2, 3}
    assert _ways_on(network, 5, 1) == {2, 3, 4}


def test_an_only_sign_bars_all_others() -> None:
    network = network_of(_sign(_cross(), "only_straight_on", 13, 1, 11))
    assert _ways_on(network, 4, 1) == {2}
    assert _ways_on(network, 5, 1) == {2, 3, 4}


def test_two_only_signs_at_one_place_add_up() -> None:
    town = _sign(_cross(), "only_straight_on", 13, 1, 11)
    town.relation(
        901,
        [("w", 13, "from"), ("n", 1, "via"), ("w", 12, "to")],
        {"type": "restriction", "restriction": "only_right_turn"},
    )
    assert _ways_on(network_of(town), 4, 1) == {2, 3}


def test_turning_round_needs_a_loop_a_circle_is_of_unknown_size() -> None:
    for tags, turns in (
        ({}, False),
        ({"highway": "turning_circle"}, False),
        ({"highway": "turning_loop"}, True),
    ):
        network = network_of(Town().node(1, 0, 0).node(2, 100, 0, tags).way(11, [1, 2]))
        assert can_drive(network, 1, 2, 1) is turns
        assert not can_drive(network, 2, 1, 2)


def test_a_loop_in_the_middle_of_a_road_lets_turn_round_there() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0, {"highway": "turning_loop"}).node(3, 200, 0)
    network = network_of(town.way(11, [1, 2, 3]))
    assert can_drive(network, 1, 2, 1)
    assert can_drive(network, 1, 2, 3)


def test_only_u_turn_permits_turning_round_and_nothing_else() -> None:
    network = network_of(_sign(_cross(), "only_u_turn", 13, 1, 13))
    assert _ways_on(network, 4, 1) == {4}
    assert _ways_on(network, 2, 1) == {3, 4, 5}


def test_a_road_that_runs_into_itself_is_left_the_other_way_round() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 150, 50).node(4, 150, -50)
    network = network_of(town.way(11, [1, 2]).way(12, [2, 3, 4, 2]))
    (out, back) = arcs_between(network, 2, 2)
    assert network.arc_reverse[out] == back
    assert can_drive(network, 1, 2, 2, 1)


def test_conditional_signs_become_rules() -> None:
    town = _sign(_cross(), "", 13, 1, 14, **{"restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00)"})
    network = network_of(town)
    found = rules_on_the_way(network, [4, 1, 5])
    assert found is not None
    ((rule,),) = found
    assert (rule.target, rule.condition, rule.modes) == ("turn", "Mo-Fr 07:00-09:00", ())
    assert rule.element == "relation/900"
    assert rule.raw == "restriction:conditional=no_left_turn @ (Mo-Fr 07:00-09:00)"
    assert rules_on_the_way(network, [4, 1, 2]) == [set()]


def test_a_sign_for_cars_alone_is_a_rule_for_cars() -> None:
    network = network_of(_sign(_cross(), "", 13, 1, 14, **{"restriction:motorcar": "no_left_turn"}))
    found = rules_on_the_way(network, [4, 1, 5])
    assert found is not None
    ((rule,),) = found
    assert (rule.condition, rule.modes) == ("", ("motorcar",))


def test_two_rules_on_one_turn_are_both_kept() -> None:
    town = _sign(_cross(), "", 13, 1, 14, **{"restriction:conditional": "no_left_turn @ Mo"})
    members = [("w", 13, "from"), ("n", 1, "via"), ("w", 14, "to")]
    town.relation(901, members, {"type": "restriction", "restriction:conditional": "no_left_turn @ Su"})
    found = rules_on_the_way(network_of(town), [4, 1, 5])
    assert found is not None
    (rules,) = found
    assert {rule.condition for rule in rules} == {"Mo", "Su"}


def test_a_sign_that_always_holds_wins_over_one_that_does_at_times() -> None:
    town = _sign(_cross(), "no_left_turn", 13, 1, 14, **{"restriction:conditional": "no_left_turn @ Mo"})
    assert not can_drive(network_of(town), 4, 1, 5)


# --- over ways ---------------------------------------------------------------------------------------


def _dual() -> Town:
    """Two carriageways east (nodes 1 2 3) and west (6 5 4), linked at 2 - 5 by way 20.

    East-bound ways 11, 12; west-bound ways 13, 14.
    """
    town = Town()
    for node, x, y in ((1, 0, 0), (2, 100, 0), (3, 200, 0), (4, 0, 20), (5, 100, 20), (6, 200, 20)):
        town.node(node, x, y)
    oneway = {"highway": "primary", "oneway": "yes"}
    town.way(11, [1, 2], oneway).way(12, [2, 3], oneway)
    town.way(13, [6, 5], oneway).way(14, [5, 4], oneway)
    return town.way(20, [2, 5])


def test_without_a_sign_the_link_lets_turn_round() -> None:
    network = network_of(_dual())
    assert can_drive(network, 1, 2, 5, 4)
    assert can_drive(network, 6, 5, 2, 3)


def test_no_u_turn_over_a_link_is_remembered_on_the_link() -> None:
    network = network_of(_sign(_dual(), "no_u_turn", 11, [20], 14))
    assert not can_drive(network, 1, 2, 5, 4)
    assert can_drive(network, 6, 5, 2, 3)
    assert network.state_arc.size == network.arc_tail.size + 1
    (link,) = arcs_between(network, 2, 5)
    assert network.state_arc[-1] == link
    assert can_drive(network, 2, 5, 4), "who started on the link is not bound"


def test_a_link_in_two_pieces_is_remembered_over_both() -> None:
    town = _dual().node(7, 100, 10).node(8, 150, 10).way(21, [7, 8])
    # The link now has a junction in its middle.
    town._ways = [w for w in town._ways if w.id != 20]
    town.way(20, [2, 7, 5])
    network = network_of(_sign(town, "no_u_turn", 11, [20], 14))
    assert not can_drive(network, 1, 2, 7, 5, 4)
    assert can_drive(network, 1, 2, 7, 8)
    assert can_drive(network, 8, 7, 5, 4)
    assert network.state_arc.size == network.arc_tail.size + 2


def test_an_only_sign_over_ways_binds_from_its_first_node_on() -> None:
    town = _dual().node(7, 100, 10).node(8, 150, 10).way(21, [7, 8]).node(9, 100, -50).way(22, [2, 9])
    town._ways = [w for w in town._ways if w.id != 20]
    town.way(20, [2, 7, 5])
    network = network_of(_sign(town, "only_u_turn", 11, [20], 14))
    assert can_drive(network, 1, 2, 7, 5, 4)
    assert not can_drive(network, 1, 2, 3)
    assert not can_drive(network, 1, 2, 9)
    assert not can_drive(network, 1, 2, 7, 8)
    assert can_drive(network, 9, 2, 7, 8), "coming from elsewhere one is free"


def test_two_via_ways_in_any_order() -> None:
    town = _dual()
    town._ways = [w for w in town._ways if w.id != 20]
    town.node(7, 100, 10).way(20, [2, 7]).way(21, [5, 7])
    for vias in ([20, 21], [21, 20]):
        network = network_of(_sign(town, "no_u_turn", 11, vias, 14))
        assert not can_drive(network, 1, 2, 7, 5, 4)
        town._relations.clear()
    assert can_drive(network_of(town), 1, 2, 7, 5, 4)


def test_signs_that_overlap_are_remembered_together() -> None:
    """A ladder 1-2-3-4 with ways off each: two signs begin on one another's ways."""
    town = Town()
    for node in (1, 2, 3, 4, 5):
        town.node(node, node * 100, 0)
    for way, (a, b) in {11: (1, 2), 12: (2, 3), 13: (3, 4), 14: (4, 5)}.items():
        town.way(way, [a, b])
    town.node(8, 400, 100).way(18, [4, 8])
    members = {900: (11, 12, 13), 901: (12, 13, 14)}
    for relation, (a, via, b) in members.items():
        town.relation(
            relation,
            [("w", a, "from"), ("w", via, "via"), ("w", b, "to")],
            {"type": "restriction", "restriction": "no_straight_on"},
        )
    network = network_of(town)
    assert not can_drive(network, 1, 2, 3, 4)
    assert not can_drive(network, 2, 3, 4, 5)
    assert can_drive(network, 2, 3, 4, 8)
    assert can_drive(network, 3, 4, 5)
    # With the first sign gone the second must still be remembered by who came from farther off.
    town._relations = [r for r in town._relations if r.id == 901]
    network = network_of(town)
    assert can_drive(network, 1, 2, 3, 4, 8)
    assert not can_drive(network, 1, 2, 3, 4, 5)


# --- faults ------------------------------------------------------------------------------------------


def _warnings(network: Network) -> list[str]:
    return [w for w in network.info.warnings if w.startswith("relation/900")]


def test_a_via_node_off_the_ways_is_told_and_skipped() -> None:
    network = network_of(_sign(_cross(), "no_left_turn", 13, 2, 14))
    assert can_drive(network, 4, 1, 5)
    (warning,) = _warnings(network)
    assert "the via node is not on both ways" in warning
    assert "restriction=no_left_turn" in warning


def test_via_ways_that_do_not_join_up_are_told() -> None:
    town = _cross().node(7, 500, 500).node(8, 600, 500).way(20, [7, 8])
    (warning,) = _warnings(network_of(_sign(town, "no_u_turn", 13, [20], 14)))
    assert "do not join up" in warning


def test_members_outside_the_area_are_no_fault() -> None:
    assert _warnings(network_of(_sign(_cross(), "no_left_turn", 77, 1, 14))) == []
    network = network_of(_sign(_cross(), "no_left_turn", 13, 1, 77))
    assert _warnings(network) == []
    assert _ways_on(network, 4, 1) == {2, 3, 5}


def test_where_the_only_way_on_leaves_the_area_nothing_else_is_open() -> None:
    assert _ways_on(network_of(_sign(_cross(), "only_straight_on", 13, 1, 77)), 4, 1) == set()


def test_an_only_sign_against_a_one_way_street_cannot_be_right() -> None:
    town = _cross()
    town._ways = [w for w in town._ways if w.id != 11]
    town.way(11, [2, 1], {"highway": "residential", "oneway": "yes"})
    network = network_of(_sign(town, "only_straight_on", 13, 1, 11))
    (warning,) = _warnings(network)
    assert "the one turn permitted is not open" in warning
    assert _ways_on(network, 4, 1) == {3, 5}


def test_a_way_that_runs_on_through_the_via_is_told_apart_by_the_word() -> None:
    """Way 15 runs from south to north through node 1: left to the west means coming from the south."""
    town = Town().node(1, 0, 0).node(2, 0, 100).node(3, 100, 0).node(4, 0, -100).node(5, -100, 0)
    town.way(15, [4, 1, 2]).way(12, [3, 1]).way(14, [5, 1])
    network = network_of(_sign(town, "no_left_turn", 15, 1, 14))
    assert not can_drive(network, 4, 1, 5)
    assert can_drive(network, 2, 1, 5)
    network = network_of(_sign(_reset(town), "only_right_turn", 15, 1, 14))
    assert _ways_on(network, 2, 1) == {5}
    assert _ways_on(network, 4, 1) == {2, 3, 5}
    network = network_of(_sign(_reset(town), "no_straight_on", 15, 1, 14))
    assert "no turn there has that direction" in _warnings(network)[0]
    assert can_drive(network, 4, 1, 5)


def _reset(town: Town) -> Town:
    town._relations.clear()
    return town


@pytest.mark.parametrize("value", ["no_u_turn", "no_straight_on"])
def test_a_sign_from_a_way_to_itself_bars_what_its_word_says(value: str) -> None:
    """A way that runs on through the via, restricted to itself: 60 such are in one small country."""
    town = Town().node(1, 0, 0).node(2, 0, 100).node(3, 100, 0).node(4, 0, -100)
    town.way(15, [4, 1, 2]).way(12, [3, 1])
    network = network_of(_sign(town, value, 15, 1, 15))
    assert can_drive(network, 4, 1, 2) is (value == "no_u_turn")
    assert not can_drive(network, 4, 1, 4)
    assert can_drive(network, 4, 1, 3)
