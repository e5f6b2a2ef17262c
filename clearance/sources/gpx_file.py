"""GPX as a stream: the points of tracks, routes and waypoints, in bounded memory."""

from __future__ import annotations

import math
from array import array
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

from clearance.core.errors import InputError
from clearance.sources.coordinates import CoordinateError, lon_lat_of_texts
from clearance.sources.plain_text import checked_file
from clearance.sources.timestamps import utc_seconds

__all__ = ["GpxPoints", "read_gpx"]

#: The element of a point, and the element whose every start begins a new part of the line.
_POINTS = {"trkpt": "trkseg", "rtept": "rte", "wpt": ""}
#: Only these may stand around a point: elements of other programs within <extensions> are not GPX.
_PARENTS = {"trkpt": "trkseg", "rtept": "rte", "wpt": "gpx"}
_CHUNK = 1 << 20
#: GPX needs six levels; a file of a million is made to fill the memory.
_DEEPEST = 100
#: One tag or comment is gathered whole by the parser, which begins it anew with every chunk.
_LONGEST_PIECE = 8 << 20
_LONGEST_NAME = 200
_MOST_PROBLEMS = 5
_NAN = float("nan")


@dataclass(slots=True)
class GpxPoints:
    """The points of one kind, in the order of the file.

    `lon`, `lat` in degrees; `time` in seconds since 1970, UTC, NaN where not told; `line` the line in the
    file; `parts` the index of the first point of each segment or route; `names` as told, empty
    where not. Lines and names are kept only where asked for.
    """

    lon: array[float] = field(default_factory=lambda: array("d"))
    lat: array[float] = field(default_factory=lambda: array("d"))
    time: array[float] = field(default_factory=lambda: array("d"))
    line: array[int] = field(default_factory=lambda: array("q"))
    parts: list[int] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    unreadable_times: int = 0


def read_gpx(
    path: Path, kinds: Collection[str], *, most_points: int, most_bytes: int, named: bool = False
) -> dict[str, GpxPoints]:
    """The points of a GPX file by kind; `kinds` are some of ``trkpt``, ``rtept``, ``wpt``.

    With `named`, names and lines are kept as well. The file is read as a stream.

    Raises InputError, with the line: no such file, no XML, no GPX, a document type or entities (refused
    before anything is expanded), a point without a place on Earth, more than `most_points` points.
    """
    checked_file(path, most_bytes=most_bytes, what="a GPX file")
    reader = _Reader(path, kinds, most_points=most_points, named=named)
    try:
        with path.open("rb") as file:
            done = 0
            while chunk := file.read(_CHUNK):
                reader.parser.Parse(chunk, False)
                done += len(chunk)
                if done - max(reader.parser.CurrentByteIndex, 0) > _LONGEST_PIECE:
                    raise InputError(
                        f"{path}, line {reader.parser.CurrentLineNumber}: a tag or comment of more than "
                        f"{_LONGEST_PIECE >> 20} MiB, as in no GPX; refused"
                    )
            reader.parser.Parse(b"", True)
    except expat.ExpatError as error:
        reason = expat.errors.messages.get(error.code, "unknown reason")
        raise InputError(
            f"{path}, line {error.lineno}: is not whole XML ({reason}); export the file again"
        ) from error
    # An encoding that is declared but not known, or not to the parser.
    except (LookupError, UnicodeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{path}: its text cannot be decoded ({error}); save it as UTF-8") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); copy it to a local disk") from error
    reader.raise_problems()
    return reader.found


