"""Exact lengths: whole tenths of a millimetre, and the grammar of length texts."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from enum import StrEnum
from functools import total_ordering

from clearance.core.errors import UsageError
from clearance.core.valuetext import LONGEST, UnreadableError, cleaned, decimal, listed, shown

__all__ = [
    "HIGHEST_HEIGHT",
    "LOWEST_HEIGHT",
    "HeightWord",
    "Length",
    "LengthReading",
    "UnreadableError",
    "height_word",
    "parse_length",
    "parse_measure",
]

#: 1 in = 25.4 mm exactly (international yard and pound agreement, 1959; from memory).
_TENTHS_PER_INCH = 254
_TENTHS_PER_FOOT = 12 * _TENTHS_PER_INCH
_TENTHS_PER_METRE = 10_000
_TENTHS_PER_CM = 100
_TENTHS_PER_MM = 10


@total_ordering
@dataclass(frozen=True, slots=True)
class Length:
    """A length in whole tenths of a millimetre, so that 13'6" is 4.1148 m and not 4.11.

    >>> Length.from_feet(13, 6).metres
    Decimal('4.1148')
    """

    tenths: int

    @classmethod
    def from_feet(cls, feet: int, inches: int = 0) -> Length:
        """The exact length of whole feet and inches."""
        return cls((feet * 12 + inches) * _TENTHS_PER_INCH)

    @classmethod
    def from_metres(cls, metres: Decimal | str, *, up: bool = False) -> Length:
        """Metres from a decimal text, rounded down to a tenth of a millimetre (`up`: rounded up)."""
        exact = Decimal(metres) * _TENTHS_PER_METRE
        return cls(int(exact.to_integral_value(ROUND_CEILING if up else ROUND_FLOOR)))

    @property
    def metres(self) -> Decimal:
        """The same length in metres, exact, four decimals."""
        return Decimal(self.tenths).scaleb(-4)

    def floor_inches(self) -> tuple[int, int]:
        """Whole (feet, inches) not above this length: how a clearance is shown.

        >>> Length.from_metres("4.11").floor_inches()
        (13, 5)
        """
        return divmod(self.tenths // _TENTHS_PER_INCH, 12)

    def ceil_inches(self) -> tuple[int, int]:
        """Whole (feet, inches) not below this length: how the height of a coach is shown."""
        return divmod(-(-self.tenths // _TENTHS_PER_INCH), 12)

    def floor_cm(self) -> int:
        """Whole centimetres not above this length."""
        return self.tenths // _TENTHS_PER_CM

    def ceil_cm(self) -> int:
        """Whole centimetres not below this length."""
        return -(-self.tenths // _TENTHS_PER_CM)

    def __lt__(self, other: Length) -> bool:
        """Order by length."""
        return self.tenths < other.tenths

    def __add__(self, other: Length) -> Length:
        """The exact sum."""
        return Length(self.tenths + other.tenths)

    def __sub__(self, other: Length) -> Length:
        """The exact difference; may be negative."""
        return Length(self.tenths - other.tenths)

    def __str__(self) -> str:
        """Exact metres, without needless zeros: ``4.1148 m``."""
        return f"{self.metres.normalize():f} m"


class HeightWord(StrEnum):
    """Words that stand in the place of a figure (OSM wiki, Key:maxheight and Tag:maxheight=default).

    None of them is a clearance: ``none`` under a structure is no sign, not endless height.
    """

    DEFAULT = "default"
    BELOW_DEFAULT = "below_default"
    NONE = "none"
    NO_SIGN = "no_sign"
    UNSIGNED = "unsigned"
    NO_INDICATIONS = "no_indications"


def height_word(text: str) -> HeightWord | None:
    """The word that `text` is, whatever its case and spaces; None where it is none of them."""
    try:
        return HeightWord("_".join(text.lower().split()))
    except ValueError:
        return None


#: What a figure for a clearance can be at all; outside it a unit was lost. Judgement, no source.
LOWEST_HEIGHT = Length.from_metres("1")
HIGHEST_HEIGHT = Length.from_metres("30")

_FORMS = "read are 3.8, 3.8 m, 380 cm, 12'6\", 12', 150\", 12 ft 6 in"

# Digits are bounded so that every product below stays exact in Decimal's 28 places.
_NUMBER = r"\d{1,6}(?:[.,]\d{1,8})?"
_METRIC = re.compile(
    rf"(?P<number>{_NUMBER})(?P<gap> ?)(?P<unit>m|cm|mm|met(?:er|re)s?)?", re.ASCII | re.IGNORECASE
)
_FEET = re.compile(
    rf"(?P<feet>{_NUMBER}) ?(?P<foot>'|ft\.?|feet|foot)"
    rf"(?: ?(?P<dash>-?) ?(?P<inches>{_NUMBER})(?: ?(?P<inch>\"|in\.?|inch(?:es)?))?)?",
    re.ASCII | re.IGNORECASE,
)
_INCHES = re.compile(rf"(?P<inches>{_NUMBER}) ?(?P<inch>\"|in\.?|inch(?:es)?)", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthReading:
    """What a length text says.

    `length` is None where the figure cannot be meant; `implausible` then says why. `irregular` is
    empty or says how the text departs from the documented form. `bare` is True where no unit was
    written, `partial` where some part of a list told no figure.
    """

    length: Length | None
    irregular: str = ""
    implausible: str = ""
    bare: bool = False
    partial: bool = False


@dataclass(frozen=True, slots=True)
class _Part:
    """One figure in tenths of a millimetre, exact, before rounding."""

    tenths: Decimal
    bare: bool
    reasons: tuple[str, ...]


def _metric(found: re.Match[str]) -> _Part:
    number, comma = decimal(found["number"])
    unit = (found["unit"] or "").lower()
    if not unit:
        return _Part(number * _TENTHS_PER_METRE, True, (comma,))
    glued = "" if found["gap"] else "unit glued to the number"
    if unit == "cm":
        return _Part(number * _TENTHS_PER_CM, False, (comma, glued))
    if unit == "mm":
        return _Part(number * _TENTHS_PER_MM, False, (comma, glued))
    return _Part(number * _TENTHS_PER_METRE, False, (comma, glued))


def _feet_and_inches(found: re.Match[str]) -> _Part:
    feet, comma = decimal(found["feet"])
    reasons = [comma]
    if found["foot"] != "'" or (found["inch"] or '"') != '"':
        reasons.append("words for feet or inches")
    if found["inches"] is None:
        return _Part(feet * _TENTHS_PER_FOOT, False, tuple(reasons))
    inches, comma = decimal(found["inches"])
    if inches >= 12:
        raise UnreadableError(f"{shown(found[0])} has 12 inches or more after the feet")
    if not found["feet"].isdecimal():
        raise UnreadableError(f"{shown(found[0])} has part feet and inches as well")
    reasons.append(comma)
    if found["dash"]:
        reasons.append("dash between feet and inches")
    if not found["inch"]:
        reasons.append("no mark after the inches")
    return _Part(feet * _TENTHS_PER_FOOT + inches * _TENTHS_PER_INCH, False, tuple(reasons))


def _inches(found: re.Match[str]) -> _Part:
    inches, comma = decimal(found["inches"])
    words = "" if found["inch"] == '"' else "words for feet or inches"
    return _Part(inches * _TENTHS_PER_INCH, False, (comma, words))


def _part(text: str) -> _Part:
    """One figure with its unit. Raises UnreadableError where the text is no such thing."""
    for pattern, read in ((_METRIC, _metric), (_FEET, _feet_and_inches), (_INCHES, _inches)):
        if found := pattern.fullmatch(text):
            part = read(found)
            if part.tenths <= 0:
                raise UnreadableError(f"{shown(text)} is no length above nothing")
            return part
    raise UnreadableError(f"{shown(text)} is no length; {_FORMS}")


def parse_length(text: str, *, low: Length = LOWEST_HEIGHT, high: Length = HIGHEST_HEIGHT) -> LengthReading:
    """The length that the value of a tag such as maxheight tells, rounded down to a tenth of a mm.

    A number without a unit is metres; the documented forms are ``3.8``, ``3.8 m`` and ``12'6"``
    (OSM wiki, Key:maxheight and Map features/Units). Of a list (``;`` or ``|``) the lowest counts.
    A figure outside `low` to `high` is implausible and gives no length.

    >>> parse_length("13'6\\"").length
    Length(tenths=41148)
    >>> parse_length("150").length is None
    True

    Raises UnreadableError, showing the text, for all else: also where one part of a list cannot be
    read, since that part may be the lowest.
    """
    if len(text) > LONGEST:
        raise UnreadableError(f"{shown(text)} is too long for a length; {_FORMS}")
    plain, reasons = cleaned(text)
    if not plain:
        raise UnreadableError(f"{shown(text)} holds no length; {_FORMS}")
    texts = listed(plain)
    told = [t for t in texts if t and height_word(t) is None]
    if not told:
        raise UnreadableError(f"{shown(text)} holds no length; {_FORMS}")
    try:
        parts = [_part(t) for t in told]
    except UnreadableError as error:
        if shown(text) in str(error):
            raise
        raise UnreadableError(f"{shown(text)} cannot be read: {error}") from error
    lowest = min(parts, key=lambda part: part.tenths)
    notes = [*reasons, *(r for part in parts for r in part.reasons if r)]
    if len(texts) > 1:
        notes.append("a list of values, the lowest taken")
    if len(told) < len(texts):
        notes.append("a part of the list without a figure")
    odd = [part for part in parts if not low.tenths <= part.tenths <= high.tenths]
    implausible = ""
    if odd:
        bare = "; was a unit lost?" if odd[0].bare else ""
        implausible = f"{shown(text)} would be {odd[0].tenths.scaleb(-4):f} m, outside {low} to {high}{bare}"
    return LengthReading(
        length=None if odd else Length(int(lowest.tenths.to_integral_value(ROUND_FLOOR))),
        irregular=", ".join(dict.fromkeys(notes)),
        implausible=implausible,
        bare=lowest.bare,
        partial=len(told) < len(texts),
    )


def parse_measure(text: str, *, what: str = "length", zero: bool = False) -> Length:
    """A length that a user typed, rounded up to a tenth of a millimetre; `what` names it in messages.

    The same forms as in tags, but the unit must be written: nobody guesses between feet and metres.
    No lists, no comma. With `zero`, ``0`` is allowed, with or without a unit.

    Raises UsageError, showing the text and what to write.
    """
    forms = "write it like 12'10\", 154in, 3.9m or 391cm"
    if len(text) > LONGEST:
        raise UsageError(f"{what} {shown(text)} is too long; {forms}")
    plain, _ = cleaned(text)
    if zero and re.fullmatch(r"0+(\.0+)?( ?(m|cm|mm|ft|in|'|\"))?", plain, re.ASCII | re.IGNORECASE):
        return Length(0)
    if "," in plain:
        raise UsageError(f"{what} {shown(text)} has a comma; write a dot: {forms}")
    try:
        part = _part(plain)
    except UnreadableError as error:
        raise UsageError(f"{what} {shown(text)} cannot be read: {forms}") from error
    if part.bare:
        raise UsageError(f"{what} {shown(text)} has no unit: {plain}m or {plain}ft? {forms}")
    return Length(int(part.tenths.to_integral_value(ROUND_CEILING)))
