"""Lengths, distances and times as a driver reads them.

Clearances are rounded down and measures of a coach up, so that no rounding makes a gap look larger than
it is: 4.11 m is 13'5", and a coach of 4.11 m is 13'6".
"""

from __future__ import annotations

import math
from datetime import datetime
from enum import StrEnum

from clearance.core.lengths import Length

__all__ = [
    "Units",
    "clearance_text",
    "clock_text",
    "coach_text",
    "distance_text",
    "duration_text",
    "gap_text",
    "weight_text",
]

#: 1 mi = 1609.344 m, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg exactly (international yard and pound, 1959;
#: from memory).
_METRES_PER_MILE = 1609.344
_METRES_PER_FOOT = 0.3048
_KG_PER_POUND = 0.45359237


class Units(StrEnum):
    """What lengths are shown in; BOTH puts metres in brackets after feet."""

    FEET = "feet"
    METRES = "metres"
    BOTH = "both"


def _either(units: Units, feet: str, metres: str) -> str:
    if units is Units.FEET:
        return feet
    return metres if units is Units.METRES else f"{feet} ({metres})"


def clearance_text(clearance: Length, units: Units = Units.FEET) -> str:
    """A clearance, rounded down to an inch or a centimetre.

    >>> clearance_text(Length.from_metres("4.11"), Units.BOTH)
    '13\\'5" (4.11 m)'
    """
    feet, inches = clearance.floor_inches()
    return _either(units, f"{feet}'{inches}\"", _metres(clearance.floor_cm()))


def coach_text(measure: Length, units: Units = Units.FEET) -> str:
    """A measure of the coach, or a clearance that it needs, rounded up to an inch or a centimetre.

    >>> coach_text(Length.from_metres("4.11"), Units.BOTH)
    '13\\'6" (4.11 m)'
    """
    feet, inches = measure.ceil_inches()
    return _either(units, f"{feet}'{inches}\"", _metres(measure.ceil_cm()))


def _metres(cm: int) -> str:
    sign = "-" if cm < 0 else ""
    return f"{sign}{abs(cm) // 100}.{abs(cm) % 100:02d} m"


def gap_text(gap: Length, units: Units = Units.FEET) -> str:
    """The size of a gap between coach and clearance, without its sign: ``9 in``, ``1'4"``, ``22 cm``.

    A gap above the coach (0 or more) is rounded down, one that is wanting (negative) up in size.

    >>> gap_text(Length.from_feet(0, -6), Units.BOTH)
    '6 in (16 cm)'
    """
    feet, inches = divmod(abs(gap.floor_inches()[0] * 12 + gap.floor_inches()[1]), 12)
    imperial = f"{feet}'{inches}\"" if feet else f"{inches} in"
    cm = abs(gap.floor_cm())
    return _either(units, imperial, f"{cm} cm" if cm < 100 else _metres(cm))


def distance_text(metres: float, units: Units = Units.FEET) -> str:
    """A distance along a road: feet to the next 50 below 0.2 mi, else miles; metres to 10, else km.

    >>> distance_text(120), distance_text(4_000), distance_text(0)
    ('400 ft', '2.5 mi', '0 ft')
    """
    miles = metres / _METRES_PER_MILE
    imperial = f"{miles:,.1f} mi" if miles >= 0.2 else f"{_to(metres / _METRES_PER_FOOT, 50)} ft"
    tens = _to(metres, 10)
    return _either(units, imperial, f"{metres / 1000:,.1f} km" if tens >= 1000 else f"{tens} m")


def _to(value: float, step: int) -> int:
    return math.floor(value / step + 0.5) * step


def duration_text(seconds: float) -> str:
    """A time spent, to the minute: ``under 1 min``, ``23 min``, ``1 h 05 min``.

    >>> duration_text(20), duration_text(3_899)
    ('under 1 min', '1 h 05 min')
    """
    minutes = math.floor(seconds / 60 + 0.5)
    if minutes < 1:
        return "under 1 min"
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def clock_text(moment: datetime, units: Units = Units.FEET) -> str:
    """The time of day: twelve hours with AM and PM beside feet, twenty-four beside metres alone.

    >>> clock_text(datetime(2026, 1, 1, 14, 5)), clock_text(datetime(2026, 1, 1, 14, 5), Units.METRES)
    ('2:05 PM', '14:05')
    """
    if units is Units.METRES:
        return f"{moment:%H:%M}"
    # Not %p: it is empty in some locales, and ambiguous times are worse than none.
    return f"{(moment.hour + 11) % 12 + 1}:{moment:%M} {'AM' if moment.hour < 12 else 'PM'}"


def weight_text(kilograms: int, units: Units = Units.FEET) -> str:
    """The weight of the coach, rounded up to 10 lb or 10 kg.

    >>> weight_text(10_000, Units.BOTH)
    '22,050 lb (10,000 kg)'
    """
    pounds = math.ceil(kilograms / _KG_PER_POUND / 10) * 10
    return _either(units, f"{pounds:,} lb", f"{-(-kilograms // 10) * 10:,} kg")
