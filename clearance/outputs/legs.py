"""A drive cut at its stops, for the outputs that tell it leg by leg."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from clearance.core.drive import Drive, Piece, Stop

__all__ = ["along", "bearing", "gap", "halts", "legs", "lines", "span_m", "stop_letter"]

Point = tuple[float, float]

#: Closer than this, two distances along the drive are the same place.
_SAME_M = 1.0
#: Pieces further apart than this do not meet: something unchecked lies between.
_GAP_M = 5.0
#: Mean radius of the Earth (IUGG 1980, R1; from memory). Shares and angles need no ellipsoid.
_RADIUS_M = 6_371_008.8


def span_m(a: Point, b: Point) -> float:
    """Metres between two (lon, lat) points a few kilometres apart, on a sphere."""
    east, north = _offset(a, b)
    return math.hypot(east, north)


def bearing(a: Point, b: Point) -> float:
    """Degrees clockwise from north, 0 <= x < 360, of the way from `a` to `b`, both (lon, lat)."""
    east, north = _offset(a, b)
    return math.degrees(math.atan2(east, north)) % 360


def _offset(a: Point, b: Point) -> tuple[float, float]:
    turn = (b[0] - a[0] + 540) % 360 - 180
    middle = math.radians((a[1] + b[1]) / 2)
    return math.radians(turn) * math.cos(middle) * _RADIUS_M, math.radians(b[1] - a[1]) * _RADIUS_M


def along(points: Sequence[Point], metres: float) -> tuple[Point, int]:
    """The point `metres` along a line of (lon, lat), and the index of the first point beyond it.

    The ends of the line where `metres` is below nothing or beyond its length.
    """
    if metres <= 0:
        return points[0], 1
    left = metres
    for index, (a, b) in enumerate(pairwise(points), start=1):
        step = span_m(a, b)
        if left < step:
            share = left / step
            lon = a[0] + ((b[0] - a[0] + 540) % 360 - 180) * share
            return ((lon + 540) % 360 - 180, a[1] + (b[1] - a[1]) * share), index
        left -= step
    return points[-1], len(points)


def halts(drive: Drive) -> tuple[Stop, ...]:
    """The places of the day in order, the start first and the end last.

    A drive without stops of its own gets these two from its line, or from its places where it has none.
    """
    stops, places = list(drive.stops), drive.places
    if not places or len(stops) >= len(places):
        return tuple(stops)
    first, last = places[0], places[-1]
    start, end = (first.lon, first.lat), (last.lon, last.lat)
    if drive.pieces:
        start, end = drive.pieces[0].points[0], drive.pieces[-1].points[-1]
    if not stops or stops[0].place != first or stops[0].distance_m > _SAME_M:
        stops.insert(0, _halt(drive, at=start, index=0, distance_m=0.0, seconds=0.0))
    if len(places) > 1 and (len(stops) == 1 or stops[-1].place != last):
        stops.append(_halt(drive, at=end, index=-1, distance_m=drive.distance_m, seconds=drive.duration_s))
    return tuple(stops)


def stop_letter(index: int) -> str:
    """The letter that stands for a stop on map and paper, so that it is no finding's number.

    >>> stop_letter(0), stop_letter(25), stop_letter(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    left = index + 1
    while left:
        left, digit = divmod(left - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


def _halt(drive: Drive, *, at: Point, index: int, distance_m: float, seconds: float) -> Stop:
    return Stop(
        place=drive.places[index],
        lon=at[0],
        lat=at[1],
        off_road_m=0.0,
        distance_m=distance_m,
        arrives_s=seconds,
        leaves_s=seconds,
    )


def legs(drive: Drive) -> tuple[tuple[Piece, ...], ...]:
    """The pieces from each stop to the next; a piece driven past a stop is cut there.

    A leg between two stops at one place is empty. A drive with no pieces has no legs.
    """
    if not drive.pieces:
        return ()
    cuts = [stop.distance_m for stop in halts(drive)[1:-1]]
    waiting = list(reversed(drive.pieces))
    result: list[tuple[Piece, ...]] = []
    for cut in cuts:
        leg: list[Piece] = []
        while waiting and waiting[-1].distance_m < cut - _SAME_M:
            piece = waiting.pop()
            if piece.distance_m + piece.length_m > cut + _SAME_M:
                before, after = _cut(piece, cut - piece.distance_m)
                waiting.append(after)
                piece = before
            leg.append(piece)
        result.append(tuple(leg))
    return (*result, tuple(reversed(waiting)))


def gap(before: Piece, after: Piece) -> bool:
    """Whether two pieces that follow one another do not meet."""
    return span_m(before.points[-1], after.points[0]) > _GAP_M


def lines(leg: Sequence[Piece]) -> tuple[tuple[Point, ...], ...]:
    """The (lon, lat) points of a leg, one line for each part without a gap; a common point stands once."""
    result: list[list[Point]] = []
    last: Piece | None = None
    for piece in leg:
        if last is None or gap(last, piece):
            result.append([])
        for point in piece.points:
            if not result[-1] or result[-1][-1] != point:
                result[-1].append(point)
        last = piece
    return tuple(tuple(line) for line in result)


def _cut(piece: Piece, metres: float) -> tuple[Piece, Piece]:
    """The two parts of a piece, `metres` of its own length from its start."""
    share = metres / piece.length_m
    drawn = sum(span_m(a, b) for a, b in pairwise(piece.points))
    point, index = along(piece.points, drawn * share)
    before = replace(
        piece,
        points=(*piece.points[:index], point),
        length_m=metres,
        duration_s=piece.duration_s * share,
    )
    after = replace(
        piece,
        points=(point, *piece.points[index:]),
        length_m=piece.length_m - metres,
        duration_s=piece.duration_s * (1 - share),
        distance_m=piece.distance_m + metres,
        seconds=piece.seconds + piece.duration_s * share,
    )
    return before, after
