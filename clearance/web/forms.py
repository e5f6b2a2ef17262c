"""The forms of the pages: what they are filled with, and what comes back from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request

from clearance.core.coach import Coach
from clearance.core.coach_items import ITEMS, ItemKind, Value, measure_text, values_of
from clearance.core.errors import ClearanceError
from clearance.core.lengths import Length
from clearance.web import work
from clearance.web.api import shown_name
from clearance.web.asked import AskedError, Form, WhereError, coach_form, safe_answer
from clearance.web.languages import Language
from clearance.web.page import chosen_language
from clearance.web.state import state_of

__all__ = [
    "Wrong",
    "asked_stops",
    "coach_pairs",
    "coaches_of",
    "empty_form",
    "filled_in",
    "form_query",
    "form_values",
    "map_box",
    "read_form",
    "read_form_with_files",
]

#: What may be wrong with a form.
Wrong = AskedError | WhereError
#: Fields that are no answers: buttons, and what the pages note of files.
NOT_ANSWERS = frozenset({"add", "fill", "what", "line"})


def empty_form(request: Request) -> Form:
    """The form as it is first shown: the server's coach, and what the address asks for."""
    pairs = [(key, value) for key, value in request.query_params.multi_items() if key != "token"]
    if not any(name.startswith("coach.") for name, _ in pairs):
        pairs += coach_pairs(state_of(request).settings.coach)
    return Form(pairs)


def coach_pairs(coach: Coach | None) -> list[tuple[str, str]]:
    """A coach as the fields of a form would tell it."""
    if coach is None:
        return []
    pairs = [(f"coach.{key}", _answer_text(value)) for key, value in values_of(coach).items()]
    return [*pairs, ("coach.towing", "yes")] if coach.towing else pairs


def _answer_text(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Length):
        return measure_text(value)
    return f"{value}kg" if isinstance(value, int) else str(value)


def _coach_questions(form: Form, wrong: Mapping[str, str]) -> list[dict[str, Any]]:
    """The items of a coach as questions of a form, those of one group together."""
    questions = []
    for item in ITEMS:
        kind = {ItemKind.YES_NO: "yes-no", ItemKind.FUEL: "fuel"}.get(item.kind, "text")
        name = f"coach.{item.key}"
        value = form.get(name)
        if kind == "yes-no" and not value:
            value = "yes" if safe_answer(item) else "no"
        questions.append(
            {
                "name": name,
                "key": item.key,
                "group": "towed" if item.key.startswith("towed.") else "own",
                "ask": item.ask,
                "how": " ".join(item.how),
                "example": item.example,
                "kind": kind,
                "value": value,
                "wrong": wrong.get(name, ""),
                "needed": item.needed,
            }
        )
    return questions


def form_values(
    request: Request, form: Form, error: Wrong | None, other: str = "", *, home: bool = False
) -> dict[str, Any]:
    """What the forms of the pages are filled with: answers so far, and what is wrong with them.

    `home` says that the field ``from`` is a home and not the start of a drive.
    """
    wrong = dict(error.fields) if error is not None else {}
    return {
        "form": form,
        "questions": _coach_questions(form, wrong),
        "coach_shown": _known_coach(form),
        "wrong": wrong,
        "labels": _labels(chosen_language(request), wrong, home=home),
        "problem": other,
        "has_own_coach": state_of(request).settings.coach is not None,
    }


def _labels(chosen: Language, wrong: Mapping[str, str], *, home: bool) -> dict[str, str]:
    """What the fields are called that something is wrong with."""
    asks = {f"coach.{item.key}": chosen.asked(item.key, "ask", item.ask) for item in ITEMS}
    asks |= {"to": chosen.say("End"), "depart": chosen.say("Departure")}
    asks["from"] = chosen.say("Home" if home else "Start")
    for name in wrong:
        if name.startswith("via "):
            asks[name] = f"{chosen.say('Stop')} {name[4:]}"
    return {name: asks[name] for name in wrong if name in asks}


def _known_coach(form: Form) -> dict[str, Any] | None:
    """The coach of the form in figures, None where it does not tell one."""
    try:
        return work.coach_figures(coach_form(form))
    except ClearanceError:
        return None


