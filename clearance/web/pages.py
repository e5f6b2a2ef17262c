"""The pages for people: plan a drive, check a line. Everything works without scripts but the map."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from clearance.web import screen_pages, structure_pages, work
from clearance.web.api import MEDIA
from clearance.web.asked import AskedError, Form, WhereError, coach_form, drive_form, how_form
from clearance.web.forms import (
    Wrong,
    asked_stops,
    coach_pairs,
    coaches_of,
    empty_form,
    filled_in,
    form_query,
    form_values,
    map_box,
    read_form,
    read_form_with_files,
)
from clearance.web.jobs import Job, State
from clearance.web.languages import Language
from clearance.web.page import (
    chosen_language,
    chosen_units,
    environment,
    error_page,
    failure_page,
    localized,
    page,
    waiting_page,
)
from clearance.web.state import finished, state_of

__all__ = ["FORMATS", "routes"]

#: How long a visitor is kept waiting before a page says that the work goes on, in seconds.
PATIENCE_S = 4.0


def routes() -> list[Route]:
    """Every page."""
    return [
        Route("/", _plan),
        Route("/drive", _start_drive, methods=["POST"]),
        Route("/drive/{id:str}", _drive),
        Route("/drive/{id:str}/file/{format:str}", _drive_file),
        Route("/drive/{id:str}/ways", _ways),
        Route("/inspect", _inspect),
        Route("/inspect", _start_inspect, methods=["POST"]),
        Route("/cancel/{id:str}", _cancel, methods=["POST"]),
        Route("/map", _map),
        Route("/coach", _coach_figures, methods=["POST"]),
        Route("/coach/file", _coach_file, methods=["POST"]),
        *screen_pages.routes(),
        *structure_pages.routes(),
    ]


# --- plan a drive --------------------------------------------------------------------------------------


async def _plan(request: Request) -> Response:
    return _plan_page(request, empty_form(request), None)


def _plan_page(
    request: Request, form: Form, error: Wrong | None, other: str = "", status: int = 200
) -> Response:
    values = form_values(request, form, error, other)
    return page(request, "plan.html", "/", map_box(request), status, stops=asked_stops(form, error), **values)


async def _start_drive(request: Request) -> Response:
    state = state_of(request)
    form = Form([])
    try:
        form, files = await read_form_with_files(request, {"coach.file": 1})
        form = await filled_in(request, form, files["coach.file"])
        if form.get("add") == "stop" or form.get("fill") == "coach":
            return _plan_page(request, form, None)
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
    inspected = form.get("what") == "inspect"
    words = "Change the line or the coach" if inspected else "Change this drive"
    job.note["again"] = (f"{'/inspect' if inspected else '/'}?{form_query(form)}", words)
    return RedirectResponse(f"/drive/{job.id}", status_code=303)


async def _drive(request: Request) -> Response:
    job = state_of(request).jobs.get(request.path_params["id"])
    if job is None:
        return error_page(request, 404, "This drive is no longer kept here. Plan it again.")
    if not job.over:
        await job.wait(0.5)
    if not job.over:
        return waiting_page(request, job)
    if job.state is State.CANCELLED:
        return error_page(request, 200, "This work was ended.", job.note.get("again", ("/", "Plan a drive")))
    if job.failure is not None:
        return failure_page(request, job.failure)
    shown = job.result
    if not isinstance(shown, work.DriveShown):
        return error_page(request, 404, "There is nothing at this address.")
    form = Form(job.note.get("form", []))
    inspected = form.get("what") == "inspect"
    return page(
        request,
        "drive.html",
        "/inspect" if inspected else "/",
        localized(shown.data, chosen_language(request)),
        **{**shown.texts, "title": _title(shown, chosen_language(request))},
        units_elsewhere=True,
        job=job.id,
        again=job.note.get("again", ("/",))[0],
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
        return waiting_page(request, compared)
    if compared.failure is not None:
        return failure_page(request, compared.failure)
    if "pages" not in compared.note:
        compared.note["pages"] = [state.jobs.keep(way["shown"]) for way in compared.result or []]
        for made in compared.note["pages"]:
            made.note |= {"form": job.note.get("form", []), "again": job.note.get("again", ("/",))}
    rows = [
        {
            **way["row"],
            "texts": way["shown"].texts,
            "href": f"/drive/{made.id}",
            "here": _same(way["shown"], job.result),
        }
        for way, made in zip(compared.result, compared.note["pages"], strict=True)
    ]
    title = _title(job.result, chosen_language(request))
    return page(request, "ways.html", "/", None, rows=rows, title=title, back=f"/drive/{job.id}")


def _title(shown: work.DriveShown, chosen: Language) -> str:
    """What a drive is called in a language: its places, in English as in its files."""
    places: list[str] = shown.texts["place_names"]
    if not 2 <= len(places) <= 5:
        return str(shown.texts["title"])
    first, *via, last = places
    if not via:
        return chosen.say("{start} to {end}", start=first, end=last)
    return chosen.say("{start} to {end} by {via}", start=first, end=last, via=", ".join(via))


def _same(one: work.DriveShown, other: work.DriveShown) -> bool:
    """Whether two drives between the same places are one, by their length and time."""
    return abs(one.seconds - other.seconds) < 0.05 and abs(one.metres - other.metres) < 0.05


#: What a drive can be taken along as: format, what it is for.
FORMATS = (
    ("pdf", "Sheet to print", "one or two pages, large type"),
    ("html", "Page without network", "opens on a phone with no signal"),
    ("gpx", "GPX", "for a navigation device"),
    ("geojson", "GeoJSON", "for a map program"),
    ("csv", "CSV", "a table of the structures"),
)


async def _drive_file(request: Request) -> Response:
    state = state_of(request)
    job, kind = state.jobs.get(request.path_params["id"]), request.path_params["format"]
    if job is None or not isinstance(job.result, work.DriveShown) or kind not in MEDIA:
        return error_page(request, 404, "This drive is no longer kept here. Plan it again.")
    made = state.quick(work.as_file, job.result.kept, f".{kind}", chosen_units(request))
    if not await finished(request, made):
        return Response(status_code=499)
    if made.failure is not None:
        return failure_page(request, made.failure)
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
    return error_page(request, 200, "This work was ended.", job.note.get("again", ("/", "Plan a drive")))


# --- check a line --------------------------------------------------------------------------------------


async def _inspect(request: Request) -> Response:
    return _inspect_page(request, empty_form(request), None)


def _inspect_page(
    request: Request, form: Form, error: Wrong | None, other: str = "", status: int = 200
) -> Response:
    values = form_values(request, form, error, other)
    return page(request, "inspect.html", "/inspect", map_box(request), status, **values)


async def _start_inspect(request: Request) -> Response:
    state = state_of(request)
    form, wrong, lines = Form([]), {}, []
    how = None
    try:
        form, files = await read_form_with_files(request, {"line": 1, "coach.file": 1})
        lines = files["line"]
        form = await filled_in(request, form, files["coach.file"])
        if form.get("fill") == "coach":
            return _inspect_page(request, form, None)
        how = how_form(form, datetime.now())
    except AskedError as error:
        wrong = error.fields
    if not lines:
        wrong = {"line": "Choose a file first: GPX, GeoJSON, or CSV of points."} | wrong
    if wrong or how is None:
        return _inspect_page(request, form, AskedError(wrong), status=422)
    job = state.quick(work.inspect, lines[0], how, keep=True, takes=len(lines[0].content))
    kept = Form([*form.items(), ("what", "inspect"), ("line", lines[0].name)])
    return await _begun(job, kept, lambda error, other: _inspect_page(request, form, error, other, 422))


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
    form = await read_form(request)
    wrong: dict[str, str] = {}
    shown = None
    try:
        shown = work.coach_figures(coach_form(form))
    except AskedError as error:
        wrong = error.fields
    chosen = chosen_language(request)
    html = (
        environment()
        .get_template("coach_shown.html")
        .render({"say": chosen.say, "told": chosen.told, "coach_shown": shown})
    )
    return JSONResponse({"html": html, "wrong": {k: chosen.plainly(v) for k, v in wrong.items()}})


async def _coach_file(request: Request) -> Response:
    """The coach of a coach file as the fields of a form, or what is wrong with the file."""
    try:
        _, files = await read_form_with_files(request, {"coach.file": 1})
        found = await coaches_of(request, files["coach.file"], "coach.file")
    except AskedError as error:
        told = {name: chosen_language(request).plainly(text) for name, text in error.fields.items()}
        return JSONResponse({"wrong": told}, status_code=422)
    return JSONResponse({"fields": coach_pairs(found[0] if found else None)})
