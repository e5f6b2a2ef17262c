"""The pages for people. Everything works without scripts but the map."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from clearance.core.coach import Coach
from clearance.core.coach_items import ITEMS, ItemKind, Value, measure_text, values_of
from clearance.core.errors import ClearanceError
from clearance.core.lengths import Length
from clearance.core.structure import Kind, Standing
from clearance.web import work
from clearance.web.api import MEDIA, failure_status, shown_name
from clearance.web.asked import (
    AskedError,
    Form,
    WhereError,
    coach_asked,
    coach_form,
    drive_form,
    how_form,
    safe_answer,
)
from clearance.web.jobs import Failure, Job, State
from clearance.web.languages import Language, language, languages, negotiated
from clearance.web.packed import packed_address, templates
from clearance.web.state import finished, state_of

__all__ = ["error_page", "routes"]

#: What may be wrong with a form.
Wrong = AskedError | WhereError

#: How long a visitor is kept waiting before a page says that the work goes on, in seconds.
PATIENCE_S = 4.0
_ROWS = 60
_UNITS = ("feet", "metres")


def routes() -> list[Route]:
    """Every page."""
    return [
        Route("/", _plan),
        Route("/drive", _start_drive, methods=["POST"]),
        Route("/drive/{id:str}", _drive),
        Route("/drive/{id:str}/file/{format:str}", _drive_file),
        Route("/inspect", _inspect),
        Route("/inspect", _start_inspect, methods=["POST"]),
        Route("/drive/{id:str}/ways", _ways),
        Route("/structures", _structures),
        Route("/record", _record, methods=["POST"]),
        Route("/records", _records),
        Route("/records/file/{format:str}", _records_file),
        Route("/records/remove", _remove_record, methods=["POST"]),
        Route("/cancel/{id:str}", _cancel, methods=["POST"]),
        Route("/map", _map),
        Route("/coach", _coach_figures, methods=["POST"]),
    ]


# --- every page ----------------------------------------------------------------------------------------


@cache
def _environment() -> Environment:
    made = Environment(
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader(templates()),
        undefined=StrictUndefined,
    )
    made.globals |= {"packed": packed_address, "more_pages": lambda: ()}
    return made


def _language(request: Request) -> Language:
    asked = language(request.query_params.get("lang")) or language(request.cookies.get("lang"))
    return asked or negotiated(request.headers.get("accept-language", ""))


def _units(request: Request) -> str:
    for asked in (request.query_params.get("units"), request.cookies.get("units")):
        if asked in _UNITS:
            return asked
    return "feet"


def _page(
    request: Request,
    name: str,
    here: str,
    data: Mapping[str, Any] | None = None,
    status: int = 200,
    **values: Any,
) -> Response:
    """A page; `here` is the address that its menu marks, `data` what its scripts take."""
    chosen, units = _language(request), _units(request)
    try:
        about: Any = state_of(request).area
    except ClearanceError:
        about = None
    html = (
        _environment()
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
    "sorted": "Sorted by {what}.",
}


def _script_words(chosen: Language) -> dict[str, str]:
    return {key: chosen.say(text) for key, text in SCRIPT_WORDS.items()}


def error_page(request: Request, status: int, message: str) -> Response:
    """A page that says what went wrong."""
    return _page(request, "error.html", "", None, status, message=message)


def _failure_page(request: Request, failure: Failure) -> Response:
    message = failure.message
    if failure.kind == "fault":
        message = f"The program itself failed here ({message}). Try again, and report it if it stays."
    return error_page(request, failure_status(failure), message)


# --- forms ---------------------------------------------------------------------------------------------


def _empty_form(request: Request) -> Form:
    """The form as it is first shown: the server's coach, and what the address asks for."""
    pairs = [(key, value) for key, value in request.query_params.multi_items() if key != "token"]
    if not any(name.startswith("coach.") for name, _ in pairs):
        pairs += coach_pairs(state_of(request).settings.coach)
    return Form(pairs)