class _Reader:
    """Handlers of the parser and what they have gathered."""

    def __init__(self, path: Path, kinds: Collection[str], *, most_points: int, named: bool) -> None:
        self.path = path
        self.found = {kind: GpxPoints() for kind in _POINTS}
        self.problems: list[str] = []
        self._kinds = frozenset(kinds)
        self._most_points = most_points
        self._named = named
        self._told = ("time", "name") if named else ("time",)
        self._open: list[str] = []
        self._breaks = {part: kind for kind, part in _POINTS.items() if part and kind in kinds}
        self._new_part = dict.fromkeys(_POINTS, True)
        self._current: GpxPoints | None = None
        self._point_depth = 0
        self._text: list[str] | None = None
        self._count = 0
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.EntityDeclHandler = self._entity

    def raise_problems(self) -> None:
        """Raise InputError where there is something to tell."""
        if self.problems:
            more = "; there may be more" if len(self.problems) >= _MOST_PROBLEMS else ""
            raise InputError(f"{self.path}, {'; '.join(self.problems)}{more}")

    @property
    def _line(self) -> int:
        return self.parser.CurrentLineNumber

    def _doctype(self, *_: object) -> None:
        raise InputError(
            f"{self.path}, line {self._line}: declares a document type, which GPX never "
            "needs and which can hide an attack; refused"
        )

    _entity = _doctype

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        tag = name.rpartition(":")[2]
        depth = len(self._open)
        if depth == 0 and tag != "gpx":
            kind = {"html": "a web page", "kml": "KML", "osm": "OpenStreetMap data"}.get(
                tag.lower(), f"<{tag[:40]}>"
            )
            raise InputError(f"{self.path}: is {kind}, not GPX; export the line as GPX 1.1 or GeoJSON")
        if depth >= _DEEPEST:
            raise InputError(
                f"{self.path}, line {self._line}: elements are nested {_DEEPEST} deep, as in no GPX; refused"
            )
        parent = self._open[-1] if depth else ""
        self._open.append(tag)
        if tag in _POINTS:
            if parent == _PARENTS[tag]:
                self._point(tag, attributes)
        elif tag in self._breaks:
            self._new_part[self._breaks[tag]] = True
        elif tag in self._told and self._current is not None and depth == self._point_depth:
            self._text = []
            self.parser.CharacterDataHandler = self._characters

    def _characters(self, text: str) -> None:
        if self._text is not None and len(self._text) < _LONGEST_NAME:
            self._text.append(text)

    def _end(self, _name: str) -> None:
        tag = self._open.pop()
        if self._text is not None and self._current is not None and len(self._open) == self._point_depth:
            self.parser.CharacterDataHandler = None
            text, self._text = " ".join("".join(self._text)[:_LONGEST_NAME].split()), None
            if tag == "time":
                # In UTC, whether or not they say so (GPX 1.1 schema, element time).
                seconds = utc_seconds(text)
                self._current.time[-1] = seconds
                self._current.unreadable_times += math.isnan(seconds)
            else:
                self._current.names[-1] = text
        elif len(self._open) < self._point_depth:
            self._current, self._point_depth = None, 0

    def _point(self, kind: str, attributes: dict[str, str]) -> None:
        self._count += 1
        if self._count > self._most_points:
            raise InputError(
                f"{self.path}, line {self._line}: holds more than {self._most_points:,} points; "
                "cut the line into days, or thin it to one point each few seconds"
            )
        found = self.found[kind]
        if kind not in self._kinds:
            # Counted only, so that a message can tell what the file holds instead.
            found.lon.append(_NAN)
            return
        try:
            lon, lat = lon_lat_of_texts(attributes["lon"], attributes["lat"])
        except (CoordinateError, KeyError) as error:
            reason = f"has no {error.args[0]}" if isinstance(error, KeyError) else str(error)
            self.problems.append(f"line {self._line}: <{kind}> {reason}")
            if len(self.problems) >= _MOST_PROBLEMS:
                self.raise_problems()
            return
        if self._new_part[kind]:
            found.parts.append(len(found.lon))
            self._new_part[kind] = False
        found.lon.append(lon)
        found.lat.append(lat)
        found.time.append(_NAN)
        if self._named:
            found.line.append(self._line)
            found.names.append("")
        self._current, self._point_depth = found, len(self._open)
