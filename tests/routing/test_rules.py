"""Which rules bind whom."""

from __future__ import annotations

from datetime import datetime

import pytest

from clearance.core.coach import Coach
from clearance.core.conditions import Window
from clearance.core.lengths import Length
from clearance.network.network import ACCESS_CLOSED, ACCESS_ENDS, ACCESS_OPEN, Rule
from clearance.routing.rules import LIMIT_KINDS, Vehicle

COACH = Coach(
    height=Length.from_metres("3.9"),
    width=Length.from_metres("2.5"),
    length=Length.from_metres("11"),
    weight_kg=9000,
)
TOWING = Coach(height=Length.from_metres("3.9"), towing=True, propane=False)
#: 25 November 2026 is a Wednesday.
NOON = Window(datetime(2026, 11, 25, 12), datetime(2026, 11, 25, 13))
NIGHT = Window(datetime(2026, 11, 25, 23), datetime(2026, 11, 25, 23, 30))


def _rule(target: str, value: int, condition: str = "", modes: tuple[str, ...] = ()) -> Rule:
    return Rule(target, condition, value, "way/1", "k=v", modes)


@pytest.mark.parametrize(
    ("modes", "coach", "towing", "car"),
    [
        ((), True, True, True),
        (("motorhome",), True, True, False),
        (("motorcar",), False, False, True),
        (("trailer",), False, True, False),
        (("caravan",), False, True, False),
        (("motorcar", "trailer"), False, True, True),
    ],
)
def test_modes(modes: tuple[str, ...], coach: bool, towing: bool, car: bool) -> None:
    rule = _rule("turn", 1, modes=modes)
    assert Vehicle(coach=COACH).closes(rule) is coach
    assert Vehicle(coach=TOWING).closes(rule) is towing
    assert Vehicle(coach=None).closes(rule) is car


def test_a_turn_is_closed_unless_its_condition_is_surely_off() -> None:
    rule = _rule("turn", 1, "Mo-Fr 07:00-19:00")
    assert Vehicle(coach=COACH, window=NOON).closes(rule)
    assert not Vehicle(coach=COACH, window=NIGHT).closes(rule)
    assert Vehicle(coach=COACH, window=None).closes(rule)
    assert Vehicle(coach=COACH, window=NIGHT).closes(_rule("turn", 1, "full moon"))


@pytest.mark.parametrize(
    ("target", "fits", "too_small"),
    [("width", 25000, 24999), ("length", 110000, 109999), ("weight", 9000, 8999)],
)
def test_limits_close_what_is_smaller_than_the_coach(target: str, fits: int, too_small: int) -> None:
    vehicle = Vehicle(coach=COACH)
    assert not vehicle.closes(_rule(target, fits))
    assert vehicle.closes(_rule(target, too_small))
    assert not vehicle.closes(_rule(target, too_small, modes=("motorcar",)))
    assert not Vehicle(coach=COACH, ignore=frozenset({target})).closes(_rule(target, too_small))
    assert not Vehicle(coach=None).closes(_rule(target, too_small))
    assert not Vehicle(coach=TOWING).closes(_rule(target, too_small)), "a measure not told is not judged"


def test_bans_on_dangerous_goods_bind_who_has_propane_aboard() -> None:
    rule = _rule("hazmat", 1)
    assert Vehicle(coach=COACH).closes(rule)
    assert not Vehicle(coach=TOWING).closes(rule)
    assert not Vehicle(coach=None).closes(rule)
    assert not Vehicle(coach=COACH, ignore=frozenset({"hazmat"})).closes(rule)


DAY, NIGHTLY = "06:00-20:00", "20:00-06:00"


@pytest.mark.parametrize(
    ("base", "rules", "noon", "night", "any_time"),
    [
        (ACCESS_OPEN, [], ACCESS_OPEN, ACCESS_OPEN, ACCESS_OPEN),
        (ACCESS_OPEN, [(ACCESS_CLOSED, NIGHTLY)], ACCESS_OPEN, ACCESS_CLOSED, ACCESS_CLOSED),
        (ACCESS_CLOSED, [(ACCESS_OPEN, DAY)], ACCESS_OPEN, ACCESS_CLOSED, ACCESS_CLOSED),
        (ACCESS_CLOSED, [(ACCESS_ENDS, DAY)], ACCESS_ENDS, ACCESS_CLOSED, ACCESS_CLOSED),
        (ACCESS_ENDS, [(ACCESS_OPEN, DAY)], ACCESS_OPEN, ACCESS_ENDS, ACCESS_ENDS),
        (ACCESS_OPEN, [(ACCESS_ENDS, "wet")], ACCESS_ENDS, ACCESS_ENDS, ACCESS_ENDS),
        (ACCESS_CLOSED, [(ACCESS_OPEN, "wet")], ACCESS_CLOSED, ACCESS_CLOSED, ACCESS_CLOSED),
        # Where one opens and another closes, the road is closed.
        (ACCESS_CLOSED, [(ACCESS_OPEN, DAY), (ACCESS_CLOSED, "We")], *[ACCESS_CLOSED] * 3),
        # Of two that open, the less open one counts.
        (ACCESS_CLOSED, [(ACCESS_OPEN, DAY), (ACCESS_ENDS, "We")], ACCESS_ENDS, ACCESS_ENDS, ACCESS_CLOSED),
    ],
)
def test_access_under_conditions(
    base: int, rules: list[tuple[int, str]], noon: int, night: int, any_time: int
) -> None:
    told = [_rule("access", value, condition) for value, condition in rules]
    for window, expected in ((NOON, noon), (NIGHT, night), (None, any_time)):
        assert Vehicle(coach=COACH, window=window).access(base, told) == expected
    assert Vehicle(coach=COACH, ignore=frozenset({"access"})).access(base, told) == base


def test_access_rules_of_others_and_of_towing() -> None:
    closing = [_rule("access", ACCESS_CLOSED, modes=("trailer",)), _rule("access", 2, "wet", ("motorcar",))]
    assert Vehicle(coach=COACH).access(ACCESS_OPEN, closing) == ACCESS_OPEN
    assert Vehicle(coach=TOWING).access(ACCESS_OPEN, closing) == ACCESS_CLOSED
    assert Vehicle(coach=None).access(ACCESS_OPEN, closing) == ACCESS_CLOSED


@pytest.mark.parametrize("coach", [COACH, TOWING, None])
@pytest.mark.parametrize("ignore", [frozenset[str](), *(frozenset({kind}) for kind in sorted(LIMIT_KINDS))])
def test_a_limit_that_is_not_minded_closes_nothing(coach: Coach | None, ignore: frozenset[str]) -> None:
    vehicle = Vehicle(coach=coach, ignore=ignore)
    for kind in sorted(LIMIT_KINDS - {"access"}):
        # The smallest limit there is: whoever minds the kind at all cannot pass.
        assert vehicle.closes(_rule(kind, 1)) is vehicle.minds(kind)
    assert vehicle.minds("access") is ("access" not in ignore)
