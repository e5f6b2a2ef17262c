"""What the maxwidth, maxlength and maxweight tags of one element tell.

Sources: OSM wiki, Key:maxwidth, Key:maxlength, Key:maxweight, Map features/Units, Conditional
restrictions. Axle loads and ratings of the vehicle are not judged: a coach does not tell them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from clearance.core.conditions import parse_conditional
from clearance.core.lengths import Length, height_word, parse_length
from clearance.core.modes import OTHER_MODES, OWN_MODES
from clearance.core.structure import Direction
from clearance.core.valuetext import UnreadableError, listed, shown
from clearance.core.weights import parse_weight

__all__ = ["ConditionalLimit", "LimitTags", "read_limits"]

#: What such limits can be at all; judgement, no source. A width below 1 m still closes a road to a coach.
_WIDTH_RANGE = (Length.from_metres("0.5"), Length.from_metres("30"))
_LENGTH_RANGE = (Length.from_metres("1"), Length.from_metres("60"))

_KINDS = frozenset({"physical", "legal"})
#: ``motorcar`` binds the car in tow and, in some countries, all motor vehicles with two tracks.
_COACH_MODES = OWN_MODES | {"motorhome", "motorcar"}
_REMARKS = frozenset({"signed", "source", "note", "description", "date", "check_date", "fixme", "type"})


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionalLimit:
    """A limit that holds while `condition` does.

    `target` is ``width``, ``length`` or ``weight``; `value` is in tenths of a millimetre or in kilograms.
    """

    target: str
    value: int
    direction: Direction
    condition: str
    key: str
    raw: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitTags:
    """Limits (along the way, against it), None where there is none; conditional ones apart."""

    max_width: tuple[Length | None, Length | None] = (None, None)
    max_length: tuple[Length | None, Length | None] = (None, None)
    max_weight_kg: tuple[int | None, int | None] = (None, None)
    conditional: tuple[ConditionalLimit, ...] = ()
    warnings: tuple[str, ...] = ()


def _tenths(low: Length, high: Length) -> Callable[[str], tuple[int | None, str]]:
    def read(text: str) -> tuple[int | None, str]:
        reading = parse_length(text, low=low, high=high)
        return None if reading.length is None else reading.length.tenths, reading.implausible

    return read


def _kilograms(text: str) -> tuple[int | None, str]:
    reading = parse_weight(text)
    return reading.kg, reading.implausible


_READERS: dict[str, tuple[str, Callable[[str], tuple[int | None, str]]]] = {
    "maxwidth": ("width", _tenths(*_WIDTH_RANGE)),
    "maxlength": ("length", _tenths(*_LENGTH_RANGE)),
    "maxweight": ("weight", _kilograms),
}


def read_limits(tags: Mapping[str, str], element: str) -> LimitTags:
    """The limits of `element` (``way/12``), the lowest of each kind that may bind a coach.

    A text that cannot be read or meant gives a warning and no limit; of a list, the parts that can be
    read still bind. Limits for modes that a motorhome is none of are left out; an unknown suffix
    binds, with a warning.

    >>> read_limits({"maxweight": "7.5"}, "way/1").max_weight_kg
    (7500, 7500)

    Never raises, whatever the tags.
    """
    found: list[ConditionalLimit] = []
    warnings: list[str] = []
    for key in sorted(tags):
        base, *suffixes = key.split(":")
        if base == "maxweightrating" and OTHER_MODES.isdisjoint(suffixes):
            warnings.append(f"{element}: {key}={shown(tags[key])}: limits by rating are not judged")
        if base not in _READERS or not OTHER_MODES.isdisjoint(suffixes) or not _REMARKS.isdisjoint(suffixes):
            continue
        limits, amiss = _limits(key, suffixes, tags[key])
        found += limits
        warnings += [f"{element}: {key}={shown(tags[key])}: {text}" for text in amiss]
    always = [limit for limit in found if not limit.condition]
    return LimitTags(
        max_width=_lengths(always, "width"),
        max_length=_lengths(always, "length"),
        max_weight_kg=_both(always, "weight"),
        conditional=tuple(limit for limit in found if limit.condition),
        warnings=tuple(warnings),
    )


def _both(limits: Iterable[ConditionalLimit], target: str) -> tuple[int | None, int | None]:
    mine = [limit for limit in limits if limit.target == target]
    forward, backward = (
        min((limit.value for limit in mine if limit.direction in (Direction.BOTH, way)), default=None)
        for way in (Direction.FORWARD, Direction.BACKWARD)
    )
    return forward, backward


def _lengths(limits: Iterable[ConditionalLimit], target: str) -> tuple[Length | None, Length | None]:
    forward, backward = _both(limits, target)
    return None if forward is None else Length(forward), None if backward is None else Length(backward)


def _limits(key: str, suffixes: list[str], raw: str) -> tuple[list[ConditionalLimit], list[str]]:
    target, read = _READERS[key.split(":", 1)[0]]
    known = _KINDS | _COACH_MODES | {"forward", "backward", "lanes", "conditional"}
    warnings = [f"key with the unknown part {s or 'none'}; taken to bind" for s in suffixes if s not in known]
    direction = Direction.BOTH
    if ("forward" in suffixes) != ("backward" in suffixes):
        direction = Direction.FORWARD if "forward" in suffixes else Direction.BACKWARD
    pairs = [(raw, "")]
    if "conditional" in suffixes:
        try:
            pairs = [(clause.value, clause.condition) for clause in parse_conditional(raw)]
        except UnreadableError as error:
            warnings.append(f"{error}; taken to hold always")
    limits = []
    for text, condition in pairs:
        values, amiss = _values(text, read)
        warnings += amiss
        limits += [
            ConditionalLimit(
                target=target, value=value, direction=direction, condition=condition, key=key, raw=raw
            )
            for value in values
        ]
    return limits, warnings


def _values(text: str, read: Callable[[str], tuple[int | None, str]]) -> tuple[list[int], list[str]]:
    """The limits that a value tells, and what is amiss with it. Words tell none."""
    values: list[int] = []
    warnings: list[str] = []
    for part in listed(text):
        word = height_word(part)
        if word is not None:
            if word == "below_default":
                warnings.append("said to be below the ordinary limit, by how much is not told")
            continue
        if not part and len(text) > len(part) and text.strip():
            continue
        try:
            value, implausible = read(part)
        except UnreadableError as error:
            warnings.append(f"unreadable limit, not applied: {error}")
            continue
        if value is None:
            warnings.append(f"implausible limit, not applied: {implausible}")
        else:
            values.append(value)
    return values, warnings
