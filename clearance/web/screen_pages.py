"""The pages that screen many destinations: what is asked, how far it is, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from clearance.web import work
from clearance.web.api import MEDIA
from clearance.web.asked import MOST_COACHES, AskedError, Form, WhereError, screen_form
from clearance.web.forms import (
    Wrong,
    asked_stops,
    coaches_of,
    empty_form,
    filled_in,
    form_query,
    form_values,
    map_box,
    read_form_with_files,
)
from clearance.web.jobs import State
from clearance.web.page import chosen_units, error_page, failure_page, page, waiting_page
from clearance.web.state import finished, state_of
from clearance.web.tables import Order, columns, fits, ordered

__all__ = ["SCREEN_FORMATS", "routes"]

#: A list that is wrong tells so at once; one that is right takes longer than anybody is kept waiting.
_PATIENCE_S = 1.5
#: So many destinations, structures and bad lines are on one page; more destinations are a link away, the rest
#: is in the files.
_ROWS = 400
#: Columns of the two tables.
_ROW_KEYS = (
    *("name", "coach", "verdict", "there", "back"),
    *("extra", "lowest", "unverified", "tallest", "inout"),
)
_STRUCTURE_KEYS = ("name", "verdict", "height", "blocks", "unverified", "tight")
_GONE = "This screening is no longer kept here. Screen the list again."

#: What a screening can be taken along as: format, name, what it is for.
SCREEN_FORMATS = (
    ("pdf", "Sheets to print", "a page for each coach"),
    ("html", "Page without network", "opens on a phone with no signal"),
    ("csv", "CSV", "a table of the destinations"),
    ("geojson", "GeoJSON", "for a map program"),
    ("gpkg", "GeoPackage", "for a map program"),
    ("json", "JSON report", "to compare a later screening with"),
)


def routes() -> list[Route]:
    """The pages of screenings."""
    return [
        Route("/screen", _asked),
        Route("/screen", _start, methods=["POST"]),
        Route("/screen/{id:str}", _screened),
        Route("/screen/{id:str}/file/{format:str}", _file),
    ]


async def _asked(request: Request) -> Response:
    return _form_page(request, empty_form(request), None)


def _form_page(
    request: Request, form: Form, error: Wrong | None, other: str = "", status: int = 200
) -> Response:
    values = form_values(request, form, error, other, home=True)
    return page(
        request,
        "screening.html",
        "/screen",
        map_box(request),
        status,
        stops=asked_stops(form, error, home=True),
        most_coaches=MOST_COACHES,
        **values,
    )


async def _start(request: Request) -> Response:
    state, limits = state_of(request), state_of(request).settings.limits
    form, asked = Form([]), None
    wrong: dict[str, str] = {}
    files: dict[str, list[work.Upload]] = {}
    most = {"list": 1, "since": 1, "coach.file": 1, "coaches": MOST_COACHES}
    try:
        form, files = await read_form_with_files(request, most)
        form = await filled_in(request, form, files["coach.file"])
        if form.get("fill") == "coach":
            return _form_page(request, form, None)
        asked = screen_form(form, await coaches_of(request, files["coaches"], "coaches"))
    except AskedError as error:
        wrong = error.fields
    if not files.get("list"):
        wrong = {"list": "Choose a file first: CSV, GPX, GeoJSON or GeoPackage."} | wrong
    if wrong or asked is None:
        return _form_page(request, form, AskedError(wrong), status=422)
    (places,), since = files["list"], next(iter(files["since"]), None)
    takes = len(places.content) + (len(since.content) if since is not None else 0)
    job = state.long(work.screen, places, since, asked, limits.screen_rows, takes=takes)
    job.note |= {
        "form": list(form.items()),
        "again": (f"/screen?{form_query(form)}", "Change this screening"),
        "list": places.name,
    }
    await job.wait(_PATIENCE_S)
    return RedirectResponse(f"/screen/{job.id}", status_code=303)


async def _screened(request: Request) -> Response:
    state = state_of(request)
    job = state.jobs.get(request.path_params["id"])
    if job is None:
        return error_page(request, 404, _GONE, ("/screen", "Screen destinations"))
    if not job.over:
        return waiting_page(request, job)
    again = job.note.get("again", ("/screen", "Screen destinations"))
    if job.state is State.CANCELLED:
        return error_page(request, 200, "This work was ended.", again)
    if (failure := job.failure) is not None:
        if failure.kind == "fault" or "form" not in job.note:
            return failure_page(request, failure)
        form = Form(job.note["form"])
        if failure.kind == "WhereError":
            return _form_page(request, form, WhereError(failure.fields, failure.choices), status=422)
        return _form_page(request, form, None, failure.message, status=422)
    if not isinstance(job.result, work.ScreenShown):
        return error_page(request, 404, "There is nothing at this address.")
    shown, data = _part(request, job.result)
    return page(
        request,
        "screened.html",
        "/screen",
        data,
        **shown,
        units_elsewhere=True,
        job=job.id,
        again=again[0],
        list_name=job.note.get("list", ""),
        formats=SCREEN_FORMATS,
    )


def _part(request: Request, screened: work.ScreenShown) -> tuple[dict[str, Any], dict[str, Any]]:
    """The texts and the map of what the address asks for: sorted, of one coach, found, and so many rows."""
    query = request.query_params
    every: Sequence[Mapping[str, Any]] = screened.texts["rows"]
    coach, wanted = query.get("coach", ""), query.get("find", "").strip()[:200]
    rows_by = Order(query.get("rows", ""), _ROW_KEYS)
    structures_by = Order(query.get("structures", ""), _STRUCTURE_KEYS)
    if coach not in {str(n) for n in range(len(screened.texts["coaches"]))}:
        coach = ""
    rows = [row for row in every if not coach or row["coach"] == int(coach)]
    if wanted:
        rows = [row for row in rows if fits((row["name"], row["verdict"], row["why"]), wanted)]
    rows = list(ordered(rows, rows_by))
    told = query.get("start", "")
    start = int(told) if told.isdecimal() and len(told) < 8 and int(told) < len(rows) else 0
    here = rows[start : start + _ROWS]
    structures = ordered(screened.texts["structures"], structures_by)[:_ROWS]
    problems = screened.texts["problems"][:_ROWS]
    kept = {"coach": coach, "find": wanted, "rows": rows_by.text, "structures": structures_by.text}
    kept = {name: text for name, text in kept.items() if text}

    def without(name: str) -> dict[str, str]:
        return {other: text for other, text in kept.items() if other != name}

    def turned(to: int) -> str:
        return f"?{urlencode({**kept, 'start': max(0, to)})}#rows-heading"

    sorting = {
        "rows": columns("rows", rows_by, _ROW_KEYS, without("rows"), "rows-heading"),
        "structures": columns(
            "structures", structures_by, _STRUCTURE_KEYS, without("structures"), "structures-heading"
        ),
        "before": turned(start - _ROWS) if start else "",
        "after": turned(start + _ROWS) if start + _ROWS < len(rows) else "",
        "coach": coach,
        "find": wanted,
        "kept": {name: text for name, text in kept.items() if name not in {"coach", "find"}},
        "first": start + 1,
        "last": start + len(here),
        "total": len(rows),
        "whole": len(here) == len(every) and len(structures) == len(screened.texts["structures"]),
    }
    ids = {row["id"] for row in here} | {structure["id"] for structure in structures} | {""}
    data = {
        **screened.data,
        "marks": [mark for mark in screened.data["marks"] if mark["id"] in ids],
        "whole": sorting["whole"],
    }
    return {
        **screened.texts,
        "rows": here,
        "structures": structures,
        "problems": problems,
        "more": {
            name: len(screened.texts[name]) - len(shown)
            for name, shown in (("structures", structures), ("problems", problems))
        },
        "sorting": sorting,
    }, data


async def _file(request: Request) -> Response:
    state = state_of(request)
    job, kind = state.jobs.get(request.path_params["id"]), request.path_params["format"]
    known = {name for name, _, _ in SCREEN_FORMATS}
    if job is None or not isinstance(job.result, work.ScreenShown) or kind not in known:
        return error_page(request, 404, _GONE, ("/screen", "Screen destinations"))
    paper = "letter" if request.query_params.get("paper") == "letter" else "a4"
    made = state.quick(work.screen_file, job.result.kept, f".{kind}", chosen_units(request), paper)
    if not await finished(request, made):
        return Response(status_code=499)
    if made.failure is not None:
        return failure_page(request, made.failure)
    return Response(
        made.result,
        media_type=MEDIA[kind],
        headers={"Content-Disposition": f'attachment; filename="screening.{kind}"'},
    )
