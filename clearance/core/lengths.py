"""Exact lengths: whole tenths of a millimetre, and the grammar of length texts."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import total_ordering

__all__ = ["Length"]

#: 1 in = 25.4 mm exactly (international yard and pound agreement, 1959; from memory).
_TENTHS_PER_INCH = 254
_TENTHS_PER_METRE = 10_000


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
