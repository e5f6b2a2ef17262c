"""Areas to download: a named place, a box, a band along the lines between points."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "Area",
    "Band",
    "Box",
    "NamedArea",
    "area_km2",
    "outline",
    "parse_area",
    "quarters",
    "simple_outlines",
    "tiles",
    "widened",
]

#: Points along a line are no farther apart than this, so that a straight line on the plane of the
#: projection stays by the shortest line on the ground.
_STEP_M = 5_000.0
#: More corners than this are thinned: a query holds every one of them.
_CORNERS = 300
#: How far the thinned outline may stand outside the true one, in degrees: about 200 m.
_THINNING_DEG = 0.002


@dataclass(frozen=True, slots=True)
class NamedArea:
    """A place known to the name server, such as ``Fenwick, Northshire``."""

    name: str

    def __post_init__(self) -> None:
        """Refuse a name without letters."""
        if not any(c.isalpha() for c in self.name):
            raise UsageError(f"area {self.name!r} names no place; give a name, or west,south,east,north")

    def __str__(self) -> str:
        """The name."""
        return self.name


@dataclass(frozen=True, slots=True)
class Box:
    """A box between two meridians and two parallels, WGS84 degrees. West lies below east."""

    west: float
    south: float
    east: float
    north: float

    def __post_init__(self) -> None:
        """Refuse edges out of order or out of range."""
        if not all(map(math.isfinite, (self.west, self.south, self.east, self.north))):
            raise UsageError(f"box {self}: an edge is no number; give west,south,east,north in degrees")
        if not (-180 <= self.west < self.east <= 180 and -85 <= self.south < self.north <= 85):
            raise UsageError(
                f"box {self}: give west,south,east,north in degrees, west < east within -180 to 180 and "
                "south < north within -85 to 85 (a box over the 180th meridian as two)"
            )

    def __str__(self) -> str:
        """``west,south,east,north``."""
        edges = (self.west, self.south, self.east, self.north)
        return ",".join(f"{edge:.5f}".rstrip("0").rstrip(".") for edge in edges)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """All within `side_m` metres of the shortest lines between `points`, (lon, lat) WGS84 degrees."""

    points: tuple[tuple[float, float], ...]
    side_m: float

    def __post_init__(self) -> None:
        """Refuse a band without length, without width, or around half the globe."""
        if len(set(self.points)) < 2:
            raise UsageError("a band needs two points that differ; give more places")
        if not 100 <= self.side_m <= 100_000:
            raise UsageError(f"band of {self.side_m:g} m to each side: give 100 m to 100 km")
        for lon, lat in self.points:
            if not (abs(lon) <= 180 and abs(lat) <= 85):
                raise UsageError(f"band point lat {lat:g}, lon {lon:g} is out of range (85 S to 85 N)")
        if any(abs(a[0] - b[0]) > 180 for a, b in itertools.pairwise(self.points)):
            raise UsageError("a band over the 180th meridian is not supported; ask for boxes on both sides")

    def __str__(self) -> str:
        """The points as ``lat,lon`` and the width."""
        ends = " to ".join(f"{lat:.4f},{lon:.4f}" for lon, lat in self.points)
        return f"within {self.side_m / 1000:g} km of the line {ends}"


Area = NamedArea | Box | Band


def parse_area(text: str) -> NamedArea | Box:
    """A box from ``west,south,east,north``, else the place of that name.

    Raises UsageError where four numbers make no box, or where there are numbers only.
    """
    parts = re.split(r"\s*[,;]\s*|\s+", text.strip())
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        return NamedArea(text.strip())
    if len(numbers) != 4:
        raise UsageError(f"area {text!r}: a box has four numbers, west,south,east,north; got {len(numbers)}")
    return Box(*numbers)


def outline(area: Box | Band) -> Polygon:
    """The outline of a box or band, (lon, lat) WGS84 degrees."""
    import shapely

    if isinstance(area, Box):
        return shapely.box(area.west, area.south, area.east, area.north)
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    along = [area.points[0]]
    for (lon, lat), (lon_to, lat_to) in itertools.pairwise(area.points):
        between = int(geod.inv(lon, lat, lon_to, lat_to)[2] // _STEP_M)
        along += geod.npts(lon, lat, lon_to, lat_to, between) if between else []
        along.append((lon_to, lat_to))
    return widened(shapely.LineString(along), area.side_m)


def widened(shape: BaseGeometry, by_m: float) -> Polygon:
    """All within so many metres of a shape in WGS84 degrees, holes filled.

    Worked out on an azimuthal equidistant plane about the middle of the shape. Across the line of
    sight, such a plane is true to 0.1 % at 500 km from its middle.
    """
    import numpy as np
    import shapely
    from pyproj import Transformer

    west, south, east, north = shape.bounds
    middle = f"+lat_0={(south + north) / 2} +lon_0={(west + east) / 2}"
    to_plane = Transformer.from_crs("EPSG:4326", f"+proj=aeqd {middle} +datum=WGS84", always_xy=True)
    flat = shapely.transform(shape, lambda c: np.column_stack(to_plane.transform(c[:, 0], c[:, 1])))
    wide = flat.buffer(by_m, quad_segs=8)
    back = shapely.transform(
        wide, lambda c: np.column_stack(to_plane.transform(c[:, 0], c[:, 1], direction="INVERSE"))
    )
    return shapely.Polygon(back.exterior)


def simple_outlines(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of a shape, holes filled, with few enough corners for a query; none is cut short."""
    import shapely

    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        ring = shapely.make_valid(shapely.Polygon(part.exterior))
        if shapely.get_num_coordinates(ring) > _CORNERS:
            ring = ring.buffer(_THINNING_DEG).simplify(_THINNING_DEG * 0.9)
        found += [p for p in shapely.get_parts(ring) if p.geom_type == "Polygon" and p.area > 0]
    return found


def area_km2(shapes: Sequence[Polygon]) -> float:
    """Square kilometres on the WGS84 ellipsoid, of shapes in degrees that do not overlap."""
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    return sum(abs(geod.geometry_area_perimeter(shape)[0]) for shape in shapes) / 1e6


def tiles(shapes: Sequence[Polygon], side_deg: float) -> Iterator[Polygon]:
    """The parts of the shapes that lie in each cell of a grid over the globe, south-west first."""
    import shapely

    whole = shapely.union_all(list(shapes))
    west, south, east, north = (v / side_deg for v in whole.bounds)
    for row in range(math.floor(south), math.ceil(north)):
        for column in range(math.floor(west), math.ceil(east)):
            cell = shapely.box(
                column * side_deg, row * side_deg, (column + 1) * side_deg, (row + 1) * side_deg
            )
            if whole.intersects(cell):
                yield from simple_outlines(whole.intersection(cell))


def quarters(shape: Polygon) -> list[Polygon]:
    """The parts of a shape in the four quarters of its bounding box."""
    import shapely

    west, south, east, north = shape.bounds
    x, y = (west + east) / 2, (south + north) / 2
    corners = [(west, south, x, y), (x, south, east, y), (west, y, x, north), (x, y, east, north)]
    return [part for edges in corners for part in simple_outlines(shape.intersection(shapely.box(*edges)))]
