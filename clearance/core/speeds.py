"""How fast a road is driven where nothing hinders, from its tags or by its kind.

Source of the forms: OSM wiki, Key:maxspeed (from memory). The speeds where nothing is told are judgement,
no source: they order the ways of a drive, they are no forecast.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

__all__ = ["DEFAULT_SPEEDS", "road_speeds"]

#: 1 mile = 1.609344 km exactly (international yard and pound agreement, 1959; from memory).
_KM_PER_MILE = 1.609344

#: km/h by highway value where no speed is told (judgement, no source).
DEFAULT_SPEEDS: dict[str, float] = {
    "motorway": 105,
    "motorway_link": 60,
    "trunk": 90,
    "trunk_link": 50,
    "primary": 70,
    "primary_link": 45,
    "secondary": 60,
    "secondary_link": 40,
    "tertiary": 50,
    "tertiary_link": 35,
    "unclassified": 45,
    "residential": 30,
    "living_street": 10,
    "service": 15,
    "road": 30,
    "track": 12,
    "pedestrian": 7,
}
_OTHER_DEFAULT = 10.0
#: Slower than the kind of road (judgement, no source).
_SLOW_SERVICES = {"driveway": 8.0, "parking_aisle": 8.0, "drive-through": 6.0, "alley": 10.0}

#: km/h for the zones of ``DE:urban`` and the like, the lowest common among countries (judgement, no source).
_ZONES: dict[str, float] = {
    "urban": 50,
    "rural": 80,
    "trunk": 100,
    "motorway": 110,
    "living_street": 10,
    "bicycle_road": 30,
    "school": 30,
    "nsl_restricted": 30 * _KM_PER_MILE,
    "nsl_single": 60 * _KM_PER_MILE,
    "nsl_dual": 70 * _KM_PER_MILE,
}
_WORDS: dict[str, float] = {"walk": 7, "none": 130}
_ZONE_KEYS = ("maxspeed:type", "source:maxspeed", "zone:maxspeed", "zone:traffic")

#: Outside these a unit was lost or a joke made.
_SLOWEST, _FASTEST = 3.0, 160.0

_NUMBER = re.compile(r"(\d{1,3}(?:\.\d{1,3})?) ?(km/h|kmh|kph|mph)?", re.ASCII)
_ZONE = re.compile(r"[a-z]{2}(?:-[a-z]{2,3})?:([a-z_]+)", re.ASCII)
_ZONE_NUMBER = re.compile(r"(?:[a-z]{2}:)?zone:?(\d{1,3})", re.ASCII)


def _speed(text: str) -> float | None:
    """km/h of one value, None where it tells none."""
    text = text.strip().lower()
    found: float | None = None
    if number := _NUMBER.fullmatch(text):
        found = float(number[1]) * (_KM_PER_MILE if number[2] == "mph" else 1.0)
    elif text in _WORDS:
        found = _WORDS[text]
    elif numbered := _ZONE_NUMBER.fullmatch(text):
        # A zone of 20 in a country of miles is 20 mph; read as km/h it is slower, which does no harm.
        found = float(numbered[1])
    elif zone := _ZONE.fullmatch(text):
        found = _ZONES.get(zone[1])
    return found if found is not None and _SLOWEST <= found <= _FASTEST else None


def _told(value: str) -> float | None:
    """The lowest speed of a value that may be a list; None where none can be read."""
    return min((speed for part in re.split(r"[;|]", value) if (speed := _speed(part))), default=None)


def _by_kind(tags: Mapping[str, str]) -> float:
    for key in _ZONE_KEYS:
        if key in tags and (speed := _told(tags[key])):
            return speed
    highway = tags.get("highway", "")
    if highway == "service":
        return _SLOW_SERVICES.get(tags.get("service", ""), DEFAULT_SPEEDS["service"])
    return float(DEFAULT_SPEEDS.get(highway, _OTHER_DEFAULT))


def road_speeds(tags: Mapping[str, str], cap: float = math.inf) -> tuple[float, float]:
    """Speeds in km/h (along the way, against it), at most `cap`.

    Read are maxspeed and its forward and backward forms: ``50``, ``30 mph``, ``walk``, ``none``,
    ``DE:urban``; where nothing is told or can be read (``signals``), the speed of the kind of road.
    A coach gains nothing from a limit above what it is driven at: that is what `cap` is for.

    >>> road_speeds({"highway": "residential", "maxspeed": "50"})
    (50.0, 50.0)
    >>> road_speeds({"highway": "motorway"}, cap=100)
    (100.0, 100.0)

    Raises nothing, whatever the tags; always above 0 for a cap above 0.
    """
    forward, backward = _both_ways(tags)
    return min(forward, cap), min(backward, cap)


def _both_ways(tags: Mapping[str, str]) -> Iterator[float]:
    plain = _told(tags["maxspeed"]) if "maxspeed" in tags else None
    for way in ("forward", "backward"):
        told = _told(tags[f"maxspeed:{way}"]) if f"maxspeed:{way}" in tags else None
        yield float(told or plain or _by_kind(tags))
