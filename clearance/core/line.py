"""A line made elsewhere: points in order, before anything is known of the roads beneath."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = ["Line"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A track, a route or a drawn line.

    `points` are WGS84 degrees, longitude first, float64 (n, 2), n >= 2, finite and in range. `parts` are
    the indices where a part begins, int64 (p,), the first of them 0: between two parts the line is
    interrupted. `times` are seconds since 1970 in UTC, float64 (n,), NaN where a point has none; None
    where no point has one. `source` is the name of the file, `notes` what is worth saying of it.
    """

    points: npt.NDArray[np.float64]
    parts: npt.NDArray[np.int64]
    times: npt.NDArray[np.float64] | None = None
    source: str = ""
    notes: tuple[str, ...] = ()

    def spans(self) -> Iterator[tuple[int, int]]:
        """The (first, behind the last) indices of each part."""
        ends = [*self.parts.tolist()[1:], len(self.points)]
        yield from zip(self.parts.tolist(), ends, strict=True)
