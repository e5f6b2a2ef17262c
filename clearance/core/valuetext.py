"""What all tag values with a number share: cleaning, lists, decimals, and the refusal of the rest."""

from __future__ import annotations

import re
from decimal import Decimal

from clearance.core.errors import InputError

__all__ = ["LONGEST", "UnreadableError", "cleaned", "decimal", "listed", "shown"]

#: OpenStreetMap keeps at most 255 characters of a value; no readable figure comes near it.
LONGEST = 255

_SINGLE_MARKS = dict.fromkeys(map(ord, "’‘′´`ʹ"), "'")
_DOUBLE_MARKS = dict.fromkeys(map(ord, "”“″ʺ"), '"')
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2009\u202f\t"), " ")
_THOUSANDS_LIKE = re.compile(r"\d{1,3},\d{3}(?!\d)", re.ASCII)


class UnreadableError(InputError):
    """A text that cannot be read for what its tag should hold; the message shows the text."""


def shown(text: str) -> str:
    """The text in quotes as in Python source, cut where it is absurdly long."""
    return repr(text) if len(text) <= 80 else f"{text[:60]!r}... ({len(text)} characters)"


def cleaned(text: str) -> tuple[str, tuple[str, ...]]:
    """The text with plain quote marks and single spaces, and what was irregular about it."""
    reasons = []
    plain = text.translate(_SINGLE_MARKS).translate(_DOUBLE_MARKS)
    if plain != text:
        reasons.append("curly quotes or prime marks")
    spaced = plain.translate(_SPACES)
    if spaced != plain:
        reasons.append("unusual spaces")
    if "''" in spaced:
        spaced = spaced.replace("''", '"')
        reasons.append("two single quotes for inches")
    return re.sub(" +", " ", spaced).strip(" "), tuple(reasons)


def listed(text: str) -> tuple[str, ...]:
    """The parts of a value at ``;`` and ``|``, stripped; one part where there is no list."""
    return tuple(part.strip(" ") for part in re.split(r"[;|]", text))


def decimal(text: str, *, thousands: bool = False) -> tuple[Decimal, str]:
    """The number in `text` (ASCII digits, at most one mark), and what was irregular about it.

    A comma is a decimal mark, except before exactly three digits: there it may part thousands.
    With `thousands` it does; otherwise such a number is refused as having two meanings.

    Raises UnreadableError for that.
    """
    if "," not in text:
        return Decimal(text), ""
    if _THOUSANDS_LIKE.fullmatch(text):
        if thousands:
            return Decimal(text.replace(",", "")), "comma between thousands"
        raise UnreadableError(f"{shown(text)} may be a decimal comma or thousands; write a dot")
    return Decimal(text.replace(",", ".")), "comma as decimal mark"
