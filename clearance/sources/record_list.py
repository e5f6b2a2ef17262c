"""Records of heights seen from CSV or GeoJSON files: what was exported elsewhere, or written by hand."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from clearance.core.errors import InputError, UsageError
from clearance.core.lengths import Length
from clearance.core.record import Record, Removal, parse_date, parse_seen_height, uid_of
from clearance.sources.coordinates import CoordinateError, lon_lat_of_texts
from clearance.sources.csv_table import read_rows
from clearance.sources.geojson_file import folded_properties, position_lon_lat, read_shapes

__all__ = ["SUFFIXES", "read_record_list"]

SUFFIXES = (".csv", ".geojson", ".json")
_MOST_BYTES = 64 << 20
#: So many entries that cannot be read are listed; more of them are no list of records.
_MOST_PROBLEMS = 100
#: A text of a record longer than this is no note but a file gone wrong.
_LONGEST = 2000

#: What a column or a property may be called, folded.
_NAMES: dict[str, tuple[str, ...]] = {
    "uid": ("uid",),
    "height": ("height", "height seen", "clearance"),
    "height_m": ("height m", "clearance m"),
    "date": ("date", "seen", "day"),
    "who": ("who", "by", "name of who"),
    "lat": ("lat", "latitude"),
    "lon": ("lon", "lng", "longitude"),
    "key": ("key", "structure", "structure key"),
    "kind": ("kind",),
    "name": ("name",),
    "road": ("road",),
    "elements": ("elements",),
    "photo": ("photo", "picture"),
    "note": ("note", "notes", "remark"),
    "added": ("added",),
    "removed": ("removed",),
    "removed_by": ("removed by",),
    "removed_why": ("removed why",),
}
#: What is written down on the spot.
_FILLED_IN = ("height", "height_m", "date", "who", "photo", "note", "uid")
_UID = re.compile(r"[0-9a-f]{32}", re.ASCII)
_ELEMENT = re.compile(r"(?:node|way|relation)/\d{1,18}", re.ASCII)
#: Exports put an apostrophe before a text that a spreadsheet would take for a formula.
_GUARDED = re.compile(r"'(?=[\s']*[=+\-@＝＋－＠])")


@dataclass(frozen=True, slots=True)
class _Entry:
    """One row or feature: its texts by column, and where it stands."""

    texts: Mapping[str, str]
    where: str
    problem: str = ""


def read_record_list(path: Path, *, now: datetime.datetime, who: str = "") -> tuple[Record, ...]:
    """The records of a file in its order, read by the file's ending: .csv or .geojson.

    Needed in each are ``height`` with its unit (or ``height_m``), ``date``, ``who`` (else `who` stands in)
    and a place: ``lat`` and ``lon``, or the point of the feature. `now` is the time in UTC, by which days to
    come are refused and which counts as written down where the file tells no time. A record without ``uid``
    gets one from what it says, so that the same file read twice gives the same records. An entry in which
    nothing is filled in, of a checklist, is left out.

    Raises InputError with every entry that cannot be read and its line: none is taken in then.
    """
    suffix = path.suffix.lower()
    if suffix == ".csv":
        entries = _of_csv(path)
    elif suffix in SUFFIXES:
        entries = _of_geojson(path)
    else:
        raise InputError(f"{path}: the name ends in none of {', '.join(SUFFIXES)}; rename or convert it")
    records: list[Record] = []
    problems: list[str] = []
    for entry in entries:
        if not entry.problem and not any(entry.texts.get(name) for name in _FILLED_IN):
            continue
        if len(problems) >= _MOST_PROBLEMS:
            problems.append("and there may be more")
            break
        if entry.problem:
            problems.append(f"{entry.where}: {entry.problem}")
            continue
        try:
            records.append(_record(entry.texts, now, who))
        except (InputError, UsageError, CoordinateError) as error:
            problems.append(f"{entry.where}: {error}")
    if problems:
        raise InputError("; ".join([f"{path}: nothing was taken in, for some cannot be read", *problems]))
    if not records:
        raise InputError(
            f"{path}: holds no records: no entry has a height, a date or who saw it. Fill in what was seen"
        )
    return tuple(records)


def _of_csv(path: Path) -> Iterator[_Entry]:
    for row in read_rows(path, _NAMES, most_bytes=_MOST_BYTES, what="a list of records"):
        texts = {name: text[1:] if _GUARDED.match(text) else text for name, text in row.cells.items()}
        yield _Entry(texts, f"line {row.line}", row.problem)


def _of_geojson(path: Path) -> Iterator[_Entry]:
    for shape in read_shapes(path, most_bytes=_MOST_BYTES):
        if shape.kind != "Point":
            yield _Entry({}, shape.where, f"is a {shape.kind}, not a point")
            continue
        try:
            texts = _texts_of(folded_properties(shape.properties))
            lon, lat = position_lon_lat(shape.coordinates)
        except CoordinateError as error:
            yield _Entry({}, shape.where, str(error))
            continue
        yield _Entry(texts | {"lon": repr(lon), "lat": repr(lat)}, shape.where)


def _texts_of(folded: Mapping[str, Any]) -> dict[str, str]:
    """Properties by column. Raises CoordinateError where two stand for one column and differ."""
    texts: dict[str, str] = {}
    for column, spellings in _NAMES.items():
        told = {str(folded[spelling]).strip() for spelling in spellings if spelling in folded}
        if len(told) > 1:
            raise CoordinateError(f"two properties stand for {column} and differ; keep one of them")
        if told:
            texts[column] = told.pop()
    return texts


def _record(texts: Mapping[str, str], now: datetime.datetime, who: str) -> Record:
    def text(name: str) -> str:
        found = texts.get(name, "")
        if len(found) > _LONGEST:
            raise InputError(f"{name} has {len(found):,} characters; {_LONGEST} are the most")
        return found

    height, raw = _height(text("height"), text("height_m"))
    date = parse_date(text("date"), now.date(), what="date")
    by = text("who") or who
    if not by:
        raise InputError("does not tell who saw it; add a column who, or give --who")
    lon, lat = lon_lat_of_texts(text("lon"), text("lat"))
    described: dict[str, Any] = {
        name: text(name) for name in ("key", "kind", "name", "road", "photo", "note")
    }
    elements = text("elements").split()
    if odd := [e for e in elements if not _ELEMENT.fullmatch(e)]:
        raise InputError(f"elements {odd[0][:40]!r} is no map element; write way/12 node/5")
    uid = text("uid") or uid_of(height.tenths, date, by, lon, lat, described)
    if not _UID.fullmatch(uid):
        raise InputError(f"uid {uid[:40]!r} is none; leave it out for a record of your own")
    return Record(
        uid=uid,
        height=height,
        raw=raw,
        date=date,
        who=by,
        lon=lon,
        lat=lat,
        elements=tuple(elements),
        added=_moment(text("added"), "added") or f"{now:%Y-%m-%dT%H:%M:%SZ}",
        removal=_removal(text("removed"), text("removed_by"), text("removed_why")),
        **described,
    )


def _height(text: str, metres: str) -> tuple[Length, str]:
    """The height seen and how it is written."""
    exact = None if not metres else parse_seen_height(f"{metres} m", what="height_m")
    if not text:
        if exact is None:
            raise InputError("has no height; write it with its unit, such as 13'4\"")
        return exact, f"{metres} m"
    height = parse_seen_height(text, what="height")
    if exact is not None and exact != height:
        raise InputError(f"height {text} is {height}, but height_m says {metres}; make them agree")
    return height, text


def _removal(when: str, who: str, why: str) -> Removal | None:
    if not (when or who or why):
        return None
    if not (when and who and why):
        raise InputError("is removed in part: removed, removed_by and removed_why belong together")
    return Removal(when=_moment(when, "removed"), who=who, why=why)


def _moment(text: str, what: str) -> str:
    """A time in UTC as exports write it; empty where there is none."""
    if not text:
        return ""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"{what} {text[:40]!r} is no time; write it as 2027-07-04T08:30:00Z") from None
    if moment.tzinfo is None:
        raise InputError(f"{what} {text[:40]!r} tells no zone; write it as 2027-07-04T08:30:00Z")
    return f"{moment.astimezone(datetime.UTC):%Y-%m-%dT%H:%M:%SZ}"
