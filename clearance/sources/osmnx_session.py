"""osmnx as the fetching library, without its process-wide settings, caches and endless retries."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING

from clearance.core.errors import DataUnavailableError, PlaceError

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from clearance.sources.guarded import Hook

__all__ = ["OsmnxSession", "request_polygon"]

#: osmnx asks for all within 500 m of the polygon it is given (graph_from_polygon, osmnx 2.1.1).
_OSMNX_MARGIN_M = 500.0
#: osmnx's settings belong to the process: one user at a time.
_LOCK = threading.RLock()


def request_polygon(tile: Polygon) -> str:
    """Corners, ``lat lon lat lon ...``, of the area that osmnx asks for when given this tile."""
    from clearance.sources.area import widened

    corners = widened(tile, _OSMNX_MARGIN_M).exterior.coords
    return " ".join(f"{lat:.6f} {lon:.6f}" for lon, lat in corners)


class OsmnxSession:
    """Sends single requests through osmnx; whoever owns the hook reads and judges the answers."""

    def __init__(
        self, *, overpass_url: str, nominatim_url: str, user_agent: str, query_timeout_s: int
    ) -> None:
        """Servers to ask, the name to give, and after how long the map server shall give up."""
        self._settings: dict[str, object] = {
            "overpass_url": overpass_url,
            "nominatim_url": nominatim_url,
            "http_user_agent": user_agent,
            "http_referer": user_agent,
            "overpass_settings": f"[out:json][timeout:{query_timeout_s}]",
            # no question to the status page, which has a retry of its own without limit
            "overpass_rate_limit": False,
            # no lookup of host names with a third party
            "doh_url_template": None,
            # one request for one polygon: tiles are cut before
            "max_query_area_size": 1e15,
            "use_cache": False,
            "cache_only_mode": True,
            "log_console": False,
            "log_file": False,
        }

    def fetch_ways(self, tile: Polygon, way_filter: str, hook: Hook, timeout_s: float) -> None:
        """Ask for the ways near a tile that pass the filter, and their nodes.

        osmnx stops once the answer has come, before it would build a graph and lose tags by it.
        """
        import osmnx
        from osmnx._errors import CacheOnlyInterruptError

        with self._set(hook, timeout_s), contextlib.suppress(CacheOnlyInterruptError):
            osmnx.graph_from_polygon(tile, simplify=False, retain_all=True, custom_filter=[way_filter])

    def geocode(self, name: str, hook: Hook, timeout_s: float) -> tuple[BaseGeometry, str]:
        """The outline of a named place, (lon, lat) WGS84 degrees, and its full name.

        Raises PlaceError where no place with an outline has that name.
        """
        import osmnx
        from osmnx._errors import InsufficientResponseError

        with self._set(hook, timeout_s):
            try:
                row = osmnx.geocode_to_gdf(name).iloc[0]
                return row.geometry, str(row.get("display_name", name))
            except InsufficientResponseError as error:
                raise PlaceError(
                    f"area {name!r}: the name server knows no such place; "
                    "check the spelling, add the region, or give west,south,east,north"
                ) from error
            except TypeError as error:
                raise PlaceError(
                    f"area {name!r}: found as a point without an outline; "
                    "name a larger place or give west,south,east,north"
                ) from error
            except (KeyError, ValueError, IndexError) as error:
                raise DataUnavailableError(
                    f"area {name!r}: the name server's answer cannot be understood ({error!r}); "
                    "give west,south,east,north instead"
                ) from error

    @contextlib.contextmanager
    def _set(self, hook: Hook, timeout_s: float) -> Iterator[None]:
        """Our settings while a request runs; afterwards everything is as it was before.

        osmnx also replaces the process's name lookup to stay with one server; that is undone too.
        """
        from osmnx import settings

        with _LOCK:
            before = {key: value for key, value in vars(settings).items() if not key.startswith("_")}
            lookup = socket.getaddrinfo
            ours = {
                **self._settings,
                "requests_timeout": timeout_s,
                "requests_kwargs": {"hooks": {"response": hook}},
            }
            try:
                for key, value in ours.items():
                    setattr(settings, key, value)
                yield
            finally:
                for key, value in before.items():
                    setattr(settings, key, value)
                socket.getaddrinfo = lookup
