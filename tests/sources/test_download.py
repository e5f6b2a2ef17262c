"""Downloads, against servers on loopback that answer our real questions and misbehave on demand."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from clearance.core.errors import DataUnavailableError, PlaceError, UsageError
from clearance.core.extract import ATTRIBUTION, Extract
from clearance.sources.area import Band, Box, NamedArea
from clearance.sources.download import DownloadSettings, download
from clearance.sources.guarded import Limits
from clearance.sources.osm_file import read_osm
from tests.sources import map_servers as servers
from tests.sources.map_servers import BOX, Fault, Server, full_town
from tests.sources.test_osm_file import same
from tests.towns import LAT0, LON0

AREA = Box(*BOX)
#: Questions a download asks of one tile.
QUESTIONS = 3


_zones: dict[tuple[int, int], object] = {}


@pytest.fixture(autouse=True)
def known_zones(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look up the map projection of a town once: osmnx does so four times for each question."""
    import geopandas

    look_up = geopandas.GeoSeries.estimate_utm_crs

    def known(series: geopandas.GeoSeries, datum_name: str = "WGS 84") -> object:
        west, south, _, _ = series.total_bounds
        key = (round(west), round(south))
        if key not in _zones:
            _zones[key] = look_up(series, datum_name)
        return _zones[key]

    monkeypatch.setattr(geopandas.GeoSeries, "estimate_utm_crs", known)


@pytest.fixture
def server() -> Iterator[Server]:
    with servers.map_servers(full_town()) as running:
        yield running


@pytest.fixture
def settings(server: Server, tmp_path: Path) -> DownloadSettings:
    return DownloadSettings(
        overpass_url=server.overpass_url,
        nominatim_url=server.nominatim_url,
        cache_dir=tmp_path / "cache",
        deadline_s=20,
        limits=Limits(attempts=3, wait_s=0.01, silence_s=5),
        tile_deg=1.3,
    )


@pytest.fixture
def local(tmp_path: Path) -> Extract:
    path = tmp_path / "town.osm"
    path.write_text(full_town().osm_xml())
    return read_osm(path)


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The pauses that would have been made."""
    made: list[float] = []
    clock = SimpleNamespace(sleep=made.append, monotonic=time.monotonic)
    monkeypatch.setattr("clearance.sources.guarded.time", clock)
    return made


@pytest.fixture
def no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the second that osmnx waits before each question to a name server."""
    import osmnx._nominatim

    monkeypatch.setattr(osmnx._nominatim, "time", SimpleNamespace(sleep=lambda _seconds: None))


def kept(settings: DownloadSettings) -> list[str]:
    return sorted(path.name for path in settings.cache_dir.glob("*"))


# --- what comes back


def test_a_download_equals_the_file_with_the_same_elements(
    settings: DownloadSettings, local: Extract
) -> None:
    extract = download(AREA, settings)
    assert [way.id for way in extract.ways] == [40, 41, 43, 45, 48, 49, 50, 51, 52, 55]
    assert sorted(extract.node_tags) == [2, 3, 12, 13, 16]
    assert [relation.id for relation in extract.relations] == [60, 62]
    assert same(extract, local)
    assert extract.info.data_date == servers.DATA_DATE
    assert extract.info.attribution == ATTRIBUTION
    assert extract.info.warnings == ()
    assert "127.0.0.1" in extract.info.source


def test_tiles_make_no_difference(settings: DownloadSettings, server: Server, local: Extract) -> None:
    assert same(download(AREA, replace(settings, tile_deg=0.01)), local)
    assert len(server.asked) >= 4 * QUESTIONS


@pytest.mark.parametrize("name", ["kings-lynn-fuel.osm", "leeds.osm", "seattle-northgate.osm"])
def test_a_real_extract_served_and_downloaded_is_the_same(
    settings: DownloadSettings, server: Server, name: str
) -> None:
    """Map data © OpenStreetMap contributors, ODbL 1.0."""
    path = Path(__file__).parents[3] / "shared" / "data" / name
    if not path.exists():
        pytest.skip(f"{path} is not there")
    local = read_osm(path)
    server.data = servers.MapData(path.read_text(encoding="utf-8"))
    box = Box(local.lon.min() - 1e-4, local.lat.min() - 1e-4, local.lon.max() + 1e-4, local.lat.max() + 1e-4)
    assert same(download(box, settings), local)


@pytest.mark.usefixtures("no_pause")
def test_a_named_place_is_its_outline(settings: DownloadSettings, local: Extract) -> None:
    extract = download(NamedArea("Fenwick"), settings)
    assert same(extract, local)
    assert extract.info.source.startswith("Fenwick, Northshire")


