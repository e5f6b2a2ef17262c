"""Points on the ground and places with a name."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Place", "StopList", "StopRequest"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A point with a name: WGS84 degrees, longitude first (RFC 7946 section 3.1.1).

    `kind` says what the name belongs to (``street``, ``fuel``, ``town``, ...), or is
    ``point`` for bare coordinates. `osm` is the element it came from, such as ``way/12``. `tags` are
    the (key, value) pairs that matter to a coach, on facilities alone.
    """

    lon: float
    lat: float
    name: str = ""
    kind: str = "point"
    osm: str = ""
    tags: tuple[tuple[str, str], ...] = ()

    def tag(self, key: str) -> str:
        """The value of a tag; empty where the place does not carry it."""
        return dict(self.tags).get(key, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class StopRequest:
    """A stop or destination as asked for, before it is looked up on the map.

    `place` is a point, or a text as a user writes it (a name from the map data). `minutes` is the time
    to be spent there, 0 or more. `where` says where it was read, such as ``line 4``; empty where typed.
    """

    place: Place | str
    minutes: float = 0.0
    where: str = ""

    @property
    def label(self) -> str:
        """What to call the stop: its text, its name, or where it was read."""
        if isinstance(self.place, str):
            return self.place
        return self.place.name or self.where or f"{self.place.lat:.5f},{self.place.lon:.5f}"


@dataclass(frozen=True, slots=True, kw_only=True)
class StopList:
    """Stops in the order of their file.

    `problems` are the entries that could not be used, one sentence each with its line; `notes` are what
    is worth saying of the others.
    """

    stops: tuple[StopRequest, ...]
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
