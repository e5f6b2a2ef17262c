"""The roads and railways of a network as plain lines, for a map to be drawn of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.mapline import MapLine

if TYPE_CHECKING:
    from clearance.network.network import I8, Network

__all__ = ["map_lines"]


def map_lines(
    network: Network,
    box: tuple[float, float, float, float],
    only: tuple[I8, Sequence[bool]] | None = None,
    *,
    with_rails: bool = True,
) -> tuple[MapLine, ...]:
    """The pieces of road, then the railways, that come into `box`, whole.

    `box` is west, south, east, north in WGS84 degrees; a box beside everything gives none. `only` leaves out
    roads without decoding them: a kind for each way (uint8, shape (ways,)), and which kinds are wanted.
    """
    rails = (line for line in network.backdrop if _touches(line, box)) if with_rails else ()
    return (*_roads(network, box, only), *rails)


def _touches(line: MapLine, box: tuple[float, float, float, float]) -> bool:
    west, south, east, north = box
    lons = [lon for lon, _ in line.points]
    lats = [lat for _, lat in line.points]
    return min(lons) <= east and max(lons) >= west and min(lats) <= north and max(lats) >= south


def _roads(
    network: Network, box: tuple[float, float, float, float], only: tuple[I8, Sequence[bool]] | None
) -> list[MapLine]:
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
    if only is not None:
        near &= np.array(only[1], dtype=np.bool_)[only[0][way_of]]
    lines = []
    for piece in np.flatnonzero(near).tolist():
        way = network.ways[int(way_of[piece])]
        part = slice(int(network.geom_ptr[piece]), int(network.geom_ptr[piece + 1]))
        points = zip(network.geom_lon[part].tolist(), network.geom_lat[part].tolist(), strict=True)
        lines.append(MapLine(points=tuple(points), highway=way.highway, name=way.name or way.ref))
    return lines
