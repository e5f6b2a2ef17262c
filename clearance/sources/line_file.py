"""Lines made elsewhere: GPX tracks and routes, GeoJSON lines, tables of points."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from clearance.core.errors import InputError
from clearance.core.line import Line
from clearance.sources.coordinates import CoordinateError, lon_lat_of_texts
from clearance.sources.csv_table import Row, read_rows
from clearance.sources.geojson_file import position_lon_lat, read_shapes
from clearance.sources.gpx_file import read_gpx
from clearance.sources.timestamps import utc_seconds

__all__ = ["MOST_POINTS", "SUFFIXES", "read_line"]

SUFFIXES = (".gpx", ".geojson", ".json", ".csv", ".tsv", ".txt")
#: A point each second of eleven days; a day's line has fewer than a hundred thousand.
MOST_POINTS = 1_000_000
_MOST_BYTES = 256 << 20
#: JSON is held in memory whole, at several times its size.
_MOST_JSON_BYTES = 64 << 20
_MOST_PROBLEMS = 5

_NAMES: dict[str, tuple[str, ...]] = {
    "lat": ("lat", "latitude", "y"),
    "lon": ("lon", "lng", "long", "longitude", "x"),
    "time": ("time", "timestamp", "datetime", "date time", "utc"),
    "part": ("part", "segment", "track", "trkseg"),
}


def read_line(path: Path) -> Line:
    """The line of a file, read by the file's ending.

    GPX: its tracks, or its routes where it has no track; a part begins with each segment or route.
    GeoJSON: its LineStrings in order, each a part. CSV: a header with ``lat`` and ``lon``, if wished
    ``time`` (ISO 8601, UTC where no zone is told) and ``part``. Points one behind another at the very same
    place are kept.

    Raises InputError, with the line where there is one: a file that cannot be read, fewer than two
    points, a point without a place on Earth (with a hint where latitude and longitude look swapped),
    more than `MOST_POINTS` points.
    """
    suffix = path.suffix.lower()
    if suffix == ".gpx":
        return _of_gpx(path)
    if suffix in (".geojson", ".json"):
        return _of_geojson(path)
    if suffix in (".csv", ".tsv", ".txt"):
        return _of_csv(path)
    raise InputError(f"{path}: the name ends in none of {', '.join(SUFFIXES)}; rename or convert the file")


def _line(
    path: Path,
    *,
    lon: np.ndarray[tuple[int], np.dtype[np.float64]],
    lat: np.ndarray[tuple[int], np.dtype[np.float64]],
    parts: list[int],
    time: np.ndarray[tuple[int], np.dtype[np.float64]] | None = None,
    notes: tuple[str, ...] = (),
) -> Line:
    if len(lon) < 2:
        raise InputError(f"{path}: holds {len(lon)} points; a line needs two")
    if time is not None and np.isnan(time).all():
        time = None
    return Line(
        points=np.column_stack([lon, lat]),
        parts=np.array(parts, dtype=np.int64),
        times=time,
        source=path.name,
        notes=notes,
    )


def _of_gpx(path: Path) -> Line:
    kinds = read_gpx(path, ("trkpt", "rtept"), most_points=MOST_POINTS, most_bytes=_MOST_BYTES)
    found, notes = kinds["trkpt"], []
    if not found.lon:
        found = kinds["rtept"]
    elif kinds["rtept"].lon:
        notes.append(f"holds a track and a route of {len(kinds['rtept'].lon)} points; the track counts")
    if not found.lon:
        waypoints = len(kinds["wpt"].lon)
        has = f"{waypoints} waypoints but no track or route" if waypoints else "no points"
        raise InputError(f"{path}: holds {has}; export the line as a track")
    if found.unreadable_times:
        notes.append(f"{found.unreadable_times} times cannot be read and are left out")
    columns = [np.frombuffer(values, dtype=np.float64) for values in (found.lon, found.lat, found.time)]
    return _line(path, lon=columns[0], lat=columns[1], parts=found.parts, time=columns[2], notes=tuple(notes))


def _of_geojson(path: Path) -> Line:
    shapes = read_shapes(path, most_bytes=_MOST_JSON_BYTES)
    strings: list[tuple[str, object]] = []
    left_out = 0
    for shape in shapes:
        if shape.kind == "LineString":
            strings.append((shape.where, shape.coordinates))
        elif shape.kind == "MultiLineString" and isinstance(shape.coordinates, list):
            strings += [(shape.where, string) for string in shape.coordinates]
        else:
            left_out += 1
    if not strings:
        kinds = ", ".join(sorted({shape.kind for shape in shapes})) or "nothing"
        raise InputError(f"{path}: holds no line ({kinds}); a LineString or MultiLineString is needed")
    lon: list[float] = []
    lat: list[float] = []
    parts: list[int] = []
    for where, string in strings:
        if not isinstance(string, list) or len(string) < 2:
            raise InputError(f"{path}, {where}: is a line of fewer than two positions")
        parts.append(len(lon))
        for number, position in enumerate(string, 1):
            try:
                x, y = position_lon_lat(position)
            except CoordinateError as error:
                raise InputError(f"{path}, {where}, position {number}: {error}") from error
            lon.append(x)
            lat.append(y)
        _check_count(path, len(lon))
    notes = (f"{left_out} geometries that are no lines are left out",) if left_out else ()
    return _line(path, lon=np.array(lon), lat=np.array(lat), parts=parts, notes=notes)


def _of_csv(path: Path) -> Line:
    lon: list[float] = []
    lat: list[float] = []
    time: list[float] = []
    parts: list[int] = []
    problems: list[str] = []
    part: str | None = None
    unreadable = 0
    for row in read_rows(path, _NAMES, most_bytes=_MOST_BYTES, what="a line of points"):
        try:
            x, y = _row_lon_lat(row)
        except CoordinateError as error:
            problems.append(f"line {row.line}: {error}")
            if len(problems) >= _MOST_PROBLEMS:
                break
            continue
        if row.cells.get("part", "") != part:
            part = row.cells.get("part", "")
            parts.append(len(lon))
        lon.append(x)
        lat.append(y)
        told = row.cells.get("time", "")
        time.append(utc_seconds(told))
        unreadable += bool(told) and math.isnan(time[-1])
        _check_count(path, len(lon))
    if problems:
        more = "; there may be more" if len(problems) >= _MOST_PROBLEMS else ""
        raise InputError(f"{path}, {'; '.join(problems)}{more}")
    notes = (f"{unreadable} times cannot be read and are left out",) if unreadable else ()
    return _line(path, lon=np.array(lon), lat=np.array(lat), parts=parts, time=np.array(time), notes=notes)


def _row_lon_lat(row: Row) -> tuple[float, float]:
    if row.problem:
        raise CoordinateError(row.problem)
    return lon_lat_of_texts(row.cells.get("lon", ""), row.cells.get("lat", ""))


def _check_count(path: Path, count: int) -> None:
    if count > MOST_POINTS:
        raise InputError(
            f"{path}: holds more than {MOST_POINTS:,} points; cut the line into days, or thin it"
        )