def test_a_band_is_what_lies_along_its_line(settings: DownloadSettings, local: Extract) -> None:
    band = Band(points=((LON0 - 0.02, LAT0), (LON0 + 0.02, LAT0)), side_m=2000)
    assert same(download(band, settings), local)
    away = Band(points=((LON0 + 0.02, LAT0), (LON0 + 0.05, LAT0)), side_m=300)
    with pytest.raises(DataUnavailableError, match="holds no roads"):
        download(away, settings)


def test_the_program_names_itself(settings: DownloadSettings, server: Server) -> None:
    download(AREA, settings)
    assert len(server.agents) == QUESTIONS
    assert all(agent.startswith("clearance/") for agent in server.agents)


def test_progress_counts_tiles(settings: DownloadSettings) -> None:
    told: list[tuple[str, int, int]] = []
    download(AREA, replace(settings, tile_deg=0.01), lambda *step: told.append(step))
    counts = [(done, total) for what, done, total in told if what == "fetching map data"]
    assert counts[0][0] == 0
    assert counts[-1] == (len(counts) - 1, len(counts) - 1)


# --- faults that pass


@pytest.mark.parametrize("before", [0, 2], ids=["through osmnx", "our own question"])
@pytest.mark.parametrize(
    "fault",
    [servers.status(429, Retry_After="0"), servers.html, servers.remark, servers.cut_off, servers.hang_up],
    ids=["429", "web page", "remark", "cut off", "hung up"],
)
def test_a_fault_that_passes_leaves_no_trace(
    settings: DownloadSettings, server: Server, local: Extract, fault: Fault, before: int
) -> None:
    server.faults = [*[servers.well] * before, fault]
    assert same(download(AREA, settings), local)
    assert len(server.asked) == QUESTIONS + 1
    assert same(download(AREA, replace(settings, offline=True)), local)
    assert len(kept(settings)) == QUESTIONS


def test_a_server_that_asks_for_a_wait_gets_it(
    settings: DownloadSettings, server: Server, waits: list[float]
) -> None:
    later = time.strftime("%a, %d %b %Y %H:%M:%S GMT", time.gmtime(time.time() + 15))
    server.faults = [servers.status(429, Retry_After="7"), servers.status(429, Retry_After=later)]
    download(AREA, settings)
    assert waits[0] == 7
    assert 12 < waits[1] <= 15


def test_waits_double(settings: DownloadSettings, server: Server, waits: list[float]) -> None:
    server.faults = [servers.status(504), servers.status(504)]
    download(AREA, replace(settings, limits=replace(settings.limits, wait_s=1)))
    assert waits == [1, 2]


# --- faults that stay


@pytest.mark.parametrize("code", [429, 504])
def test_a_busy_server_is_asked_a_bounded_number_of_times(
    settings: DownloadSettings, server: Server, code: int
) -> None:
    server.always = servers.status(code)
    with pytest.raises(
        DataUnavailableError, match=rf"127.0.0.1: answered {code} .*run the same command again"
    ):
        download(AREA, settings)
    assert len(server.asked) == 3
    assert kept(settings) == []


@pytest.mark.parametrize(("code", "says"), [(400, "answered 400"), (403, "answered 403")])
def test_a_refusal_is_not_asked_again(
    settings: DownloadSettings, server: Server, code: int, says: str
) -> None:
    server.always = servers.status(code)
    with pytest.raises(DataUnavailableError, match=says):
        download(AREA, settings)
    assert len(server.asked) == 1


def test_a_wait_longer_than_allowed_ends_it(
    settings: DownloadSettings, server: Server, waits: list[float]
) -> None:
    server.always = servers.status(429, Retry_After="3600")
    with pytest.raises(DataUnavailableError, match="asking to wait 3600 s"):
        download(AREA, settings)
    assert waits == []
    assert len(server.asked) == 1


@pytest.mark.parametrize("first", [0, 2], ids=["through osmnx", "our own question"])
def test_a_slow_drip_ends_at_the_deadline(settings: DownloadSettings, server: Server, first: int) -> None:
    if first:
        server.faults = [servers.well] * first
    else:
        server.always = servers.drip
    begin = time.monotonic()
    server.faults.append(servers.drip)
    # Long enough for what comes before the first drop, on a busy machine too.
    with pytest.raises(DataUnavailableError, match=r"too slowly.*total time of 4 s is over"):
        download(AREA, replace(settings, deadline_s=4))
    assert time.monotonic() - begin < 30  # the whole answer would take far longer
    assert len(kept(settings)) == first


