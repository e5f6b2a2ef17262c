"""The roads beneath a drive, chosen and packed small for a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.mapline import MapLine

if TYPE_CHECKING:
    import numpy.typing as npt

    Points = npt.NDArray[np.float64]
    Floats = npt.NDArray[np.float64]

__all__ = ["CLASSES", "BaseMap", "base_map", "class_of"]

Point = tuple[float, float]

#: Classes of lines, drawn in this order; `_REACH` is how much nearer a line must be to be worth its points.
CLASSES = ("rail", "service", "minor", "middle", "major")
_REACH = {"rail": 2.0, "service": 4.0, "minor": 2.0, "middle": 0.6, "major": 0.2}
_OF_HIGHWAY = {
    "motorway": "major",
    "trunk": "major",
    "primary": "middle",
    "secondary": "middle",
    "tertiary": "middle",
    "unclassified": "minor",
    "residential": "minor",
    "living_street": "minor",
}

#: About 3 MB of page: what a phone still opens in a moment. Judgement, no source.
MOST_POINTS = 150_000
#: Lines within this many metres of the drive's own box may be drawn at all.
_MARGIN_M = 4_000.0
_M_PER_DEGREE = 111_320.0
#: Metres between the dots that stand for a drive, and how many there may be.
_DOT_M, _MOST_DOTS = 200.0, 400
#: How many points of a railway are looked at.
_RAIL_PICKS = 33
#: 1e-5 degrees is about a metre: finer than the widest line drawn.
_SCALE = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseMap:
    """Lines packed as whole numbers, by class.

    `lines[class]` holds [index into `names`, lon, lat, dlon, dlat, ...] for each line, in 1e-5 degrees, the
    first point whole and the others as steps. `left_out` counts lines near the drive that did not fit.
    """

    names: tuple[str, ...]
    lines: dict[str, list[list[int]]]
    left_out: int


def base_map(
    roads: Sequence[MapLine], about: Sequence[Sequence[Point]], most_points: int = MOST_POINTS
) -> BaseMap:
    """The lines of `roads` near the lines `about` (each (lon, lat) points), nearest and largest roads first.

    Nothing where `about` holds no point.
    """
    names: dict[str, int] = {"": 0}
    lines: dict[str, list[list[int]]] = {name: [] for name in CLASSES}
    kept = [line for line in roads if len(line.points) > 1]
    near = _dotted(about)
    if not len(near) or not kept:
        return BaseMap(names=tuple(names), lines=lines, left_out=0)
    classes = [_class(line) for line in kept]
    cost = _distances(kept, near) * np.array([_REACH[c] for c in classes])
    left_out = used = 0
    for index in np.argsort(cost, kind="stable"):
        if not np.isfinite(cost[index]):
            break
        line = kept[index]
        if used + len(line.points) > most_points:
            left_out += 1
            continue
        used += len(line.points)
        lines[classes[index]].append([names.setdefault(line.name, len(names)), *_packed(line.points)])
    return BaseMap(names=tuple(names), lines=lines, left_out=left_out)


def _class(line: MapLine) -> str:
    return "rail" if line.is_rail else class_of(line.highway)


def class_of(highway: str) -> str:
    """The class in which a road is drawn, one of `CLASSES`."""
    return _OF_HIGHWAY.get(highway.removesuffix("_link"), "service")


def _dotted(lines: Sequence[Sequence[Point]]) -> Points:
    """Points along the lines, close enough together to measure a distance from; shape (n, 2)."""
    dots = []
    for line in lines:
        ends = np.array(line, dtype=np.float64).reshape(-1, 2)
        for a, b in pairwise(ends):
            parts = int(np.abs(b - a).max() * _M_PER_DEGREE / _DOT_M) + 1
            dots.append(np.linspace(a, b, parts, endpoint=False))
        dots.append(ends[-1:])
    near = np.concatenate(dots) if dots else np.empty((0, 2))
    # A few hundred dots tell a drive of any length well enough.
    return near[:: max(1, len(near) // _MOST_DOTS)]


def _distances(lines: Sequence[MapLine], near: Points) -> Floats:
    """Rough metres from each line to the nearest of the dots, endless outside their box.

    A road is near where the middle or an end of it is: enough to choose what to draw. Railways run whole
    from station to station and are looked at in more places.
    """
    squeeze = np.cos(np.radians(near[:, 1].mean()))
    to_metres = np.array([_M_PER_DEGREE * squeeze, _M_PER_DEGREE])
    near = near * to_metres
    low, high = near.min(axis=0) - _MARGIN_M, near.max(axis=0) + _MARGIN_M
    best = np.full(len(lines), np.inf)
    everything = np.arange(len(lines))
    rails = np.flatnonzero([line.is_rail for line in lines])
    for group, picks in ((everything, 3), (rails, _RAIL_PICKS)):
        for pick in np.linspace(0.0, 1.0, picks) if len(group) else ():
            some = [lines[int(i)].points for i in group]
            at = np.array([points[round((len(points) - 1) * pick)] for points in some]) * to_metres
            inside = np.flatnonzero(((at >= low) & (at <= high)).all(axis=1))
            for start in range(0, len(inside), 4096):
                part = inside[start : start + 4096]
                gaps = np.hypot(at[part, None, 0] - near[None, :, 0], at[part, None, 1] - near[None, :, 1])
                best[group[part]] = np.minimum(best[group[part]], gaps.min(axis=1))
    return best


def _packed(points: Sequence[Point]) -> list[int]:
    whole = np.rint(np.array(points) * _SCALE).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=0)
    moved = (steps != 0).any(axis=1)
    moved[0] = True
    return [int(n) for n in steps[moved].ravel()]
