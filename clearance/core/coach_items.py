"""What is asked about a coach: every item once, for the coach file and for the questions of `coach new`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from clearance.core.coach import Coach, Fuel
from clearance.core.errors import UsageError
from clearance.core.lengths import Length, parse_measure
from clearance.core.weights import parse_own_weight

__all__ = ["ITEMS", "Item", "ItemKind", "Value", "coach_of", "item_value", "measure_text", "values_of"]

Value = Length | int | str | bool | Fuel
#: A name is shown on a sheet in large type.
_LONGEST_TEXT = 80


class ItemKind(Enum):
    """What an answer is."""

    MEASURE = "a length with its unit"
    WEIGHT = "a weight with its unit"
    TEXT = "a text"
    YES_NO = "true or false"
    FUEL = "gasoline or diesel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing asked about a coach.

    `key` is its name in the coach file, ``towed.`` before it where it stands in that table; `field`
    the field of Coach it fills. `how` says how to measure or what follows from it, one sentence or
    two a line. `example` is an answer as written in the file.
    """

    key: str
    field: str
    ask: str
    kind: ItemKind
    how: tuple[str, ...]
    example: str
    needed: bool = False


ITEMS: tuple[Item, ...] = (
    Item(
        key="name",
        field="name",
        ask="Name of the coach",
        kind=ItemKind.TEXT,
        how=("What the coach is called; it stands on the sheet.",),
        example="Heron",
    ),
    Item(
        key="height",
        field="height",
        ask="Measured height",
        kind=ItemKind.MEASURE,
        how=(
            "From level ground to the top of the highest fitting: air conditioner, vent, dome, rack, antenna",
            "folded down. Load the coach as for the trip, tyres at travel pressure. Lay a straight board",
            "across the fitting, level it, and measure from the ground to its underside on both sides: the",
            "larger counts.",
            "Measure it empty too: an empty coach may stand higher. Never take the figure from a brochure.",
        ),
        example="12ft 10in",
        needed=True,
    ),
    Item(
        key="height_at",
        field="height_at",
        ask="Where on the coach that was",
        kind=ItemKind.TEXT,
        how=("The fitting that is highest. Measure again after anything on the roof has changed.",),
        example="rear air conditioner",
    ),
    Item(
        key="margin",
        field="margin",
        ask="Margin above the coach",
        kind=ItemKind.MEASURE,
        how=(
            "Air to keep above the coach: it sways, roads are laid anew, snow packs, signs err.",
            "6in to 12in is common practice; nothing lower than height and margin is driven under.",
        ),
        example="6in",
    ),
    Item(
        key="comfort",
        field="comfort",
        ask="Clearance you would rather have",
        kind=ItemKind.MEASURE,
        how=("Structures lower than this are called tight and cost a detour. 14ft is common practice.",),
        example="14ft",
    ),
    Item(
        key="width",
        field="width",
        ask="Width",
        kind=ItemKind.MEASURE,
        how=("Between the outer edges of the mirrors, folded out. Left out: width limits are not checked.",),
        example="8ft 6in",
    ),
    Item(
        key="length",
        field="own_length",
        ask="Length of the coach itself",
        kind=ItemKind.MEASURE,
        how=(
            "From the front bumper to the rearmost part: ladder, rack, hitch. What is towed has a length of",
            "its own below, limits are judged on both together. Left out: length limits are not checked.",
        ),
        example="38ft",
    ),
    Item(
        key="wheelbase",
        field="wheelbase",
        ask="Wheelbase",
        kind=ItemKind.MEASURE,
        how=(
            "From the middle of the front wheel to the middle of the hindmost one. In a dip the roof between",
            "the axles comes nearer to the bridge. Left out: what a dip or a hump takes is not taken off.",
        ),
        example="24ft",
    ),
    Item(
        key="rear_overhang",
        field="rear_overhang",
        ask="Overhang behind the hindmost wheel",
        kind=ItemKind.MEASURE,
        how=(
            "From the middle of the hindmost wheel to the rearmost part of the coach. On a hump the rear",
            "stands higher. Left out, it counts as long as it can be.",
        ),
        example="10ft",
    ),
    Item(
        key="weight",
        field="weight_kg",
        ask="Weight as loaded",
        kind=ItemKind.WEIGHT,
        how=(
            "As weighed on a scale, with water, fuel, people and whatever is towed.",
            "Left out: weight limits are not checked.",
        ),
        example="26000lbs",
    ),
    Item(
        key="fuel",
        field="fuel",
        ask="Fuel, gasoline or diesel",
        kind=ItemKind.FUEL,
        how=("What the coach is filled up with: gasoline or diesel.",),
        example="gasoline",
    ),
    Item(
        key="propane",
        field="propane",
        ask="Is propane aboard?",
        kind=ItemKind.YES_NO,
        how=("Some tunnels are closed to it, however it is valved. Left out, it counts as aboard.",),
        example="true",
    ),
    Item(
        key="towed.name",
        field="towed_name",
        ask="What is towed",
        kind=ItemKind.TEXT,
        how=("What is towed: a car on its wheels, a car on a dolly, a trailer.",),
        example="small car on a dolly",
    ),
    Item(
        key="towed.length",
        field="towed_length",
        ask="Length of what is towed",
        kind=ItemKind.MEASURE,
        how=(
            "From the rear of the coach to the rearmost part of what is towed, hitched up as for the drive,",
            "so that the bar between them counts.",
        ),
        example="17ft",
    ),
    Item(
        key="towed.reversible",
        field="tow_reversible",
        ask="May it be reversed while hitched?",
        kind=ItemKind.YES_NO,
        how=(
            "A car towed on its wheels or on a dolly must not be pushed back (common practice). Left out, it",
            "counts as not to be reversed, and a dead end as serious.",
        ),
        example="false",
    ),
)