def test_silence_ends_an_attempt(settings: DownloadSettings, server: Server) -> None:
    server.always = servers.silent
    begin = time.monotonic()
    with pytest.raises(DataUnavailableError, match="timed out"):
        download(AREA, replace(settings, limits=replace(settings.limits, silence_s=0.2, attempts=2)))
    assert time.monotonic() - begin < 30
    assert len(server.asked) == 2


def test_an_answer_without_end_is_given_up(settings: DownloadSettings, server: Server) -> None:
    server.always = servers.text(b" " * 300_000)
    limits = replace(settings.limits, largest_answer_bytes=100_000)
    with pytest.raises(DataUnavailableError, match="larger than"):
        download(AREA, replace(settings, limits=limits))
    assert len(server.asked) == 1


def test_a_remark_that_stays_is_an_error_and_is_not_kept(settings: DownloadSettings, server: Server) -> None:
    server.always = servers.remark
    with pytest.raises(DataUnavailableError, match="not whole: runtime error: Query timed out"):
        download(AREA, settings)
    assert len(server.asked) == 3
    assert kept(settings) == []


def test_a_tile_that_is_too_much_is_cut_in_four(
    settings: DownloadSettings, server: Server, local: Extract
) -> None:
    wide = Box(LON0 - 0.1, LAT0 - 0.1, LON0 + 0.1, LAT0 + 0.1)
    server.faults = [servers.remark]
    extract = download(wide, settings)
    assert same(extract, local)
    assert len(server.asked) == 1 + 4 * QUESTIONS


def test_a_server_that_never_manages_is_given_up_after_a_few_cuts(
    settings: DownloadSettings, server: Server
) -> None:
    server.always = servers.remark
    with pytest.raises(DataUnavailableError, match="not whole"):
        download(Box(LON0 - 0.1, LAT0 - 0.1, LON0 + 0.1, LAT0 + 0.1), settings)
    assert len(server.asked) < 10


def test_no_server_at_all(settings: DownloadSettings, server: Server) -> None:
    server.shutdown()
    server.server_close()
    with pytest.raises(DataUnavailableError, match=r"127\.0\.0\.1: .*refused.*local extract"):
        download(AREA, settings)
    assert kept(settings) == []


def test_a_host_without_address(settings: DownloadSettings) -> None:
    lost = replace(settings, overpass_url="http://nowhere.invalid/api")
    with pytest.raises(DataUnavailableError, match=r"nowhere\.invalid"):
        download(AREA, lost)


# --- areas and names


def test_an_empty_area_is_an_error_that_says_so(settings: DownloadSettings) -> None:
    with pytest.raises(DataUnavailableError, match="holds no roads"):
        download(Box(LON0 + 1, LAT0, LON0 + 1.01, LAT0 + 0.01), settings)


def test_an_area_too_large_is_refused_before_anything_is_asked(
    settings: DownloadSettings, server: Server
) -> None:
    with pytest.raises(
        DataUnavailableError, match=r"is 12,\d\d\d,\d\d\d km2, above the 10,000 km2.*\.osm\.pbf"
    ):
        download(Box(-60, 30, -20, 70), settings)
    assert server.asked == []


@pytest.mark.usefixtures("no_pause")
@pytest.mark.parametrize(
    ("name", "says"), [("Nowhere", "knows no such place"), ("Spot", "point without an outline")]
)
def test_a_name_that_leads_nowhere(settings: DownloadSettings, name: str, says: str) -> None:
    with pytest.raises(PlaceError, match=says):
        download(NamedArea(name), settings)
    assert kept(settings) == []


@pytest.mark.usefixtures("no_pause")
@pytest.mark.parametrize(
    ("fault", "count"),
    [
        (servers.status(504), 3),
        (servers.text("{}"), 3),
        (servers.text("<html>"), 3),
        (servers.text("[{}]"), 1),
    ],
)
def test_a_name_server_at_fault(settings: DownloadSettings, server: Server, fault: Fault, count: int) -> None:
    server.always = fault
    with pytest.raises(DataUnavailableError):
        download(NamedArea("Fenwick"), settings)
    assert len(server.asked) == count
    assert kept(settings) == []


@pytest.mark.parametrize("url", ["overpass", "ftp://x/y", "http://"])
def test_an_address_that_is_none(settings: DownloadSettings, url: str) -> None:
    with pytest.raises(UsageError, match="no web address"):
        replace(settings, overpass_url=url)


