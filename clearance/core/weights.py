"""Weights in whole kilograms, and the grammar of weight texts."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from clearance.core.errors import UsageError
from clearance.core.lengths import height_word
from clearance.core.valuetext import LONGEST, UnreadableError, cleaned, decimal, listed, shown

__all__ = ["WeightReading", "parse_own_weight", "parse_weight"]

#: Kilograms per unit. Tonne by definition; pound by the international yard and pound agreement of 1959,
#: short ton 2000 lb, long ton 2240 lb (all from memory). Where ``ton`` does not say which, the short ton is
#: the lightest and so the safe one. Without a unit OSM means tonnes (OSM wiki, Map features/Units).
_POUND = Decimal("0.45359237")
_UNITS: dict[str, Decimal] = {
    "": Decimal(1000),
    "t": Decimal(1000),
    "tonne": Decimal(1000),
    "tonnes": Decimal(1000),
    "kg": Decimal(1),
    "st": 2000 * _POUND,
    "ton": 2000 * _POUND,
    "tons": 2000 * _POUND,
    "lt": 2240 * _POUND,
    "lb": _POUND,
    "lbs": _POUND,
}
_UNUSUAL = {
    "tonne": "word for the unit",
    "tonnes": "word for the unit",
    "lb": "word for the unit",
    "ton": "tons of unknown kind, the lightest taken",
    "tons": "tons of unknown kind, the lightest taken",
}
_SMALL_UNITS = {"kg", "lb", "lbs"}

#: What a weight limit on a road can be at all; outside it a unit was lost. Judgement, no source.
_LIGHTEST_KG, _HEAVIEST_KG = 300, 200_000

_FORMS = "read are 7.5, 7.5 t, 8 st, 16000 lbs, 7500 kg"
_WEIGHT = re.compile(
    r"(?P<number>\d{1,6}(?:[.,]\d{1,8})?)(?P<gap> ?)(?P<unit>[a-z]*)", re.ASCII | re.IGNORECASE
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightReading:
    """What a weight text says, in whole kilograms rounded down.

    `kg` is None where the figure cannot be meant; `implausible` then says why. `irregular` is empty
    or says how the text departs from the documented form.
    """

    kg: int | None
    irregular: str = ""
    implausible: str = ""


def _part(text: str) -> tuple[Decimal, tuple[str, ...]]:
    """One weight in kilograms. Raises UnreadableError where the text is no such thing."""
    found = _WEIGHT.fullmatch(text)
    unit = found["unit"].lower() if found else ""
    if found is None or unit not in _UNITS:
        raise UnreadableError(f"{shown(text)} is no weight; {_FORMS}")
    number, comma = decimal(found["number"], thousands=unit in _SMALL_UNITS)
    if number <= 0:
        raise UnreadableError(f"{shown(text)} is no weight above nothing")
    glued = "unit glued to the number" if unit and not found["gap"] else ""
    return number * _UNITS[unit], (comma, glued, _UNUSUAL.get(unit, ""))


def parse_weight(text: str) -> WeightReading:
    """The weight that the value of a tag such as maxweight tells, rounded down to a kilogram.

    Of a list (``;`` or ``|``) the lowest counts.

    >>> parse_weight("10 st").kg
    9071

    Raises UnreadableError, showing the text, where it or a part of it is no weight.
    """
    if len(text) > LONGEST:
        raise UnreadableError(f"{shown(text)} is too long for a weight; {_FORMS}")
    plain, reasons = cleaned(text)
    texts = listed(plain)
    told = [t for t in texts if t and height_word(t) is None]
    if not told:
        raise UnreadableError(f"{shown(text)} holds no weight; {_FORMS}")
    try:
        parts = [_part(t) for t in told]
    except UnreadableError as error:
        if shown(text) in str(error):
            raise
        raise UnreadableError(f"{shown(text)} cannot be read: {error}") from error
    notes = [*reasons, *(r for _, part_reasons in parts for r in part_reasons if r)]
    if len(texts) > 1:
        notes.append("a list of values, the lowest taken")
    odd = [kg for kg, _ in parts if not _LIGHTEST_KG <= kg <= _HEAVIEST_KG]
    implausible = ""
    if odd:
        implausible = f"{shown(text)} would be {odd[0]:f} kg, outside {_LIGHTEST_KG} to {_HEAVIEST_KG} kg"
    return WeightReading(
        kg=None if odd else int(min(kg for kg, _ in parts).to_integral_value(ROUND_FLOOR)),
        irregular=", ".join(dict.fromkeys(notes)),
        implausible=implausible,
    )


_OWN_UNITS = {"kg", "t", "tonne", "tonnes", "lb", "lbs"}


def parse_own_weight(text: str, *, what: str = "weight") -> int:
    """A weight that a user typed, in whole kilograms; `what` names it in messages.

    The unit must be written, and a ton that may be short or long is refused: the lightest kind is
    the safe reading of a limit but not of a vehicle. Rounded down as limits are, so that 26000 lbs
    stays within a limit of 26000 lbs. No lists.

    >>> parse_own_weight("26000 lbs")
    11793

    Raises UsageError, showing the text and what to write.
    """
    forms = "write it like 12t, 11800kg or 26000lbs"
    plain, _ = cleaned(text[: LONGEST + 1])
    found = _WEIGHT.fullmatch(plain)
    unit = found["unit"].lower() if found else ""
    if found is not None and not unit:
        raise UsageError(f"{what} {shown(text)} has no unit: {plain}t or {plain}lbs? {forms}")
    if found is None or unit not in _OWN_UNITS:
        raise UsageError(f"{what} {shown(text)} cannot be read: {forms}")
    try:
        kg, _ = _part(plain)
    except UnreadableError as error:
        raise UsageError(f"{what} {shown(text)} cannot be read: {forms}") from error
    return int(kg.to_integral_value(ROUND_FLOOR))
