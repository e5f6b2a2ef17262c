"""GeoJSON features of a file (RFC 7946), flat and with their place in it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from clearance.core.errors import InputError
from clearance.sources.coordinates import CoordinateError, lon_lat
from clearance.sources.csv_table import folded_name
from clearance.sources.plain_text import read_text

__all__ = ["Shape", "folded_properties", "position_lon_lat", "read_shapes"]

_GEOMETRIES = frozenset({"Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"})
_DEEPEST_COLLECTION = 8
#: Names of WGS84 with longitude first, as files before RFC 7946 wrote them.
_WGS84_NAMES = ("crs84", "4326")


@dataclass(frozen=True, slots=True)
class Shape:
    """One geometry: its GeoJSON type, raw coordinates, the feature's properties, where it stands."""

    kind: str
    coordinates: Any
    properties: Mapping[str, Any]
    where: str


def read_shapes(path: Path, *, most_bytes: int) -> list[Shape]:
    """Every geometry of a GeoJSON file, those of collections one by one. Coordinates are not checked.

    Raises InputError where the file is no JSON or no GeoJSON, with line and column or the feature's
    number, or declares another reference system than WGS84.
    """
    text = read_text(path, most_bytes=most_bytes, what="a GeoJSON file")
    try:
        content = json.loads(text, parse_constant=_refuse, object_pairs_hook=_object)
    except RecursionError as error:
        raise InputError(f"{path}: is nested too deeply for GeoJSON; export it again") from error
    except json.JSONDecodeError as error:
        raise InputError(
            f"{path}, line {error.lineno}, column {error.colno}: is not JSON ({error.msg}); export it again"
        ) from error
    except _TwiceError as error:
        raise InputError(f"{path}: {error}; export it again") from error
    # What int() says of a number of thousands of digits, and what _refuse says.
    except ValueError as error:
        raise InputError(f"{path}: a number cannot be read ({str(error)[:100]}); export it again") from error
    _check_crs(path, content)
    return list(_shapes(path, content))


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number in JSON")


class _TwiceError(ValueError):
    """An object with a name that stands in it twice."""


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose names differ: of two heights under one name nobody can tell which is meant."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _TwiceError(f"holds an object in which the name {twice[:40]!r} stands twice")
    return found


def folded_properties(properties: Mapping[str, Any]) -> dict[str, Any]:
    """Properties that have a value, by their names as `csv_table.folded_name` compares them.

    Raises CoordinateError where two of them are of one name then, such as Height and height, and differ.
    """
    folded: dict[str, Any] = {}
    for key, value in properties.items():
        name = folded_name(str(key))
        if value is None:
            continue
        if name in folded and folded[name] != value:
            raise CoordinateError(
                f"the property {name[:40]} stands there twice and differs; keep one of them"
            )
        folded[name] = value
    return folded


def _check_crs(path: Path, content: object) -> None:
    if not isinstance(content, dict) or content.get("crs") is None:
        return
    name = str(content["crs"]).casefold()
    if not any(known in name for known in _WGS84_NAMES):
        raise InputError(
            f"{path}: is in the reference system {name[:80]}; GeoJSON is in WGS84 degrees, export it so"
        )


def _shapes(path: Path, content: object) -> Iterator[Shape]:
    if isinstance(content, dict) and content.get("type") == "FeatureCollection":
        features = content.get("features")
        if not isinstance(features, list):
            raise InputError(f"{path}: its FeatureCollection has no list of features; export it again")
    else:
        features = [content]
    for number, feature in enumerate(features, 1):
        where = f"feature {number}"
        kind = feature.get("type") if isinstance(feature, dict) else None
        if kind == "Feature":
            told = feature.get("properties")
            properties = told if isinstance(told, dict) else {}
            if feature.get("geometry") is not None:
                yield from _geometries(path, feature["geometry"], properties, where)
        elif isinstance(kind, str) and (kind in _GEOMETRIES or kind == "GeometryCollection"):
            yield from _geometries(path, feature, {}, where)
        else:
            raise InputError(f"{path}, {where}: is no GeoJSON feature (its type is {str(kind)[:40]!r})")


def _geometries(
    path: Path, geometry: object, properties: Mapping[str, Any], where: str, depth: int = 0
) -> Iterator[Shape]:
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if isinstance(geometry, dict) and kind == "GeometryCollection":
        members = geometry.get("geometries")
        if not isinstance(members, list) or depth >= _DEEPEST_COLLECTION:
            raise InputError(f"{path}, {where}: is a collection without a plain list of geometries")
        for member in members:
            yield from _geometries(path, member, properties, where, depth + 1)
    elif isinstance(geometry, dict) and isinstance(kind, str) and kind in _GEOMETRIES:
        yield Shape(kind, geometry.get("coordinates"), properties, where)
    else:
        raise InputError(f"{path}, {where}: has no GeoJSON geometry (its type is {str(kind)[:40]!r})")


def position_lon_lat(position: object) -> tuple[float, float]:
    """Longitude and latitude of a GeoJSON position; a height behind them is left out.

    Raises CoordinateError where it is no list of two numbers, or no place on Earth.
    """
    if (
        not isinstance(position, list)
        or len(position) < 2
        or any(isinstance(v, bool) or not isinstance(v, int | float) for v in position[:2])
    ):
        raise CoordinateError(f"{str(position)[:40]} is no position; GeoJSON writes [longitude, latitude]")
    try:
        return lon_lat(float(position[0]), float(position[1]))
    except OverflowError as error:
        raise CoordinateError("a coordinate is larger than any number of degrees") from error
