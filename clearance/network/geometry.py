"""Points of arcs and parts of arcs, in driving order."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from clearance.network.network import F64, Network

__all__ = ["arc_points", "plane_scale", "steps"]

#: WGS84: a = 6378137 m, 1/f = 298.257223563 (from memory).
_A = 6378137.0
_E2 = 2 / 298.257223563 - 1 / 298.257223563**2


def plane_scale(lat: float) -> tuple[float, float]:
    """Metres per degree of (longitude, latitude) near a latitude, on WGS84.

    By the ellipsoid's radii of curvature; good to a few millionths over some kilometres.

    >>> [round(metres) for metres in plane_scale(0.0)]
    [111319, 110574]
    """
    sin2 = math.sin(math.radians(lat)) ** 2
    root = math.sqrt(1 - _E2 * sin2)
    north = _A * (1 - _E2) / root**3
    east = _A / root * math.cos(math.radians(lat))
    return math.radians(east), math.radians(north)


def steps(lon: F64, lat: F64) -> F64:
    """Metres from each point to the next on a plane at the middle of them, shape (n - 1,)."""
    x_scale, y_scale = plane_scale(float((lat.min() + lat.max()) / 2))
    lengths: F64 = np.hypot(np.diff(lon) * x_scale, np.diff(lat) * y_scale)
    return lengths


def arc_points(network: Network, arc: int, start: float = 0.0, end: float = 1.0) -> tuple[F64, F64]:
    """Longitudes and latitudes of an arc from fraction `start` to `end` of its length, in driving order.

    At least two points, WGS84 degrees; the two are the same where start == end.
    """
    piece = int(network.arc_geom[arc])
    begin, stop = int(network.geom_ptr[piece]), int(network.geom_ptr[piece + 1])
    lon, lat = network.geom_lon[begin:stop], network.geom_lat[begin:stop]
    if network.arc_from[arc] > network.arc_to[arc]:
        lon, lat = lon[::-1], lat[::-1]
    if start <= 0.0 and end >= 1.0:
        return np.array(lon), np.array(lat)
    along = np.concatenate((np.zeros(1), np.cumsum(steps(lon, lat))))
    from_m, to_m = start * along[-1], end * along[-1]
    inside = (along > from_m) & (along < to_m)
    at = np.concatenate(([from_m], along[inside], [to_m]))
    return np.interp(at, along, lon), np.interp(at, along, lat)
