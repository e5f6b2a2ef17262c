"""Ways of a large file that are wanted only near a road, put off until its roads are known.

Most buildings stand away from the roads. As Python objects they would take more memory than all else in the
file, so that only their boxes are kept at first, and those near a road are read in a pass of their own.
"""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING

import numpy as np

from clearance.sources.assemble import near_road

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.sources.assemble import Elements

    I32 = npt.NDArray[np.int32]

__all__ = ["WKB_HEAD", "PutOff", "places_of_lines"]

#: Hexadecimal digits before the points of a line in WKB: byte order, type and count (from memory).
WKB_HEAD = 18
#: And those of a point: two doubles.
_WKB_POINT = 32
#: Places are kept as whole 1e-7 degrees.
_PER_DEGREE = 10_000_000
#: So many places wait as text before they become numbers.
_MANY_PLACES = 1 << 18


def places_of_lines(texts: list[str]) -> I32:
    """The points (n, 2), in whole 1e-7 degrees, of lines in hexadecimal WKB without its head, end to end."""
    places = np.frombuffer(bytes.fromhex("".join(texts)), dtype="<f8")
    found: I32 = np.rint(places * _PER_DEGREE).astype(np.int32).reshape(-1, 2)
    return found


class PutOff:
    """Ways by id and box."""

    def __init__(self) -> None:
        """None yet."""
        self._ids, self._counts = array("q"), array("q")
        self._texts: list[str] = []
        self._length = 0
        self._boxes: list[I32] = []

    def add(self, way: int, line: str) -> None:
        """A way and its line in hexadecimal WKB without its head."""
        self._ids.append(way)
        self._counts.append(len(line) // _WKB_POINT)
        self._texts.append(line)
        self._length += len(line) // _WKB_POINT
        if self._length >= _MANY_PLACES:
            self._flush()

    def _flush(self) -> None:
        if not self._texts:
            return
        places = places_of_lines(self._texts)
        counts = np.array(self._counts, np.int64)
        begin = np.cumsum(counts) - counts
        low, high = (of.reduceat(places, begin, axis=0) for of in (np.minimum, np.maximum))
        self._boxes.append(np.concatenate((low, high), axis=1))
        self._texts, self._counts, self._length = [], array("q"), 0

    def wanted(self, elements: Elements) -> frozenset[int]:
        """The ids of those that a road or path of `elements` runs into or over, or that stand there too.

        A way may be in a file more than once, and the last one counts: what stands among the ways of
        `elements` is to be read again, so that all of it comes in the order of the file.
        """
        self._flush()
        if not self._ids:
            return frozenset()
        near = near_road(elements, np.concatenate(self._boxes))
        ids = np.array(self._ids, np.int64)
        known = np.fromiter((way.id for way in elements.ways), np.int64, len(elements.ways))
        return frozenset(ids[near | np.isin(ids, known)].tolist())
