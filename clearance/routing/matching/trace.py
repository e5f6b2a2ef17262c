"""A line made ready for matching: metres along it, and the points that tell something new."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.geometry import plane_scale

if TYPE_CHECKING:
    from clearance.core.line import Line
    from clearance.network.network import F64, I64

__all__ = ["Trace"]

#: How many distances before and behind one tell how sparse the line is there.
_AROUND = 4


class Trace:
    """A line with metres on it.

    `points` (n, 2) are degrees, longitude first; `scale` the metres per degree of longitude and latitude
    at each; `along` (n,) the metres from the start of the line, interruptions not counted.

    After `thin`: `kept` (k,) are the indices of the points kept, and those of section number s of the line
    are kept[section_ptr[s] : section_ptr[s + 1]]. Between two sections the line is interrupted.
    """

    kept: I64
    section_ptr: I64

    def __init__(self, line: Line) -> None:
        """Measure the line; all its points are kept for now."""
        self.points = line.points
        self.scale = _scales(line.points[:, 1])
        indices = np.arange(len(line.points))
        step = self.distance(indices[:-1], indices[1:])
        step[line.parts[1:] - 1] = 0.0
        self.along = np.concatenate((np.zeros(1), np.cumsum(step)))
        self._ends = [behind for _, behind in line.spans()]

    def distance(self, a: int | I64, b: int | I64) -> F64:
        """Straight metres between points of the line, by their indices."""
        x, y = self.points[:, 0], self.points[:, 1]
        east = (x[b] - x[a]) * (self.scale[0][a] + self.scale[0][b]) / 2
        north = (y[b] - y[a]) * (self.scale[1][a] + self.scale[1][b]) / 2
        metres: F64 = np.hypot(east, north)
        return metres

    def off_chord(self, a: int, b: int, lon: F64, lat: F64) -> F64:
        """Metres of places from the straight stretch between points `a` and `b` of the line."""
        x = (lon - self.points[a, 0]) * self.scale[0][a]
        y = (lat - self.points[a, 1]) * self.scale[1][a]
        to_x = (self.points[b, 0] - self.points[a, 0]) * self.scale[0][a]
        to_y = (self.points[b, 1] - self.points[a, 1]) * self.scale[1][a]
        square = to_x**2 + to_y**2
        share = np.clip((x * to_x + y * to_y) / square, 0, 1) if square > 0 else np.zeros(x.size)
        metres: F64 = np.hypot(x - share * to_x, y - share * to_y)
        return metres

    def thin(self, *, step_m: float, gap_m: float) -> None:
        """Keep of each section its ends and the points `step_m` or more from the one kept before.

        A part of the line that begins within `gap_m` of the end of the one before goes on with it.
        """
        kept = [self._thinned(first, behind, step_m) for first, behind in self._sections(gap_m)]
        self.kept = np.array([point for points in kept for point in points], dtype=np.int64)
        self.section_ptr = np.cumsum([0, *(len(points) for points in kept)])

    def _sections(self, gap_m: float) -> Iterator[tuple[int, int]]:
        first = 0
        for behind in self._ends:
            if behind == len(self.points) or self.distance(behind - 1, behind) > gap_m:
                yield first, behind
                first = behind

    def _thinned(self, first: int, behind: int, step_m: float) -> list[int]:
        x = ((self.points[first:behind, 0] - self.points[first, 0]) * self.scale[0][first]).tolist()
        y = ((self.points[first:behind, 1] - self.points[first, 1]) * self.scale[1][first]).tolist()
        near, last, kept = step_m**2, 0, [first]
        for i in range(1, behind - first):
            if (x[i] - x[last]) ** 2 + (y[i] - y[last]) ** 2 >= near:
                last = i
                kept.append(first + i)
        if kept[-1] != behind - 1:
            kept.append(behind - 1)
        return kept

    def spacing(self) -> F64:
        """For each kept point but the last the metres to the next, or what is usual around, if that is more.

        A sparse line cuts corners, and the most at hairpins, where two points happen to be near each other.
        """
        straight = self.distance(self.kept[:-1], self.kept[1:])
        if not straight.size:
            return straight
        around = np.pad(straight, _AROUND, mode="edge")
        usual = np.median(np.lib.stride_tricks.sliding_window_view(around, 2 * _AROUND + 1), axis=1)
        spacing: F64 = np.maximum(straight, usual)
        return spacing

    def bearings(self, dense_m: float) -> F64:
        """The bearing from each kept point but the last to the next, radians from north.

        NaN between sections and where the two are more than `dense_m` apart: that says nothing of the road
        at either.
        """
        a, b = self.kept[:-1], self.kept[1:]
        x, y = self.points[:, 0], self.points[:, 1]
        bearing: F64 = np.arctan2((x[b] - x[a]) * self.scale[0][a], (y[b] - y[a]) * self.scale[1][a])
        bearing[self.distance(a, b) > dense_m] = np.nan
        bearing[self.section_ptr[1:-1] - 1] = np.nan
        return bearing


def _scales(lat: F64) -> tuple[F64, F64]:
    """Metres per degree of longitude and of latitude, from a table with a row each tenth of a degree."""
    knots = np.arange(np.floor(lat.min() * 10), np.ceil(lat.max() * 10) + 1.5) / 10
    table = np.array([plane_scale(float(knot)) for knot in knots])
    return np.interp(lat, knots, table[:, 0]), np.interp(lat, knots, table[:, 1])
