"""Tables of a road file: rows as JSON texts in one blob, read only where asked for."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, Generic, TypeVar, overload

import numpy as np

from clearance.core.errors import RoadFileError
from clearance.core.lengths import Length
from clearance.core.mapline import MapLine
from clearance.core.places import Place
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network.network import Rule, WayRow

if TYPE_CHECKING:
    from clearance.network.network import I8, I64

__all__ = ["DECODERS", "Rows", "encode", "packed"]

T = TypeVar("T")
#: Rows decoded at a time when a table is read from end to end.
_BATCH = 2048


def encode(row: WayRow | Structure | Rule | Place | MapLine) -> str:
    """A row as compact JSON: its fields in order."""
    return json.dumps(_plain(row), ensure_ascii=False, separators=(",", ":"))


def _plain(row: WayRow | Structure | Rule | Place | MapLine) -> list[Any]:
    match row:
        case WayRow():
            return [row.id, row.name, row.ref, row.highway, row.tags]
        case Rule():
            return [row.target, row.condition, row.value, row.element, row.raw, row.modes]
        case Place():
            return [row.lon, row.lat, row.name, row.kind, row.osm, row.tags]
        case MapLine():
            return [row.points, row.highway, row.name, row.is_rail]
        case Structure():
            return [
                row.key,
                row.kind,
                row.lon,
                row.lat,
                row.name,
                row.road,
                [_evidence(e) for e in row.evidence],
                [[s.way, s.start, s.end, s.whole_way] for s in row.spans],
                row.nodes,
                row.upper,
                row.ambiguous_order,
                row.slight,
                {element: dict(tags) for element, tags in row.tags.items()},
                row.warnings,
            ]


def _evidence(e: Evidence) -> list[Any]:
    figure = None if e.figure is None else e.figure.tenths
    texts = (e.element, e.key, e.raw, e.condition)
    implied = None if e.implied is None else e.implied.tenths
    return [e.evidence_class, figure, e.direction, *texts, e.can_clear, e.note, e.source, e.date, implied]


def _way(row: list[Any]) -> WayRow:
    return WayRow(*row)


def _rule(row: list[Any]) -> Rule:
    target, condition, value, element, raw, modes = row
    return Rule(target, condition, value, element, raw, tuple(modes))


def _place(row: list[Any]) -> Place:
    lon, lat, name, kind, osm, tags = row
    return Place(
        lon=lon, lat=lat, name=name, kind=kind, osm=osm, tags=tuple((key, value) for key, value in tags)
    )


def _line(row: list[Any]) -> MapLine:
    points, highway, name, is_rail = row
    return MapLine(
        points=tuple((lon, lat) for lon, lat in points), highway=highway, name=name, is_rail=is_rail
    )


def _evidence_of(row: list[Any]) -> Evidence:
    known, figure, direction, element, key, raw, condition, can_clear, note, source, date, implied = row
    return Evidence(
        evidence_class=EvidenceClass(known),
        figure=None if figure is None else Length(figure),
        direction=Direction(direction),
        element=element,
        key=key,
        raw=raw,
        condition=condition,
        can_clear=can_clear,
        note=note,
        source=source,
        date=date,
        implied=None if implied is None else Length(implied),
    )


def _structure(row: list[Any]) -> Structure:
    key, kind, lon, lat, name, road, evidence, spans, nodes, upper, ambiguous, slight, tags, warnings = row
    return Structure(
        key=key,
        kind=Kind(kind),
        lon=lon,
        lat=lat,
        name=name,
        road=road,
        evidence=tuple(_evidence_of(e) for e in evidence),
        spans=tuple(Span(way=way, start=start, end=end, whole_way=whole) for way, start, end, whole in spans),
        nodes=tuple(nodes),
        upper=upper,
        ambiguous_order=ambiguous,
        slight=slight,
        tags=tags,
        warnings=tuple(warnings),
    )


#: From the fields of a row back to the row, by table.
DECODERS: dict[str, Callable[[list[Any]], Any]] = {
    "ways": _way,
    "structures": _structure,
    "rules": _rule,
    "places": _place,
    "backdrop": _line,
}


def packed(rows: Iterable[WayRow | Structure | Rule | Place | MapLine]) -> tuple[I8, I64]:
    """The rows as one blob of UTF-8 with a comma after each, and where each begins, with the end of all."""
    texts = [f"{encode(row)},".encode() for row in rows]
    begins = np.concatenate((np.zeros(1, np.int64), np.cumsum([len(t) for t in texts], dtype=np.int64)))
    return np.frombuffer(b"".join(texts), np.uint8), begins


class Rows(Sequence[T], Generic[T]):
    """A table whose rows are decoded when asked for; equal to any sequence of equal rows."""

    def __init__(self, table: str, blob: I8, begins: I64) -> None:
        """`blob` and `begins` as `packed` makes them; `table` is a key of `DECODERS`."""
        self._table = table
        self._blob = blob
        self._begins = begins
        self._decode = DECODERS[table]

    def __len__(self) -> int:
        """How many rows there are."""
        return int(self._begins.size) - 1

    @overload
    def __getitem__(self, index: int) -> T: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[T]: ...
    def __getitem__(self, index: int | slice) -> T | Sequence[T]:
        """One row, or a tuple of them. Raises RoadFileError where the file is damaged there."""
        if isinstance(index, slice):
            start, stop, step = index.indices(len(self))
            if step == 1:
                return tuple(self._batch(start, max(start, stop)))
            return tuple(self[i] for i in range(start, stop, step))
        if not -len(self) <= index < len(self):
            raise IndexError(index)
        at = index % len(self)
        return self._batch(at, at + 1)[0]

    def __iter__(self) -> Iterator[T]:
        """All rows in order."""
        for start in range(0, len(self), _BATCH):
            yield from self._batch(start, min(start + _BATCH, len(self)))

    def __eq__(self, other: object) -> bool:
        """Row by row."""
        if not isinstance(other, Sequence) or len(other) != len(self):
            return False
        return all(a == b for a, b in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]

    def _batch(self, start: int, stop: int) -> list[T]:
        begin, end = int(self._begins[start]), int(self._begins[stop])
        text = self._blob[begin : max(begin, end - 1)].tobytes()
        try:
            rows = json.loads(b"[" + text + b"]")
            if len(rows) == stop - start:
                return [self._decode(row) for row in rows]
        except (ValueError, TypeError, LookupError, AttributeError, RecursionError):
            pass
        raise RoadFileError(
            f"the road file is damaged: rows {start} to {stop - 1} of its {self._table} cannot be read; "
            "make it anew with `clearance get`"
        )
