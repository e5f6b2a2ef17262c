"""From a place to the nearest point of a road."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.errors import PlaceError
from clearance.network.blocks import NODES_A_BLOCK
from clearance.network.geometry import plane_scale, steps
from clearance.routing.ran import stage

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.network.network import F64, I64, Bool, Network

__all__ = ["LIMIT_M", "SegmentIndex", "Snap", "snap"]

#: A place farther than this from any road is no place to drive to (judgement, no source).
LIMIT_M = 500.0
#: The width of the cells of an index: a few of them cover what is near, and few hold much that is not.
_CELL_M = 150.0
#: Points as near as this to the nearest one count as the same: the corner of two roads.
_SAME_M = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Snap:
    """A point on an arc: `fraction` of its length from its tail, `distance_m` from the place.

    `lon`, `lat` are the point on the road, WGS84 degrees.
    """

    arc: int
    fraction: float
    distance_m: float
    lon: float
    lat: float


@stage("snap")
def snap(
    network: Network,
    lon: float,
    lat: float,
    usable: Bool,
    limit_m: float = LIMIT_M,
    *,
    index: SegmentIndex | None = None,
) -> list[Snap]:
    """The nearest point on a usable road, once for each arc through it, nearest and lowest arc first.

    `usable` (a,) marks the arcs that count. A two-way road is returned in both directions; at a corner all
    roads that meet there are. With an `index` of the network the answer is the same, and had sooner where
    there are many places; for one place it takes longer to make.

    Raises PlaceError, with the distance and what to try, where no usable road is within `limit_m`.
    """
    x_scale, y_scale = plane_scale(lat)
    reach = (limit_m / x_scale, limit_m / y_scale)
    if index is None:
        arcs = _arcs_near(network, lon, lat, *reach)
        near, owner = _segments_of(network, np.unique(network.arc_geom[arcs[usable[arcs]]]))
    else:
        near = index.near(lon, lat, *reach)
        owner = np.searchsorted(network.geom_ptr, near, side="right") - 1
        kept = index.usable(owner, usable)
        near, owner = near[kept], owner[kept]
    if near.size:
        offset, part = _nearest_on(network, near, (lon, lat), (x_scale, y_scale))
        best = float(offset.min())
        if best <= limit_m:
            same = np.flatnonzero(offset <= best + _SAME_M)
            nearest = zip(*(a[same].tolist() for a in (near, owner, part, offset)), strict=True)
            of_pieces = {
                piece: index.arcs_of(piece) if index else arcs[network.arc_geom[arcs] == piece]
                for piece in set(owner[same].tolist())
            }
            return _snaps(network, usable, nearest, of_pieces)
    raise _too_far(network, lon, lat, _usable_pieces(network, usable), limit_m)


class SegmentIndex:
    """The segments of a network by square cells, and the arcs of each piece."""

    def __init__(self, network: Network) -> None:
        """Sort the segments by the cells that their boxes lie in, a long one into several."""
        self._network = network
        lon, lat = network.geom_lon, network.geom_lat
        x_scale, y_scale = plane_scale(float(lat.mean())) if lat.size else (1.0, 1.0)
        self._origin = (float(lon.min()), float(lat.min())) if lat.size else (0.0, 0.0)
        self._cell = (_CELL_M / x_scale, _CELL_M / y_scale)
        x, y = self._column(lon), self._row(lat)
        self._width = int(x.max()) + 1 if x.size else 1
        west, east = np.minimum(x[:-1], x[1:]), np.maximum(x[:-1], x[1:])
        south, north = np.minimum(y[:-1], y[1:]), np.maximum(y[:-1], y[1:])
        across, count = east - west + 1, (east - west + 1) * (north - south + 1)
        # From the last point of a piece to the first of the next there is no segment.
        count[network.geom_ptr[1:-1] - 1] = 0
        segment = np.repeat(np.arange(count.size), count)
        nth = np.arange(segment.size) - np.repeat(np.cumsum(count) - count, count)
        cell = (south[segment] + nth // across[segment]) * self._width + west[segment] + nth % across[segment]
        order = np.argsort(cell, kind="stable")
        self._cells, self._segments = cell[order], segment[order]
        self._arcs = np.argsort(network.arc_geom, kind="stable")
        self._arc_ptr = np.searchsorted(network.arc_geom[self._arcs], np.arange(network.geom_ptr.size))

    def _column(self, lon: F64) -> I64:
        return np.floor((lon - self._origin[0]) / self._cell[0]).astype(np.int64)

    def _row(self, lat: F64) -> I64:
        return np.floor((lat - self._origin[1]) / self._cell[1]).astype(np.int64)

    def near(self, lon: float, lat: float, d_lon: float, d_lat: float) -> I64:
        """Segments (by their first point) that may come within the given degrees of a place, in order."""
        west, east = self._column(np.array([lon - d_lon, lon + d_lon])).tolist()
        south, north = self._row(np.array([lat - d_lat, lat + d_lat])).tolist()
        west, east = max(west, 0), min(east, self._width - 1)
        rows = np.arange(south, north + 1) * self._width
        begin = np.searchsorted(self._cells, rows + west)
        end = np.searchsorted(self._cells, rows + east, side="right")
        parts = [
            self._segments[b:e] for b, e in zip(begin.tolist(), end.tolist(), strict=True) if east >= west
        ]
        return np.unique(np.concatenate([self._segments[:0], *parts]))

    def usable(self, pieces: I64, usable: Bool) -> Bool:
        """Whether some usable arc has each of these pieces."""
        begin, count = self._arc_ptr[pieces], self._arc_ptr[pieces + 1] - self._arc_ptr[pieces]
        owner = np.repeat(np.arange(pieces.size), count)
        at = np.arange(owner.size) + (begin + count - np.cumsum(count))[owner]
        return np.bincount(owner, weights=usable[self._arcs[at]], minlength=pieces.size) > 0

    def arcs_of(self, piece: int) -> I64:
        """The arcs of a piece, the lowest first."""
        return self._arcs[self._arc_ptr[piece] : self._arc_ptr[piece + 1]]


def _usable_pieces(network: Network, usable: Bool) -> Bool:
    pieces = np.zeros(network.geom_ptr.size - 1, np.bool_)
    pieces[network.arc_geom[usable]] = True
    return pieces


def _arcs_near(network: Network, lon: float, lat: float, d_lon: float, d_lat: float) -> I64:
    """Arcs in order, all those among them that come within the given degrees of the place."""
    west, south, east, north = network.block_box.T
    near = (west <= lon + d_lon) & (east >= lon - d_lon) & (south <= lat + d_lat) & (north >= lat - d_lat)
    nodes = np.flatnonzero(near).astype(np.int32) * np.int32(NODES_A_BLOCK)
    begin = np.searchsorted(network.arc_tail, nodes)
    end = np.searchsorted(network.arc_tail, nodes + np.int32(NODES_A_BLOCK))
    return _ranges(begin, end)[0]


def _segments_of(network: Network, pieces: npt.NDArray[np.integer]) -> tuple[I64, npt.NDArray[np.integer]]:
    """Segments (by their first point) of pieces, and the piece of each."""
    segments, which = _ranges(network.geom_ptr[pieces], network.geom_ptr[pieces.astype(np.int64) + 1] - 1)
    return segments, pieces[which]


def _ranges(begin: I64, end: I64) -> tuple[I64, I64]:
    """All numbers from each `begin` up to its `end`, one range after the other, and the range of each."""
    count = end - begin
    which = np.repeat(np.arange(count.size), count)
    return np.arange(which.size) + (end - np.cumsum(count))[which], which


def _nearest_on(
    network: Network, segments: I64, place: tuple[float, float], scale: tuple[float, float]
) -> tuple[F64, F64]:
    """Metres from the place to each segment, and where on it (0 to 1) the nearest point lies."""
    ax = (network.geom_lon[segments] - place[0]) * scale[0]
    ay = (network.geom_lat[segments] - place[1]) * scale[1]
    bx = (network.geom_lon[segments + 1] - place[0]) * scale[0]
    by = (network.geom_lat[segments + 1] - place[1]) * scale[1]
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    part = np.clip(-(ax * dx + ay * dy) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    return np.hypot(ax + part * dx, ay + part * dy), part


def _snaps(
    network: Network,
    usable: Bool,
    nearest: Iterable[tuple[int, int, float, float]],
    of_pieces: Mapping[int, npt.NDArray[np.integer]],
) -> list[Snap]:
    """The snaps of the nearest points, each told by (segment, piece, part of the segment, distance).

    `of_pieces` has the arcs of each piece, the lowest first.
    """
    found: dict[tuple[int, float], Snap] = {}
    for segment, piece, along, distance in nearest:
        begin, stop = int(network.geom_ptr[piece]), int(network.geom_ptr[piece + 1])
        x, y = network.geom_lon[begin:stop], network.geom_lat[begin:stop]
        lengths = steps(x, y)
        done, total = float(lengths[: segment - begin].sum()), float(lengths.sum())
        fraction = (done + along * float(lengths[segment - begin])) / total if total > 0 else 0.0
        fraction = min(max(fraction, 0.0), 1.0)
        at = segment - begin
        lon = float(x[at] + along * (x[at + 1] - x[at]))
        lat = float(y[at] + along * (y[at + 1] - y[at]))
        arcs = of_pieces[piece]
        for arc in arcs[usable[arcs]].tolist():
            own = fraction if network.arc_from[arc] < network.arc_to[arc] else 1.0 - fraction
            # The shared point of two segments of one piece is one place; the ends of a closed piece are two.
            found.setdefault(
                (arc, round(own, 6)),
                Snap(arc=arc, fraction=own, distance_m=distance, lon=lon, lat=lat),
            )
    return sorted(found.values(), key=lambda s: (round(s.distance_m, 3), s.arc, s.fraction))


def _too_far(network: Network, lon: float, lat: float, pieces: Bool, limit_m: float) -> PlaceError:
    where = f"{lat:.6f},{lon:.6f}"
    owned = np.zeros(network.geom_lon.size, np.bool_)
    if pieces.any():
        sizes = np.diff(network.geom_ptr)
        owned = np.repeat(pieces, sizes)
    if not owned.any():
        return PlaceError(f"{where}: the road file holds no road that the coach may use")
    x_scale, y_scale = plane_scale(lat)
    # The nearest point of any road, good enough to say how far.
    away = np.hypot((network.geom_lon[owned] - lon) * x_scale, (network.geom_lat[owned] - lat) * y_scale)
    nearest = int(np.argmin(away))
    distance = float(away[nearest])
    there = f"{network.geom_lat[owned][nearest]:.6f},{network.geom_lon[owned][nearest]:.6f}"
    west, east = float(network.geom_lon.min()), float(network.geom_lon.max())
    south, north = float(network.geom_lat.min()), float(network.geom_lat.max())
    if not (west <= lon <= east and south <= lat <= north):
        return PlaceError(
            f"{where} is outside the area of the road file "
            f"({south:.4f},{west:.4f} to {north:.4f},{east:.4f}), about {_shown(distance)} from its nearest "
            "road; check the order (lat,lon) or get a larger area"
        )
    return PlaceError(
        f"{where} is about {_shown(distance)} from the nearest road that the coach may use, more than "
        f"{limit_m:.0f} m; give a place on a road, such as {there}"
    )


def _shown(metres: float) -> str:
    return f"{metres:.0f} m" if metres < 10_000 else f"{metres / 1000:.0f} km"
