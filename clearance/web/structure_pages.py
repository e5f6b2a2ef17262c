"""The pages of structures: the list of the area, and the heights seen."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from clearance.core.structure import Kind, Standing
from clearance.web import work
from clearance.web.api import MEDIA, failure_status
from clearance.web.asked import AskedError, Form, coach_asked
from clearance.web.forms import empty_form, form_query, form_values, map_box, read_form
from clearance.web.jobs import Failure
from clearance.web.page import chosen_language, error_page, failure_page, localized, page
from clearance.web.state import finished, state_of

__all__ = ["routes"]

_ROWS = 60


def routes() -> list[Route]:
    """The pages of structures and of heights seen."""
    return [
        Route("/structures", _structures),
        Route("/record", _record, methods=["POST"]),
        Route("/records", _records),
        Route("/records/file/{format:str}", _records_file),
        Route("/records/remove", _remove_record, methods=["POST"]),
    ]


async def _structures(request: Request) -> Response:
    state, form = state_of(request), empty_form(request)
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
        return failure_page(request, job.failure or Failure("fault", "the work was ended"))
    rows, total = job.result["rows"], job.result["total"]
    data = localized(map_box(request) | {"findings": _structure_marks(rows)}, chosen_language(request))
    return page(
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
        **form_values(request, form, wrong),
    )


def _query_at(form: Form, start: int) -> str:
    rest = Form([(k, v) for k, v in form.items() if k != "start"])
    return f"?{form_query(rest)}&start={max(0, start)}"


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
    form = await read_form(request)
    seen = work.Seen(
        **{key: form.get(key)[:300] for key in ("height", "who", "key", "at", "date", "photo", "note")}
    )
    job = state_of(request).quick(work.record, seen)
    # Not ended where nobody waits: what was seen was seen.
    await job.wait(state_of(request).settings.limits.quick_s)
    if job.failure is not None or job.result is None:
        failure = job.failure or Failure("fault", "the work was ended")
        return page(
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
        return failure_page(request, job.failure)
    kept = request.query_params.get("kept", "")
    return page(
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
        return failure_page(request, job.failure)
    headers = {"Content-Disposition": f'attachment; filename="records.{kind}"'}
    return Response(job.result, media_type=MEDIA[kind], headers=headers)


async def _remove_record(request: Request) -> Response:
    form = await read_form(request)
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
