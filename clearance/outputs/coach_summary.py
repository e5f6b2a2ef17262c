"""A coach as lines of text: what was told of it, and what follows from leaving the rest out."""

from __future__ import annotations

from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.outputs.measures import Units, clearance_text, coach_text, weight_text

__all__ = ["coach_summary"]

_NOT_CHECKED = "not told, so limits of this kind are not checked"


def coach_summary(coach: Coach, units: Units = Units.BOTH) -> str:
    """What is known of the coach, one item a line, measures of the coach rounded up.

    Ends with a line for each kind of limit that is not checked.
    """

    def measure(length: Length | None) -> str:
        return _NOT_CHECKED if length is None else coach_text(length, units)

    where = f", at the {coach.height_at}" if coach.height_at else ", place not told"
    rows = [
        ("height", f"{measure(coach.height)}{where}"),
        ("margin", measure(coach.margin)),
        ("need", f"{measure(coach.need)}: nothing lower is driven under"),
        ("comfort", f"{clearance_text(coach.comfort_or_need, units)}: lower is called tight"),
        ("width", measure(coach.width)),
        ("length", _length(coach, measure(coach.length), units)),
        ("wheelbase", _wheels(coach, units)),
        ("weight", _NOT_CHECKED if coach.weight_kg is None else weight_text(coach.weight_kg, units)),
        ("fuel", coach.fuel.value if coach.fuel else "not told"),
        ("propane", "aboard" if coach.propane else "none aboard"),
        ("towed", _towed(coach)),
    ]
    return "\n".join([coach.name, *(f"  {name:<9} {text}" for name, text in rows)])


def _length(coach: Coach, whole: str, units: Units) -> str:
    if coach.own_length is None or coach.towed_length is None:
        return f"{whole} with what is towed" if coach.towing and coach.length is not None else whole
    own, towed = coach_text(coach.own_length, units), coach_text(coach.towed_length, units)
    return f"{whole}: coach {own}, towed {towed}"


def _wheels(coach: Coach, units: Units) -> str:
    if coach.wheelbase is None:
        return "not told, so what a dip or a hump under a bridge takes is not taken off"
    front, rear = (coach_text(overhang, units) for overhang in coach.overhangs)
    most = "" if coach.rear_overhang is not None and coach.own_length is not None else " at the most"
    return f"{coach_text(coach.wheelbase, units)}, overhangs {front} in front and {rear} behind{most}"


def _towed(coach: Coach) -> str:
    if not coach.towing:
        return "nothing"
    backs = "may be reversed" if coach.tow_reversible else "must not be reversed: a dead end is serious"
    return f"{coach.towed_name or 'something'}, {backs}"
