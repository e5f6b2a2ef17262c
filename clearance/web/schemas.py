"""What a document may hold: JSON Schemas (2020-12) of requests and answers, and the check of a request.

The description of the interface shows the same schemas that requests are checked against.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from clearance.core.coach_items import ITEMS, ItemKind
from clearance.core.drive import Unverified, Verdict
from clearance.core.facility import FacilityKind
from clearance.core.screening import SortBy
from clearance.core.structure import Kind, Standing
from clearance.web.asked import MOST_COACHES, MOST_STOPS

__all__ = [
    "ANSWERS",
    "FORMATS",
    "MISFIT_DEPTH",
    "REQUESTS",
    "SCREEN_FORMATS",
    "misfit",
    "text_value",
]

Schema = dict[str, Any]

#: Formats of a drive by their name, which is the ending without its dot.
FORMATS = ("json", "geojson", "gpx", "csv", "html", "pdf")
#: Formats of a screening.
SCREEN_FORMATS = ("json", "csv", "geojson", "gpkg", "html", "pdf", "txt")
MISFIT_DEPTH = 12


def _object(properties: Schema, required: tuple[str, ...] = (), *, more: bool = False) -> Schema:
    made: Schema = {"type": "object", "properties": properties}
    if required:
        made["required"] = list(required)
    if not more:
        made["additionalProperties"] = False
    return made


def _text(most: int, told: str, *, least: int = 1) -> Schema:
    return {"type": "string", "minLength": least, "maxLength": most, "description": told}


def _one_of(values: type[Any] | tuple[str, ...], told: str, default: str | None = None) -> Schema:
    made: Schema = {"type": "string", "enum": [str(v) for v in values], "description": told}
    return made if default is None else made | {"default": default}


def _number(low: float, high: float, told: str) -> Schema:
    return {"type": "number", "minimum": low, "maximum": high, "description": told}


def _item(key: str) -> Schema:
    item = next(i for i in ITEMS if i.key == key)
    told = " ".join(item.how)
    match item.kind:
        case ItemKind.YES_NO:
            return {"type": "boolean", "description": told}
        case ItemKind.FUEL:
            return {"type": "string", "enum": ["gasoline", "diesel"], "description": told}
    return _text(80, told) | {"examples": [item.example]}


_TOWED = tuple(i.key for i in ITEMS if i.key.startswith("towed."))

COACH = _object(
    {i.key: _item(i.key) for i in ITEMS if i.key not in _TOWED}
    | {
        "towed": {
            "description": "What is towed; left out or false where nothing is.",
            "oneOf": [
                _object({key.removeprefix("towed."): _item(key) for key in _TOWED}),
                {"type": "boolean", "const": False},
            ],
        }
    }
) | {"description": "A coach, in the words of a coach file. Measures carry their unit."}

_POINT = {
    "lat": _number(-90, 90, "Latitude, WGS84 degrees."),
    "lon": _number(-180, 180, "Longitude, WGS84 degrees."),
}
_NAME = {"name": _text(200, "What to call it.", least=0)}
_PLACE_TEXT = _text(200, "Latitude,longitude in decimal degrees, or a name from the map data.")
PLACE: Schema = {"oneOf": [_PLACE_TEXT, _object({**_NAME, **_POINT}, ("lat", "lon"))]}
STOP: Schema = {
    "oneOf": [
        _PLACE_TEXT,
        _object({**_NAME, **_POINT, "minutes": _number(0, 1440, "Minutes there.")}, ("lat", "lon")),
    ]
}
_COACH_REF: Schema = {"$ref": "#/components/schemas/Coach"}
_HOW = {
    "coach": _COACH_REF,
    "unverified": _one_of(
        Unverified,
        "Structures with no known height: take a detour of up to 15 minutes for each, take them as "
        "they come, or never drive under one.",
        "avoid",
    ),
    "depart": _text(40, "Local time of departure, 2027-07-04T08:30; hours in the map count by it."),
}
UNITS = _one_of(("feet", "metres", "both"), "Units of the texts; numbers are metric.", "feet")
PAPER = _one_of(("a4", "letter"), "Paper of a PDF file.", "a4")
FORMAT = _one_of(FORMATS, "Format of the answer.", "json")

DRIVE = _object(
    {
        "from": PLACE | {"description": "Where the drive begins."},
        "via": {"type": "array", "items": STOP, "maxItems": MOST_STOPS, "description": "Stops, in order."},
        "to": PLACE | {"description": "Where it ends."},
        "stay": _number(0, 1440, "Minutes at each stop that tells none of its own."),
        "reorder": {"type": "boolean", "description": "Put the stops in the best order."},
        "along": {
            "type": "array",
            "items": _one_of(FacilityKind, "A kind of facility."),
            "maxItems": 5,
            "description": "Facilities to list along the way.",
        },
        "detour": _number(0, 240, "Longest detour to a facility, in minutes."),
        **_HOW,
        "units": UNITS,
        "format": FORMAT,
    },
    ("from", "to"),
)

INSPECT = _object(
    {
        **_HOW,
        "mend": {
            "type": "boolean",
            "description": "Lead the parts that are too low, and only those, another way.",
        },
        "units": UNITS,
        "format": FORMAT,
    }
)

SCREEN = _object(
    {
        "from": PLACE | {"description": "Where every drive begins and ends."},
        "coach": {
            "description": "The coach, or several.",
            "oneOf": [
                _COACH_REF,
                {"type": "array", "items": _COACH_REF, "minItems": 1, "maxItems": MOST_COACHES},
            ],
        },
        "unverified": _HOW["unverified"],
        "sort": _one_of(
            SortBy,
            "Worst verdict first, longest drive first, most time beyond a car first, by name, or as listed.",
            "verdict",
        ),
    },
    ("from",),
)

RECORD = _object(
    {
        "key": _text(300, "The structure, by its key in the road file."),
        "at": _text(60, "Latitude,longitude: the structure of the road file near there."),
        "height": _text(80, "Clearance seen, with its unit: 13'4\", 4.05m."),
        "who": _text(100, "Who saw it."),
        "date": _text(10, "Day of the visit, 2027-07-04; left out: today."),
        "photo": _text(100, "Name of a photo; the picture itself is not kept."),
        "note": _text(300, "Anything else: lane, side, how it was measured."),
    },
    ("height", "who"),
)
REMOVAL = _object(
    {"who": _text(100, "Who takes it back."), "why": _text(300, "Why.")},
    ("who", "why"),
)

_LENGTH: Schema = {
    "type": ["object", "null"],
    "properties": {
        "metres": {"type": "number"},
        "tenths_of_mm": {"type": "integer"},
        "feet": {"type": "string"},
    },
}
_LIST: Schema = {"type": "array", "items": {"type": "object"}}

ANSWERS: dict[str, Schema] = {
    "Drive": _object(
        {
            "format": {"const": "clearance drive"},
            "format_version": {"type": "integer"},
            "verdict": _one_of(Verdict, "The answer."),
            "verdict_text": {"type": "string"},
            "distance_m": {"type": "number"},
            "duration_s": {"type": "number"},
            "ceiling": _LENGTH,
            "gets_through": _LENGTH,
            "coach": {"type": "object"},
            "places": _LIST,
            "pieces": _LIST,
            "findings": _LIST,
            "in_the_way": _LIST,
            "obstacles": _LIST,
            "stops": _LIST,
            "unchecked": _LIST,
            "notes": {"type": "array", "items": {"type": "string"}},
            "cautions": {"type": "array", "items": {"type": "string"}},
            "data": {"type": "object"},
        },
        ("verdict", "verdict_text", "coach", "findings", "in_the_way", "cautions", "data"),
        more=True,
    ),
    "Roads": _object(
        {
            "source": {"type": "string"},
            "data_date": {"type": "string"},
            "read_date": {"type": "string"},
            "attribution": {"type": "string"},
            "box": {
                "type": "array",
                "items": {"type": "number"},
                "minItems": 4,
                "maxItems": 4,
                "description": "West, south, east, north in WGS84 degrees.",
            },
            "roads": {"type": "integer"},
            "structures": {"type": "integer"},
            "places": {"type": "integer"},
            "warnings": {"type": "array", "items": {"type": "string"}},
        },
        ("source", "attribution", "box"),
    ),
    "Places": _object(
        {
            "places": {
                "type": "array",
                "items": _object(
                    {"name": {"type": "string"}, "kind": {"type": "string"}, **_POINT},
                    ("name", "kind", "lat", "lon"),
                ),
            }
        },
        ("places",),
    ),
    "CoachFigures": _object(
        {
            "height": _LENGTH,
            "need": _LENGTH,
            "comfort": _LENGTH,
            "length": _LENGTH,
            "towing": {"type": "boolean"},
            "text": {"type": "string", "description": "The coach in feet and in metres."},
        },
        ("height", "need", "comfort", "towing", "text"),
    ),
    "Screening": _object(
        {
            "format": {"const": "clearance screening"},
            "format_version": {"type": "integer"},
            "home": {"type": "object"},
            "coaches": _LIST,
            "totals": _LIST,
            "rows": _LIST,
            "problems": _LIST,
            "structures": _LIST,
            "changes": {"type": ["object", "null"]},
            "cautions": {"type": "array", "items": {"type": "string"}},
        },
        ("format", "format_version", "home", "coaches", "totals", "rows", "problems"),
        more=True,
    ),
    "Records": _object(
        {"type": {"const": "FeatureCollection"}, "features": _LIST}, ("type", "features"), more=True
    ),
    "Structures": _object(
        {
            "type": {"const": "FeatureCollection"},
            "features": _LIST,
            "attribution": {"type": "string"},
            "data_date": {"type": "string"},
        },
        ("type", "features", "attribution"),
        more=True,
    ),
    "Job": _object(
        {
            "id": {"type": "string"},
            "state": _one_of(("waiting", "running", "done", "failed", "cancelled"), "Where it stands."),
            "progress": _object(
                {
                    "what": {"type": "string"},
                    "done": {"type": "integer"},
                    "total": {"type": "integer", "description": "0 where their number is not known."},
                }
            ),
            "error": {"oneOf": [{"type": "null"}, {"$ref": "#/components/schemas/Problem"}]},
        },
        ("id", "state", "progress"),
    ),
    "Problem": _object(
        {
            "kind": {"type": "string"},
            "message": {"type": "string"},
            "fields": {"type": "object", "additionalProperties": {"type": "string"}},
            "choices": {"type": "object", "additionalProperties": _LIST},
        },
        ("kind", "message"),
    ),
}
REQUESTS: dict[str, Schema] = {
    "Coach": COACH,
    "DriveAsked": DRIVE,
    "InspectAsked": INSPECT,
    "ScreenAsked": SCREEN,
    "RecordAsked": RECORD,
    "RemovalAsked": REMOVAL,
}
KINDS = _one_of(Kind, "A kind of structure.")
STANDINGS = _one_of(Standing, "A standing for the coach.")

_TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "boolean": (bool,),
    "number": (int, float),
    "integer": (int,),
    "null": (type(None),),
}


def misfit(value: Any, schema: Mapping[str, Any], where: str = "", depth: int = 0) -> str:
    """What is wrong with a value by its schema, with the field; empty where it fits.

    Knows the words that the schemas of requests use, and no others.

    >>> misfit({"stay": -1}, {"type": "object", "properties": {"stay": {"type": "number", "minimum": 0}}})
    'stay: -1 is less than 0'
    """
    if depth > MISFIT_DEPTH:
        return f"{where}: is nested too deeply"
    if "$ref" in schema:
        return misfit(value, REQUESTS[str(schema["$ref"]).rpartition("/")[2]], where, depth + 1)
    at = f"{where}: " if where else ""
    if "oneOf" in schema:
        faults = [misfit(value, option, where, depth + 1) for option in schema["oneOf"]]
        if not all(faults):
            return ""
        fitting = [
            fault
            for fault, option in zip(faults, schema["oneOf"], strict=True)
            if _is(value, option.get("type", "object"))
        ]
        return (fitting or faults)[0]
    if "type" in schema and not _is(value, schema["type"]):
        return f"{at}{_shown(value)} is no {schema['type']}"
    if "const" in schema and value != schema["const"]:
        return f"{at}{_shown(value)} is not {_shown(schema['const'])}"
    if "enum" in schema and value not in schema["enum"]:
        return f"{at}{_shown(value)} is none of {', '.join(schema['enum'])}"
    if isinstance(value, str):
        return _text_misfit(value, schema, at)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _number_misfit(value, schema, at)
    if isinstance(value, list):
        if len(value) > schema.get("maxItems", len(value)):
            return f"{at}holds more than {schema['maxItems']}"
        if len(value) < schema.get("minItems", 0):
            return f"{at}holds less than {schema['minItems']}"
        each = (misfit(v, schema["items"], f"{where}[{n}]", depth + 1) for n, v in enumerate(value))
        return next(filter(None, each), "")
    if isinstance(value, dict):
        return _object_misfit(value, schema, where, depth)
    return ""


def _is(value: Any, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    return isinstance(value, _TYPES[kind])


def _text_misfit(value: str, schema: Mapping[str, Any], at: str) -> str:
    if not value.isprintable():
        return f"{at}{_shown(value)} is not plain text on one line"
    if len(value) < schema.get("minLength", 0):
        return f"{at}is empty"
    if len(value) > schema.get("maxLength", len(value)):
        return f"{at}{_shown(value)} has more than {schema['maxLength']} characters"
    return ""


def _number_misfit(value: float, schema: Mapping[str, Any], at: str) -> str:
    # Written so that what is no number at all (NaN) fits nowhere.
    if not value >= schema.get("minimum", value):
        return f"{at}{value} is less than {schema['minimum']}"
    if not value <= schema.get("maximum", value):
        return f"{at}{value} is more than {schema['maximum']}"
    return "" if abs(value) < 1e15 else f"{at}{value} is too large"


def _object_misfit(value: dict[str, Any], schema: Mapping[str, Any], where: str, depth: int) -> str:
    inside = f"{where}." if where else ""
    known = schema.get("properties", {})
    for name in schema.get("required", ()):
        if name not in value:
            return f"{inside}{name}: is missing"
    for name, held in value.items():
        if name in known:
            fault = misfit(held, known[name], f"{inside}{name}", depth + 1)
            if fault:
                return fault
        elif schema.get("additionalProperties") is False:
            return f"{inside}{_shown(name)[1:-1]}: is not known; known are {', '.join(known)}"
    return ""


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:50]}..."


def text_value(text: str, schema: Mapping[str, Any]) -> Any:
    """A parameter of an address as the value that its schema wants; the text itself where it is none."""
    kind = schema.get("type")
    if kind in {"number", "integer"}:
        try:
            return int(text) if kind == "integer" else float(text)
        except ValueError:
            return text
    if kind == "boolean" and text in {"true", "false"}:
        return text == "true"
    return text