# Any height will do beside the value that is to be checked.
_SOME_HEIGHT = Length.from_metres("3")


def item_value(item: Item, raw: object) -> Value:
    """The value that an answer or a TOML value stands for, checked for what can be meant.

    Raises UsageError, showing the answer and what to write.
    """
    value = _value(item, raw)
    towing = {"towing": True} if item.key.startswith("towed.") else {}
    # The bounds of a measure are those of Coach itself.
    Coach(**{"height": _SOME_HEIGHT, **towing, item.field: value})  # type: ignore[arg-type]
    return value


def _value(item: Item, raw: object) -> Value:
    if item.kind is ItemKind.YES_NO:
        if not isinstance(raw, bool):
            raise UsageError(f"{item.key} = {_shown(raw)} is neither true nor false; write it without quotes")
        return raw
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        if item.kind is ItemKind.MEASURE:
            raise UsageError(
                f"{item.key} = {_shown(raw)} has no unit; write it in quotes with one, "
                f'such as "{item.example}" or "3.91m"'
            )
        if item.kind is ItemKind.WEIGHT:
            raise UsageError(
                f"{item.key} = {_shown(raw)} has no unit; write it in quotes with one, "
                f'such as "{item.example}"'
            )
    if not isinstance(raw, str):
        raise UsageError(
            f'{item.key} = {_shown(raw)} is no text; write it in quotes, such as "{item.example}"'
        )
    if item.kind is ItemKind.MEASURE:
        return parse_measure(raw, what=item.key, zero=item.field == "margin")
    if item.kind is ItemKind.WEIGHT:
        return parse_own_weight(raw, what=item.key)
    if item.kind is ItemKind.FUEL:
        try:
            return Fuel(raw.strip().lower())
        except ValueError:
            raise UsageError(f"{item.key} {_shown(raw)} is none of {', '.join(Fuel)}") from None
    text = raw.strip()
    if len(text) > _LONGEST_TEXT or not text.isprintable():
        raise UsageError(
            f"{item.key} {_shown(raw)} is longer than {_LONGEST_TEXT} characters or not on one line"
        )
    return text


def _shown(raw: object) -> str:
    text = str(raw).lower() if isinstance(raw, bool) else repr(raw)
    return text if len(text) <= 80 else f"{text[:60]}..."


def coach_of(values: Mapping[str, Value], *, towing: bool) -> Coach:
    """The coach that checked values, by item key, describe; its length is the sum of the two parts.

    Raises UsageError where the height is missing, or one of the two lengths that make up the whole.
    """
    if "height" not in values:
        raise UsageError("height is missing: there is no default, a guess could kill; measure the coach")
    fields: dict[str, object] = {i.field: values[i.key] for i in ITEMS if i.key in values}
    own, towed = fields.get("own_length"), fields.get("towed_length")
    if towing and (own is None) != (towed is None):
        absent = "length" if own is None else "towed.length"
        raise UsageError(f"{absent} is missing: length limits are judged on coach and towed vehicle together")
    if isinstance(own, Length):
        fields["length"] = own + towed if isinstance(towed, Length) else own
    if not fields.get("name", "coach"):
        del fields["name"]
    return Coach(**fields, towing=towing)  # type: ignore[arg-type]


def values_of(coach: Coach) -> dict[str, Value]:
    """The values of a coach by item key, without those not told: the reverse of `coach_of`.

    A coach known only by its whole length, with something towed, has no length of its own to tell.
    """
    values: dict[str, Value] = {}
    for item in ITEMS:
        if item.key.startswith("towed.") and not coach.towing:
            continue
        value = getattr(coach, item.field)
        if item.key == "length" and value is None and not coach.towing:
            value = coach.length
        if value is not None and value != "":
            values[item.key] = value
    return values


def measure_text(length: Length) -> str:
    """The length as a text that `parse_measure` reads back exactly: feet and inches where whole."""
    feet, inches = length.floor_inches()
    if Length.from_feet(feet, inches) != length:
        return f"{length.metres.normalize():f}m"
    if not feet:
        return f"{inches}in"
    return f"{feet}ft {inches}in" if inches else f"{feet}ft"