def coach_pairs(coach: Coach | None) -> list[tuple[str, str]]:
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


def _form_values(request: Request, form: Form, error: Wrong | None, other: str = "") -> dict[str, Any]:
    """What the forms of the pages are filled with: answers so far, and what is wrong with them."""
    wrong = dict(error.fields) if error is not None else {}
    return {
        "form": form,
        "questions": _coach_questions(form, wrong),
        "coach_shown": _known_coach(form),
        "wrong": wrong,
        "labels": _labels(_language(request), wrong),
        "problem": other,
        "has_own_coach": state_of(request).settings.coach is not None,
    }


def _labels(chosen: Language, wrong: Mapping[str, str]) -> dict[str, str]:
    """What the fields are called that something is wrong with."""
    asks = {f"coach.{item.key}": chosen.asked(item.key, "ask", item.ask) for item in ITEMS}
    asks |= {"from": chosen.say("Start"), "to": chosen.say("End"), "depart": chosen.say("Departure")}
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


async def _form(request: Request) -> Form:
    limits = state_of(request).settings.limits
    try:
        async with request.form(max_files=0, max_fields=limits.fields) as form:
            return Form([(key, value) for key, value in form.multi_items() if isinstance(value, str)])
    except (MultiPartException, HTTPException):
        raise AskedError({"from": "The form could not be read; fill it in again."}) from None


def _box(request: Request) -> dict[str, Any]:
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


# --- plan a drive --------------------------------------------------------------------------------------


async def _plan(request: Request) -> Response:
    return _plan_page(request, _empty_form(request), None)


def _plan_page(
    request: Request, form: Form, error: Wrong | None, other: str = "", status: int = 200
) -> Response:
    values = _form_values(request, form, error, other)
    return _page(request, "plan.html", "/", _box(request), status, stops=_asked_stops(form, error), **values)


def _asked_stops(form: Form, error: Wrong | None) -> list[dict[str, Any]]:
    """The places of the form in their order, each with its letter and what is wrong with it."""
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


async def _start_drive(request: Request) -> Response:
    state = state_of(request)
    form = await _form(request)
    if form.get("add") == "stop":
        return _plan_page(request, form, None)
    try:
        asked = drive_form(form, datetime.now())
    except AskedError as error:
        return _plan_page(request, form, error, status=422)
    job = state.quick(work.plan, asked, keep=True)
    return await _begun(job, form, lambda error, other: _plan_page(request, form, error, other, 422))


async def _begun(job: Job, form: Form, again: Callable[[Wrong | None, str], Response]) -> Response:
    """The way to a job's page, or back to the form where it failed at once."""
    await job.wait(PATIENCE_S)
    failure = job.failure
    if failure is not None and failure.kind == "WhereError":
        return again(WhereError(failure.fields, failure.choices), "")
    if failure is not None and failure.kind != "fault":
        return again(None, failure.message)
    job.note["form"] = list(form.items())
    return RedirectResponse(f"/drive/{job.id}", status_code=303)


async def _drive(request: Request) -> Response:
    job = state_of(request).jobs.get(request.path_params["id"])
    if job is None:
        return error_page(request, 404, "This drive is no longer kept here. Plan it again.")
    if not job.over:
        await job.wait(0.5)
    if not job.over:
        return _waiting_page(request, job)
    if job.state is State.CANCELLED:
        return error_page(request, 200, "This work was ended.")
    if job.failure is not None:
        return _failure_page(request, job.failure)
    shown = job.result
    assert isinstance(shown, work.DriveShown)
    state_of(request).jobs.weigh(job, len(shown.kept) * 4)
    form = Form(job.note.get("form", []))
    inspected = form.get("what") == "inspect"
    again = "/inspect" if inspected else "/"
    return _page(
        request,
        "drive.html",
        again,
        shown.data,
        **shown.texts,
        units_elsewhere=True,
        job=job.id,
        again=f"{again}?{_query(form)}",
        inspected=inspected,
        has_ways=not inspected and shown.places == 2,
        line=form.get("line"),
        formats=FORMATS,
    )