def asked_stops(form: Form, error: Wrong | None, *, home: bool = False) -> list[dict[str, Any]]:
    """The places of the form in their order, each with its letter and what is wrong with it.

    With `home` it asks for one alone, where every drive begins and ends.
    """
    wrong = error.fields if error is not None else {}
    choices = error.choices if isinstance(error, WhereError) else {}

    def asked(name: str, n: int, role: str) -> dict[str, Any]:
        texts, ats, minutes = form.all(name), form.all(f"{name}.at"), form.all("via.minutes")
        ref = f"via {n + 1}" if name == "via" else name
        text = form.get(name) if name != "via" else texts[n]
        return {
            "name": name,
            "role": role,
            "text": text,
            "at": ats[n] if n < len(ats) else "",
            "minutes": minutes[n] if name == "via" and n < len(minutes) else "",
            "wrong": wrong.get(ref, ""),
            "choices": choices.get(ref, []),
        }

    if home:
        return [asked("from", 0, "home") | {"letter": "H"}]
    vias = [asked("via", n, "stop") for n in range(len(form.all("via")))]
    if form.get("add") == "stop":
        vias.append(
            dict.fromkeys(("text", "at", "minutes", "wrong"), "")
            | {"name": "via", "role": "stop", "choices": []}
        )
    stops = [asked("from", 0, "start"), *vias, asked("to", 0, "end")]
    for index, stop in enumerate(stops):
        stop["letter"] = _letter(index)
    return stops


def _letter(index: int) -> str:
    return chr(65 + index) if index < 26 else f"{index + 1}"


async def read_form(request: Request) -> Form:
    """The fields of a form without files. Raises AskedError."""
    form, _ = await read_form_with_files(request, {})
    return form


async def read_form_with_files(
    request: Request, most: Mapping[str, int]
) -> tuple[Form, dict[str, list[work.Upload]]]:
    """The fields of a form, and by their field the files that came with it, up to so many of each.

    Raises AskedError.
    """
    limits = state_of(request).settings.limits
    files: dict[str, list[work.Upload]] = {name: [] for name in most}
    pairs: list[tuple[str, str]] = []
    try:
        async with request.form(
            max_files=sum(most.values()), max_fields=limits.fields, max_part_size=limits.text
        ) as form:
            for name, value in form.multi_items():
                if isinstance(value, str):
                    pairs.append((name, value))
                elif value.filename and name in files:
                    # A field where no file was chosen comes with an empty name.
                    files[name].append(work.Upload(await value.read(), shown_name(value.filename)))
    except (MultiPartException, HTTPException):
        raise AskedError({"from": "The form could not be read; fill it in again."}) from None
    for name, given in files.items():
        if len(given) > most[name]:
            raise AskedError({name: "These are more files than can be taken at once."})
    return Form(pairs), files


async def filled_in(request: Request, form: Form, files: Sequence[work.Upload]) -> Form:
    """The form with the coach of a coach file in place of its own; as it is where there is no file.

    Raises AskedError, telling of the field ``coach.file``.
    """
    if not files:
        return form
    (coach,) = await coaches_of(request, files, "coach.file")
    rest = [(name, value) for name, value in form.items() if not name.startswith("coach.")]
    return Form([*rest, *coach_pairs(coach)])


async def coaches_of(request: Request, files: Sequence[work.Upload], field: str) -> list[Coach]:
    """The coaches of coach files. Raises AskedError, telling of `field` what is wrong with them."""
    job = state_of(request).quick(work.coaches, tuple(files))
    await job.wait(state_of(request).settings.limits.quick_s)
    if job.failure is not None and job.failure.kind != "fault":
        raise AskedError({field: job.failure.message})
    if job.result is None:
        raise AskedError({field: "The file could not be read now; try again."})
    found: list[Coach] = job.result
    return found


def map_box(request: Request) -> dict[str, Any]:
    """The box of the area for the map: [[south, west], [north, east]]."""
    west, south, east, north = state_of(request).area.box
    return {
        "box": [[south, west], [north, east]],
        "attribution": state_of(request).area.info.attribution,
        "drive": [],
        "car": [],
        "unchecked": [],
        "findings": [],
        "stops": [],
    }


def form_query(form: Form) -> str:
    """The answers of a form as the query of an address that shows it again."""
    return urlencode([(k, v) for k, v in form.items() if v and k not in NOT_ANSWERS])
