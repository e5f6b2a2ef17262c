"""Coordinates as other people's files write them, checked before anything is made of them."""

from __future__ import annotations

import math
import re

__all__ = ["CoordinateError", "coarse", "lon_lat", "lon_lat_of_texts"]

_NUMBER = re.compile(r"[+-]?(?:\d{1,9}(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,2})?", re.ASCII)


class CoordinateError(ValueError):
    """A pair that is no place on Earth; the message says why, without the place in the file."""


def lon_lat_of_texts(lon: str, lat: str) -> tuple[float, float]:
    """Longitude and latitude from two texts in decimal degrees; a comma may stand for the point.

    Raises CoordinateError, showing the text and what to write.
    """
    return lon_lat(_number(lon, "longitude"), _number(lat, "latitude"))


def _number(text: str, what: str) -> float:
    plain = text.strip().replace("\u2212", "-")
    if not plain:
        raise CoordinateError(f"{what} is empty")
    if not _NUMBER.fullmatch(plain):
        raise CoordinateError(f"{what} {_shown(text)} is no number; write decimal degrees, such as 45.1234")
    return float(plain.replace(",", "."))


def lon_lat(lon: float, lat: float) -> tuple[float, float]:
    """The pair again, once it is in range. Longitude comes first, in degrees.

    Raises CoordinateError where it is not finite or out of range, with a hint if the two look swapped.
    """
    # Written so that NaN, which compares false, ends up as an error too.
    if -90 <= lat <= 90 and -180 <= lon <= 180:
        return lon, lat
    if math.isnan(lon) or math.isnan(lat):
        raise CoordinateError("a coordinate is not a number")
    if -90 <= lon <= 90 and -180 <= lat <= 180:
        raise CoordinateError(
            f"latitude {lat:g} is outside -90 to 90; latitude {lon:g} and longitude {lat:g} look swapped"
        )
    which = f"latitude {lat:g} is outside -90 to 90" if not -90 <= lat <= 90 else ""
    other = f"longitude {lon:g} is outside -180 to 180" if not -180 <= lon <= 180 else ""
    raise CoordinateError(
        f"{' and '.join(filter(None, (which, other)))}; write degrees (WGS84), not metres of a grid"
    )


def coarse(*texts: str) -> int:
    """The metres, about, that one step of the last decimal stands for in the finest of these texts."""
    fractions = [re.split(r"[.,]", text.strip())[1:] for text in texts]
    decimals: int = max(len(fraction[0]) if fraction else 0 for fraction in fractions)
    steps = (111_000, 11_100, 1_110, 111, 11, 1)
    return steps[min(decimals, len(steps) - 1)]


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:40]}...")
