"""How a standing and a drive look on a map: no two standings differ by colour alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from clearance.core.structure import Standing

__all__ = [
    "CAR_LINE",
    "DRIVE_LINE",
    "FACILITY_MARK",
    "FULL_TANK_MARK",
    "MARKS",
    "PLACE_MARK",
    "TURN_OFF_MARK",
    "UNCHECKED_LINE",
    "Line",
    "Mark",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point's colour (#rrggbb), symbol (a Maki icon name, from memory) and size (small, medium, large)."""

    color: str
    symbol: str
    size: str

    def properties(self) -> dict[str, str]:
        """The mark as simplestyle 1.1 properties (key names from memory)."""
        return {"marker-color": self.color, "marker-symbol": self.symbol, "marker-size": self.size}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line's colour (#rrggbb), width in pixels and opacity from 0 to 1."""

    color: str
    width: float
    opacity: float = 1.0

    def properties(self) -> dict[str, str | float]:
        """The line as simplestyle 1.1 properties (key names from memory)."""
        return {"stroke": self.color, "stroke-width": self.width, "stroke-opacity": self.opacity}


#: Dark to light and large to small with the danger; the hues stay apart for red-green blindness as well.
MARKS: Mapping[Standing, tuple[Mark, Line]] = {
    Standing.TOO_LOW: (
        Mark(color="#6e1023", symbol="cross", size="large"),
        Line(color="#6e1023", width=9),
    ),
    Standing.UNVERIFIED: (
        Mark(color="#6a3fa0", symbol="square", size="large"),
        Line(color="#6a3fa0", width=7),
    ),
    Standing.TIGHT: (
        Mark(color="#c06a00", symbol="triangle", size="medium"),
        Line(color="#c06a00", width=5.5),
    ),
    Standing.CLEAR: (
        Mark(color="#2b7f78", symbol="circle", size="small"),
        Line(color="#2b7f78", width=4),
    ),
}

DRIVE_LINE = Line(color="#14304d", width=3, opacity=0.9)
CAR_LINE = Line(color="#767676", width=2, opacity=0.8)
UNCHECKED_LINE = Line(color="#000000", width=1, opacity=0.7)
PLACE_MARK = Mark(color="#14304d", symbol="star", size="medium")
TURN_OFF_MARK = Mark(color="#14304d", symbol="arrow", size="small")
FACILITY_MARK = Mark(color="#2f5d8a", symbol="diamond", size="small")
#: The filling station for a full tank at the end: the same shape, larger and darker.
FULL_TANK_MARK = Mark(color="#14304d", symbol="diamond", size="large")