# --- what is kept


@pytest.mark.usefixtures("no_pause")
def test_a_run_without_network_works_from_what_is_kept_and_tells_its_age(
    settings: DownloadSettings, server: Server, local: Extract
) -> None:
    first = download(NamedArea("Fenwick"), settings)
    server.shutdown()
    server.server_close()
    for again in (settings, replace(settings, offline=True)):
        extract = download(NamedArea("Fenwick"), again)
        assert same(extract, local)
        assert (extract.info.data_date, extract.info.source) == (first.info.data_date, first.info.source)
        assert extract.info.read_date == first.info.read_date
        assert "(0 days ago)" in " ".join(extract.info.warnings)


def test_offline_asks_nothing(settings: DownloadSettings, server: Server) -> None:
    with pytest.raises(DataUnavailableError, match="not among the answers kept"):
        download(AREA, replace(settings, offline=True))
    assert server.asked == []


def test_refresh_asks_anew_and_replaces(settings: DownloadSettings, server: Server) -> None:
    download(AREA, settings)
    street = server.data.items["way", 40]
    street["tags"] = street["tags"] | {"maxheight": "3.0"}
    old = download(AREA, settings)
    assert "maxheight" not in old.ways[0].tags
    new = download(AREA, replace(settings, refresh=True))
    assert new.ways[0].tags["maxheight"] == "3.0"
    assert new.info.warnings == ()
    assert download(AREA, settings).ways[0].tags["maxheight"] == "3.0"
    assert len(server.asked) == 2 * QUESTIONS


def test_after_a_break_only_what_is_missing_is_asked(
    settings: DownloadSettings, server: Server, local: Extract
) -> None:
    server.faults = [*[servers.well] * 4, *[servers.status(504)] * 3]
    tiled = replace(settings, tile_deg=0.01)
    with pytest.raises(DataUnavailableError, match="finished parts are kept"):
        download(AREA, tiled)
    done = len(kept(settings))
    assert done == 4
    server.asked.clear()
    assert same(download(AREA, tiled), local)
    assert len(server.asked) == len(kept(settings)) - done


def test_ctrl_c_leaves_nothing_half_done(settings: DownloadSettings, server: Server, local: Extract) -> None:
    from osmnx import settings as of_osmnx

    before = {key: value for key, value in vars(of_osmnx).items() if not key.startswith("__")}
    lookup = socket.getaddrinfo

    def interrupt(handler: servers.Handler) -> None:
        import _thread

        _thread.interrupt_main()
        time.sleep(0.2)
        handler.reply()

    server.faults = [servers.well, interrupt]
    with pytest.raises(KeyboardInterrupt):
        download(AREA, settings)
    assert len(kept(settings)) == 1
    assert not list(settings.cache_dir.glob("*.part"))
    assert socket.getaddrinfo is lookup
    assert {key: value for key, value in vars(of_osmnx).items() if not key.startswith("__")} == before
    server.asked.clear()
    assert same(download(AREA, settings), local)
    assert len(server.asked) == QUESTIONS - 1


def test_osmnx_is_left_as_it_was(settings: DownloadSettings, server: Server) -> None:
    from osmnx import settings as of_osmnx

    before = {key: value for key, value in vars(of_osmnx).items() if not key.startswith("__")}
    lookup = socket.getaddrinfo
    download(AREA, settings)
    server.always = servers.status(504)
    with pytest.raises(DataUnavailableError):
        download(AREA, replace(settings, refresh=True))
    assert {key: value for key, value in vars(of_osmnx).items() if not key.startswith("__")} == before
    assert socket.getaddrinfo is lookup


def test_a_damaged_entry_is_asked_for_again(
    settings: DownloadSettings, server: Server, local: Extract
) -> None:
    download(AREA, settings)
    server.asked.clear()
    first, second, third = sorted(settings.cache_dir.iterdir())
    first.write_bytes(first.read_bytes()[:-9])
    second.write_bytes(b"")
    third.write_bytes(bytes(byte ^ 1 for byte in third.read_bytes()))
    assert same(download(AREA, settings), local)
    assert len(server.asked) == 3


def test_a_folder_that_cannot_be_written_is_a_warning(
    settings: DownloadSettings, tmp_path: Path, local: Extract
) -> None:
    (tmp_path / "file").write_text("in the way")
    extract = download(AREA, replace(settings, cache_dir=tmp_path / "file" / "cache"))
    assert same(extract, local)
    assert "cannot be kept" in extract.info.warnings[0]
