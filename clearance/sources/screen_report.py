"""Reports of earlier screenings, read as far as a later one is compared with them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from clearance.core.changes import Earlier, EarlierRow, EarlierStructure, Known
from clearance.core.coach import Coach
from clearance.core.drive import Verdict
from clearance.core.errors import InputError
from clearance.core.lengths import Length
from clearance.sources.coordinates import lon_lat
from clearance.sources.plain_text import read_text

__all__ = ["FORMAT", "NEWEST", "read_report"]

FORMAT, NEWEST = "clearance screening", 1
_MOST_BYTES = 1 << 30
#: 100 m.
_MOST_TENTHS = 1_000_000


def read_report(path: Path) -> Earlier:
    """The screening that a JSON report tells of.

    Raises InputError where the file is no such report, is of a newer program, or lacks what a report holds;
    the message then says where.
    """
    text = read_text(path, most_bytes=_MOST_BYTES, what="a report of a screening")
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: is not JSON ({str(error)[:100]}); {_TRY}") from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise InputError(f"{path}: is no report of a screening; {_TRY}")
    version = content.get("format_version")
    if not isinstance(version, int) or version > NEWEST:
        raise InputError(
            f"{path}: is a report of version {version!r}; this program reads {NEWEST}; update it"
        )
    where = ["the report"]
    try:
        return _earlier(content, where)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        told = f"no {error}" if isinstance(error, KeyError) else str(error)
        raise InputError(f"{path}: {where[0]} cannot be read ({told[:150]}); {_TRY}") from error


_TRY = "write one with `clearance screen ... -o report.json`"


def _earlier(content: Mapping[str, Any], where: list[str]) -> Earlier:
    """`where` is told what is being read."""
    coaches, rows, structures = [], [], []
    for n, coach in enumerate(content["coaches"], 1):
        where[0] = f"coach {n}"
        coaches.append(_coach(coach))
    for n, row in enumerate(content["rows"], 1):
        where[0] = f"row {n}"
        rows.append(_row(row, len(coaches)))
    for n, structure in enumerate(content["structures"], 1):
        where[0] = f"structure {n}"
        structures.append(_structure(structure))
    where[0] = "the report"
    data = content["data"]
    return Earlier(
        labels=tuple(str(coach["label"]) for coach in content["coaches"]),
        coaches=tuple(coaches),
        home=_at(content["home"]),
        unverified=str(content["unverified"]),
        source=str(data["source"]),
        data_date=str(data["data_date"]),
        rows=tuple(rows),
        structures=tuple(structures),
    )


def _at(place: Mapping[str, Any]) -> tuple[float, float]:
    lon, lat = lon_lat(float(place["lon"]), float(place["lat"]))
    return lon, lat


def _length(value: Mapping[str, Any] | None) -> Length | None:
    if value is None:
        return None
    tenths = value["tenths_of_mm"]
    if not isinstance(tenths, int) or isinstance(tenths, bool):
        raise TypeError(f"{tenths!r} is no whole number of tenths of a millimetre")
    # What is left where a road dips may be less than nothing; no measure comes near the other end.
    if not -20_000 <= tenths <= _MOST_TENTHS:
        raise ValueError(f"{tenths} tenths of a millimetre are no measure of a coach or a structure")
    return Length(tenths)


def _yes_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise TypeError(f"{str(value)[:40]!r} is neither true nor false")
    return value


def _needed(value: Mapping[str, Any] | None) -> Length:
    length = _length(value)
    if length is None:
        raise TypeError("a measure of the coach is missing")
    return length


def _coach(told: Mapping[str, Any]) -> Coach:
    weight = told["weight_kg"]
    return Coach(
        height=_needed(told["height"]),
        margin=_needed(told["margin"]),
        comfort=_needed(told["comfort"]),
        width=_length(told["width"]),
        length=_length(told["length"]),
        wheelbase=_length(told["wheelbase"]),
        weight_kg=None if weight is None else int(weight),
        towing=_yes_no(told["towing"]),
        tow_reversible=_yes_no(told["tow_reversible"]),
        propane=_yes_no(told["propane"]),
        name=str(told["name"]),
    )


def _row(told: Mapping[str, Any], coaches: int) -> EarlierRow:
    coach = told["coach"]
    if not isinstance(coach, int) or not 0 <= coach < coaches:
        raise ValueError(f"there is no coach {coach!r}")
    lon, lat = _at(told["place"])
    trips = [trip for trip in (told["there"], told["back"]) if trip is not None]
    flags = [*told["in_the_way"], *(f for trip in trips for f in (*trip["passed"], *trip["avoided"]))]
    return EarlierRow(
        name=str(told["place"]["name"]),
        lon=lon,
        lat=lat,
        coach=coach,
        verdict=Verdict(told["verdict"]),
        keys=frozenset(str(flag["key"]) for flag in flags),
    )


def _structure(told: Mapping[str, Any]) -> EarlierStructure:
    lon, lat = _at(told)
    forward, backward = (
        Known(clearance=_length(told[d]["clearance"]), verified=_yes_no(told[d]["verified"]))
        for d in ("forward", "backward")
    )
    return EarlierStructure(
        key=str(told["key"]),
        kind=str(told["kind"]),
        text=str(told["text"]),
        lon=lon,
        lat=lat,
        forward=forward,
        backward=backward,
    )
