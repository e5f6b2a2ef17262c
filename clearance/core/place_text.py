"""A place as a user writes it: coordinates, or a name from the map data."""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Sequence

from clearance.core.errors import AmbiguousPlaceError, PlaceError
from clearance.core.places import Place

__all__ = ["find_place", "folded", "lat_lon_text", "parse_lat_lon"]

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_PAIR = re.compile(rf"({_NUMBER})\s*[,;\s]\s*({_NUMBER})", re.ASCII)
#: Only signs that belong to coordinates in one way or another of writing them.
_LIKE_COORDINATES = re.compile(
    r"[\d\s.,;:+°º˚'’′\"”″*-]*\d[\d\s.,;:+°º˚'’′\"”″NSEWO*-]*", re.ASCII | re.IGNORECASE
)
_DEGREES = re.compile("[°º˚′″]")
_HOW = "write latitude and longitude in decimal degrees, such as 45.1234,-40.5678"

#: Letters that Unicode does not take apart into a base letter and a mark.
_PLAIN_LETTERS = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"}
)
#: Places of one name and kind nearer than this are taken as one mapped twice (judgement, no source).
_SAME_SPOT_M = 150.0
_LISTED = 10


def parse_lat_lon(text: str) -> Place | None:
    """The point that ``lat,lon`` or ``lat lon`` names, in decimal degrees; None where it is no pair.

    Raises PlaceError where the pair is out of range (with a hint if the two look swapped), or where the
    text is made of coordinate signs but cannot be read: degree signs, decimal commas, one number.

    >>> parse_lat_lon("45.5, -40")
    Place(lon=-40.0, lat=45.5, name='', kind='point', osm='')
    >>> parse_lat_lon("Mill Lane") is None
    True
    """
    plain = text.strip().replace("\u2212", "-")
    pair = _PAIR.fullmatch(plain)
    if pair is None:
        if _DEGREES.search(plain):
            raise PlaceError(f"place {text!r}: degree signs are not read; {_HOW}")
        if _LIKE_COORDINATES.fullmatch(plain) and len(re.findall(r"\d+", plain)) > 1:
            raise PlaceError(f"place {text!r} cannot be read as coordinates; {_HOW}")
        return None
    lat, lon = float(pair[1]), float(pair[2])
    if abs(lat) <= 90 and abs(lon) <= 180:
        return Place(lon=lon, lat=lat)
    if abs(lon) <= 90 and abs(lat) <= 180:
        raise PlaceError(
            f"place {text!r}: latitude {pair[1]} is outside -90 to 90; the two look swapped, "
            f"latitude comes first: {pair[2]},{pair[1]}"
        )
    which = f"latitude {pair[1]} is outside -90 to 90" if abs(lat) > 90 else ""
    other = f"longitude {pair[2]} is outside -180 to 180" if abs(lon) > 180 else ""
    raise PlaceError(f"place {text!r}: {' and '.join(filter(None, (which, other)))}; {_HOW}")


def lat_lon_text(place: Place) -> str:
    """The place's ``lat,lon``, as `find_place` reads it back."""
    return f"{_degrees(place.lat)},{_degrees(place.lon)}"


def find_place(text: str, places: Sequence[Place]) -> Place:
    """The place that a user's text means: ``lat,lon``, or one of the names in `places`.

    Case, accents, spaces and stops do not matter. A name that fits whole comes before one that begins
    so, and that before one that holds the text somewhere. Places of one name and kind within 150 m
    count as one.

    Raises AmbiguousPlaceError where several places fit, listing up to ten with coordinates that can
    be used instead; PlaceError where none fits or the text cannot be meant.
    """
    point = parse_lat_lon(text)
    if point is not None:
        return point
    wanted = folded(text)
    if not wanted:
        raise PlaceError(f"place {text!r} names nothing; give lat,lon or a name from the map data")
    names = [(folded(place.name), place) for place in places if place.name]
    for fits in (_whole, _begins, _holds):
        found = [place for name, place in names if fits(wanted, name)]
        if found:
            return _only(text, found)
    raise PlaceError(f"place {text!r} is not in the map data{_near_names(wanted, names)}; or give lat,lon")


def folded(name: str) -> str:
    """The name as it is compared: lower case, no accents, single spaces for hyphens and the like."""
    # Compatibility caseless matching (The Unicode Standard, section 3.13, D146, from memory): folding can
    # bring up letters to be taken apart, and taking apart brings up capitals, as of mathematical letters.
    letters = unicodedata.normalize("NFKD", unicodedata.normalize("NFD", name).casefold()).casefold()
    letters = unicodedata.normalize("NFKD", letters).translate(_PLAIN_LETTERS)
    plain = "".join(c for c in letters if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^\w\s]", " ", re.sub(r"['’ʼ.]", "", plain)).replace("_", " ").split())


def _whole(wanted: str, name: str) -> bool:
    return wanted.replace(" ", "") == name.replace(" ", "")


def _begins(wanted: str, name: str) -> bool:
    return name.startswith(wanted)


def _holds(wanted: str, name: str) -> bool:
    return len(wanted) > 2 and wanted in name


def _only(text: str, found: Sequence[Place]) -> Place:
    """The one place among those found, or the error that lists them."""
    first = found[0]
    if all(p.kind == first.kind and _flat_distance_m(first, p) < _SAME_SPOT_M for p in found[1:]) and (
        len({folded(p.name) for p in found}) == 1
    ):
        return first
    lines = [f"  {lat_lon_text(p)}  {p.name} ({p.kind})" for p in found[:_LISTED]]
    if len(found) > _LISTED:
        lines.append(f"  and {len(found) - _LISTED} more")
    raise AmbiguousPlaceError(
        "\n".join([f"place {text!r} fits {len(found)} places; use the coordinates of one:", *lines])
    )


def _near_names(wanted: str, names: Sequence[tuple[str, Place]]) -> str:
    """A hint with names that are written much the same, empty where there is none."""
    spelled = {name: place.name for name, place in reversed(names)}
    close = difflib.get_close_matches(wanted, spelled, n=3, cutoff=0.6)
    return f"; close names: {', '.join(spelled[name] for name in close)}" if close else ""


def _flat_distance_m(one: Place, other: Place) -> float:
    """Metres between two places near each other, good to a percent: enough to tell 150 m."""
    north = (one.lat - other.lat) * 111_200.0
    east = (one.lon - other.lon) * 111_320.0 * math.cos(math.radians(one.lat))
    return math.hypot(north, east)


def _degrees(value: float) -> str:
    return f"{round(value, 7):.7f}".rstrip("0").rstrip(".")
