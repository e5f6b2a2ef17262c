"""The vehicle: what it measures, what it tows, what it carries."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from clearance.core.errors import UsageError
from clearance.core.lengths import Length

__all__ = ["COMMON_COMFORT", "COMMON_MARGIN", "Coach", "Fuel"]

#: Leave 6 in to 1 ft above the measured height (common practice, no source).
COMMON_MARGIN = Length.from_feet(0, 6)
#: 14 to 15 ft is preferred for a coach of about 13 ft (common practice, no source).
COMMON_COMFORT = Length.from_feet(14)

# Bounds that no road vehicle of this trade leaves: wide enough never to refuse a real coach,
# narrow enough to catch a lost unit. Judgement, no source.
_HEIGHT_RANGE = (Length.from_metres("1.5"), Length.from_metres("6"))
_WIDTH_RANGE = (Length.from_metres("1"), Length.from_metres("4"))
_LENGTH_RANGE = (Length.from_metres("2"), Length.from_metres("30"))
_TOWED_LENGTH_RANGE = (Length.from_metres("1"), Length.from_metres("20"))
_WEIGHT_RANGE_KG = (300, 60_000)
_WHEELBASE_RANGE = (Length.from_metres("1.5"), Length.from_metres("12"))
_OVERHANG_RANGE = (Length.from_metres("0.2"), Length.from_metres("8"))


class Fuel(StrEnum):
    """What the coach is filled up with."""

    GASOLINE = "gasoline"
    DIESEL = "diesel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Coach:
    """A coach as measured, loaded, at its highest fitting.

    `need` is height plus margin: nothing lower may be driven under. `comfort` is the clearance
    the owner would rather have; a comfort below the need counts as the need. Width, length and
    weight (with whatever is towed) are None where not told; then no limit of that kind is judged.

    `length` is the whole, which limits are judged against. `own_length` and `towed_length` are its
    two parts, where both are told; `height_at` says where on the coach the height was measured.

    `wheelbase` is from the front axle to the hindmost, `rear_overhang` from there to the rear of the coach
    itself: what the roof gains over a dip or a hump is reckoned from them, see `overhangs`.

    Raises UsageError where a measure cannot be meant.
    """

    height: Length
    margin: Length = COMMON_MARGIN
    comfort: Length = COMMON_COMFORT
    width: Length | None = None
    length: Length | None = None
    weight_kg: int | None = None
    towing: bool = False
    tow_reversible: bool = False
    propane: bool = True
    name: str = "coach"
    height_at: str = ""
    own_length: Length | None = None
    towed_name: str = ""
    towed_length: Length | None = None
    fuel: Fuel | None = None
    wheelbase: Length | None = None
    rear_overhang: Length | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, naming the measure."""
        for what, value, (low, high) in (
            ("height", self.height, _HEIGHT_RANGE),
            ("width", self.width, _WIDTH_RANGE),
            ("length", self.length, _LENGTH_RANGE),
            ("own length", self.own_length, _LENGTH_RANGE),
            ("towed length", self.towed_length, _TOWED_LENGTH_RANGE),
            ("wheelbase", self.wheelbase, _WHEELBASE_RANGE),
            ("rear overhang", self.rear_overhang, _OVERHANG_RANGE),
        ):
            if value is not None and not low <= value <= high:
                raise UsageError(
                    f"coach {what} {value} is outside {low} to {high}; check the unit (3.9m, 12'10\", 154in)"
                )
        if not Length(0) <= self.margin <= Length.from_metres("2"):
            raise UsageError(f"margin {self.margin} is outside 0 to 2 m; 6in to 12in is common practice")
        if not Length.from_metres("1.5") <= self.comfort <= Length.from_metres("10"):
            raise UsageError(
                f"comfort {self.comfort} is outside 1.5 to 10 m; 14ft to 15ft is common practice"
            )
        if self.weight_kg is not None:
            light, heavy = _WEIGHT_RANGE_KG
            if not light <= self.weight_kg <= heavy:
                raise UsageError(f"coach weight {self.weight_kg} kg is outside {light} to {heavy} kg")
        if self.towed_length is not None and not self.towing:
            raise UsageError("a towed length is told, but nothing is towed")
        if self.own_length is not None:
            whole = self.own_length + (self.towed_length or Length(0))
            if self.length is not None and self.length < whole:
                raise UsageError(f"coach length {self.length} is less than its parts, {whole}")
            on_wheels = (self.wheelbase or Length(0)) + (self.rear_overhang or Length(0))
            if self.own_length < on_wheels:
                raise UsageError(
                    f"coach length {self.own_length} is less than wheelbase and rear overhang, {on_wheels}"
                )

    @property
    def need(self) -> Length:
        """Height plus margin: the least clearance this coach may be driven under."""
        return self.height + self.margin

    @property
    def comfort_or_need(self) -> Length:
        """The comfort, never below the need."""
        return max(self.comfort, self.need)

    @property
    def overhangs(self) -> tuple[Length, Length]:
        """What stands out before the front axle and behind the hindmost one, at the most.

        What is not told counts as all of the coach that is left, but no more than the wheelbase: a longer
        overhang loses more on a hump. Without a wheelbase there are none.
        """
        if self.wheelbase is None:
            return Length(0), Length(0)
        most = min(self.wheelbase, _OVERHANG_RANGE[1])
        length = self.own_length or self.length
        if length is not None:
            most = min(most, max(length - self.wheelbase, Length(0)))
        if self.rear_overhang is None:
            return most, most
        if self.own_length is None:
            return most, self.rear_overhang
        return min(most, self.own_length - self.wheelbase - self.rear_overhang), self.rear_overhang
