"""A line of the base map: what a page draws beneath a drive."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["MapLine"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapLine:
    """One road or railway of the road file.

    `points` are (lon, lat) WGS84 degrees. `highway` is the value of the OSM tag, empty for a railway.
    """

    points: tuple[tuple[float, float], ...]
    highway: str = ""
    name: str = ""
    is_rail: bool = False
