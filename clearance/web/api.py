"""The interface for programs: the commands' words as JSON over HTTP, described at /api/openapi.json."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from datetime import datetime
from typing import Any

from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from clearance import workflow
from clearance.core.coach import Coach
from clearance.core.errors import ClearanceError, UsageError
from clearance.web import work
from clearance.web.asked import (
    AskedError,
    coach_asked,
    drive_asked,
    flat_coach,
    how_asked,
    screen_asked,
)
from clearance.web.jobs import Failure, Job, State
from clearance.web.openapi import SCREEN_QUERY, STRUCTURE_QUERY, description
from clearance.web.schemas import COACH, DRIVE, INSPECT, RECORD, REMOVAL, SCREEN, misfit, text_value
from clearance.web.state import finished, state_of

__all__ = ["MEDIA", "failure_status", "problem", "routes"]

Handler = Callable[[Request], Awaitable[Response]]

#: Media types of the formats; GPX has none that is registered.
MEDIA = {
    "json": "application/json",
    "geojson": "application/geo+json",
    "gpx": "application/gpx+xml",
    "csv": "text/csv; charset=utf-8",
    "gpkg": "application/geopackage+sqlite3",
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "txt": "text/plain; charset=utf-8",
}
_STATUS = {
    "AskedError": 400,
    "UsageError": 400,
    "PlaceError": 404,
    "WhereError": 404,
    "AmbiguousPlaceError": 404,
    "NoWayError": 404,
    "InputError": 422,
    "BusyError": 503,
    "TooLongError": 504,
}


def routes() -> list[Route]:
    """Every address of the interface."""
    return [
        Route("/api/openapi.json", _told(_openapi)),
        Route("/api/roads", _told(_roads)),
        Route("/api/places", _told(_places)),
        Route("/api/coach", _told(_coach), methods=["POST"]),
        Route("/api/drive", _told(_drive), methods=["POST"]),
        Route("/api/inspect", _told(_inspect), methods=["POST"]),
        Route("/api/screen", _told(_screen), methods=["POST"]),
        Route("/api/screen/{id:str}", _told(_screened)),
        Route("/api/structures", _told(_structures)),
        Route("/api/record", _told(_records)),
        Route("/api/record", _told(_record), methods=["POST"]),
        Route("/api/record/{number:int}/remove", _told(_remove_record), methods=["POST"]),
        Route("/api/jobs/{id:str}", _told(_job)),
        Route("/api/jobs/{id:str}", _told(_cancel), methods=["DELETE"]),
    ]


def problem(
    status: int,
    kind: str,
    message: str,
    fields: Mapping[str, str] | None = None,
    choices: Mapping[str, Any] | None = None,
) -> Response:
    """What went wrong, as a document."""
    told: dict[str, Any] = {"kind": kind, "message": message}
    if fields:
        told["fields"] = dict(fields)
    if choices:
        told["choices"] = dict(choices)
    return JSONResponse({"error": told}, status_code=status)


def failure_status(failure: Failure) -> int:
    """The HTTP status that tells of a failure."""
    return _STATUS.get(failure.kind, 500)


def _told(handler: Handler) -> Handler:
    """The handler, with errors as documents."""

    async def told(request: Request) -> Response:
        try:
            return await handler(request)
        except AskedError as error:
            return problem(400, "AskedError", str(error), error.fields)
        except ClearanceError as error:
            kind = type(error).__name__
            return problem(_STATUS.get(kind, 500), kind, str(error))

    return told


async def _document(request: Request, schema: Mapping[str, Any]) -> dict[str, Any]:
    """The body of a request as a document that fits. Raises UsageError."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        # A form of another site can send plain text without asking, but not this.
        raise UsageError(f"the body is {kind or 'of no kind'}; send it as application/json")
    return _fitting(await request.body(), schema)


