"""The description of the interface in OpenAPI 3.1, made from the schemas that check the requests."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from clearance import __version__
from clearance.web.schemas import (
    ANSWERS,
    COACH,
    KINDS,
    PAPER,
    REQUESTS,
    SCREEN_FORMATS,
    STANDINGS,
    UNITS,
)

__all__ = ["SCREEN_QUERY", "STRUCTURE_QUERY", "description"]

Part = dict[str, Any]

#: Documents that ask for something even where the server knows a coach.
_NEEDED = frozenset({"ScreenAsked"})

#: Parameters of the list of structures, in the words of the command.
STRUCTURE_QUERY: dict[str, Part] = {
    **{key: COACH["properties"][key] for key in ("height", "margin", "comfort")},
    "kind": KINDS,
    "standing": STANDINGS,
    "known": {"type": "boolean", "description": "With, or without, a posted or measured height."},
    "text": {
        "type": "string",
        "minLength": 1,
        "maxLength": 200,
        "description": "Part of a name, a road or a kind.",
    },
    "units": UNITS,
}

#: Parameters of the answer of a screening.
SCREEN_QUERY: dict[str, Part] = {
    "format": {
        "type": "string",
        "enum": list(SCREEN_FORMATS),
        "default": "json",
        "description": "Format of the answer.",
    },
    "units": UNITS,
    "paper": PAPER,
}

_SAID = {
    400: "What was asked cannot be meant; the message says what to write.",
    401: "The server asks for a token.",
    403: "The request came from another site.",
    404: "A place, a way or a job that is not there.",
    413: "More was sent than the server takes.",
    421: "The server does not answer to that name.",
    422: "A file whose content cannot be read for what it should be.",
    500: "A fault of the program itself.",
    503: "The server has too much to do.",
    504: "The work took too long and was ended.",
}


def _problems(*statuses: int) -> Part:
    made: Part = {}
    for status in (*statuses, 500, 503, 504):
        made[str(status)] = {
            "description": _SAID[status],
            "content": {
                "application/json": {
                    "schema": {
                        "type": "object",
                        "properties": {"error": {"$ref": "#/components/schemas/Problem"}},
                        "required": ["error"],
                    }
                }
            },
        }
    for status in (401, 403, 413, 421):
        made[str(status)] = {"description": _SAID[status], "content": {"text/plain": {}}}
    return made


def _answer(told: str, schema: str, media: str = "application/json") -> Part:
    return {"description": told, "content": {media: {"schema": {"$ref": f"#/components/schemas/{schema}"}}}}


def _screen_answers(told: str) -> Part:
    answer = _answer(told, "Screening")
    media = ("application/geo+json", "application/geopackage+sqlite3", "text/csv", "text/html")
    for kind in (*media, "application/pdf", "text/plain"):
        answer["content"][kind] = {}
    return answer


def _drive_answers(told: str) -> Part:
    answer = _answer(told, "Drive")
    for media in ("application/geo+json", "application/gpx+xml", "text/csv", "text/html", "application/pdf"):
        answer["content"][media] = {}
    return answer


def _query(name: str, schema: Part, *, needed: bool = False) -> Part:
    return {
        "name": name,
        "in": "query",
        "required": needed,
        "description": schema.get("description", ""),
        "schema": schema,
    }


def _get(ref: str, told: str, answers: Part, parameters: list[Part] | None = None) -> Part:
    return {"operationId": ref, "summary": told, "parameters": parameters or [], "responses": answers}


def _post(ref: str, told: str, body: Part, answers: Part) -> Part:
    return {
        "operationId": ref,
        "summary": told,
        "requestBody": {"required": True, "content": body},
        "responses": answers,
    }


def _json(schema: str) -> Part:
    return {"application/json": {"schema": {"$ref": f"#/components/schemas/{schema}"}}}


def _file(name: str, told: str, asked: str, others: dict[str, str] | None = None) -> Part:
    files = {name: told, **(others or {})}
    return {
        "multipart/form-data": {
            "schema": {
                "type": "object",
                "properties": {
                    file: {"type": "string", "format": "binary", "description": what}
                    for file, what in files.items()
                }
                | {"asked": {"$ref": f"#/components/schemas/{asked}"}},
                "required": [name, "asked"] if asked in _NEEDED else [name],
                "additionalProperties": False,
            },
            "encoding": {"asked": {"contentType": "application/json"}},
        }
    }


def description(*, has_coach: bool) -> Part:
    """The whole description; with `has_coach` the server knows a coach, and requests may leave it out."""
    schemas = deepcopy({**REQUESTS, **ANSWERS})
    if not has_coach:
        schemas["DriveAsked"]["required"].append("coach")
        schemas["InspectAsked"]["required"] = ["coach"]
        schemas["ScreenAsked"]["required"].append("coach")
        schemas["Coach"]["required"] = ["height"]
    ref = {"name": "id", "in": "path", "required": True, "schema": {"type": "string"}}
    job = {"200": _answer("Where it stands.", "Job"), **_problems(404)}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "clearance",
            "version": __version__,
            "description": (
                "Drives for a tall coach, checked against every structure over or across the road. Map data "
                "may be wrong or out of date; posted signs and local rules win; measure the loaded coach "
                "at its tallest point. Where the server was started with a token, send it as a bearer token."
            ),
        },
        "components": {
            "schemas": schemas,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
        "security": [{}, {"token": []}],
        "paths": {
            "/api/roads": {
                "get": _get(
                    "roads", "What the road file holds.", {"200": _answer("Facts.", "Roads"), **_problems()}
                )
            },
            "/api/places": {
                "get": _get(
                    "places",
                    "Named places that a text may mean, the likeliest first.",
                    {"200": _answer("Places.", "Places"), **_problems(400)},
                    [
                        _query(
                            "name",
                            {"type": "string", "minLength": 1, "maxLength": 200},
                            needed=True,
                        )
                    ],
                )
            },
            "/api/coach": {
                "post": _post(
                    "coach",
                    "Check a coach, and say what it needs.",
                    _json("Coach"),
                    {"200": _answer("The coach in figures.", "CoachFigures"), **_problems(400)},
                )
            },
            "/api/drive": {
                "post": _post(
                    "drive",
                    "Plan a drive and check everything over it. Blocked is an answer, not an error.",
                    _json("DriveAsked"),
                    {"200": _drive_answers("The drive."), **_problems(400, 404)},
                )
            },
            "/api/inspect": {
                "post": _post(
                    "inspect",
                    "Check a line made elsewhere, and mend it where it is too low.",
                    _file("line", "GPX, GeoJSON or CSV of points.", "InspectAsked"),
                    {"200": _drive_answers("What the line passes."), **_problems(400, 404, 422)},
                )
            },
            "/api/screen": {
                "post": _post(
                    "screen",
                    "Screen a list of destinations, there and back from home. It is answered with a job: see "
                    "how far it is, or end it, at /api/jobs/{id}, and fetch the answer at /api/screen/{id}.",
                    _file(
                        "places",
                        "CSV, GPX, GeoJSON or GeoPackage of destinations, known by the ending of its name.",
                        "ScreenAsked",
                        {"since": "JSON report of an earlier screening: tell what changed since."},
                    ),
                    {"202": _answer("The job.", "Job"), **_problems(400)},
                )
            },
            "/api/screen/{id}": {
                "get": _get(
                    "screened",
                    "The answer of a screening.",
                    {
                        "200": _screen_answers("The screening."),
                        "202": _answer("It is not over yet.", "Job"),
                        **_problems(400, 404, 422),
                    },
                    [ref, *(_query(name, schema) for name, schema in SCREEN_QUERY.items())],
                )
            },
            "/api/structures": {
                "get": _get(
                    "structures",
                    "Everything over or across the roads of the area, the gravest first.",
                    {
                        "200": _answer("GeoJSON.", "Structures", "application/geo+json"),
                        **_problems(400),
                    },
                    [_query(name, schema) for name, schema in STRUCTURE_QUERY.items()],
                )
            },
            "/api/record": {
                "get": _get(
                    "records",
                    "Heights seen that count.",
                    {
                        "200": _answer("GeoJSON.", "Records", "application/geo+json"),
                        **_problems(422),
                    },
                ),
                "post": _post(
                    "record",
                    "Keep a height seen; it counts as measured. Answered once it is on the disk.",
                    _json("RecordAsked"),
                    {
                        "200": _answer("The record.", "Records", "application/geo+json"),
                        **_problems(400, 404, 422),
                    },
                ),
            },
            "/api/record/{number}/remove": {
                "post": {
                    **_post(
                        "remove",
                        "Let a record no longer count; it stays in the file.",
                        _json("RemovalAsked"),
                        {
                            "200": _answer("The record.", "Records", "application/geo+json"),
                            **_problems(400, 404, 422),
                        },
                    ),
                    "parameters": [
                        {
                            "name": "number",
                            "in": "path",
                            "required": True,
                            "schema": {"type": "integer", "minimum": 1, "maximum": 2**31 - 1},
                        }
                    ],
                }
            },
            "/api/jobs/{id}": {
                "get": _get("job", "Where a job stands.", job, [ref]),
                "delete": _get("cancel", "End a job.", job, [ref]),
            },
        },
    }
