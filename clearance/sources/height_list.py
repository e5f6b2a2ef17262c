"""Lists of structure heights, a state's or a county's or one's own: CSV, GeoJSON, GeoPackage."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from clearance.core.errors import InputError, UsageError
from clearance.core.inventory import ListedHeight
from clearance.core.lengths import HIGHEST_HEIGHT, LOWEST_HEIGHT, Length, parse_length
from clearance.core.valuetext import UnreadableError, shown
from clearance.sources.coordinates import CoordinateError, lon_lat_of_texts
from clearance.sources.csv_table import folded_name, read_rows
from clearance.sources.geojson_file import Shape, folded_properties, position_lon_lat, read_shapes
from clearance.sources.geopackage import read_points

__all__ = ["UNITS", "Columns", "HeightList", "read_height_list"]

#: Unit of a bare number -> metres of it. ``ft.in`` is feet and inches with a point between: 13.06 or 13.6
#: is 13'6", 13.11 is 13'11"; 13.1 is 13'1", the lower of what it may be once a program dropped a nought.
UNITS: Mapping[str, Decimal | None] = {
    "m": Decimal(1),
    "cm": Decimal("0.01"),
    "mm": Decimal("0.001"),
    "ft": Decimal("0.3048"),
    "in": Decimal("0.0254"),
    "ft.in": None,
}

_MOST_BYTES = 256 << 20
_MOST_ROWS = 1_000_000
_NUMBER = re.compile(r"\d{1,5}(?:[.,]\d{0,6})?", re.ASCII)
_FEET_POINT_INCHES = re.compile(r"(\d{1,2})(?:\.(\d{1,2}))?", re.ASCII)
#: So many different parts of a foot, none of them above 11, and 10 or 11 among them, are inches.
_TELLING_INCHES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Names of the columns or properties of a list, as they stand in it; case and marks do not matter.

    `lat` and `lon` are needed for CSV only. `name` and `date` may be empty, and missing in the list where
    they have their default.
    """

    height: str = "height"
    lat: str = "lat"
    lon: str = "lon"
    name: str = "name"
    date: str = "date"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightList:
    """The heights of a list in its order, and what could not be used, each with its line."""

    source: str
    records: tuple[ListedHeight, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]


def read_height_list(
    path: Path, *, unit: str, columns: Columns | None = None, source: str = "", date: str = ""
) -> HeightList:
    """The heights of a file, read by its ending: .csv, .tsv, .txt, .geojson, .json or .gpkg.

    `unit` is what a bare number in the column of heights means, one of `UNITS`; texts that carry their unit,
    such as ``13'6"`` or ``4.1 m``, are read as they say. CSV has coordinates in decimal degrees (WGS84),
    the others points. `source` names the list in outputs, else the file's name; `date` (ISO 8601) holds
    for rows that have none.

    A row that cannot be used is left out and listed with its line. Raises UsageError for a unit that is
    none, InputError where the file as a whole cannot be read or lacks a column.
    """
    if unit not in UNITS:
        raise UsageError(f"unit {shown(unit)} is none; write one of {', '.join(UNITS)}")
    reading = _Reading(unit, columns or Columns(), source or path.name, date)
    suffix = path.suffix.lower()
    if suffix in (".csv", ".tsv", ".txt"):
        reading.of_csv(path)
    elif suffix in (".geojson", ".json"):
        reading.of_shapes(path, read_shapes(path, most_bytes=_MOST_BYTES))
    elif suffix == ".gpkg":
        what = "a list of heights"
        reading.of_shapes(path, read_points(path, most_bytes=_MOST_BYTES, most_points=_MOST_ROWS, what=what))
    else:
        raise InputError(f"{path}: the name ends in none of .csv, .tsv, .txt, .geojson, .json, .gpkg")
    return reading.done(path)


