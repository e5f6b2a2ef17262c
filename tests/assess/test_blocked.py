"""Why no drive fits: which limit is told, on which way, and what would get through."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.assess.day import plan_day
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.lengths import Length
from clearance.core.structure import Standing
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.towns import LAT0, LON0, M_PER_LON, Town

WIDE = replace(
    COACH,
    width=Length.from_metres("2.5"),
    length=Length.from_metres("12"),
    weight_kg=12_000,
    propane=True,
)
CLEAR = {"maxheight": "5"}


def blocked(
    direct: dict[str, str], detour: dict[str, str], unverified: Unverified = Unverified.AVOID
) -> Drive:
    """The blocked drive by Low Street, 1,000 m, or High Street, 3,000 m."""
    network = two_ways(CLEAR | direct, detour)
    found = plan_day(network, WIDE, [halt(*START), halt(*END)], unverified=unverified)
    assert found.verdict is Verdict.BLOCKED
    return found


LIMITS = [
    ("access", {"access": "no", "motorcar": "yes"}, "access=no; motorcar=yes"),
    ("access", {"motorhome": "no"}, "motorhome=no"),
    ("hazmat", {"hazmat": "no"}, "hazmat=no"),
    ("length", {"maxlength": "10"}, "maxlength=10"),
    ("weight", {"maxweight": "7.5"}, "maxweight=7.5"),
    ("width", {"maxwidth": "2.2"}, "maxwidth=2.2"),
]


@pytest.mark.parametrize(("kind", "tags", "raw"), LIMITS)
def test_a_limit_on_both_ways_is_told_of_the_shorter(kind: str, tags: dict[str, str], raw: str) -> None:
    found = blocked(tags, tags)
    (told,) = found.obstacles
    assert (told.kind, told.element, told.raw, told.road) == (kind, "way/11", raw, "Low Street")
    assert told.lon == pytest.approx(LON0 + 500 / M_PER_LON, abs=1e-6)
    assert (found.in_the_way, found.gets_through) == ((), None)


@pytest.mark.parametrize(("kind", "tags", "raw"), LIMITS)
def test_one_limit_is_rather_told_than_two(kind: str, tags: dict[str, str], raw: str) -> None:
    """Low Street has two limits and High Street one: lifting that one makes a way."""
    other = {"maxwidth": "2"} if kind != "width" else {"maxlength": "9"}
    found = blocked(other | {"hazmat:C": "no", "maxweight": "3"}, tags)
    assert [(o.kind, o.element, o.raw) for o in found.obstacles] == [(kind, "way/12", raw)]


def test_where_every_way_has_two_limits_all_of_one_way_are_told() -> None:
    found = blocked({"maxwidth": "2", "maxweight": "3"}, {"maxwidth": "2.1", "maxweight": "4"})
    assert [(o.kind, o.element) for o in found.obstacles] == [("width", "way/11"), ("weight", "way/11")]


def test_a_height_on_one_way_and_a_limit_on_the_other_are_both_told() -> None:
    found = blocked({"maxheight": "3.5"}, {"maxweight": "3"})
    assert [(o.kind, o.element) for o in found.obstacles] == [("weight", "way/12")]
    assert [(f.standing, f.clearance) for f in found.in_the_way] == [
        (Standing.TOO_LOW, Length.from_metres("3.5"))
    ]
    assert found.gets_through == Length.from_metres("3.5")


def test_of_two_low_ways_the_higher_is_told() -> None:
    found = blocked({"maxheight": "3.5"}, {"maxheight": "3.7"})
    assert found.gets_through == Length.from_metres("3.7")
    assert [f.clearance for f in found.in_the_way] == [Length.from_metres("3.7")]
    assert found.obstacles == ()


def test_height_and_weight_on_each_way_are_told_together() -> None:
    found = blocked({"maxheight": "3.5", "maxweight": "3"}, {"maxheight": "3.7", "maxweight": "4"})
    assert found.gets_through == Length.from_metres("3.7")
    assert [(o.kind, o.element) for o in found.obstacles] == [("weight", "way/12")]
    assert [f.clearance for f in found.in_the_way] == [Length.from_metres("3.7")]


def test_who_refuses_the_unverified_is_told_of_it() -> None:
    network = two_ways(detour={"maxheight": "3.5"})
    found = plan_day(network, WIDE, [halt(*START), halt(*END)], unverified=Unverified.REFUSE)
    assert found.verdict is Verdict.BLOCKED
    # A way with figures alone comes first: the low one, at what it admits.
    assert [f.standing for f in found.in_the_way] == [Standing.TOO_LOW]
    assert found.gets_through == Length.from_metres("3.5")
    both = plan_day(
        two_ways(detour={"tunnel": "yes"}), WIDE, [halt(*START), halt(*END)], unverified=Unverified.REFUSE
    )
    assert [f.standing for f in both.in_the_way] == [Standing.UNVERIFIED]
    assert both.gets_through is None


@pytest.mark.parametrize(("where", "told"), [("start", False), ("middle", True), ("end", False)])
def test_roads_for_the_ends_of_a_drive_are_no_obstacle_at_its_ends(where: str, told: bool) -> None:
    """Private roads at the start or end may be driven; the weight is what closes the street."""
    town = Town()
    for ref, x in enumerate((-500, 0, 400, 600, 1000, 1500), start=1):
        town.node(ref, x, 0)
    private = {"start": 10, "middle": 12, "end": 14}[where]
    for way, pair in enumerate(((1, 2), (2, 3), (3, 4), (4, 5), (5, 6)), start=10):
        access = {"access": "private"} if way == private else {}
        weight = {"maxweight": "3"} if way == 13 else {}
        town.way(way, list(pair), {"highway": "residential", **access, **weight})
    found = plan_day(
        network_of(town.extract()), WIDE, [halt(-400, 0), halt(1400, 0)], unverified=Unverified.AVOID
    )
    assert found.verdict is Verdict.BLOCKED
    kinds = [(o.kind, o.element) for o in found.obstacles]
    assert kinds == ([("access", "way/12")] if told else []) + [("weight", "way/13")]


KINDS = {kind: tags for kind, tags, _ in LIMITS}


@pytest.mark.parametrize("one", sorted(KINDS))
def test_where_either_of_two_limits_may_be_lifted_the_first_by_name_is_told(one: str) -> None:
    for other in sorted(KINDS):
        if other != one:
            found = blocked(KINDS[one], KINDS[other])
            way = "way/11" if one < other else "way/12"
            assert [(o.kind, o.element) for o in found.obstacles] == [(min(one, other), way)]


@pytest.mark.parametrize("height", ["5", "3.5"])
def test_two_limits_are_lifted_together_though_the_coach_minds_no_others(height: str) -> None:
    """Each way is narrow and for no motorhome; to this coach neither weight nor propane matter."""
    narrow = replace(COACH, width=Length.from_metres("2.5"), propane=False)
    tags = {"maxwidth": "2", "motorhome": "no", "maxheight": height}
    network = two_ways(tags, tags)
    found = plan_day(network, narrow, [halt(*START), halt(*END)], unverified=Unverified.AVOID)
    assert [(o.kind, o.element) for o in found.obstacles] == [("access", "way/11"), ("width", "way/11")]
    assert [f.clearance for f in found.in_the_way] == ([] if height == "5" else [Length.from_metres("3.5")])
    assert found.gets_through == (Length.from_metres("3.5") if height == "3.5" else None)


def street(
    tags: dict[int, dict[str, str]], gates: dict[int, dict[str, str]] | None = None, *, weight: bool = True
) -> Drive:
    """The blocked drive along a street of five ways, 10 to 14, from way 10 to way 14; nodes are 1 to 6."""
    town = Town()
    for ref, x in enumerate((-500, 0, 400, 600, 1000, 1500), start=1):
        town.node(ref, x, 0, (gates or {}).get(ref))
    for way in range(10, 15):
        heavy = {"maxweight": "3"} if weight and way == 13 else {}
        town.way(way, [way - 9, way - 8], {"highway": "residential", **tags.get(way, {}), **heavy})
    return plan_day(
        network_of(town.extract()), WIDE, [halt(-400, 0), halt(1400, 0)], unverified=Unverified.AVOID
    )


PRIVATE = {"access": "private"}
GATE = {"barrier": "gate", "access": "private"}


@pytest.mark.parametrize(
    ("private", "told"),
    [
        ((10, 11), []),
        ((14,), []),
        ((10, 14), []),
        ((10, 11, 12, 13, 14), []),
        ((10, 12), ["way/12"]),
        ((11, 14), ["way/11"]),
        ((11, 12), ["way/11", "way/12"]),
        ((12, 14), ["way/12"]),
    ],
)
def test_runs_of_private_roads_that_hold_an_end_are_no_obstacle(
    private: tuple[int, ...], told: list[str]
) -> None:
    found = street(dict.fromkeys(private, PRIVATE))
    assert [o.element for o in found.obstacles if o.kind == "access"] == told
    assert [o.element for o in found.obstacles if o.kind == "weight"] == ["way/13"]


@pytest.mark.parametrize(
    ("private", "gate", "told"),
    [
        # At the border of the private street of the start, or of the end: part of it.
        (10, 2, False),
        (14, 5, False),
        # In the middle of public roads, or behind the border.
        (10, 3, True),
        (14, 4, True),
        (14, 2, True),
    ],
)
def test_a_private_gate_is_an_obstacle_but_at_a_private_end(private: int, gate: int, told: bool) -> None:
    found = street({private: PRIVATE}, {gate: GATE})
    assert [o.element for o in found.obstacles if o.kind == "access"] == ([f"node/{gate}"] if told else [])
    for obstacle in found.obstacles:
        x = {2: 0, 3: 400, 4: 600, 5: 1000}[gate] if obstacle.kind == "access" else 800
        assert obstacle.lon == pytest.approx(LON0 + x / M_PER_LON, abs=1e-6)
        assert obstacle.lat == pytest.approx(LAT0, abs=1e-6)
        assert obstacle.road == ""


def test_obstacles_come_in_the_order_of_the_drive() -> None:
    found = street({11: {"maxweight": "5"}, 12: {"maxlength": "9"}}, {3: GATE})
    assert [o.element for o in found.obstacles] == ["way/11", "node/3", "way/12", "way/13"]


def test_who_refuses_is_told_what_is_unverified_and_what_is_too_low_on_one_way() -> None:
    """The only way runs under a railway of unknown height and through a tunnel of 3.5 m."""
    town = Town()
    for ref, x in enumerate((-500, 0, 500, 1500), start=1):
        town.node(ref, x, 0)
    town.node(5, -200, -50).node(6, -200, 50)
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential", "tunnel": "yes", "maxheight": "3.5"})
    town.way(12, [3, 4]).way(20, [5, 6], {"railway": "rail", "bridge": "yes", "layer": "1"})
    network = network_of(town.extract())
    for unverified, told in (
        (Unverified.REFUSE, [Standing.UNVERIFIED, Standing.TOO_LOW]),
        (Unverified.AVOID, [Standing.TOO_LOW]),
    ):
        found = plan_day(network, WIDE, [halt(-400, 0), halt(1400, 0)], unverified=unverified)
        assert [f.standing for f in found.in_the_way] == told
        assert [f.number for f in found.in_the_way] == list(range(1, len(told) + 1))
        assert found.gets_through == Length.from_metres("3.5")
