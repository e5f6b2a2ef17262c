"""Conditional tags: their clauses, and what may hold or surely holds at a time for a coach."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.coach import Coach
from clearance.core.conditions import Clause, Window, may_hold, parse_conditional, surely_holds
from clearance.core.errors import UsageError
from clearance.core.lengths import Length, UnreadableError

TUESDAY = datetime(2026, 7, 14)
MORNING = Window(TUESDAY.replace(hour=8), TUESDAY.replace(hour=9))
COACH = Coach(
    height=Length.from_metres("3.9"),
    width=Length.from_metres("2.5"),
    length=Length.from_metres("12"),
    weight_kg=7500,
)
ON, OFF, UNCERTAIN = (True, True), (False, False), (True, False)


def judged(condition: str, window: Window | None = MORNING, coach: Coach | None = COACH) -> tuple[bool, bool]:
    return may_hold(condition, window, coach), surely_holds(condition, window, coach)


@pytest.mark.parametrize(
    ("text", "clauses"),
    [
        # The forms of the OSM wiki, Conditional restrictions.
        ("60 @ (06:00-20:00)", [("60", "06:00-20:00")]),
        ("no @ (10:00-18:00 AND length>5)", [("no", "10:00-18:00 AND length>5")]),
        ("no @ (Apr-Oct AND stationary_noise>95)", [("no", "Apr-Oct AND stationary_noise>95")]),
        ("120 @ (06:00-20:00); 100 @ wet", [("120", "06:00-20:00"), ("100", "wet")]),
        ("no @ (Mo-Fr 07:00-09:00; Sa 08:00-10:00)", [("no", "Mo-Fr 07:00-09:00; Sa 08:00-10:00")]),
        # As mapped in Liechtenstein and Monaco.
        (
            "destination @ (06:30-08:30);destination @ (16:30-18:30)",
            [("destination", "06:30-08:30"), ("destination", "16:30-18:30")],
        ),
        ("2.3 @ level 0", [("2.3", "level 0")]),
        # Parentheses left out, though the time holds a separator.
        ("no @ Mo-Fr 07:00-09:00; Sa 08:00-10:00", [("no", "Mo-Fr 07:00-09:00; Sa 08:00-10:00")]),
        ("no @ Mo-Fr 07:00-09:00; PH off", [("no", "Mo-Fr 07:00-09:00; PH off")]),
        ("12'6\" @ (Mo; Tu); 13'6\" @ wet", [("12'6\"", "Mo; Tu"), ("13'6\"", "wet")]),
        ("3.5@wet;", [("3.5", "wet")]),
        ("3.5 @ ((wet))", [("3.5", "wet")]),
        ("3.5 @ (a) AND (b)", [("3.5", "(a) AND (b)")]),
    ],
)
def test_clauses(text: str, clauses: list[tuple[str, str]]) -> None:
    assert parse_conditional(text) == tuple(Clause(*clause) for clause in clauses)


@pytest.mark.parametrize(
    "text",
    [
        "",
        ";",
        "no",
        "3.5",
        "@ wet",
        "no @",
        "no @ (wet",
        "no @ wet)",
        "no @ a @ b",
        "2.3 @ level 0; 3.5",
        "3.5; 2.3 @ wet",
        "no @ x" * 400,
    ],
)
def test_texts_that_are_no_clauses_are_refused_with_the_text_shown(text: str) -> None:
    with pytest.raises(UnreadableError) as error:
        parse_conditional(text)
    assert repr(text[:40])[1:-1] in str(error.value)


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("24/7", ON),
        ("07:00-10:00", ON),
        ("Mo-Fr 07:00-10:00", ON),
        ("Mo-Fr 08:00-09:01", ON),
        ("Jul 1-Jul 31", ON),
        ("Apr-Oct", ON),
        ("2026", ON),
        ("2026 Jul 1-2026 Jul 20", ON),
        ("Tu", ON),
        ("22:00-10:00", ON),
        ("Mo-Fr 07:00-10:00, 16:00-19:00", ON),
        ("Mo-Fr 07:00-08:30", UNCERTAIN),  # only during part of the drive
        ("08:30-08:31", UNCERTAIN),
        ("09:00-10:00", UNCERTAIN),  # the end of the drive is included
        ("10:00-18:00", OFF),
        ("06:00-08:00", OFF),
        ("Sa-Su", OFF),
        ("Nov-Mar", OFF),
        ("2020 Jul 20 - 2020 Dec 18", OFF),
        ("Mo-Fr 22:00-06:00", OFF),
        ("Mo-Fr 10:00-12:00; PH off", OFF),
        ("Mo-Fr 07:00-10:00; PH off", UNCERTAIN),  # it may be a holiday
        ("24/7; PH off", UNCERTAIN),
        ("PH", UNCERTAIN),
        ("SH Mo-Fr 10:00-12:00", UNCERTAIN),
        ("PH,Sa 10:00-12:00", UNCERTAIN),
        ("sunset-sunrise", UNCERTAIN),
        ("dusk-dawn", UNCERTAIN),
        ("easter", UNCERTAIN),
        ("unknown", UNCERTAIN),
        ("Mo-Fr 10:00-12:00 || unknown", UNCERTAIN),
        ('"by appointment"', UNCERTAIN),
        ("00:00-00:00", UNCERTAIN),
        ("Feb 30", UNCERTAIN),
        ("Jul 32", UNCERTAIN),
        ("2026Jul", UNCERTAIN),  # glued: the library reads no July in it
        ("2026 Jul", ON),
        ("2025 Dec 1-2026 Feb 1", OFF),
        ("2026 Jul 20-2026 Jul 1", UNCERTAIN),  # backwards
        ("Mo-Fr, 10:00-12:00", UNCERTAIN),  # two rules, or one with a comma too much
        ("Tu off", UNCERTAIN),
        ("Mo-Fr 07:00-10:00; Tu off", OFF),
        ("15.03. bis 15.09.", UNCERTAIN),
        ("level 0", UNCERTAIN),
        ("stay > 3 hours", UNCERTAIN),
        ("", UNCERTAIN),
        ("(((", UNCERTAIN),
        (")(", UNCERTAIN),
    ],
)
def test_times(condition: str, expected: tuple[bool, bool]) -> None:
    assert judged(condition) == expected


@pytest.mark.parametrize(
    "condition", ["10:00-18:00", "07:00-10:00", "Sa-Su", "Nov-Mar", "2020 Jul 20-2020 Dec 18"]
)
def test_without_a_time_every_time_is_uncertain(condition: str) -> None:
    assert judged(condition, None) == UNCERTAIN
    assert judged(f"({condition}) AND 24/7", None) == UNCERTAIN
    assert judged("24/7", None) == ON


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("length > 10", ON),
        ("length>10 m", ON),
        ("length > 12", OFF),
        ("length >= 12", UNCERTAIN),  # where they meet, rounding decides
        ("length <= 12", ON),
        ("length < 12", UNCERTAIN),
        ("length>39'5\"", OFF),  # 12.0142 m
        ("length>39'4\"", ON),  # 11.9888 m
        ("length < 10", OFF),
        ("length<13", ON),
        ("length=10", OFF),
        ("weight>3.5", ON),
        ("weight > 7.5", OFF),
        ("weight > 7.5 t", OFF),
        ("weight>8 st", ON),  # 7257.5 kg
        ("weight>10 st", OFF),
        ("weight>7.5 tons", UNCERTAIN),  # of unknown kind
        ("height>3.5", ON),
        ("height > 4", OFF),
        ("width > 2.5", OFF),
        ("width>2.1", ON),
        ("width>~2", UNCERTAIN),
        ("length > 500", UNCERTAIN),
        ("axles > 2", UNCERTAIN),
        ("weightrating > 3.5", UNCERTAIN),
        ("length > 10;12", UNCERTAIN),
    ],
)
def test_measures_are_compared_with_the_coach(condition: str, expected: tuple[bool, bool]) -> None:
    assert judged(condition) == expected
    assert judged(condition, None) == expected
    assert judged(condition, None, None) == UNCERTAIN


def test_measures_not_told_are_uncertain() -> None:
    bare = Coach(height=Length.from_metres("3.9"))
    for condition in ("length > 10", "width > 2", "weight > 3.5"):
        assert judged(condition, coach=bare) == UNCERTAIN
    assert judged("height > 3.5", coach=bare) == ON


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("hgv", OFF), ("HGV", OFF), ("bus", OFF), ("psv", OFF), ("goods", OFF), ("bicycle", OFF),
        ("motor_vehicle", ON), ("vehicle", ON), ("motorhome", ON), ("trailer", OFF), ("caravan", OFF),
        ("delivery", UNCERTAIN), ("destination", UNCERTAIN), ("wet", UNCERTAIN), ("snow", UNCERTAIN),
        ("winter", UNCERTAIN), ("hazmat", UNCERTAIN), ("motorcar", UNCERTAIN), ("coach", UNCERTAIN),
        ("hgv, bus", UNCERTAIN), ("hgv OR wet", UNCERTAIN),
    ],
)  # fmt: skip
def test_words(condition: str, expected: tuple[bool, bool]) -> None:
    assert judged(condition) == expected


def test_words_that_depend_on_the_coach() -> None:
    towing = Coach(height=Length.from_metres("3.9"), towing=True, propane=False)
    assert judged("trailer", coach=towing) == UNCERTAIN
    assert judged("hazmat", coach=towing) == OFF
    assert (
        judged("trailer", coach=None)
        == judged("hazmat", coach=None)
        == judged("motorhome", coach=None)
        == UNCERTAIN
    )
    assert judged("hgv", coach=None) == OFF


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("Mo-Fr 07:00-10:00 AND length > 10", ON),
        ("Mo-Fr 07:00-10:00 and length > 10", ON),
        ("Mo-Fr 07:00-10:00 AND length > 15", OFF),
        ("Sa AND wet", OFF),
        ("Tu AND wet", UNCERTAIN),
        ("(Mo-Fr 07:00-10:00; Sa) AND (length > 10)", ON),
        ("wet AND hgv", OFF),
        ("24/7 AND motor_vehicle", ON),
        ("length>39'4\" AND height>12'6\"", ON),
        ("sand", UNCERTAIN),
    ],
)
def test_parts_joined_by_and(condition: str, expected: tuple[bool, bool]) -> None:
    assert judged(condition) == expected
    assert judged(f"({condition})") == expected


def test_a_window_refuses_what_cannot_be_meant() -> None:
    with pytest.raises(UsageError, match="before its start"):
        Window(TUESDAY, TUESDAY - timedelta(minutes=1))
    with pytest.raises(UsageError, match="without a zone"):
        Window(TUESDAY.astimezone(), TUESDAY.astimezone())
    assert judged("Tu", Window(TUESDAY, TUESDAY)) == ON


def test_a_window_of_many_days_is_as_if_the_time_were_not_known() -> None:
    year = Window(TUESDAY, TUESDAY + timedelta(days=365))
    assert judged("2020", year) == judged("10:00-12:00", year) == UNCERTAIN


DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")


MINUTE = st.integers(0, 1439)


@given(
    st.tuples(st.integers(0, 6), st.integers(0, 6)),
    st.tuples(MINUTE, MINUTE),
    st.integers(0, 20_000),
    st.integers(0, 3000),
)
def test_weekdays_and_clock_times_agree_with_asking_minute_by_minute(
    week: tuple[int, int], clock: tuple[int, int], start: int, minutes: int
) -> None:
    (first, last), (opens, closes) = week, clock
    begin = TUESDAY + timedelta(minutes=start)
    end = begin + timedelta(minutes=minutes)
    days = {(first + i) % 7 for i in range((last - first) % 7 + 1)}

    def on(moment: datetime) -> bool:
        minute, day = moment.hour * 60 + moment.minute, moment.weekday()
        if opens < closes:
            return day in days and opens <= minute < closes
        # Past midnight: the evening belongs to the day itself, the early hours to the day before.
        return (day in days and minute >= opens) or ((day - 1) % 7 in days and minute < closes)

    states = {on(begin + timedelta(minutes=i)) for i in range(minutes + 1)}
    text = f"{DAYS[first]}-{DAYS[last]} {opens // 60:02}:{opens % 60:02}-{closes // 60:02}:{closes % 60:02}"
    if opens == closes:
        assert judged(text, Window(begin, end)) == UNCERTAIN
    else:
        assert judged(text, Window(begin, end)) == (True in states, states == {True})


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


DATE = st.tuples(st.integers(1, 12), st.integers(1, 28))


@given(st.dates(datetime(2026, 1, 1).date(), datetime(2026, 12, 31).date()), DATE, DATE)
def test_dates_agree_with_comparing_months_and_days(
    day: object, a: tuple[int, int], b: tuple[int, int]
) -> None:
    noon = datetime.fromisoformat(f"{day}T12:00")
    here = (noon.month, noon.day)
    on = a <= here <= b if a <= b else here >= a or here <= b
    text = f"{MONTHS[a[0] - 1]} {a[1]:02}-{MONTHS[b[0] - 1]} {b[1]:02}"
    assert judged(text, Window(noon, noon + timedelta(hours=1))) == (on, on)


CONDITION_TEXT = st.one_of(
    st.text(max_size=60),
    st.text(alphabet="()@;,ANDMoTuFr0123456789:-><= \"'lengthoffPH/", max_size=40),
    st.lists(
        st.sampled_from(
            ["Mo-Fr", "07:00-09:00", "PH off", ";", "AND", "(", ")", "length>10", "wet", "@", "3.5", ","]
        ),
        max_size=12,
    ).map(" ".join),
)


@given(CONDITION_TEXT, st.sampled_from([None, MORNING]), st.sampled_from([None, COACH]))
def test_no_text_raises_and_what_surely_holds_may_hold(
    text: str, window: Window | None, coach: Coach | None
) -> None:
    may, surely = judged(text, window, coach)
    assert may or not surely
    try:
        clauses = parse_conditional(text)
    except UnreadableError:
        return
    assert clauses
    assert all(clause.value for clause in clauses)


@given(CONDITION_TEXT)
def test_knowing_less_never_makes_sure(text: str) -> None:
    known = judged(text)
    for window, coach in ((None, COACH), (MORNING, None), (None, None)):
        less = judged(text, window, coach)
        assert less in (known, UNCERTAIN)


@pytest.mark.parametrize(
    "text",
    [
        "(" * 100_000,
        "10:00-12:00;" * 80,
        "10:00-12:00;" * 50_000,
        "Mo" + ",Tu" * 300,
        "00:00-00:01," * 80,
        "length>" + "9" * 900,
        " AND " * 190,
        "1" * 900 + "x",
        "08:00-09:00," * 70 + "x",
        "(" * 499 + ")" * 499,
    ],
)
def test_hostile_texts_cost_little(text: str) -> None:
    month = Window(TUESDAY, TUESDAY + timedelta(days=30))
    start = time.perf_counter()
    for _ in range(20):
        judged(text, month)
    # Measured at 0.5 s for the worst of them; without bounds some take minutes.
    assert time.perf_counter() - start < 5


LAST_DAYS = {
    "Jan": 31, "Feb": 28, "Mar": 31, "Apr": 30, "May": 31, "Jun": 30,
    "Jul": 31, "Aug": 31, "Sep": 30, "Oct": 31, "Nov": 30, "Dec": 31,
}  # fmt: skip


@pytest.mark.parametrize(("number", "month"), list(enumerate(LAST_DAYS, start=1)))
def test_days_that_a_month_has(number: int, month: str) -> None:
    """The Gregorian calendar; 29 February is left uncertain."""
    last = LAST_DAYS[month]
    window = Window(datetime(2026, number, last, 8), datetime(2026, number, last, 9))
    assert judged(f"{month} {last}", window) == ON
    assert judged(f"{month} {last + 1}", window) == UNCERTAIN
    assert judged(f"{month} 0", window) == UNCERTAIN
    assert judged(f"{month} 1-{last}", window) == ON
    assert judged(f"{month} 1-{last + 1}", window) == UNCERTAIN
    other = "Jan" if month != "Jan" else "Feb"
    assert judged(f"{other} 1-{other} 5", window) == OFF


@pytest.mark.parametrize(
    ("weekday", "day"), list(zip(["Mo", "Tu", "We", "Th", "Fr", "Sa", "Su"], range(13, 20), strict=True))
)
def test_every_weekday(weekday: str, day: int) -> None:
    """13 July 2026 is a Monday."""
    assert datetime(2026, 7, day).strftime("%a")[:2] == weekday
    window = Window(datetime(2026, 7, day, 8), datetime(2026, 7, day, 9))
    assert judged(weekday, window) == ON
    assert judged(f"{weekday} 07:00-10:00", window) == ON
    assert judged("Mo" if weekday != "Mo" else "Tu", window) == OFF


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        # A bound told in metres or tonnes was perhaps cut off, so that "at the bound" depends on the sign.
        *((f"length {sign} 12", verdict) for sign, verdict in
          ((">", OFF), ("<=", ON), (">=", UNCERTAIN), ("<", UNCERTAIN), ("=", UNCERTAIN), ("==", UNCERTAIN))),
        *((f"length {sign} 12.1", verdict) for sign, verdict in
          ((">", OFF), (">=", OFF), ("<", ON), ("<=", ON), ("=", OFF), ("==", OFF))),
        *((f"length {sign} 11.9", verdict) for sign, verdict in
          ((">", ON), (">=", ON), ("<", OFF), ("<=", OFF), ("=", OFF), ("==", OFF))),
        ("width > 2.5", OFF),
        ("width > 2.4", ON),
        ("height > 3.9", OFF),
        ("height > 3.8", ON),
        ("weight > 7.5", OFF),
        ("weight > 7.4", ON),
        ("WEIGHT>7.4", ON),
        ("weight > 7.4 ton", UNCERTAIN),
        ("weight > 7.4 tons", UNCERTAIN),
        ("weight > 8 tonnes", OFF),
        ("axles > 2", UNCERTAIN),
        ("length > long", UNCERTAIN),
        ("length > 101", UNCERTAIN),
        ("length > 100", OFF),
    ],
)  # fmt: skip
def test_measures_at_their_bounds(condition: str, expected: tuple[bool, bool]) -> None:
    assert judged(condition) == expected
    assert judged(condition, None) == expected
    assert judged(condition, coach=None) == UNCERTAIN


def test_a_coach_that_does_not_tell_a_measure() -> None:
    bare = Coach(height=Length.from_metres("3.9"))
    for what in ("width", "length", "weight"):
        assert judged(f"{what} > 1", coach=bare) == UNCERTAIN
    assert judged("height > 3.8", coach=bare) == ON


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("24/7 AND 24/7", ON),
        ("24/7 and wet", UNCERTAIN),
        ("Sa AND wet", OFF),
        ("wet AND Sa", OFF),
        ("(24/7) AND (Tu)", ON),
        ("((24/7) AND (Sa))", OFF),
        ("vehicle AND Tu", ON),
        ("hgv AND Tu", OFF),
        ("24/7 OR Sa", UNCERTAIN),
        ("24/7ANDTu", UNCERTAIN),
        ("(24/7", UNCERTAIN),
        ("24/7)", UNCERTAIN),
    ],
)
def test_conditions_joined_by_and(condition: str, expected: tuple[bool, bool]) -> None:
    assert judged(condition) == expected


@pytest.mark.parametrize(("days", "expected"), [(31, ON), (32, UNCERTAIN)])
def test_a_drive_of_more_than_a_month_is_at_no_known_time(days: int, expected: tuple[bool, bool]) -> None:
    window = Window(TUESDAY, TUESDAY + timedelta(days=days))
    assert judged("2026", window) == expected
    assert judged("24/7", window) == ON


def test_the_minutes_of_a_drive_at_the_edges_of_a_time() -> None:
    def between(start: str, end: str) -> tuple[bool, bool]:
        at = [TUESDAY.replace(hour=int(t[:2]), minute=int(t[3:])) for t in (start, end)]
        return judged("08:00-09:00", Window(*at))

    assert between("08:00", "08:59") == ON
    assert between("08:00", "09:00") == UNCERTAIN
    assert between("07:59", "08:30") == UNCERTAIN
    assert between("09:00", "09:30") == OFF
    assert between("07:00", "07:59") == OFF
    assert between("07:00", "08:00") == UNCERTAIN
    # Seconds are no reason to think that it is over.
    late = TUESDAY.replace(hour=8, minute=59, second=59, microsecond=999)
    assert judged("08:00-09:00", Window(late, late)) == ON


def test_a_window_that_cannot_be() -> None:
    with pytest.raises(UsageError, match="before its start"):
        Window(TUESDAY, TUESDAY - timedelta(seconds=1))
    assert Window(TUESDAY, TUESDAY).start == TUESDAY
    zoned = TUESDAY.replace(tzinfo=UTC)
    for start, end in ((zoned, zoned), (TUESDAY, zoned), (zoned, TUESDAY)):
        with pytest.raises(UsageError, match="without a zone"):
            Window(start, end)


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("no @ (a)(b)", "(a)(b)"),
        ("no @ (a) b", "(a) b"),
        ("no @ (ab)", "ab"),
        ("no @ (a)", "a"),
        ("no @ ( (a) )", "a"),
        ("no @ ((a) AND (b))", "(a) AND (b)"),
    ],
)
def test_parentheses_round_the_whole_of_a_condition(text: str, condition: str) -> None:
    assert [c.condition for c in parse_conditional(text)] == [condition]


def test_a_text_of_a_thousand_signs_is_read_and_a_longer_one_not() -> None:
    fits = "no @ (" + "x" * (1000 - 7) + ")"
    assert len(fits) == 1000
    assert parse_conditional(fits)[0].value == "no"
    with pytest.raises(UnreadableError, match="too long"):
        parse_conditional(fits[:-1] + "x)")
    long = "24/7" + " " * 996
    assert judged(long) == ON
    assert judged(long + " ") == UNCERTAIN


@pytest.mark.parametrize("rule", ["PH off", "SH closed", "PH,SH off", "PH , SH off"])
def test_holidays_that_switch_a_rule_off(rule: str) -> None:
    assert judged(f"Mo-Fr 10:00-12:00; {rule}") == OFF
    assert judged(f"Mo-Fr 07:00-10:00; {rule}") == UNCERTAIN
    assert parse_conditional(f"no @ Mo-Fr 07:00-09:00; {rule}")[0].condition.endswith(rule)


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("no @ Mo-Fr 07:00-09:00; 16:00-18:00", "Mo-Fr 07:00-09:00; 16:00-18:00"),
        ("no @ 07:00-09:00; 16:00-18:00", "07:00-09:00; 16:00-18:00"),
        ("no @ 07:00-09:00; Sa", "07:00-09:00; Sa"),
    ],
)
def test_a_clock_time_goes_on_with_another(text: str, condition: str) -> None:
    assert [c.condition for c in parse_conditional(text)] == [condition]


@pytest.mark.parametrize("text", ["3.5 @ Mo; 12", "3.5 @ 07:00-09:00; 2026", "3.5 @ Sa; off", "3.5 @ Sa; -"])
def test_what_may_be_a_value_goes_on_with_no_time(text: str) -> None:
    with pytest.raises(UnreadableError):
        parse_conditional(text)


@pytest.mark.parametrize(
    ("month", "days"),
    [*zip(("Jan", "Mar", "May", "Jul", "Aug", "Oct", "Dec"), [31] * 7, strict=True),
     *zip(("Apr", "Jun", "Sep", "Nov"), [30] * 4, strict=True), ("Feb", 28)],
)  # fmt: skip
def test_the_last_day_of_each_month(month: str, days: int) -> None:
    """Within it a rule for all its days surely holds; a day that it lacks is never judged."""
    number = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec").index(
        month
    ) + 1
    window = Window(datetime(2027, number, 5, 8), datetime(2027, number, 5, 9))
    assert surely_holds(f"{month} 1-{days}", window, None)
    assert not may_hold(f"{month} {days}", window, None)
    for lacking in (f"{month} {days + 1}", f"{month} 1-{days + 1}", f"{month} 0-{days}"):
        assert not surely_holds(lacking, window, None)
        assert may_hold(lacking, window, None)


@pytest.mark.parametrize(
    ("text", "on"),
    [
        ("2026-2028", True),
        ("2026,2027", True),
        ("2027,2026", None),
        ("2028-2026", None),
        ("2027 Jan 01-2027 Dec 31", True),
        ("2027 Jan 05-2027 Jan 05", True),
        ("2027 Mar 01-2027 Jan 31", None),
        ("2027 Jan 09-2027 Jan 02", None),
        ("2028 Jan 01-2027 Dec 31", None),
        ("2025 Jan 01-2025 Dec 31", False),
    ],
)
def test_years_and_dates_that_run_backwards_are_not_judged(text: str, on: bool | None) -> None:
    window = Window(datetime(2027, 1, 5, 8), datetime(2027, 1, 5, 9))
    assert (surely_holds(text, window, None), may_hold(text, window, None)) == (on is True, on is not False)


def test_a_window_of_31_days_is_judged_and_no_longer_one() -> None:
    start = datetime(2027, 1, 1)
    assert surely_holds("Jan-Feb", Window(start, start + timedelta(days=31)), None)
    assert not surely_holds("Jan-Feb", Window(start, start + timedelta(days=31, minutes=1)), None)


@pytest.mark.parametrize(
    ("text", "clauses"),
    [
        ("no @ Mo 07:00-09:00; 10:00-12:00", [("no", "Mo 07:00-09:00; 10:00-12:00")]),
        ("no @ Mo 07:00-09:00; Sa", [("no", "Mo 07:00-09:00; Sa")]),
        ("no @ Mo 07:00-09:00; PH off", [("no", "Mo 07:00-09:00; PH off")]),
        ("no @ Mo 07:00-09:00;; Sa;", [("no", "Mo 07:00-09:00; Sa")]),
        ("no @ Mo 07:00-09:00; 3", None),
        ("no @ wet; Sa 10:00-12:00", None),
        ("Sa 10:00-12:00; no @ Mo", None),
        ("no @", None),
        ("@ Mo", None),
        ("no @ Mo @ Tu", None),
        (";", None),
        ("", None),
    ],
)
def test_times_without_a_value_belong_to_the_time_before(
    text: str, clauses: list[tuple[str, str]] | None
) -> None:
    if clauses is None:
        with pytest.raises(UnreadableError, match="is not of the form"):
            parse_conditional(text)
    else:
        assert [(c.value, c.condition) for c in parse_conditional(text)] == clauses


def test_a_thousand_signs_are_read_and_no_more() -> None:
    start = "3 @ "
    assert parse_conditional(start + "x" * (1000 - len(start)))[0].value == "3"
    with pytest.raises(UnreadableError, match="too long"):
        parse_conditional(start + "x" * (1001 - len(start)))
    window = Window(datetime(2027, 1, 5, 8), datetime(2027, 1, 5, 9))
    assert not may_hold("Feb" + " " * 997, window, None)
    assert may_hold("Feb" + " " * 998, window, None)