async def _ways(request: Request) -> Response:
    """Every drive between the same two places that is the best in some way, each with a page of its own."""
    state = state_of(request)
    job = state.jobs.get(request.path_params["id"])
    if job is None or not isinstance(job.result, work.DriveShown):
        return error_page(request, 404, "This drive is no longer kept here. Plan it again.")
    compared = job.note.get("ways")
    if not isinstance(compared, Job) or compared.state in (State.CANCELLED, State.FAILED):
        compared = state.quick(work.ways, job.result.kept, keep=True)
        job.note["ways"] = compared
    await compared.wait(PATIENCE_S)
    if not compared.over:
        return _waiting_page(request, compared)
    if compared.failure is not None:
        return _failure_page(request, compared.failure)
    if "pages" not in compared.note:
        compared.note["pages"] = [state.jobs.keep(way["shown"]) for way in compared.result or []]
        for page in compared.note["pages"]:
            page.note["form"] = job.note.get("form", [])
    quickest = min((way["shown"].seconds for way in compared.result), default=1.0)
    longest = max((way["shown"].seconds for way in compared.result), default=1.0)
    rows = [
        {
            "unverified": way["unverified"],
            "texts": way["shown"].texts,
            "href": f"/drive/{page.id}",
            "share": round(100 * way["shown"].seconds / max(longest, 1.0)),
            "more_min": round((way["shown"].seconds - quickest) / 60),
        }
        for way, page in zip(compared.result, compared.note["pages"], strict=True)
    ]
    title = job.result.title
    return _page(request, "ways.html", "/", None, rows=rows, title=title, back=f"/drive/{job.id}")


#: What a drive can be taken along as: format, what it is for.
FORMATS = (
    ("pdf", "Sheet to print", "one or two pages, large type"),
    ("html", "Page without network", "opens on a phone with no signal"),
    ("gpx", "GPX", "for a navigation device"),
    ("geojson", "GeoJSON", "for a map program"),
    ("csv", "CSV", "a table of the structures"),
)


def _query(form: Form) -> str:
    from urllib.parse import urlencode

    return urlencode([(k, v) for k, v in form.items() if v and k not in {"add", "what", "line"}])


def _waiting_page(request: Request, job: Job) -> Response:
    return _page(
        request,
        "waiting.html",
        "",
        {"job": job.id},
        202,
        job=job.id,
        waiting=job.state is State.WAITING,
        progress=job.progress,
    )


