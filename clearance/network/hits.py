"""Where structures bear on arcs and on nodes of the network."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.sorted_rows import rows_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.structure import Span, Structure
    from clearance.network.pieces import Pieces

__all__ = ["PieceHits", "piece_hits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceHits:
    """Hits (q) on pieces of ways: see `Network` for the meaning; fractions are along the way."""

    piece: npt.NDArray[np.int64]
    structure: npt.NDArray[np.int32]
    start: npt.NDArray[np.float64]
    end: npt.NDArray[np.float64]
    share: npt.NDArray[np.float64]
    passed: npt.NDArray[np.bool_]


def piece_hits(structures: Sequence[Structure], rows: Mapping[int, int], pieces: Pieces) -> PieceHits:
    """The hits of all spans; `rows` maps the OSM id of each road to its row.

    A crossing just at a cut bears on both pieces that meet there, half a passage each. A span of some
    length bears on what it overlaps; several of them, as of a tunnel drawn as several ways, are one passage.
    Where a span carries the figure of the whole way, all pieces of the way are hit once more, without being
    passed.
    """
    found: list[tuple[int, int, float, float, float, bool]] = []
    for k, structure in enumerate(structures):
        whole: set[int] = set()
        part = _parts(structure, rows, pieces)
        for span in structure.spans:
            row = rows.get(span.way)
            if row is None:
                continue
            first, last = rows_of(pieces.row, row)
            if span.whole_way:
                whole.update(range(first, last))
            for hit in _span_hits(span, row, first, last, pieces):
                piece, start, end, share = hit
                found.append((piece, k, start, end, share * part.get(span.way, 1.0), True))
        found += [(piece, k, 0.0, 1.0, 0.0, False) for piece in sorted(whole)]
    columns: Sequence[Sequence[float]] = list(zip(*found, strict=True)) or [()] * 6
    return PieceHits(
        piece=np.array(columns[0], dtype=np.int64),
        structure=np.array(columns[1], dtype=np.int32),
        start=np.array(columns[2], dtype=np.float64),
        end=np.array(columns[3], dtype=np.float64),
        share=np.array(columns[4], dtype=np.float64),
        passed=np.array(columns[5], dtype=np.bool_),
    )


def _parts(structure: Structure, rows: Mapping[int, int], pieces: Pieces) -> dict[int, float]:
    """The part of one passage that each way holds, where a structure runs on from way to way."""
    if len(structure.spans) < 2 or any(span.start == span.end for span in structure.spans):
        return {}
    metres = {
        span.way: float(pieces.metres(rows[span.way], np.array([span.start, span.end])) @ [-1.0, 1.0])
        for span in structure.spans
        if span.way in rows
    }
    whole = sum(metres.values())
    return {way: length / whole for way, length in metres.items()} if whole > 0 else {}


def _span_hits(
    span: Span, row: int, first: int, last: int, pieces: Pieces
) -> list[tuple[int, float, float, float]]:
    """(piece, start, end, share) for the pieces first : last of one way under one span."""
    top = float(pieces.way_ptr[row + 1] - pieces.way_ptr[row] - 1)
    if math.isnan(span.start) or math.isnan(span.end) or first == last:
        return []
    low, high = sorted((min(max(span.start, 0.0), top), min(max(span.end, 0.0), top)))
    begins, ends = pieces.first[first:last], pieces.last[first:last]
    at = np.arange(first, last)
    touched = (begins < high) & (ends > low)
    if high == low or not touched.any():
        touched = (begins <= high) & (ends >= low)
    if not touched.any():
        # The place lies on a piece without length that was dropped: take the nearest one left.
        gap = np.maximum(begins - high, low - ends)
        touched = gap == gap.min()
    at, begins, ends = at[touched], begins[touched], ends[touched]
    base, stop = pieces.metres(row, begins), pieces.metres(row, ends)
    from_m, to_m = pieces.metres(row, np.maximum(begins, low)), pieces.metres(row, np.minimum(ends, high))
    room = np.maximum(stop - base, 1e-9)
    start, end = np.clip((from_m - base) / room, 0, 1), np.clip((to_m - base) / room, 0, 1)
    covered = np.maximum(to_m - from_m, 0.0)
    total = float(covered.sum())
    share = covered / total if total > 0 else np.full(at.size, 1 / at.size)
    return list(
        zip(at.tolist(), start.tolist(), np.maximum(start, end).tolist(), share.tolist(), strict=True)
    )
