"""The grammars of tags and of what users type, as targets."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from clearance.core.access import Vehicle, hazmat_ban, hazmat_conditions, is_road, node_access, road_access
from clearance.core.coach import Coach
from clearance.core.conditions import Window, may_hold, parse_conditional, surely_holds
from clearance.core.departure import parse_departure
from clearance.core.errors import ClearanceError, UsageError
from clearance.core.extract import Member, Relation
from clearance.core.heights import read_heights
from clearance.core.lengths import (
    HIGHEST_HEIGHT,
    LOWEST_HEIGHT,
    Length,
    height_word,
    parse_length,
    parse_measure,
)
from clearance.core.limits import read_limits
from clearance.core.oneway import direction_note, directions
from clearance.core.place_text import find_place, parse_lat_lon
from clearance.core.places import Place
from clearance.core.record import parse_date, parse_seen_height
from clearance.core.speeds import road_speeds
from clearance.core.structure import EvidenceClass
from clearance.core.valuetext import UnreadableError
from clearance.core.weights import parse_own_weight, parse_weight
from clearance.network.restrictions import read_restrictions
from tests.fuzz.mutations import NUMBERS, ODD_TEXTS, spoilt
from tests.fuzz.target import Target, refused

__all__ = ["TARGETS"]

# --- lengths and weights -------------------------------------------------------------------------------

_PLAIN_NUMBER = st.one_of(
    st.integers(0, 40).map(str),
    st.decimals(0, 40, places=2).map(str),
    st.decimals(0, 5000, places=1).map(str),
    st.sampled_from(NUMBERS),
)
_UNITS = (
    "",
    " m",
    "m",
    " cm",
    "mm",
    "'",
    " ft",
    "ft",
    '"',
    " in",
    "”",
    "′",
    " feet",
    " metres",
    "km",
    " t",
    "k",
    "°",
)
_JOINS = (";", "|", "; ", " ; ", ",", "/", "-", " to ", "@", " ")


@st.composite
def _lengths(draw: DrawFn) -> str:
    def one() -> str:
        first, unit = draw(_PLAIN_NUMBER), draw(st.sampled_from(_UNITS))
        if draw(st.booleans()):
            return first + unit
        mark = draw(st.sampled_from(("'", "' ", "’", "ft ", " ft ", "'-", "′", " feet ", "'")))
        return (
            first
            + mark
            + draw(_PLAIN_NUMBER)
            + draw(st.sampled_from(('"', "''", "″", "in", " in", "", "“", " inches")))
        )

    parts = [one() for _ in range(draw(st.sampled_from((1, 1, 1, 2, 3))))]
    return draw(st.sampled_from(_JOINS)).join(parts)


def length_texts() -> SearchStrategy[str]:
    return st.one_of(spoilt(_lengths()), spoilt(_lengths()), st.text(max_size=30), st.sampled_from(ODD_TEXTS))


#: Everything that stands for a mark or a space in a length; any other sign beyond ASCII makes it unreadable.
_KNOWN_SIGNS = frozenset("’‘′´`ʹ”“″ʺ\u00a0\u2009\u202f")
_PER = {"m": 10_000, "cm": 100, "mm": 10, "ft": 3048, "in": 254}


def _may_mean(text: str, *, up: bool = False) -> set[int]:
    """Every length, in tenths of a millimetre, that some number of the text, or two, could be in any unit."""
    rounding = ROUND_CEILING if up else ROUND_FLOOR
    numbers = [Decimal(n.replace(",", ".")) for n in re.findall(r"[0-9]+(?:[.,][0-9]+)?", text)]
    exact = [n * per for n in numbers for per in _PER.values()]
    exact += [a * 3048 + b * 254 for a, b in pairwise(numbers)]
    return {int(e.to_integral_value(rounding)) for e in exact}


def _told_by(text: str, length: Length, *, up: bool = False) -> None:
    assert not [c for c in text if not c.isascii() and c not in _KNOWN_SIGNS], (
        f"{text!r} was read as {length}"
    )
    assert not [c for c in text if c.isascii() and not c.isprintable() and c != "\t"], f"{text!r} was read"
    assert length.tenths in _may_mean(text, up=up), f"{text!r} was read as {length}"
    assert not re.search(r"(^|[;|])\s*[-+−]", text), f"{text!r} was read as {length}"


def _length(text: str, _: Path) -> None:
    try:
        reading = parse_length(text)
    except UnreadableError as error:
        assert len(str(error)) < 1000  # noqa: PT017, either outcome is right
        return
    assert (reading.length is None) == bool(reading.implausible)
    if reading.length is None:
        return
    assert LOWEST_HEIGHT <= reading.length <= HIGHEST_HEIGHT
    _told_by(text, reading.length)
    parts = re.split("[;|]", text)
    if len(parts) > 1:
        # Of a list the lowest counts: no part of it read alone is lower.
        for part in parts:
            if part.strip() and height_word(part) is None:
                alone = parse_length(part).length
                assert alone is not None
                assert reading.length <= alone, f"{text!r} was read as {reading.length}, above {alone}"


def _measure(text: str, _: Path) -> None:
    readers: tuple[tuple[Callable[[str], Length], bool], ...] = (
        (parse_measure, True),
        (parse_seen_height, False),
    )
    for read, up in readers:
        try:
            length = read(text)
        except UsageError:
            continue
        assert length.tenths > 0
        _told_by(text, length, up=up)
        assert re.search(r"m|cm|mm|ft|feet|foot|in|['\"’‘′´`ʹ”“″ʺ]", text, re.IGNORECASE), (
            f"{text!r} has no unit"
        )


_WEIGHT_UNITS = ("", " t", "t", " kg", "kg", " st", " lbs", " lb", " ton", " tons", " lt", "g", " stone")


def _weights() -> SearchStrategy[str]:
    one = st.tuples(_PLAIN_NUMBER, st.sampled_from(_WEIGHT_UNITS)).map("".join)
    return spoilt(st.lists(one, min_size=1, max_size=3).map(";".join))


def _weight(text: str, _: Path) -> None:
    try:
        kg = parse_weight(text).kg
    except UnreadableError:
        kg = None
    try:
        own = parse_own_weight(text)
    except UsageError:
        own = None
    for value in (kg, own):
        if value is not None:
            assert value >= 0
            assert not [c for c in text if not c.isascii() and c not in _KNOWN_SIGNS], (
                f"{text!r} was read as {value}"
            )
            assert re.search("[1-9]", text)
    assert kg is None or 300 <= kg <= 200_000


# --- tags ----------------------------------------------------------------------------------------------

_HEIGHT_KEYS = (
    *("maxheight", "maxheight:physical", "maxheight:signed", "maxheight:forward", "maxheight:backward"),
    *("maxheight:lanes", "maxheight:conditional", "maxheight:physical:forward", "maxheight:hgv"),
    *(
        "maxheight:forward:conditional",
        "source:maxheight",
        "maxheight:source",
        "maxheight_1",
        "maxheight:note",
    ),
    *("maxheight:", "maxheight::", "maxheight:motor_vehicle", "maxheight:lanes:backward", "maxheight:legal"),
)


@st.composite
def _height_tags(draw: DrawFn) -> dict[str, str]:
    keys = draw(st.lists(st.sampled_from(_HEIGHT_KEYS), min_size=1, max_size=4, unique=True))
    value = st.one_of(
        length_texts(),
        st.sampled_from(("none", "default", "below_default", "no", "yes", "no_sign")),
        _conditionals(),
    )
    return {key: draw(value) for key in keys}


def _heights(tags: dict[str, str], _: Path) -> None:
    found = read_heights(tags, "way/7")
    told = {e.key for e in found.evidence}
    assert told == {key for key in tags if key.startswith("maxheight")}, "a height left no evidence"
    for evidence in found.evidence:
        figure = evidence.figure
        assert evidence.raw == tags[evidence.key]
        assert (figure is None) == (evidence.evidence_class is EvidenceClass.NONE)
        if figure is None:
            continue
        assert LOWEST_HEIGHT <= figure <= HIGHEST_HEIGHT
        assert figure.tenths in _may_mean(evidence.raw), f"{evidence.raw!r} was read as {figure}"
        if evidence.can_clear:
            # What may clear is told by the whole text, and always holds.
            reading = parse_length(evidence.raw)
            assert reading.length == figure
            assert not reading.partial
            assert not evidence.condition
            assert "conditional" not in evidence.key
            _told_by(evidence.raw, figure)
    assert all(isinstance(warning, str) and len(warning) < 2000 for warning in found.warnings)


_CONDITION_PIECES = (
    *(
        "3.5",
        "no",
        "yes",
        "destination",
        "13'6\"",
        "@",
        " @ ",
        "(",
        ")",
        ";",
        "; ",
        ",",
        " ",
        "AND",
        " AND ",
        "and",
    ),
    *(
        "Mo-Fr",
        "Sa",
        "Su",
        "PH",
        "SH",
        "PH off",
        "07:00-09:00",
        "22:00-06:00",
        "24/7",
        "00:00-24:00",
        "25:00-26:00",
    ),
    *(
        "7:00",
        "07:00+",
        "Jan",
        "Jan-Mar",
        "Feb 29",
        "Feb 30",
        "2027",
        "2027 Jan 1-2028 Feb 3",
        "week 1-53",
        "Dec 31",
    ),
    *(
        "off",
        "closed",
        "open",
        "unknown",
        "sunrise-sunset",
        "(sunrise+01:00)",
        "easter",
        "wet",
        "snow",
        "winter",
    ),
    *(
        "weight>7.5",
        "length > 10 m",
        "height>=13'",
        "width<=",
        "axles=3",
        "hgv",
        "motorhome",
        "trailer",
        "hazmat",
    ),
    *(
        '"',
        '"by the bridge"',
        "||",
        "Mo[1]",
        "Mo[-1]",
        "week 01/2",
        "\x00",
        "\x01",
        "0:00-0:00",
        "99999",
        "Mo-Mo",
    ),
)


def _conditionals() -> SearchStrategy[str]:
    pieces = st.lists(st.one_of(st.sampled_from(_CONDITION_PIECES), st.sampled_from(NUMBERS)), max_size=10)
    sound = st.tuples(st.sampled_from(("3.5", "no", "yes")), pieces.map(" ".join)).map(" @ ".join)
    return st.one_of(spoilt(sound), pieces.map("".join), pieces.map(" ".join), st.text(max_size=40))


_MOMENTS = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1))
_HERON = Coach(height=Length.from_feet(13), length=Length.from_metres("12"), weight_kg=12_000, towing=True)


@st.composite
def _judgements(draw: DrawFn) -> tuple[str, Window | None, Coach | None]:
    text = draw(_conditionals())
    start = draw(_MOMENTS)
    hours = draw(st.sampled_from((0, 0.01, 3, 24, 24 * 30, 24 * 400)))
    window = draw(st.sampled_from((None, Window(start, start + timedelta(hours=hours)))))
    return text, window, draw(st.sampled_from((None, _HERON, Coach(height=Length.from_feet(12)))))


def _condition(value: tuple[str, Window | None, Coach | None], _: Path) -> None:
    text, window, coach = value
    try:
        clauses = parse_conditional(text)
    except UnreadableError as error:
        assert len(str(error)) < 2000  # noqa: PT017, either outcome is right
        conditions = [text]
    else:
        assert clauses
        assert all(clause.value and isinstance(clause.condition, str) for clause in clauses)
        conditions = [text, *(clause.condition for clause in clauses)]
    for condition in conditions:
        sure, may = surely_holds(condition, window, coach), may_hold(condition, window, coach)
        assert may or not sure, f"{condition!r} surely holds and surely does not"
        for unknown in ((window, None), (None, coach), (None, None)):
            # Who knows less is never surer.
            assert may_hold(condition, *unknown) or not may
            assert sure or not surely_holds(condition, *unknown)


_ROAD_KEYS = (
    *(
        "highway",
        "access",
        "motor_vehicle",
        "vehicle",
        "motorhome",
        "motorcar",
        "trailer",
        "hazmat",
        "hazmat:B",
    ),
    *("access:conditional", "motor_vehicle:conditional", "motorhome:forward", "oneway", "oneway:conditional"),
    *(
        "oneway:motorhome",
        "junction",
        "service",
        "tracktype",
        "surface",
        "barrier",
        "maxspeed",
        "maxspeed:forward",
    ),
    *("maxwidth", "maxlength", "maxweight", "maxweight:conditional", "maxlength:forward", "maxweightrating"),
)
_ROAD_VALUES = (
    *("residential", "service", "motorway", "track", "footway", "pedestrian", "path", "yes", "no", "private"),
    *(
        "destination",
        "-1",
        "reversible",
        "alternating",
        "roundabout",
        "gate",
        "bollard",
        "drive-through",
        "50 mph",
    ),
    *("30", "none", "walk", "RO:urban", "signals", "7.5", "3.5 t", "10 m", "no;yes", ";", "B", "C;D"),
)


def _road_tags() -> SearchStrategy[dict[str, str]]:
    value = st.one_of(st.sampled_from(_ROAD_VALUES), _conditionals(), spoilt(st.sampled_from(_ROAD_VALUES)))
    return st.dictionaries(st.sampled_from(_ROAD_KEYS), value, max_size=6)


def _road(tags: dict[str, str], _: Path) -> None:
    for vehicle in Vehicle:
        for towing in (False, True):
            reading, node = road_access(tags, vehicle, towing), node_access(tags, vehicle, towing)
            assert reading.access <= reading.forward
            assert node.access <= node.backward
        assert len(directions(tags, vehicle)) == 2
        assert isinstance(direction_note(tags, vehicle), str)
    assert all(1 <= speed <= 150 for speed in road_speeds(tags))
    if not is_road(tags):
        assert road_access(tags, Vehicle.COACH).forward == 2
    assert hazmat_ban(tags) in (True, False)
    list(hazmat_conditions(tags))
    limits = read_limits(tags, "way/7")
    for low, high, pair in (
        (5000, 300_000, [w.tenths for w in limits.max_width if w is not None]),
        (10_000, 600_000, [w.tenths for w in limits.max_length if w is not None]),
        (300, 200_000, [w for w in limits.max_weight_kg if w is not None]),
    ):
        assert all(low <= value <= high for value in pair)


_IDS = st.one_of(st.integers(1, 9), st.integers(-(2**63), 2**63 - 1))


@st.composite
def _relations(draw: DrawFn) -> Relation:
    members = draw(
        st.lists(
            st.builds(
                Member,
                st.sampled_from(("n", "w", "r")),
                _IDS,
                st.sampled_from(("from", "via", "to", "", "location_hint")),
            ),
            max_size=6,
        )
    )
    keys = (
        "restriction",
        "restriction:conditional",
        "restriction:hgv",
        "restriction:motorhome",
        "restriction:caravan",
    )
    value = st.one_of(
        st.sampled_from(
            ("no_left_turn", "only_straight_on", "no_u_turn", "no_entry", "no_exit", "none", "no_", "only_")
        ),
        spoilt(st.just("no_right_turn @ (Mo-Fr 07:00-09:00)")),
        _conditionals(),
    )
    tags = draw(st.dictionaries(st.sampled_from(keys), value, max_size=3))
    tags |= {
        "type": draw(st.sampled_from(("restriction", "restriction:hgv", "restriction:", "multipolygon")))
    }
    for key in draw(st.lists(st.sampled_from(("except", "hour_on", "day_off")), max_size=2)):
        tags[key] = draw(st.sampled_from(("motorcar", "psv;motor_vehicle", "", ";", "07:00", "\x00")))
    return Relation(draw(_IDS), tuple(members), tags)


def _restriction(relations: list[Relation], _: Path) -> None:
    found, warnings = read_restrictions(relations)
    for restriction in found:
        assert restriction.from_ways
        assert restriction.to_ways
        assert (restriction.via_node is None) != (not restriction.via_ways)
    assert all("relation/" in warning and len(warning) < 3000 for warning in warnings)


# --- what users type -----------------------------------------------------------------------------------

_KNOWN_PLACES = (
    Place(lon=-40.0, lat=45.0, name="Mill Lane", kind="street"),
    Place(lon=-40.1, lat=45.1, name="Mill Lane", kind="street"),
    Place(lon=-40.0, lat=45.0, name="Straße am Ö", kind="street"),
    Place(lon=-40.0, lat=45.0, name="\u2603", kind="shop"),
)


def _place_texts() -> SearchStrategy[str]:
    pair = st.tuples(
        st.sampled_from(NUMBERS), st.sampled_from((",", " ", ", ", ";", "  ")), st.sampled_from(NUMBERS)
    )
    names = st.sampled_from(("Mill Lane", "mill", "strasse am o", "45,1 -40,2", "45°N 40°W", ""))
    return st.one_of(spoilt(pair.map("".join)), spoilt(names), st.text(max_size=30))


def _place(text: str, _: Path) -> None:
    point = refused(lambda: parse_lat_lon(text), names=repr(text))
    if point is not None:
        assert -90 <= point.lat <= 90
        assert -180 <= point.lon <= 180
        assert all(c.isascii() or c == "\u2212" for c in text.strip()), f"{text!r} was read as {point}"
    found = refused(lambda: find_place(text, _KNOWN_PLACES), names=repr(text))
    assert found is None or found in (*_KNOWN_PLACES, point)


def _date_texts() -> SearchStrategy[str]:
    sound = st.datetimes().map(lambda moment: moment.isoformat()[:10])
    return spoilt(
        st.one_of(sound, _MOMENTS.map(str), st.sampled_from(("2027-W01-1", "20270704", "2027-02-30")))
    )


def _date(text: str, _: Path) -> None:
    now = datetime(2026, 6, 1, 12)
    for read in (lambda: parse_date(text, now.date()), lambda: parse_departure(text, now)):
        try:
            found = read()
            # A drive of a month still ends within the calendar.
            assert isinstance(found, str) or found + timedelta(days=31) > now
        except ClearanceError as error:
            assert len(str(error)) < 1000  # noqa: PT017, either outcome is right
    try:
        day = parse_date(text, now.date())
    except ClearanceError:
        return
    assert re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", day)
    assert day <= "2026-06-02"


def _target(
    name: str, inputs: Callable[[], SearchStrategy[Any]], check: Callable[[Any, Path], None], few: int
) -> Target:
    return Target(name, inputs, check, few)


TARGETS = (
    _target("length", length_texts, _length, 100),
    _target("measure", length_texts, _measure, 60),
    _target("weight", _weights, _weight, 50),
    _target("height-tags", _height_tags, _heights, 60),
    _target("condition", _judgements, _condition, 40),
    _target("road-tags", _road_tags, _road, 40),
    _target("restriction", lambda: st.lists(_relations(), max_size=3), _restriction, 20),
    _target("place-text", _place_texts, _place, 50),
    _target("date", _date_texts, _date, 50),
)