def _fitting(body: bytes, schema: Mapping[str, Any]) -> dict[str, Any]:
    try:
        document = json.loads(body.decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise UsageError(f"the body is no JSON: {error}") from None
    if fault := misfit(document, schema):
        raise UsageError(fault)
    assert isinstance(document, dict)
    return document


def _no_number(text: str) -> None:
    raise ValueError(f"{text} is no JSON number")


async def _answer(request: Request, job: Job, media: str, name: str = "") -> Response:
    """The result of a job, once it is there."""
    if not await finished(request, job):
        return problem(499, "Gone", "nobody waits for this answer")
    if job.state is State.CANCELLED:
        return problem(503, "Cancelled", "the work was ended")
    if job.failure is not None:
        return _failed(job.failure)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'} if name else {}
    return Response(job.result, media_type=media, headers=headers)


def _failed(failure: Failure) -> Response:
    return problem(failure_status(failure), failure.kind, failure.message, failure.fields, failure.choices)


# --- handlers ------------------------------------------------------------------------------------------


async def _openapi(request: Request) -> Response:
    return JSONResponse(description(has_coach=state_of(request).settings.coach is not None))


async def _roads(request: Request) -> Response:
    area = state_of(request).area
    return JSONResponse(
        {
            "source": area.info.source,
            "data_date": area.info.data_date,
            "read_date": area.info.read_date,
            "attribution": area.info.attribution,
            "box": list(area.box),
            "roads": area.roads,
            "structures": area.structures,
            "places": area.places,
            "warnings": list(area.info.warnings),
        }
    )


async def _places(request: Request) -> Response:
    query = _query(request, {"name": {"type": "string", "minLength": 1, "maxLength": 200}})
    if "name" not in query:
        raise UsageError("name: is missing")
    job = state_of(request).quick(work.places, query["name"], 8)
    if not await finished(request, job):
        return problem(499, "Gone", "nobody waits for this answer")
    if job.failure is not None:
        return problem(failure_status(job.failure), job.failure.kind, job.failure.message)
    return JSONResponse({"places": job.result or []})


async def _coach(request: Request) -> Response:
    asked = await _document(request, COACH)
    coach = coach_asked(flat_coach(asked), state_of(request).settings.coach)
    return JSONResponse(coach_document(coach))


def coach_document(coach: Coach) -> dict[str, Any]:
    """A coach in figures, for programs."""

    def length(value: Any) -> dict[str, Any] | None:
        if value is None:
            return None
        feet, inches = value.ceil_inches()
        return {
            "metres": float(value.metres),
            "tenths_of_mm": value.tenths,
            "feet": f"{feet}'{inches}\"",
        }

    return {
        "height": length(coach.height),
        "need": length(coach.need),
        "comfort": length(coach.comfort_or_need),
        "length": length(coach.length),
        "towing": coach.towing,
        "text": workflow.coach_text(coach),
    }


async def _drive(request: Request) -> Response:
    state = state_of(request)
    asked = await _document(request, DRIVE)
    drive = drive_asked(asked, state.settings.coach, datetime.now())
    kind, units = asked.get("format", "json"), asked.get("units", "feet")
    job = state.quick(work.plan_document, drive, f".{kind}", units)
    return await _answer(request, job, MEDIA[kind])


async def _inspect(request: Request) -> Response:
    state = state_of(request)
    files, asked = await _uploaded(request, INSPECT, "line")
    how = how_asked(asked, state.settings.coach, datetime.now())
    kind, units = asked.get("format", "json"), asked.get("units", "feet")
    upload = files["line"]
    job = state.quick(work.inspect_document, upload, how, f".{kind}", units, takes=len(upload.content))
    return await _answer(request, job, MEDIA[kind])


async def _screen(request: Request) -> Response:
    state, limits = state_of(request), state_of(request).settings.limits
    files, document = await _uploaded(request, SCREEN, "places", "since")
    asked = screen_asked(document, state.settings.coach)
    takes = sum(len(upload.content) for upload in files.values())
    job = state.long(work.screen, files["places"], files.get("since"), asked, limits.screen_rows, takes=takes)
    return JSONResponse(job_document(job), 202, headers={"Location": f"/api/screen/{job.id}"})


async def _screened(request: Request) -> Response:
    state = state_of(request)
    query = _query(request, SCREEN_QUERY)
    job = state.jobs.get(request.path_params["id"])
    if job is not None and job.task is work.screen and not job.over:
        return JSONResponse(job_document(job), 202)
    if job is not None and job.failure is not None and job.task is work.screen:
        return _failed(job.failure)
    if job is None or not isinstance(job.result, work.ScreenShown):
        return problem(404, "NoSuchJob", "there is no such screening, or it was long ago or ended")
    kind, units, paper = query.get("format", "json"), query.get("units", "feet"), query.get("paper", "a4")
    made = state.quick(work.screen_file, job.result.kept, f".{kind}", units, paper)
    return await _answer(request, made, MEDIA[kind])


async def _uploaded(
    request: Request, schema: Mapping[str, Any], needed: str, *others: str
) -> tuple[dict[str, work.Upload], dict[str, Any]]:
    """Files by their names and the document ``asked`` from a body of parts. Raises UsageError."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "multipart/form-data":
        raise UsageError(f"the body is {kind or 'of no kind'}; send it as multipart/form-data")
    limits, names = state_of(request).settings.limits, (needed, *others)
    files: dict[str, work.Upload] = {}
    try:
        async with request.form(max_files=len(names), max_fields=10, max_part_size=limits.text) as form:
            asked = form.get("asked", "{}")
            if not isinstance(form.get(needed), UploadFile):
                raise UsageError(f"{needed}: is missing; send a file under that name")
            if not isinstance(asked, str):
                raise UsageError("asked: is a file; send it as a field")
            if unknown := sorted(set(form) - {*names, "asked"}):
                known = ", ".join((*names, "asked"))
                raise UsageError(f"{unknown[0][:60]!r}: is not known; known are {known}")
            for name in names:
                file = form.get(name)
                if isinstance(file, UploadFile):
                    files[name] = work.Upload(await file.read(), shown_name(file.filename))
                elif file is not None:
                    raise UsageError(f"{name}: is a field; send it as a file")
    except (MultiPartException, HTTPException) as error:
        raise UsageError(f"the body is no form: {getattr(error, 'detail', error)}") from None
    return files, _fitting(asked.encode(), schema)


def shown_name(name: str | None) -> str:
    """The name that a file came with, as it may be shown: no folders, no odd signs, not long."""
    last = (name or "").replace("\\", "/").rpartition("/")[2]
    return "".join(c for c in last if c.isprintable())[-80:] or "file"


async def _structures(request: Request) -> Response:
    state = state_of(request)
    query = _query(request, STRUCTURE_QUERY)
    base = state.settings.coach
    given: dict[str, object] = {key: query[key] for key in ("height", "margin", "comfort") if key in query}
    coach = base
    if given:
        if base is None and "height" not in given:
            raise UsageError("height: is missing; a margin or a comfort alone judges nothing")
        coach = coach_asked(given, base)
    wanted: dict[str, Any] = {}
    if "kind" in query:
        wanted["kinds"] = [query["kind"]]
    if "standing" in query:
        if coach is None:
            raise UsageError("height: is missing; there is no standing without a coach")
        wanted["standings"] = [query["standing"]]
    if "text" in query:
        wanted["text"] = query["text"]
    if "known" in query:
        wanted["known"] = query["known"]
    job = state.quick(work.structures_document, wanted, coach, query.get("units", "feet"))
    return await _answer(request, job, MEDIA["geojson"])


def _query(request: Request, schemas: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """The parameters of an address, each as its schema wants it. Raises UsageError."""
    found: dict[str, Any] = {}
    for name, text in request.query_params.multi_items():
        if name in {"lang", "units"} and name not in schemas:
            continue
        if name not in schemas:
            raise UsageError(f"{name[:60]!r}: is not known; known are {', '.join(schemas)}")
        if name in found:
            raise UsageError(f"{name}: is given twice")
        found[name] = text_value(text, schemas[name])
        if fault := misfit(found[name], schemas[name], name):
            raise UsageError(fault)
    return found


async def _records(request: Request) -> Response:
    return await _answer(request, state_of(request).quick(work.records_document), MEDIA["geojson"])


async def _record(request: Request) -> Response:
    asked = await _document(request, RECORD)
    seen = work.Seen(**{key: str(value) for key, value in asked.items()})
    return await _written(request, state_of(request).quick(work.record, seen))


async def _remove_record(request: Request) -> Response:
    asked = await _document(request, REMOVAL)
    number = request.path_params["number"]
    if number >= 2**31:
        raise UsageError(f"number {number} is no record's")
    job = state_of(request).quick(work.remove_record, number, asked["who"], asked["why"])
    return await _written(request, job)


async def _written(request: Request, job: Job) -> Response:
    """The answer of a job that writes: it is not ended where nobody waits."""
    await job.wait(state_of(request).settings.limits.quick_s)
    return await _answer(request, job, MEDIA["geojson"])


async def _job(request: Request) -> Response:
    job = state_of(request).jobs.get(request.path_params["id"])
    if job is None:
        return problem(404, "NoSuchJob", "there is no such job, or it was long ago")
    return JSONResponse(job_document(job))


def job_document(job: Job) -> dict[str, Any]:
    """Where a job stands."""
    failure = job.failure
    return {
        "id": job.id,
        "state": job.state.value,
        "progress": {
            "what": job.progress.what,
            "done": job.progress.done,
            "total": job.progress.total,
        },
        "error": None if failure is None else {"kind": failure.kind, "message": failure.message},
    }


async def _cancel(request: Request) -> Response:
    state = state_of(request)
    job = state.jobs.get(request.path_params["id"])
    if job is None:
        return problem(404, "NoSuchJob", "there is no such job, or it was long ago")
    state.jobs.cancel(job)
    await job.wait(5.0)
    return JSONResponse(job_document(job))
