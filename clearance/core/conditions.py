"""The grammar of conditional tags, and whether a condition may hold or surely holds.

``<value> @ <condition>[; <value> @ <condition>]``, parentheses round a condition that holds
separators, parts joined by AND (OSM wiki, Conditional restrictions). Two questions are asked of a
condition, never one: a limit is left out only where its condition is surely off, a permission is used
only where its condition surely holds. All that is not understood lies between the two.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum

from clearance.core.coach import Coach
from clearance.core.errors import UsageError
from clearance.core.lengths import Length, parse_length
from clearance.core.modes import OTHER_MODES, OWN_MODES, TOWED_MODES
from clearance.core.valuetext import UnreadableError, shown
from clearance.core.weights import parse_weight

__all__ = ["Clause", "Window", "may_hold", "parse_conditional", "surely_holds"]

#: Longer texts are never judged: OpenStreetMap keeps 255 characters, long values go on in other keys.
_LONGEST = 1000
#: A drive of more than this is judged as if the time were not known, to bound the work.
_LONGEST_WINDOW = timedelta(days=31)
_MOST_INTERVALS = 500


@dataclass(frozen=True, slots=True)
class Clause:
    """One ``value @ condition`` of a conditional tag, both as mapped, outer parentheses dropped."""

    value: str
    condition: str


@dataclass(frozen=True, slots=True)
class Window:
    """The time of a drive, from `start` to `end`, both included, in local time of the place without a zone.

    Raises UsageError where the end comes first or a zone is given.
    """

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if self.start.tzinfo is not None or self.end.tzinfo is not None:
            raise UsageError("times of a drive are local times of the place, without a zone")
        if self.end < self.start:
            raise UsageError(f"the drive would end at {self.end}, before its start at {self.start}")


class _Sure(Enum):
    """What is known of a condition for the whole window and this coach."""

    ON = "on"
    OFF = "off"
    UNCERTAIN = "uncertain"


def _split(text: str, separator: str) -> Iterator[str]:
    """The parts of `text` at `separator` outside parentheses and double quotes.

    Raises UnreadableError where parentheses do not match.
    """
    depth, quoted, start = 0, False, 0
    for position, sign in enumerate(text):
        if sign == '"':
            quoted = not quoted
        elif quoted:
            continue
        elif sign == "(":
            depth += 1
        elif sign == ")":
            depth -= 1
            if depth < 0:
                break
        elif sign == separator and depth == 0:
            yield text[start:position]
            start = position + 1
    # A quote left open is an inch mark; nothing after it was protected in truth.
    if depth != 0:
        raise UnreadableError(f"{shown(text)} has parentheses that do not match")
    yield text[start:]


def _unwrapped(text: str) -> str:
    """The text without spaces and parentheses that enclose all of it."""
    text = text.strip()
    while text.startswith("(") and text.endswith(")"):
        depth = 0
        for position, sign in enumerate(text):
            depth += (sign == "(") - (sign == ")")
            if depth == 0 and position < len(text) - 1:
                return text
        text = text[1:-1].strip()
    return text


def parse_conditional(text: str) -> tuple[Clause, ...]:
    """The clauses of the value of a ``:conditional`` tag, in the order written.

    >>> parse_conditional("3.5 @ (Mo-Fr 07:00-09:00; Sa); 3.8 @ wet")
    (Clause(value='3.5', condition='Mo-Fr 07:00-09:00; Sa'), Clause(value='3.8', condition='wet'))

    A time without ``@`` belongs to the time before it: mappers often leave out the parentheses
    (``no @ Mo-Fr 07:00-09:00; Sa 08:00-10:00``).

    Raises UnreadableError, showing the text, where no such clauses are there.
    """
    if len(text) > _LONGEST:
        raise UnreadableError(f"{shown(text)} is too long for a conditional tag")
    pairs: list[tuple[str, str]] = []
    for part in _split(_without_inch_marks(text), ";"):
        if not part.strip():
            continue
        at = [piece.replace(_INCH, '"').strip() for piece in _split(part, "@")]
        if len(at) == 2 and at[0] and at[1]:
            pairs.append((at[0], at[1]))
        elif len(at) == 1 and pairs and _like_time(pairs[-1][1]) and _like_time(at[0]):
            pairs[-1] = (pairs[-1][0], f"{pairs[-1][1]}; {at[0]}")
        else:
            raise UnreadableError(f"{shown(text)} is not of the form value @ condition; value @ condition")
    if not pairs:
        raise UnreadableError(f"{shown(text)} is not of the form value @ condition; value @ condition")
    return tuple(Clause(value, _unwrapped(condition)) for value, condition in pairs)


def _like_time(text: str) -> bool:
    """Whether the text could only be a time, so that it is no value whose condition was forgotten."""
    return bool(_PLAIN_TIME.fullmatch(text) or _HOLIDAY_OFF.fullmatch(text)) and bool(
        re.search("[:A-Z]", text)
    )


_INCH = "\x00"


def _without_inch_marks(text: str) -> str:
    """Inch marks after a digit stood in for, so that they open no quotation."""
    return re.sub(r'(?<=\d)"', _INCH, text)


# --- one part of a condition -------------------------------------------------------------------------

_TEST = re.compile(
    r"(?P<what>[a-z_]+) ?(?P<sign><=|>=|==|<|>|=) ?(?P<figure>[^;|]+)", re.ASCII | re.IGNORECASE
)


def _judged(condition: str, window: Window | None, coach: Coach | None) -> _Sure:
    """The parts of a condition joined by AND: off where one is off, on where all are on."""
    if len(condition) > _LONGEST:
        return _Sure.UNCERTAIN
    try:
        parts = _and_parts(condition)
    except UnreadableError:
        return _Sure.UNCERTAIN
    verdicts = [_part(part, window, coach) for part in parts]
    if _Sure.OFF in verdicts:
        return _Sure.OFF
    return _Sure.ON if all(v is _Sure.ON for v in verdicts) else _Sure.UNCERTAIN


def _and_parts(condition: str) -> list[str]:
    marked = re.sub(r"\bAND\b", "\x01", _without_inch_marks(condition), flags=re.IGNORECASE)
    return [
        _unwrapped(part.replace("\x01", "AND").replace(_INCH, '"'))
        for part in _split(_unwrapped(marked), "\x01")
    ]


def _part(text: str, window: Window | None, coach: Coach | None) -> _Sure:
    word = text.strip().lower()
    if word in OWN_MODES:
        return _Sure.ON
    if word in OTHER_MODES:
        return _Sure.OFF
    if coach is not None:
        if word == "motorhome":
            return _Sure.ON
        if word in TOWED_MODES and not coach.towing:
            return _Sure.OFF
        if word == "hazmat" and not coach.propane:
            return _Sure.OFF
    if found := _TEST.fullmatch(text.strip()):
        return _measured(found["what"].lower(), found["sign"], found["figure"], coach)
    return _timed(text, window)


def _measured(what: str, sign: str, figure: str, coach: Coach | None) -> _Sure:
    """A test of a measure of the coach, such as ``length > 10``."""
    own = bound = None
    try:
        if coach is None or figure.lower().endswith(("ton", "tons")):
            return _Sure.UNCERTAIN
        if what == "weight":
            own, bound = coach.weight_kg, parse_weight(figure).kg
        elif what in ("height", "width", "length"):
            measure: Length | None = getattr(coach, what)
            limit = parse_length(figure, low=Length(1), high=Length.from_metres("100")).length
            own = None if measure is None else measure.tenths
            bound = None if limit is None else limit.tenths
    except UnreadableError:
        return _Sure.UNCERTAIN
    if own is None or bound is None:
        return _Sure.UNCERTAIN
    if own == bound and sign not in (">", "<="):
        # The bound was rounded down, so that these three depend on what was lost.
        return _Sure.UNCERTAIN
    holds = own > bound if sign in (">", ">=") else own <= bound if sign in ("<", "<=") else False
    return _Sure.ON if holds else _Sure.OFF


# --- times -------------------------------------------------------------------------------------------

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_MONTH = "|".join(_MONTHS)
#: What is left to the opening-hours library: plain clock times, weekdays, months, dates, years, ``off``.
#: Holidays need a country and the sun a place; both, comments and fallbacks are left uncertain.
#: Digits stand apart so that no text can be cut into tokens in two ways: the match takes linear time.
_PLAIN_TIME = re.compile(
    rf"(?:{_MONTH}|Mo|Tu|We|Th|Fr|Sa|Su|24/7|off|closed"
    r"|(?<!\d)\d\d?:\d\d(?!\d)|(?<!\d)\d{4}(?!\d)|(?<!\d)\d\d?(?!\d)|[-,; ])+",
    re.ASCII,
)
#: Plain texts that mappers and the library understand unlike: a year glued to what follows, and a comma
#: between weekday and clock time, which adds a second rule.
_TWO_MEANINGS = re.compile(r"\d{4}[A-Z]|[a-z] ?, ?\d", re.ASCII)
_HOLIDAY_OFF = re.compile(r"\s*(?:PH|SH)(?:\s*,\s*(?:PH|SH))*\s+(?:off|closed)\s*", re.ASCII)
_DATE = re.compile(rf"({_MONTH}) ?(\d\d?)(?!\d|:)(?: ?- ?(\d\d?)(?!\d|:))?", re.ASCII)
_CLOCK = re.compile(r"(\d\d?:\d\d) ?- ?(\d\d?:\d\d)", re.ASCII)


def _timed(text: str, window: Window | None) -> _Sure:
    """An opening-hours text over the whole window."""
    rules = [rule for rule in text.split(";") if rule.strip()]
    kept = [rule for rule in rules if not _HOLIDAY_OFF.fullmatch(rule)]
    plain = ";".join(kept).strip()
    if plain == "24/7":
        return _Sure.ON if len(kept) == len(rules) else _Sure.UNCERTAIN
    if window is None or window.end - window.start > _LONGEST_WINDOW or not _is_plain_time(plain):
        return _Sure.UNCERTAIN
    states = _states(plain, window)
    if states == {"closed"}:
        return _Sure.OFF
    # A holiday that switches the rule off may fall into the window.
    return _Sure.ON if states == {"open"} and len(kept) == len(rules) else _Sure.UNCERTAIN


def _is_plain_time(text: str) -> bool:
    """Whether the text is of the kind that is left to the opening-hours library, with but one meaning."""
    if not text or not _PLAIN_TIME.fullmatch(text) or _TWO_MEANINGS.search(text):
        return False
    if all(re.search("off|closed", rule) for rule in text.split(";") if rule.strip()):
        return False
    for found in _DATE.finditer(text):
        most = _DAYS_IN_MONTH[_MONTHS.index(found[1])]
        # The library reads a day that a month lacks as a range of its own; 29 February is left uncertain.
        if not all(1 <= int(day) <= most for day in found.groups()[1:] if day):
            return False
    years = [int(year) for year in re.findall(r"(?<!\d)\d{4}(?!\d)", text)]
    dated = [_day(*found) for found in re.findall(rf"(\d{{4}}) ({_MONTH}) (\d\d?)", text)]
    # Years or dates that run backwards were mistyped.
    if years != sorted(years) or dated != sorted(dated):
        return False
    # From a time to the same time: all day to one reader, never to another.
    return not any(_minutes(a) == _minutes(b) for a, b in _CLOCK.findall(text))


def _day(year: str, month: str, day: str) -> tuple[int, int, int]:
    return int(year), _MONTHS.index(month), int(day)


def _minutes(clock: str) -> int:
    """Minutes since midnight of ``hh:mm``."""
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)


def _states(text: str, window: Window) -> set[str]:
    """The states ``open``, ``closed``, ``unknown`` met in the window; all uncertain where not readable."""
    from opening_hours import OpeningHours, ParserError  # type: ignore[attr-defined]

    try:
        hours = OpeningHours(text)
    except ParserError:
        return {"unknown"}
    if hours.warnings:
        return {"unknown"}
    start = window.start.replace(second=0, microsecond=0)
    end = window.end.replace(second=0, microsecond=0) + timedelta(minutes=1)
    states = set()
    for count, (_, _, state, _) in enumerate(hours.intervals(start, end)):
        states.add(str(state))
        if len(states) > 1 or count >= _MOST_INTERVALS:
            return states | {"unknown"}
    return states or {"unknown"}


def may_hold(condition: str, window: Window | None, coach: Coach | None) -> bool:
    """False only where the condition is surely off during the whole window for this coach.

    `window` None: the time is not known. `coach` None: its measures are not known. Never raises,
    whatever the text.

    >>> may_hold("length > 10", None, None)
    True
    """
    return _judged(condition, window, coach) is not _Sure.OFF


def surely_holds(condition: str, window: Window | None, coach: Coach | None) -> bool:
    """True only where the condition is surely on during the whole window for this coach.

    >>> surely_holds("wet", None, None)
    False
    """
    return _judged(condition, window, coach) is _Sure.ON
