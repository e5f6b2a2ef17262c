"""What every page is made with: language, units, templates, and what is shown while nothing else can be."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from clearance.core.errors import ClearanceError
from clearance.web.api import failure_status
from clearance.web.jobs import Failure, Job, State
from clearance.web.languages import Language, language, languages, negotiated
from clearance.web.packed import packed_address, templates
from clearance.web.state import state_of

__all__ = [
    "SCRIPT_WORDS",
    "STEPS",
    "chosen_language",
    "chosen_units",
    "environment",
    "error_page",
    "failure_page",
    "localized",
    "page",
    "waiting_page",
]

_UNITS = ("feet", "metres")
#: What jobs tell that they do.
STEPS = ("planning", "checking", "comparing", "screening")


@cache
def environment() -> Environment:
    """The templates, ready to be filled."""
    made = Environment(
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader(templates()),
        undefined=StrictUndefined,
    )
    made.globals["packed"] = packed_address
    return made


def chosen_language(request: Request) -> Language:
    """The language that the address, a cookie or the browser asks for, in this order."""
    asked = language(request.query_params.get("lang")) or language(request.cookies.get("lang"))
    return asked or negotiated(request.headers.get("accept-language", ""))


def chosen_units(request: Request) -> str:
    """The units that the address or a cookie asks for: ``feet`` or ``metres``."""
    for asked in (request.query_params.get("units"), request.cookies.get("units")):
        if asked in _UNITS:
            return asked
    return "feet"


def page(
    request: Request,
    name: str,
    here: str,
    data: Mapping[str, Any] | None = None,
    status: int = 200,
    **values: Any,
) -> Response:
    """A page; `here` is the address that its menu marks, `data` what its scripts take."""
    chosen, units = chosen_language(request), chosen_units(request)
    try:
        about: Any = state_of(request).area
    except ClearanceError:
        about = None
    html = (
        environment()
        .get_template(name)
        .render(
            {
                "say": chosen.say,
                "told": chosen.told,
                "asked": chosen.asked,
                "lang": chosen.code,
                "languages": [(known.code, known.name) for known in languages().values()],
                "units": units,
                "here": here,
                # What a form sent has no address of its own.
                "path": request.url.path if request.method == "GET" else here or "/",
                "about": about,
                "data": _json({"words": _script_words(chosen), **(data or {})}),
                **values,
            }
        )
    )
    answer = HTMLResponse(html, status_code=status)
    answer.headers["Content-Language"] = chosen.code
    for key, value in (("lang", chosen.code), ("units", units)):
        if request.query_params.get(key) == value:
            answer.set_cookie(key, value, max_age=365 * 86400, samesite="strict")
    return answer


def localized(data: Mapping[str, Any], chosen: Language) -> dict[str, Any]:
    """The data of a map with the names of its marks in a language."""
    marked = {}
    for group in ("findings", "stops", "along"):
        marked[group] = [
            {**mark, **{key: chosen.plainly(mark[key]) for key in ("what", "label") if key in mark}}
            for mark in data.get(group, ())
        ]
    return {**data, **marked}


def _json(data: object) -> Markup:
    """JSON that cannot end the script element it stands in (HTML, 4.12.1.3)."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


#: Texts that scripts show, by the name they know them under.
SCRIPT_WORDS = {
    "feet": "Lengths and distances are now in feet and miles.",
    "metres": "Lengths and distances are now in metres and kilometres.",
    "turnOff": "Turn-off before {what}",
    "turnPlace": "Place to turn for {what}",
    "start": "Start here",
    "stop": "Stop here",
    "end": "End here",
    "found": "{n} places found. Arrow keys choose.",
    "none": "No place of that name is in the map data.",
    "needs": "It needs",
    "picked": "Picked on the map: {what}",
    "added": "Stop added.",
    "removed": "Stop removed.",
    "home": "Home here",
    "homeIs": "Home: {what}",
    "filled": "The coach of the file is filled in.",
    "sortedUp": "Sorted by {what}, ascending.",
    "sortedDown": "Sorted by {what}, descending.",
    "shown": "{n} of {total} shown",
}


def _script_words(chosen: Language) -> dict[str, str]:
    return {key: chosen.say(text) for key, text in SCRIPT_WORDS.items()}


def error_page(
    request: Request, status: int, message: str, again: tuple[str, str] = ("/", "Plan a drive")
) -> Response:
    """A page that says what went wrong; `again` is the address and the words of what may be done instead."""
    return page(request, "error.html", "", None, status, message=message, again=again)


def failure_page(request: Request, failure: Failure) -> Response:
    """A page that says why a job failed."""
    message = failure.message
    if failure.kind == "fault":
        message = f"The program itself failed here ({message}). Try again, and report it if it stays."
    return error_page(request, failure_status(failure), message)


def waiting_page(request: Request, job: Job) -> Response:
    """How far a job is; it comes again by itself until the job is over."""
    return page(
        request,
        "waiting.html",
        "",
        {"job": job.id, "steps": {step: str(chosen_language(request).told(step)) for step in STEPS}},
        202,
        job=job.id,
        waiting=job.state is State.WAITING,
        progress=job.progress,
    )
