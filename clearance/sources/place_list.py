"""Lists of places: the stops of a day in order, or many destinations, from CSV, GPX, GeoJSON, GeoPackage."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from clearance.core.errors import InputError
from clearance.core.places import Place, StopList, StopRequest
from clearance.sources.coordinates import coarse, lon_lat_of_texts
from clearance.sources.csv_table import Row, read_rows
from clearance.sources.geojson_file import Shape, folded_properties, position_lon_lat, read_shapes
from clearance.sources.geopackage import read_points
from clearance.sources.gpx_file import read_gpx

__all__ = ["MOST_STOPS", "SUFFIXES", "read_stops"]

SUFFIXES = (".csv", ".tsv", ".txt", ".gpx", ".geojson", ".json", ".gpkg")
#: More destinations than this are no list somebody made for one coach.
MOST_STOPS = 100_000
_MOST_BYTES = 64 << 20
#: A stay of more than a week is a unit gone wrong (judgement, no source).
_LONGEST_STAY_MIN = 7 * 24 * 60
#: Coordinates written coarser than this may lie on another road.
_COARSE_M = 100

#: What a column or a property may be called, folded.
_NAMES: dict[str, tuple[str, ...]] = {
    "name": ("name", "title", "stop", "label"),
    "lat": ("lat", "latitude", "y"),
    "lon": ("lon", "lng", "long", "longitude", "x"),
    "place": ("place", "address", "where", "destination", "location"),
    "minutes": ("minutes", "minutes at stop", "min", "mins", "stay", "stay minutes", "stay min"),
}
_MINUTES = re.compile(r"(\d{1,6}(?:[.,]\d{1,3})?) ?(?:m|min|mins|minutes)?", re.ASCII | re.IGNORECASE)


def read_stops(path: Path) -> StopList:
    """The stops or destinations of a file, in its order, read by the file's ending.

    CSV: a header with ``lat`` and ``lon``, or ``place`` (a text to be looked up on the map), and if
    wished ``name`` and ``minutes``; where a row has both, the coordinates count. GPX: the points of its
    routes, or its waypoints where it has no route. GeoJSON and GeoPackage: points, with the properties
    ``name`` and ``minutes``; other geometries are problems.

    An entry that cannot be used is listed in `problems` with its line and left out of `stops`; what to
    do then is for the caller. Raises InputError where the file as a whole cannot be read or holds no
    entry at all, usable or not.
    """
    suffix = path.suffix.lower()
    if suffix == ".gpx":
        found = _of_gpx(path)
    elif suffix in (".geojson", ".json"):
        found = _of_shapes(read_shapes(path, most_bytes=_MOST_BYTES))
    elif suffix == ".gpkg":
        found = _of_shapes(
            read_points(path, most_bytes=16 * _MOST_BYTES, most_points=MOST_STOPS, what="a list of places")
        )
    elif suffix in (".csv", ".tsv", ".txt"):
        found = _of_csv(path)
    else:
        raise InputError(
            f"{path}: the name ends in none of {', '.join(SUFFIXES)}; rename or convert the file"
        )
    if not found.stops and not found.problems:
        raise InputError(f"{path}: holds no places; give points or rows with lat and lon, or place")
    if len(found.problems) > MOST_STOPS:
        raise InputError(
            f"{path}: more than {MOST_STOPS:,} entries cannot be used; is it a list of places? "
            f"The first: {found.problems[0]}"
        )
    if len(found.stops) > MOST_STOPS:
        raise InputError(f"{path}: holds {len(found.stops):,} places, more than {MOST_STOPS:,}; cut it up")
    return found


class _Gathering:
    """Stops, problems and notes as they come."""

    def __init__(self) -> None:
        self.stops: list[StopRequest] = []
        self.problems: list[str] = []
        self.notes: list[str] = []

    def done(self) -> StopList:
        return StopList(stops=tuple(self.stops), problems=tuple(self.problems), notes=tuple(self.notes))


def _minutes(text: str) -> float:
    """Minutes at a stop. Raises ValueError, saying what to write."""
    if not text.strip():
        return 0.0
    found = _MINUTES.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"minutes {text[:40]!r} cannot be read; write a number of minutes, such as 45")
    minutes = float(found[1].replace(",", "."))
    if minutes > _LONGEST_STAY_MIN:
        raise ValueError(f"minutes {text[:40]!r} are more than a week; is it another unit?")
    return minutes


def _of_csv(path: Path) -> StopList:
    found = _Gathering()
    for row in read_rows(path, _NAMES, most_bytes=_MOST_BYTES, what="a list of places"):
        # More rows that cannot be used than places that may be are no list of places.
        if len(found.stops) > MOST_STOPS or len(found.problems) > MOST_STOPS:
            break
        where = f"line {row.line}"
        if not row.problem and ("lat" in row.cells) is not ("lon" in row.cells):
            there, absent = ("lat", "lon") if "lat" in row.cells else ("lon", "lat")
            raise InputError(
                f"{path}: the header names a column for {there} but none for {absent}; name both"
            )
        try:
            found.stops.append(_of_row(row, where, found))
        except ValueError as error:
            found.problems.append(f"{where}: {error}")
    return found.done()


def _of_row(row: Row, where: str, found: _Gathering) -> StopRequest:
    if row.problem:
        raise ValueError(row.problem)
    lat, lon = row.cells.get("lat", ""), row.cells.get("lon", "")
    text, name = row.cells.get("place", ""), row.cells.get("name", "")
    minutes = _minutes(row.cells.get("minutes", ""))
    if lat or lon:
        x, y = lon_lat_of_texts(lon, lat)
        if (step := coarse(lat, lon)) > _COARSE_M:
            found.notes.append(
                f"{where}: {lat}, {lon} is written to about {step} m only; the stop may lie elsewhere"
            )
        return StopRequest(place=Place(lon=x, lat=y, name=name or text), minutes=minutes, where=where)
    if not text and not ("lat" in row.cells and "lon" in row.cells):
        # A list of names alone: there is no other column that could say where.
        text = name
    if not text:
        raise ValueError("has neither lat and lon nor a place")
    return StopRequest(place=text, minutes=minutes, where=where)


def _of_gpx(path: Path) -> StopList:
    kinds = read_gpx(path, ("wpt", "rtept"), most_points=10 * MOST_STOPS, most_bytes=_MOST_BYTES, named=True)
    points, waypoints = kinds["rtept"], kinds["wpt"]
    found = _Gathering()
    if not points.lon:
        points = waypoints
    elif waypoints.lon:
        found.notes.append(
            f"holds {len(waypoints.lon)} waypoints beside a route of {len(points.lon)} points: it counts"
        )
    if not points.lon and (track := len(kinds["trkpt"].lon)):
        raise InputError(f"{path}: holds a track of {track} points but no waypoints or route; name the stops")
    for lon, lat, line, name in zip(points.lon, points.lat, points.line, points.names, strict=True):
        place = Place(lon=lon, lat=lat, name=name)
        found.stops.append(StopRequest(place=place, where=f"line {line}"))
    return found.done()


def _of_shapes(shapes: list[Shape]) -> StopList:
    found = _Gathering()
    for shape in shapes:
        if shape.kind == "Point":
            positions = [shape.coordinates]
        elif shape.kind == "MultiPoint" and isinstance(shape.coordinates, list):
            positions = shape.coordinates
        else:
            found.problems.append(f"{shape.where}: is a {shape.kind}, not a point")
            continue
        for position in positions:
            try:
                x, y = position_lon_lat(position)
                name, minutes = _told(shape.properties)
            except ValueError as error:
                found.problems.append(f"{shape.where}: {error}")
            else:
                place = Place(lon=x, lat=y, name=name)
                found.stops.append(StopRequest(place=place, minutes=minutes, where=shape.where))
    return found.done()


def _told(properties: Mapping[str, Any]) -> tuple[str, float]:
    """Name and minutes among the properties of a point."""
    folded = folded_properties(properties)
    name, minutes = (
        next((str(folded[spelling]) for spelling in _NAMES[column] if spelling in folded), "")
        for column in ("name", "minutes")
    )
    return " ".join(name.split())[:200], _minutes(minutes)
