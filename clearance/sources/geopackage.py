"""Points of a GeoPackage (OGC 12-128), brought to WGS84, in the shape of GeoJSON features."""

from __future__ import annotations

import contextlib
import math
import sqlite3
from pathlib import Path
from typing import Any

from clearance.core.errors import InputError
from clearance.sources.geojson_file import Shape
from clearance.sources.plain_text import checked_file

__all__ = ["read_points"]


def read_points(path: Path, *, most_bytes: int, most_points: int, what: str) -> list[Shape]:
    """Every point of the one layer of points of the file, with its properties; missing values are None.

    Coordinates are a list of longitude and latitude, None for a row without a point; the place in the
    file is ``row`` and the feature's id. `what` says what the file should be.

    Raises InputError where the file is no GeoPackage, has not exactly one layer of points, a view for a
    layer, more points than allowed, or does not say its reference system.
    """
    import json
    import warnings

    import pyogrio
    import shapely
    from pyproj import CRS, Transformer
    from pyproj.exceptions import ProjError

    checked_file(path, most_bytes=most_bytes, what=what)
    _refuse_views(path)
    try:
        # What GDAL finds odd about a file that it reads all the same is nothing that a user could act on.
        with warnings.catch_warnings(action="ignore", category=RuntimeWarning):
            layers = [str(name) for name, kind in pyogrio.list_layers(path) if kind and "Point" in str(kind)]
            if len(layers) != 1:
                raise InputError(
                    f"{path}: holds {len(layers)} layers of points ({', '.join(layers) or 'none'}); "
                    "one is needed"
                )
            meta, fids, geometries, columns = pyogrio.raw.read(
                path, layer=layers[0], return_fids=True, max_features=most_points + 1
            )
        points = shapely.from_wkb(geometries)
        crs = CRS.from_user_input(meta["crs"]) if meta["crs"] else None
        change = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True) if crs is not None else None
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        ProjError,
        shapely.GEOSException,
    ) as error:
        raise InputError(
            f"{path}: cannot be read as a GeoPackage ({' '.join(str(error).split())[:200]})"
        ) from error
    if change is None:
        raise InputError(f"{path}: does not say its reference system; save it in WGS84 (EPSG:4326)")
    if len(points) > most_points:
        raise InputError(f"{path}: holds more than {most_points:,} points; cut it up")
    shapes: list[Shape] = []
    for row, (fid, point) in enumerate(zip(fids.tolist(), points, strict=True)):
        properties = {str(n): _plain(c[row]) for n, c in zip(meta["fields"], columns, strict=True)}
        where = f"row {fid}"
        if point is None or point.is_empty:
            shapes.append(Shape("Point", None, properties, where))
            continue
        content = json.loads(shapely.to_geojson(point))
        positions = content["coordinates"] if content["type"] == "MultiPoint" else [content["coordinates"]]
        shapes += [Shape("Point", list(change.transform(p[0], p[1])), properties, where) for p in positions]
    return shapes


def _refuse_views(path: Path) -> None:
    """Raise InputError where a layer is a view: a file from elsewhere must not reckon, perhaps for ever.

    What is no database is left to be refused by whoever reads it.
    """
    try:
        with contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?immutable=1", uri=True)) as file:
            # A name may be written in either case.
            views = {str(name).lower() for (name,) in file.execute(_VIEWS)}
            # Where the table of contents is one itself, it is not asked.
            layers = views if any(name.startswith("gpkg_") for name in views) else _contents(file)
    except (sqlite3.Error, UnicodeError):
        return
    if found := sorted(views & layers):
        raise InputError(
            f"{path}: its layer {found[0][:60]} is a view, which is not read; export it as a layer of its own"
        )


_VIEWS = "SELECT name FROM sqlite_master WHERE type = 'view'"


def _contents(file: sqlite3.Connection) -> set[str]:
    return {str(name).lower() for (name,) in file.execute("SELECT table_name FROM gpkg_contents")}


def _plain(value: Any) -> Any:
    """A cell without the missing values of numpy."""
    if isinstance(value, float) and math.isnan(value):
        return None
    return None if str(value) == "NaT" else value
