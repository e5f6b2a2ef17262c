"""Reading turn restrictions."""

from __future__ import annotations

import pytest

from clearance.core.extract import Member, Relation
from clearance.network.restrictions import Binding, Restriction, read_restrictions

MEMBERS = (Member("w", 1, "from"), Member("n", 7, "via"), Member("w", 2, "to"))


def _read(
    tags: dict[str, str], members: tuple[Member, ...] = MEMBERS
) -> tuple[tuple[Restriction, ...], tuple[str, ...]]:
    return read_restrictions([Relation(5, members, {"type": "restriction", **tags})])


def test_a_plain_restriction() -> None:
    (only,), warnings = _read({"restriction": "no_left_turn"})
    assert only == Restriction(
        relation=5,
        raw="restriction=no_left_turn",
        only=False,
        turn="left_turn",
        from_ways=(1,),
        via_node=7,
        via_ways=(),
        to_ways=(2,),
        binding=Binding(),
    )
    assert only.element == "relation/5"
    assert warnings == ()


def test_other_relations_are_left_alone() -> None:
    assert read_restrictions([Relation(5, MEMBERS, {"type": "multipolygon"})]) == ((), ())


@pytest.mark.parametrize("mode", ["hgv", "bus", "psv", "bicycle", "goods", "moped", "agricultural"])
def test_restrictions_for_other_modes_bind_nobody_of_ours(mode: str) -> None:
    assert _read({f"restriction:{mode}": "no_left_turn"}) == ((), ())
    assert read_restrictions(
        [Relation(5, MEMBERS, {"type": f"restriction:{mode}", "restriction": "no_left_turn"})]
    ) == ((), ())


@pytest.mark.parametrize(
    ("tags", "modes"),
    [
        ({"restriction:motor_vehicle": "no_left_turn"}, ()),
        ({"restriction:vehicle": "no_left_turn"}, ()),
        ({"restriction:motorhome": "no_left_turn"}, ("motorhome",)),
        ({"restriction:motorcar": "no_left_turn"}, ("motorcar",)),
        ({"restriction:caravan": "no_left_turn"}, ("caravan",)),
        ({"restriction:trailer": "no_left_turn"}, ("trailer",)),
        ({"restriction": "no_left_turn", "except": "psv;bicycle;hgv"}, ()),
        ({"restriction": "no_left_turn", "except": "motorhome"}, ("motorcar",)),
        ({"restriction": "no_left_turn", "except": "motorcar; psv"}, ("motorhome",)),
    ],
)
def test_whom_a_restriction_binds(tags: dict[str, str], modes: tuple[str, ...]) -> None:
    (restriction,), warnings = _read(tags)
    assert restriction.binding == Binding("", modes)
    assert warnings == ()


@pytest.mark.parametrize("exempt", ["motor_vehicle", "vehicle", "motorhome;motorcar", "bus;Motor_Vehicle"])
def test_exemptions_that_free_both_vehicles(exempt: str) -> None:
    assert _read({"restriction": "no_left_turn", "except": exempt}) == ((), ())


def test_a_condition_is_kept_for_the_time_of_the_drive() -> None:
    found, warnings = _read(
        {"restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00); only_straight_on @ (Sa)"}
    )
    assert [(r.only, r.turn, r.binding) for r in found] == [
        (False, "left_turn", Binding("Mo-Fr 07:00-09:00")),
        (True, "straight_on", Binding("Sa")),
    ]
    assert warnings == ()


def test_hours_of_the_old_kind_become_a_condition_that_nobody_can_switch_off() -> None:
    (restriction,), _ = _read({"restriction": "no_left_turn", "hour_on": "07:00", "hour_off": "09:00"})
    assert restriction.binding == Binding("hour_on=07:00, hour_off=09:00")


def test_plain_and_conditional_values_stand_side_by_side() -> None:
    found, _ = _read(
        {
            "restriction": "no_u_turn",
            "restriction:hgv": "no_left_turn",
            "restriction:conditional": "no_right_turn @ Su",
        }
    )
    assert {(r.turn, r.binding.condition) for r in found} == {("u_turn", ""), ("right_turn", "Su")}


@pytest.mark.parametrize(
    ("members", "missing"),
    [
        (MEMBERS[1:], "from"),
        ((MEMBERS[0], MEMBERS[2]), "via"),
        (MEMBERS[:2], "to"),
        ((MEMBERS[1],), "from and to"),
        ((Member("n", 1, "from"), *MEMBERS[1:]), "from"),
        ((Member("w", 1, "form"), *MEMBERS[1:]), "from"),
    ],
)
def test_missing_members_are_told(members: tuple[Member, ...], missing: str) -> None:
    found, warnings = _read({"restriction": "no_left_turn"}, members)
    assert found == ()
    assert warnings == (f"relation/5: turn restriction without a usable {missing} member; skipped",)


@pytest.mark.parametrize(
    ("tags", "telling"),
    [
        ({}, "without a value"),
        ({"restriction": "left_turn"}, "unknown value"),
        ({"restriction": "no_left"}, "unknown value"),
        ({"restriction": "yes"}, "unknown value"),
        ({"restriction:conditional": "no_left_turn"}, "unreadable"),
    ],
)
def test_values_that_mean_nothing_are_told(tags: dict[str, str], telling: str) -> None:
    found, warnings = _read(tags)
    assert found == ()
    assert len(warnings) == 1
    assert warnings[0].startswith("relation/5: ")
    assert telling in warnings[0]


def test_two_via_nodes_are_a_fault() -> None:
    found, warnings = _read({"restriction": "no_left_turn"}, (*MEMBERS, Member("n", 8, "via")))
    assert found == ()
    assert "2 via nodes" in warnings[0]


def test_several_from_ways_are_barred_all_for_no_entry_and_with_a_warning_for_others() -> None:
    members = (*MEMBERS, Member("w", 3, "from"))
    (entry,), quiet = _read({"restriction": "no_entry"}, members)
    assert entry.from_ways == (1, 3)
    assert quiet == ()
    (left,), told = _read({"restriction": "no_left_turn"}, members)
    assert left.from_ways == (1, 3)
    assert "several from ways" in told[0]
    assert _read({"restriction": "only_left_turn"}, members)[0] == ()


def test_via_ways_are_kept_in_order_and_once() -> None:
    members = (MEMBERS[0], *(Member("w", ref, "via") for ref in (9, 8, 9)), MEMBERS[2])
    (restriction,), _ = _read({"restriction": "no_u_turn"}, members)
    assert restriction.via_node is None
    assert restriction.via_ways == (9, 8)
