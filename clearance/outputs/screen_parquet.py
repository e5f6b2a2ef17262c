"""A screening as a Parquet table: one row for each destination and coach, and for each problem.

The same screening gives the same bytes with the same version of the writer.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from clearance.core.lengths import Length
from clearance.core.screening import Flag, Leg, Problem, Row, Screening
from clearance.outputs.measures import Units
from clearance.outputs.wording import CAUTIONS, coach_line, plain

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["FORMAT", "FORMAT_VERSION", "SCREEN_SCHEMA_NAMES", "screen_parquet"]

FORMAT = "clearance screening"
#: Raised when a column goes or changes its meaning; new columns may come without.
FORMAT_VERSION = 1

_TEXTS = ("region", "home", "coach")
_TRIP = ("distance_m", "duration_s", "car_distance_m", "car_duration_s")
SCREEN_SCHEMA_NAMES = (
    *_TEXTS,
    *("number", "name", "lat", "lon", "where", "problem"),
    *("verdict", "off_road_m", "distance_m", "duration_s", "extra_s"),
    *(f"{leg}_{name}" for leg in ("there", "back") for name in _TRIP),
    *("ceiling_m", "ceiling_key", "unverified", "tight", "in_out", "in_out_reason", "serious"),
    *("blocked", "gets_through_m", "in_the_way", "obstacles"),
    *("tallest_way", "tallest_m", "tallest_verified_way", "tallest_verified_m", "notes"),
)
#: Digits after the point of metres and seconds: the last ones of a float hang on the machine.
_DIGITS = 2


def screen_parquet(screening: Screening, *, region: str, home: str) -> bytes:
    """The rows of a screening in their order, then its problems (with `problem` set, and no verdict).

    `region` and `home` are the names of the run that stand in every row. Heights are decimals in metres with
    four digits, times in seconds, distances in metres, places WGS84 degrees; structures are told by their
    keys. Where a value is not known or does not apply it is null. Coaches, source, date and attribution of
    the map data and the cautions stand in the metadata of the table under ``clearance``.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    names = [coach.name for coach in screening.coaches]
    rows = [{"region": region, "home": home, **_row(row, names[row.coach])} for row in screening.rows]
    rows += [
        {"region": region, "home": home, **_problem(problem, coach)}
        for problem in screening.problems
        for coach in (names if problem.coach is None else [names[problem.coach]])
    ]
    schema = _schema().with_metadata({"clearance": json.dumps(_about(screening), ensure_ascii=False)})
    table = pa.table({name: [row.get(name) for row in rows] for name in schema.names}, schema=schema)
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd", store_schema=True)
    content: bytes = sink.getvalue().to_pybytes()
    return content


def _schema() -> pa.Schema:
    import pyarrow as pa

    texts, height, lists = pa.string(), pa.decimal128(10, 4), pa.list_(pa.string())
    kinds: dict[str, Any] = dict.fromkeys(SCREEN_SCHEMA_NAMES, texts)
    kinds["number"] = pa.int32()
    for name in SCREEN_SCHEMA_NAMES:
        if name in {"lat", "lon"} or name.endswith(("_s", "distance_m", "off_road_m")):
            kinds[name] = pa.float64()
        elif name.endswith("_m"):
            kinds[name] = height
        elif name.endswith("_way") and name != "in_the_way":
            kinds[name] = pa.bool_()
    kinds |= dict.fromkeys(("unverified", "tight", "in_the_way", "obstacles", "notes"), lists)
    kinds["serious"] = pa.bool_()
    return pa.schema(list(kinds.items()))


def _about(screening: Screening) -> dict[str, Any]:
    info = screening.info
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "unverified": screening.unverified.value,
        "coaches": [
            {
                "name": coach.name,
                "height_m": str(coach.height.metres),
                "need_m": str(coach.need.metres),
                "line": coach_line(coach, Units.METRES),
            }
            for coach in screening.coaches
        ],
        "source": info.source,
        "data_date": info.data_date,
        "attribution": info.attribution,
        "cautions": list(CAUTIONS),
        "notes": list(screening.notes),
    }


def _row(row: Row, coach: str) -> dict[str, Any]:
    there_back = {
        f"{leg.value}_{name}": _rounded(None if trip is None else getattr(trip, name))
        for leg, trip in ((Leg.THERE, row.there), (Leg.BACK, row.back))
        for name in _TRIP
    }
    driven = bool(row.trips)
    return {
        "coach": coach,
        "number": row.number,
        "name": plain(row.place.name),
        "lat": round(row.place.lat, 7),
        "lon": round(row.place.lon, 7),
        "where": row.where,
        "verdict": row.verdict.value,
        "off_road_m": _rounded(row.off_road_m),
        "distance_m": _rounded(row.distance_m) if driven else None,
        "duration_s": _rounded(row.duration_s) if driven else None,
        "extra_s": _rounded(row.extra_s),
        **there_back,
        "ceiling_m": _metres(row.ceiling),
        "ceiling_key": row.ceiling_key or None,
        "unverified": list(row.unverified),
        "tight": list(row.tight),
        "in_out": None if row.in_out is None else row.in_out.answer.value,
        "in_out_reason": None if row.in_out is None else plain(row.in_out.reason),
        "serious": None if row.in_out is None else row.in_out.serious,
        "blocked": None if row.blocked is None else row.blocked.value,
        "gets_through_m": _metres(row.gets_through),
        "in_the_way": _keys(row.in_the_way),
        "obstacles": [f"{o.kind} {o.element} {plain(o.raw)}" for o in row.obstacles],
        "tallest_way": row.tallest.way,
        "tallest_m": _metres(row.tallest.clearance),
        "tallest_verified_way": row.tallest_verified.way,
        "tallest_verified_m": _metres(row.tallest_verified.clearance),
        "notes": [plain(note) for note in row.notes],
    }


def _problem(problem: Problem, coach: str) -> dict[str, Any]:
    return {
        "coach": coach,
        "name": plain(problem.name),
        "where": problem.where,
        "problem": plain(problem.text),
    }


def _keys(flags: Sequence[Flag]) -> list[str]:
    return [flag.key for flag in flags]


def _metres(length: Length | None) -> Any:
    return None if length is None else length.metres


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DIGITS) + 0.0