class _Reading:
    """Records, problems and notes as they come."""

    def __init__(self, unit: str, columns: Columns, source: str, date: str) -> None:
        self._unit = unit
        self._columns = columns
        self._source = source
        self._date = date
        self._records: list[ListedHeight] = []
        self._problems: list[str] = []
        self._fractions: set[str] = set()

    def of_csv(self, path: Path) -> None:
        asked = {
            key: (folded_name(name),)
            for key, name in (
                ("height", self._columns.height),
                ("lat", self._columns.lat),
                ("lon", self._columns.lon),
                ("name", self._columns.name),
                ("date", self._columns.date),
            )
            if name
        }
        for row in read_rows(path, asked, most_bytes=_MOST_BYTES, what="a list of heights"):
            where = f"line {row.line}"
            if len(self._records) + len(self._problems) > _MOST_ROWS:
                raise InputError(f"{path}: holds more than {_MOST_ROWS:,} rows; cut it up")
            if row.problem:
                self._problems.append(f"{where}: {row.problem}")
                continue
            self._check(path, row.cells, ("height", "lat", "lon"))
            try:
                place = lon_lat_of_texts(row.cells["lon"], row.cells["lat"])
                self._add(where, place, row.cells)
            except (CoordinateError, UnreadableError) as error:
                self._problems.append(f"{where}: {error}")

    def of_shapes(self, path: Path, shapes: Sequence[Shape]) -> None:
        wanted = folded_name(self._columns.height)
        if shapes and not any(
            folded_name(str(k)) == wanted and v is not None for s in shapes for k, v in s.properties.items()
        ):
            known = ", ".join(sorted({str(key) for s in shapes[:100] for key in s.properties})) or "none"
            raise InputError(
                f"{path}: no feature has the property {self._columns.height}; there are {known[:200]}"
            )
        for shape in shapes:
            if shape.kind != "Point":
                self._problems.append(f"{shape.where}: is a {shape.kind}, not a point")
                continue
            try:
                told = folded_properties(shape.properties)
                cells = {
                    key: _text(told.get(folded_name(name)))
                    for key, name in (
                        ("height", self._columns.height),
                        ("name", self._columns.name),
                        ("date", self._columns.date),
                    )
                }
                self._add(shape.where, position_lon_lat(shape.coordinates), cells)
            except (CoordinateError, UnreadableError) as error:
                self._problems.append(f"{shape.where}: {error}")

    def done(self, path: Path) -> HeightList:
        if not self._records and not self._problems:
            raise InputError(f"{path}: holds no rows; export it again")
        notes = []
        parts = {int(text) for text in self._fractions}
        inches = len(parts) >= _TELLING_INCHES and max(parts) in (10, 11) and self._unit == "ft"
        if inches and all(len(text) < 3 for text in self._fractions):
            notes.append(
                f"{self._columns.height}: the parts of a foot run from 0 to {max(parts)}: are they inches? "
                "Then give the unit ft.in"
            )
        return HeightList(
            source=self._source,
            records=tuple(self._records),
            problems=tuple(self._problems),
            notes=tuple(notes),
        )

    def _check(self, path: Path, cells: Mapping[str, str], needed: tuple[str, ...]) -> None:
        """Raise InputError where a column is not in the header."""
        chosen = {"name": self._columns.name, "date": self._columns.date}
        wanted = [*needed, *(key for key, name in chosen.items() if name not in ("", key))]
        for key in wanted:
            if key not in cells:
                raise InputError(f"{path}: its header has no column {getattr(self._columns, key)}")

    def _add(self, where: str, place: tuple[float, float], cells: Mapping[str, str]) -> None:
        raw = cells["height"]
        height = self._height(raw)
        self._records.append(
            ListedHeight(
                source=self._source,
                where=where,
                lon=round(place[0], 7),
                lat=round(place[1], 7),
                height=height,
                key=self._columns.height,
                raw=raw,
                name=" ".join(cells.get("name", "").split())[:200],
                date=cells.get("date", "")[:40] or self._date,
            )
        )

    def _height(self, raw: str) -> Length:
        """The exact height of a cell. Raises UnreadableError, showing the text."""
        text = raw.strip()
        if not text:
            raise UnreadableError("has no height")
        if not _NUMBER.fullmatch(text):
            reading = parse_length(text)
            if reading.length is None:
                raise UnreadableError(reading.implausible)
            if reading.bare:
                raise UnreadableError(f"{shown(text)} holds no single height with a unit")
            return reading.length
        factor = UNITS[self._unit]
        if factor is None:
            length = _feet_point_inches(text)
        else:
            whole, _, part = text.replace(",", ".").partition(".")
            self._fractions.add(part or "0")
            length = Length.from_metres(Decimal(f"{whole}.{part or 0}") * factor)
        if not LOWEST_HEIGHT <= length <= HIGHEST_HEIGHT:
            raise UnreadableError(
                f"{shown(text)} {self._unit} would be {length}, outside {LOWEST_HEIGHT} to {HIGHEST_HEIGHT}; "
                "is it another unit?"
            )
        return length


def _feet_point_inches(text: str) -> Length:
    found = _FEET_POINT_INCHES.fullmatch(text)
    inches = int(found[2] or 0) if found else 12
    if found is None or inches >= 12:
        raise UnreadableError(
            f"{shown(text)} is no feet and inches; 13.06 or 13.6 is 13'6\", 13.11 is 13'11\""
        )
    return Length.from_feet(int(found[1]), inches)


def _text(value: Any) -> str:
    """A property as text; a number without needless zeros behind the point."""
    if value is None or isinstance(value, bool):
        return ""
    if isinstance(value, float):
        return f"{Decimal(repr(float(value))).normalize():f}"
    return str(value).strip()
