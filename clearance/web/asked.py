"""What is asked for: the same values whether a form or a program asks, checked before any work begins."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from clearance.core.coach import Coach
from clearance.core.coach_items import ITEMS, Item, ItemKind, Value, coach_of, item_value, values_of
from clearance.core.departure import parse_departure
from clearance.core.drive import Unverified
from clearance.core.errors import PlaceError, UsageError
from clearance.core.facility import FacilityKind
from clearance.core.screening import SortBy

__all__ = [
    "MOST_COACHES",
    "MOST_STOPS",
    "AskedError",
    "DriveAsked",
    "Form",
    "How",
    "ScreenAsked",
    "Where",
    "WhereError",
    "coach_asked",
    "coach_form",
    "drive_asked",
    "drive_form",
    "flat_coach",
    "how_asked",
    "how_form",
    "safe_answer",
    "screen_asked",
    "screen_form",
]

MOST_STOPS = 40
#: More coaches than this are no household and no yard.
MOST_COACHES = 12
#: Of each thing that is towed; the rest is asked of the coach itself.
_TOWED = "towed."


class AskedError(UsageError):
    """What was asked cannot be meant: `fields` says what is wrong with which field."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        """An error for one field or more."""
        super().__init__("; ".join(fields.values()))
        self.fields = dict(fields)


class WhereError(PlaceError):
    """Places that are not to be found: `fields` says what is wrong with which field.

    `choices` are the places that the text of a field may mean, where there are several.
    """

    def __init__(self, fields: Mapping[str, str], choices: Mapping[str, list[dict[str, Any]]]) -> None:
        """An error for one field or more."""
        super().__init__("; ".join(fields.values()))
        self.fields, self.choices = dict(fields), dict(choices)


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """A place as asked for: a text, and ``lat,lon`` where it was picked. `name` is its field."""

    name: str
    text: str
    at: str = ""
    minutes: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class How:
    """How a drive or a line is judged, whatever it is."""

    coach: Coach
    unverified: str = Unverified.AVOID.value
    departure: datetime | None = None
    mend: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveAsked:
    """A drive as asked for."""

    places: tuple[Where, ...]
    how: How
    reorder: bool = False
    along: tuple[str, ...] = ()
    detour_min: float = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenAsked:
    """A screening as asked for, beside the files that come with it."""

    home: Where
    coaches: tuple[Coach, ...]
    unverified: str = Unverified.AVOID.value
    sort_by: str = SortBy.VERDICT.value


# --- from a program ------------------------------------------------------------------------------------


def drive_asked(asked: Mapping[str, Any], coach: Coach | None, now: datetime) -> DriveAsked:
    """The drive that a document asks for which fits its description; `coach` is the one known without it.

    Raises AskedError.
    """
    stay = float(asked.get("stay", 0.0))
    places = [
        _place("from", asked["from"], 0.0),
        *(_place(f"via {n}", via, stay) for n, via in enumerate(asked.get("via", ()), 1)),
        _place("to", asked["to"], 0.0),
    ]
    return DriveAsked(
        places=tuple(places),
        how=how_asked(asked, coach, now),
        reorder=bool(asked.get("reorder", False)),
        along=tuple(dict.fromkeys(asked.get("along", ()))),
        detour_min=float(asked.get("detour", 10.0)),
    )


def screen_asked(asked: Mapping[str, Any], coach: Coach | None) -> ScreenAsked:
    """The screening that a document asks for which fits its description; `coach` is the one known without it.

    Raises AskedError.
    """
    given = asked.get("coach", {})
    coaches = given if isinstance(given, list) else [given]
    return ScreenAsked(
        home=_place("from", asked["from"], 0.0),
        coaches=tuple(coach_asked(flat_coach(one), coach) for one in coaches),
        unverified=str(asked.get("unverified", Unverified.AVOID.value)),
        sort_by=str(asked.get("sort", SortBy.VERDICT.value)),
    )


def how_asked(asked: Mapping[str, Any], coach: Coach | None, now: datetime) -> How:
    """The coach and the policy of a document. Raises AskedError."""
    wrong: dict[str, str] = {}
    found = departure = None
    try:
        found = coach_asked(flat_coach(asked.get("coach", {})), coach)
    except AskedError as error:
        wrong |= error.fields
    try:
        if asked.get("depart"):
            departure = parse_departure(str(asked["depart"]), now, what="depart")
    except UsageError as error:
        wrong["depart"] = str(error)
    if wrong or found is None:
        raise AskedError(wrong)
    return How(
        coach=found,
        unverified=str(asked.get("unverified", Unverified.AVOID.value)),
        departure=departure,
        mend=bool(asked.get("mend", False)),
    )


def _place(name: str, given: str | Mapping[str, Any], stay: float) -> Where:
    if isinstance(given, str):
        return Where(name=name, text=given, minutes=stay)
    return Where(
        name=name,
        text=str(given.get("name", "")),
        at=f"{given['lat']:.7f},{given['lon']:.7f}",
        minutes=float(given.get("minutes", stay)),
    )


def flat_coach(coach: Mapping[str, Any]) -> dict[str, object]:
    """The items of a coach document by their keys; ``towing`` where something is towed."""
    towed = coach.get("towed")
    flat = {key: value for key, value in coach.items() if key != "towed"}
    if isinstance(towed, Mapping):
        flat |= {"towing": True} | {f"{_TOWED}{key}": value for key, value in towed.items()}
    elif towed is False:
        flat["towing"] = False
    return flat


def coach_asked(given: Mapping[str, object], base: Coach | None) -> Coach:
    """The coach that items by key describe, over those of `base`; ``towing`` says whether it tows.

    Raises AskedError with every item that is wrong, under ``coach.`` and its key.
    """
    values: dict[str, Value] = values_of(base) if base is not None else {}
    towing = bool(given.get("towing", base.towing if base is not None else False))
    if not towing:
        values = {key: value for key, value in values.items() if not key.startswith(_TOWED)}
    wrong = {}
    for item in ITEMS:
        if item.key not in given or (item.key.startswith(_TOWED) and not towing):
            continue
        try:
            values[item.key] = item_value(item, given[item.key])
        except UsageError as error:
            wrong[f"coach.{item.key}"] = str(error)
    if wrong:
        raise AskedError(wrong)
    try:
        return coach_of(values, towing=towing)
    except UsageError as error:
        key = next((i.key for i in ITEMS if str(error).startswith(f"{i.key} ")), "height")
        raise AskedError({f"coach.{key}": str(error)}) from error


# --- from a form ---------------------------------------------------------------------------------------


class Form:
    """The fields of a form, each with every value it came with."""

    def __init__(self, pairs: Sequence[tuple[str, str]]) -> None:
        """Take the fields in their order."""
        self._pairs = [(name, value.strip()) for name, value in pairs]

    def all(self, name: str) -> list[str]:
        """Every value of a field."""
        return [value for known, value in self._pairs if known == name]

    def get(self, name: str, default: str = "") -> str:
        """The last value of a field: a button pressed comes after the field that it stands in for."""
        return next(reversed(self.all(name)), default)

    def items(self) -> Iterator[tuple[str, str]]:
        """Every field with its value."""
        yield from self._pairs


def drive_form(form: Form, now: datetime) -> DriveAsked:
    """The drive that the form of the first page asks for. Raises AskedError."""
    wrong: dict[str, str] = {}
    places = [_form_place(form, "from", 0, wrong)]
    for n in range(len(form.all("via"))):
        if form.all("via")[n]:
            places.append(_form_place(form, "via", n, wrong))
    places.append(_form_place(form, "to", 0, wrong))
    if len(places) > MOST_STOPS + 2:
        wrong["via 1"] = f"These are more than {MOST_STOPS} stops; cut the day in two."
    how = None
    try:
        how = how_form(form, now)
    except AskedError as error:
        wrong |= error.fields
    along = [kind for kind in form.all("along") if kind in list(FacilityKind)]
    detour = _number(form.get("detour", "10") or "10", "detour", 240, wrong)
    if wrong or how is None:
        raise AskedError(wrong)
    return DriveAsked(
        places=tuple(places),
        how=how,
        reorder=form.get("reorder") == "yes",
        along=tuple(dict.fromkeys(along)),
        detour_min=detour,
    )


def screen_form(form: Form, others: Sequence[Coach]) -> ScreenAsked:
    """The screening that a form asks for: for its coach, if it tells one, and those of files beside it.

    Raises AskedError.
    """
    wrong: dict[str, str] = {}
    home = _form_place(form, "from", 0, wrong)
    coaches = list(others)
    if form.get("coach.height") or not others:
        try:
            coaches.insert(0, coach_form(form))
        except AskedError as error:
            wrong |= error.fields
    if len(coaches) > MOST_COACHES:
        wrong["coaches"] = f"These are more than {MOST_COACHES} coaches; screen them in two runs."
    unverified = _policy(form, wrong)
    if wrong:
        raise AskedError(wrong)
    return ScreenAsked(home=home, coaches=tuple(coaches), unverified=unverified)


def _policy(form: Form, wrong: dict[str, str]) -> str:
    unverified = form.get("unverified", Unverified.AVOID.value)
    if unverified not in list(Unverified):
        wrong["unverified"] = "This is none of the choices."
    return unverified


def how_form(form: Form, now: datetime) -> How:
    """The coach and the policy of a form. Raises AskedError."""
    wrong: dict[str, str] = {}
    coach = departure = None
    try:
        coach = coach_form(form)
    except AskedError as error:
        wrong |= error.fields
    try:
        if form.get("depart"):
            departure = parse_departure(form.get("depart"), now, what="Departure")
    except UsageError as error:
        wrong["depart"] = str(error)
    unverified = _policy(form, wrong)
    if wrong or coach is None:
        raise AskedError(wrong)
    return How(coach=coach, unverified=unverified, departure=departure, mend=form.get("mend") == "yes")


def coach_form(form: Form) -> Coach:
    """The coach that a form describes; what is left empty is not told. Raises AskedError."""
    given: dict[str, object] = {"towing": form.get("coach.towing") == "yes"}
    for item in ITEMS:
        text = form.get(f"coach.{item.key}")
        if text:
            given[item.key] = text == "yes" if item.kind is ItemKind.YES_NO else text
        elif item.needed:
            raise AskedError(
                {f"coach.{item.key}": "This one is needed: there is no default, a guess could kill."}
            )
    return coach_asked(given, None)


def safe_answer(item: Item) -> bool:
    """What a question of yes or no counts as where it is not answered."""
    return bool({f.name: f.default for f in fields(Coach)}[item.field])


def _form_place(form: Form, name: str, n: int, wrong: dict[str, str]) -> Where:
    texts, ats = form.all(name), form.all(f"{name}.at")
    # Where a choice was pressed, its value comes last.
    text = texts[n] if name == "via" else form.get(name)
    at = ats[n] if n < len(ats) and (name == "via" or len(texts) < 2) else ""
    field_name = f"{name} {n + 1}" if name == "via" else name
    if not text:
        wrong[field_name] = "Say where: a name from the map, a point picked on it, or latitude,longitude."
    elif len(text) > 200:
        wrong[field_name] = "This is longer than any name of a place."
    minutes = form.all("via.minutes")[n] if name == "via" and n < len(form.all("via.minutes")) else ""
    return Where(
        name=field_name,
        text=text,
        at=at[:60],
        minutes=_number(minutes or "0", field_name, 1440, wrong),
    )


def _number(text: str, name: str, most: float, wrong: dict[str, str]) -> float:
    try:
        number = float(text)
    except ValueError:
        number = -1.0
    if not 0 <= number <= most:
        wrong[name] = f"Minutes are a number from 0 to {most:.0f}."
        return 0.0
    return number