async def _drive_file(request: Request) -> Response:
    state = state_of(request)
    job, kind = state.jobs.get(request.path_params["id"]), request.path_params["format"]
    if job is None or not isinstance(job.result, work.DriveShown) or kind not in MEDIA:
        return error_page(request, 404, "This drive is no longer kept here. Plan it again.")
    made = state.quick(work.as_file, job.result.kept, f".{kind}", _units(request))
    if not await finished(request, made):
        return Response(status_code=499)
    if made.failure is not None:
        return _failure_page(request, made.failure)
    name = f"drive.{kind}"
    return Response(
        made.result,
        media_type=MEDIA[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


async def _cancel(request: Request) -> Response:
    job = state_of(request).jobs.get(request.path_params["id"])
    if job is None:
        return error_page(request, 404, "This work is no longer known here.")
    state_of(request).jobs.cancel(job)
    await job.wait(3.0)
    return error_page(request, 200, "This work was ended.")


# --- check a line --------------------------------------------------------------------------------------


async def _inspect(request: Request) -> Response:
    return _inspect_page(request, _empty_form(request), None)


def _inspect_page(
    request: Request, form: Form, error: Wrong | None, other: str = "", status: int = 200
) -> Response:
    values = _form_values(request, form, error, other)
    return _page(request, "inspect.html", "/inspect", _box(request), status, **values)


async def _start_inspect(request: Request) -> Response:
    state = state_of(request)
    form, upload = await _form_with_file(request, "line")
    wrong = {} if upload is not None else {"line": "Choose a file first: GPX, GeoJSON, or CSV of points."}
    how = None
    try:
        how = how_form(form, datetime.now())
    except AskedError as error:
        wrong |= error.fields
    if wrong or how is None or upload is None:
        return _inspect_page(request, form, AskedError(wrong), status=422)
    job = state.quick(work.inspect, upload, how, keep=True)
    kept = Form([*form.items(), ("what", "inspect"), ("line", upload.name)])
    return await _begun(job, kept, lambda error, other: _inspect_page(request, form, error, other, 422))


async def _form_with_file(request: Request, name: str) -> tuple[Form, work.Upload | None]:
    """The fields of a form and the file that came with it; no file where none was chosen."""
    limits = state_of(request).settings.limits
    try:
        async with request.form(max_files=1, max_fields=limits.fields, max_part_size=limits.text) as form:
            pairs = [(key, value) for key, value in form.multi_items() if isinstance(value, str)]
            file = form.get(name)
            if not isinstance(file, UploadFile) or not file.filename:
                return Form(pairs), None
            return Form(pairs), work.Upload(await file.read(), shown_name(file.filename))
    except (MultiPartException, HTTPException):
        return Form([]), None


# --- structures ----------------------------------------------------------------------------------------


async def _structures(request: Request) -> Response:
    state, form = state_of(request), _empty_form(request)
    coach, wrong = None, None
    if form.get("coach.height"):
        try:
            # Margin and comfort are those of the server's coach, which this form does not show.
            coach = coach_asked({"height": form.get("coach.height")}, state.settings.coach)
        except AskedError as error:
            wrong = error
    wanted: dict[str, Any] = {
        "text": form.get("text")[:200],
        "kinds": [kind for kind in form.all("kind") if kind in list(Kind)],
        "standings": [s for s in form.all("standing") if s in list(Standing)],
    }
    if form.get("known") in {"yes", "no"}:
        wanted["known"] = form.get("known") == "yes"
    start = int(form.get("start")) if form.get("start").isdecimal() and len(form.get("start")) < 8 else 0
    job = state.quick(work.structures, wanted, coach, start, _ROWS)
    if not await finished(request, job):
        return Response(status_code=499)
    if job.failure is not None or job.result is None:
        return _failure_page(request, job.failure or Failure("fault", "the work was ended"))
    rows, total = job.result["rows"], job.result["total"]
    data = _box(request) | {"findings": _structure_marks(rows)}
    return _page(
        request,
        "structures.html",
        "/structures",
        data,
        rows=rows,
        total=total,
        start=start,
        shown=_ROWS,
        before=_query_at(form, start - _ROWS) if start else "",
        after=_query_at(form, start + _ROWS) if start + _ROWS < total else "",
        kinds=[kind.value for kind in Kind],
        standings=[s.value for s in Standing],
        units_elsewhere=True,
        coach=coach is not None,
        keeps=state.settings.records is not None,
        today=datetime.now().date().isoformat(),
        **_form_values(request, form, wrong),
    )


def _query_at(form: Form, start: int) -> str:
    rest = Form([(k, v) for k, v in form.items() if k != "start"])
    return f"?{_query(rest)}&start={max(0, start)}"


def _structure_marks(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "id": row["id"],
            "at": row["at"],
            "slug": row["slug"],
            "number": number,
            "what": str(row["what"]),
            "label": f"{row['label'].lower()}: {row['what']}",
            "off": None,
        }
        for number, row in enumerate(rows, 1)
    ]


# --- heights seen --------------------------------------------------------------------------------------


async def _record(request: Request) -> Response:
    """Keep a height; what the browser is told is told after it is on the disk."""
    form = await _form(request)
    seen = work.Seen(
        **{key: form.get(key)[:300] for key in ("height", "who", "key", "at", "date", "photo", "note")}
    )
    job = state_of(request).quick(work.record, seen)
    # Not ended where nobody waits: what was seen was seen.
    await job.wait(state_of(request).settings.limits.quick_s)
    if job.failure is not None or job.result is None:
        failure = job.failure or Failure("fault", "the work was ended")
        return _page(
            request,
            "record.html",
            "/structures",
            None,
            failure_status(failure),
            form=form,
            problem=failure.message,
            wrong={},
            labels={},
            today=datetime.now().date().isoformat(),
        )
    number = json.loads(job.result)["features"][0]["properties"]["number"]
    return RedirectResponse(f"/records?kept={number}#record-{number}", status_code=303)


async def _records(request: Request) -> Response:
    return await _records_page(request, "")


async def _records_page(request: Request, problem: str, status: int = 200) -> Response:
    job = state_of(request).quick(work.records_shown)
    if not await finished(request, job):
        return Response(status_code=499)
    if job.failure is not None:
        return _failure_page(request, job.failure)
    kept = request.query_params.get("kept", "")
    return _page(
        request,
        "records.html",
        "/structures",
        None,
        status,
        records=job.result,
        kept=int(kept) if kept.isdecimal() and len(kept) < 9 else 0,
        problem=problem,
        wrong={},
        labels={},
    )


async def _records_file(request: Request) -> Response:
    kind = request.path_params["format"]
    if kind not in {"csv", "geojson"}:
        return error_page(request, 404, "There is nothing at this address.")
    job = state_of(request).quick(work.records_file, f".{kind}")
    if not await finished(request, job):
        return Response(status_code=499)
    if job.failure is not None:
        return _failure_page(request, job.failure)
    headers = {"Content-Disposition": f'attachment; filename="records.{kind}"'}
    return Response(job.result, media_type=MEDIA[kind], headers=headers)


async def _remove_record(request: Request) -> Response:
    form = await _form(request)
    number = form.get("number")
    if not number.isdecimal() or len(number) > 8:
        return error_page(request, 404, "There is nothing at this address.")
    job = state_of(request).quick(
        work.remove_record, int(number), form.get("who")[:300], form.get("why")[:300]
    )
    await job.wait(state_of(request).settings.limits.quick_s)
    if job.failure is not None:
        return await _records_page(request, job.failure.message, failure_status(job.failure))
    return RedirectResponse("/records", status_code=303)


# --- for the scripts of the pages ----------------------------------------------------------------------


async def _map(request: Request) -> Response:
    """The roads in a box, for the map."""
    try:
        box = [float(part) for part in request.query_params.get("box", "").split(",")]
        zoom = float(request.query_params.get("zoom", ""))
    except ValueError:
        return Response("box and zoom are numbers\n", status_code=400, media_type="text/plain")
    if len(box) != 4 or not (-180 <= box[0] < box[2] <= 180 and -90 <= box[1] < box[3] <= 90):
        return Response("box is west,south,east,north\n", status_code=400, media_type="text/plain")
    if not 0 <= zoom <= 30:
        return Response("zoom is 0 to 30\n", status_code=400, media_type="text/plain")
    job = state_of(request).quick(work.map_of, tuple(box), zoom)
    if not await finished(request, job):
        return Response(status_code=499)
    if job.failure is not None:
        return Response("the roads cannot be read now\n", status_code=500, media_type="text/plain")
    return Response(
        job.result, media_type="application/json", headers={"Cache-Control": "private, max-age=300"}
    )


async def _coach_figures(request: Request) -> Response:
    """The coach of a form in figures, or what is wrong with it: a part of a page."""
    form = await _form(request)
    wrong: dict[str, str] = {}
    shown = None
    try:
        shown = work.coach_figures(coach_form(form))
    except AskedError as error:
        wrong = error.fields
    chosen = _language(request)
    html = (
        _environment()
        .get_template("coach_shown.html")
        .render({"say": chosen.say, "told": chosen.told, "coach_shown": shown})
    )
    return Response(
        json.dumps({"html": html, "wrong": {k: str(chosen.told(v)) for k, v in wrong.items()}}),
        media_type="application/json",
    )
