"""The roads and railways of a network as plain lines, for a map to be drawn of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.core.mapline import MapLine

if TYPE_CHECKING:
    from clearance.network.network import Network

__all__ = ["map_lines"]


def map_lines(network: Network, box: tuple[float, float, float, float]) -> tuple[MapLine, ...]:
    """The pieces of road, then the railways, that come into `box`, whole.

    `box` is west, south, east, north in WGS84 degrees; a box beside everything gives none.
    """
    return (*_roads(network, box), *(line for line in network.backdrop if _touches(line, box)))


def _touches(line: MapLine, box: tuple[float, float, float, float]) -> bool:
    west, south, east, north = box
    lons = [lon for lon, _ in line.points]
    lats = [lat for _, lat in line.points]
    return min(lons) <= east and max(lons) >= west and min(lats) <= north and max(lats) >= south


def _roads(network: Network, box: tuple[float, float, float, float]) -> list[MapLine]:
    if not network.geom_lon.size:
        return []
    west, south, east, north = box
    begin = network.geom_ptr[:-1]
    near = (np.maximum.reduceat(network.geom_lon, begin) >= west) & (
        np.minimum.reduceat(network.geom_lon, begin) <= east
    )
    near &= np.maximum.reduceat(network.geom_lat, begin) >= south
    near &= np.minimum.reduceat(network.geom_lat, begin) <= north
    way_of = np.zeros(network.geom_ptr.size - 1, np.int32)
    way_of[network.arc_geom] = network.arc_way
    lines = []
    for piece in np.flatnonzero(near).tolist():
        way = network.ways[int(way_of[piece])]
        part = slice(int(network.geom_ptr[piece]), int(network.geom_ptr[piece + 1]))
        points = zip(network.geom_lon[part].tolist(), network.geom_lat[part].tolist(), strict=True)
        lines.append(MapLine(points=tuple(points), highway=way.highway, name=way.name or way.ref))
    return lines
