"""Points on the ground and places with a name."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Place"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A point with a name: WGS84 degrees, longitude first (RFC 7946 section 3.1.1).

    `kind` says what the name belongs to (``street``, ``fuel``, ``town``, ...), or is
    ``point`` for bare coordinates. `osm` is the element it came from, such as ``way/12``.
    """

    lon: float
    lat: float
    name: str = ""
    kind: str = "point"
    osm: str = ""
