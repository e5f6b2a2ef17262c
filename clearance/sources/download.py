"""Map data from the servers of OpenStreetMap, kept tile by tile so that a broken run goes on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from clearance import __version__
from clearance.core.errors import DataUnavailableError, PlaceError, UsageError
from clearance.core.extract import Extract, ExtractInfo
from clearance.sources.area import Area, NamedArea, area_km2, outline, quarters, simple_outlines, tiles
from clearance.sources.cache import AnswerCache, CachedAnswer, default_cache_dir
from clearance.sources.guarded import (
    Deadline,
    Limits,
    RefusedAnswerError,
    TooMuchError,
    ask,
    web_host,
)

if TYPE_CHECKING:
    from shapely import Polygon

    from clearance.sources.assemble import Elements
    from clearance.sources.guarded import Ask, Hook
    from clearance.sources.osmnx_session import OsmnxSession
    from clearance.sources.progress import Progress

__all__ = ["DownloadSettings", "download"]

#: A tile that proved too much is cut in four; below this side, in degrees, it is asked for as it is.
_SMALLEST_SPLIT_DEG = 0.03

USER_AGENT = f"clearance/{__version__} (checks a drive against heights of structures)"


@dataclass(frozen=True, slots=True, kw_only=True)
class DownloadSettings:
    """Where to ask, how much, how long, and where answers are kept.

    `deadline_s` bounds the whole download. `query_timeout_s` is what the map server is told to give up
    after. An area above `largest_area_km2` is refused. `tile_deg` is the side of the grid, in degrees,
    that an area is cut by. `refresh` asks anew even for what is kept; `offline` asks nothing.
    """

    overpass_url: str = "https://overpass-api.de/api"
    nominatim_url: str = "https://nominatim.openstreetmap.org/"
    cache_dir: Path = field(default_factory=default_cache_dir)
    deadline_s: float = 1800.0
    query_timeout_s: int = 90
    limits: Limits = field(default_factory=Limits)
    largest_area_km2: float = 10_000.0
    tile_deg: float = 0.1
    refresh: bool = False
    offline: bool = False

    def __post_init__(self) -> None:
        """Refuse server addresses that are none, and limits that let nothing through."""
        for what, url in (("map server", self.overpass_url), ("name server", self.nominatim_url)):
            if not web_host(url):
                raise UsageError(f"{what} {url!r} is no web address; give http://... or https://...")
        if not (self.deadline_s > 0 and self.query_timeout_s > 0 and 0.01 <= self.tile_deg <= 5):
            raise UsageError("download: times must be above zero and tiles 0.01 to 5 degrees wide")


def download(area: Area, settings: DownloadSettings, progress: Progress | None = None) -> Extract:
    """The extract of an area and what lies within 500 m of it, asked of the map server in tiles.

    Each answer is checked and kept before the next question, so that a run after a break, an error or
    Ctrl-C asks only for what is missing, and a run without a network works from what is kept. The
    date and age of kept answers are in the extract's info.

    Raises PlaceError where the name server knows no such area, UsageError where an address is none,
    and DataUnavailableError where the area is too large, holds no roads, or could not be had in time.
    """
    return _Download(settings, progress or (lambda _what, _done, _total: None)).run(area)


class _Download:
    """One run: its deadline, its cache, and what there is to tell of the answers."""

    def __init__(self, settings: DownloadSettings, tell: Progress) -> None:
        self._settings = settings
        self._tell = tell
        self._deadline = Deadline(settings.deadline_s)
        self._cache = AnswerCache(settings.cache_dir)
        self._from_cache: list[datetime] = []
        self._fetched: list[datetime] = []
        self._dates: list[datetime] = []
        self._warnings: list[str] = []
        self._session: OsmnxSession | None = None

    def run(self, area: Area) -> Extract:
        from clearance.sources.assemble import assemble, merged

        shapes, name = self._shapes(area)
        size = area_km2(shapes)
        if size > self._settings.largest_area_km2:
            raise DataUnavailableError(
                f"area {name} is {size:,.0f} km2, above the {self._settings.largest_area_km2:,.0f} km2 that "
                "may be asked of the public map server; choose a smaller area, or download an extract file "
                "(.osm.pbf) of the region and use that"
            )
        extract = assemble(merged(self._pieces(shapes)), self._info(name))
        if not any("highway" in way.tags for way in extract.ways):
            raise DataUnavailableError(f"area {name} holds no roads in the map data; choose another area")
        return extract

    def _shapes(self, area: Area) -> tuple[list[Polygon], str]:
        """The area's outlines without holes, and its name for people."""
        if not isinstance(area, NamedArea):
            return simple_outlines(outline(area)), str(area)
        import shapely

        answer = self._answer(
            self._settings.nominatim_url,
            f"outline of {area.name}",
            f"name {area.name!r}",
            self._geocoder(area.name),
        ).answer
        try:
            shape, name = shapely.from_geojson(answer["outline"]), str(answer["name"])  # type: ignore[index]
        except (KeyError, TypeError, shapely.errors.GEOSException) as error:
            raise DataUnavailableError(
                f"area {area.name!r}: what is kept of its outline is damaged; ask anew with refresh"
            ) from error
        shapes = simple_outlines(shape)
        if not shapes:
            raise PlaceError(f"area {area.name!r} has no outline; give west,south,east,north instead")
        return shapes, name

    def _geocoder(self, name: str) -> Callable[[], object]:
        """What fetches the outline of a name, as GeoJSON text with the full name."""

        def fetch() -> object:
            import shapely

            found: list[object] = []

            def send(hook: Hook, timeout_s: float) -> None:
                shape, full = self._osmnx().geocode(name, hook, timeout_s)
                found.append({"outline": shapely.to_geojson(shape), "name": full})

            self._ask(send, self._settings.nominatim_url, _check_names)
            return found[0]

        return fetch

    def _pieces(self, shapes: list[Polygon]) -> list[Elements]:
        """What is wanted of each tile; a tile that proves too much is cut in four."""
        waiting = list(tiles(shapes, self._settings.tile_deg))[::-1]
        pieces: list[Elements] = []
        while waiting:
            tile = waiting.pop()
            self._tell("fetching map data", len(pieces), len(pieces) + len(waiting) + 1)
            west, south, east, north = tile.bounds
            side = max(east - west, north - south)
            try:
                pieces.append(self._fetch(tile, can_split=side > _SMALLEST_SPLIT_DEG))
            except TooMuchError:
                waiting += quarters(tile)[::-1]
        self._tell("fetching map data", len(pieces), len(pieces))
        return pieces

    def _fetch(self, tile: Polygon, *, can_split: bool) -> Elements:
        """What is wanted of a tile, from the cache or the server."""
        from clearance.sources.assemble import select
        from clearance.sources.osmnx_session import request_polygon
        from clearance.sources.overpass import WAY_FILTERS, data_date, elements_of, points_query

        polygon = request_polygon(tile)
        points = points_query(polygon, self._settings.query_timeout_s)
        questions = {f"ways {ways} within {polygon}": self._ways_sender(tile, ways) for ways in WAY_FILTERS}
        questions[points] = self._points_sender(points)
        answers = []
        for question, send in questions.items():
            found = self._map_answer(question, send, can_split=can_split)
            answers.append(found.answer)
            self._fetched.append(found.fetched)
            date = data_date(found.answer)
            self._dates += [date] if date else []
        return select(elements_of(answers))

    def _ways_sender(self, tile: Polygon, way_filter: str) -> Ask:
        def send(hook: Hook, timeout_s: float) -> None:
            self._osmnx().fetch_ways(tile, way_filter, hook, timeout_s)

        return send

    def _points_sender(self, query: str) -> Ask:
        def send(hook: Hook, timeout_s: float) -> None:
            import requests

            requests.post(
                f"{self._settings.overpass_url.rstrip('/')}/interpreter",
                data={"data": query},
                headers={"User-Agent": USER_AGENT},
                timeout=timeout_s,
                hooks={"response": hook},
            )

        return send

    def _map_answer(self, question: str, send: Ask, *, can_split: bool) -> CachedAnswer:
        from clearance.sources.overpass import check_answer

        url = self._settings.overpass_url
        return self._answer(
            url,
            question,
            "a part of the area",
            lambda: self._ask(send, url, check_answer, can_split=can_split),
        )

    def _answer(self, server: str, question: str, what: str, fetch: Callable[[], object]) -> CachedAnswer:
        """The kept answer, or a new one that is kept from now on."""
        kept = None if self._settings.refresh else self._cache.get(server, question)
        if kept is not None:
            self._from_cache.append(kept.fetched)
            return kept
        if self._settings.offline:
            raise DataUnavailableError(
                f"{what} is not among the answers kept in {self._settings.cache_dir}, and the network is "
                "not to be used; run once with a network, or use a local extract file"
            )
        answer = fetch()
        try:
            return self._cache.put(server, question, answer)
        except OSError as error:
            text = f"answers cannot be kept in {self._settings.cache_dir} ({error.strerror or error})"
            if text not in self._warnings:
                self._warnings.append(text)
            return CachedAnswer(answer, datetime.now(UTC))

    def _ask(
        self, send: Ask, url: str, check: Callable[[object], None], *, can_split: bool = False
    ) -> object:
        return ask(
            send,
            server=web_host(url),
            limits=self._settings.limits,
            deadline=self._deadline,
            check=check,
            can_split=can_split,
            tell=lambda text: self._tell(text, 0, 0),
        )

    def _osmnx(self) -> OsmnxSession:
        if self._session is None:
            from clearance.sources.osmnx_session import OsmnxSession

            self._session = OsmnxSession(
                overpass_url=self._settings.overpass_url,
                nominatim_url=self._settings.nominatim_url,
                user_agent=USER_AGENT,
                query_timeout_s=self._settings.query_timeout_s,
            )
        return self._session

    def _info(self, name: str) -> ExtractInfo:
        """Source, the oldest date among the answers, and how old kept answers are."""
        now = datetime.now(UTC)
        warnings = list(self._warnings)
        if self._from_cache:
            oldest = min(self._from_cache)
            days = max((now - oldest).days, 0)
            warnings.append(
                f"map data kept on this computer was used, fetched {oldest:%Y-%m-%d %H:%M} UTC "
                f"({days} day{'' if days == 1 else 's'} ago); refresh to ask the map server anew"
            )
        return ExtractInfo(
            source=f"{name} from {web_host(self._settings.overpass_url)}",
            data_date=_iso(min(self._dates)) if self._dates else "",
            read_date=_iso(min(self._fetched, default=now)),
            warnings=tuple(warnings if self._dates else [*warnings, "the date of the map data is not known"]),
        )


def _check_names(answer: object) -> None:
    """Raise RefusedAnswerError unless this is a name server's list of places."""
    if not isinstance(answer, list) or not all(isinstance(item, dict) for item in answer):
        raise RefusedAnswerError("the answer holds no list of places")


def _iso(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
