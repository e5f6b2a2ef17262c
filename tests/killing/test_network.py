"""`get` as a process, against servers on loopback that misbehave: one line, no file, nothing half kept."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from clearance.network.roadfile import check_road_file
from tests.killing.nursery import Child, Nursery
from tests.sources import map_servers as servers
from tests.sources.map_servers import Fault, Server, full_town

#: A box within one tile, beside the town, and the questions that its download asks.
BOX_TEXT = "-39.999,45.001,-39.991,45.009"
QUESTIONS = 3


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    with servers.map_servers(full_town()) as running:
        yield running


@pytest.fixture(autouse=True)
def well(server: Server) -> None:
    server.always = None
    server.faults.clear()
    server.asked.clear()
    server.patient.clear()


def get(nest: Nursery, server: Server, folder: Path, *more: str, area: str = BOX_TEXT) -> Child:
    """`get` with the addresses of the servers in the environment, where they belong for good."""
    env = {"CLEARANCE_MAP_SERVER": server.overpass_url, "CLEARANCE_NAME_SERVER": server.nominatim_url}
    told: list[str | Path] = ["get", "-o", folder / "a.roads", "--cache", folder / "kept", *more, "--", area]
    return nest.start(*told, env=env)


def kept(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "kept").glob("*"))


def failed(child: Child, folder: Path) -> str:
    """The one line that a run without result says."""
    assert child.wait() == 1, child.said()
    error = child.err.read_text(encoding="utf-8")
    assert child.out.read_text(encoding="utf-8") == ""
    assert len(error.strip().splitlines()) == 1, error
    assert error.startswith("clearance: ")
    assert "fault of the program" not in error
    assert not (folder / "a.roads").exists()
    assert kept(folder) == []
    return error


FAULTS: dict[str, tuple[Fault, str]] = {
    "429, wait an hour": (servers.status(429, Retry_After="3600"), "asking to wait 3600 s"),
    "429, wait until a year": (
        servers.status(429, Retry_After="Fri, 31 Dec 2399 23:59:59 GMT"),
        "answered 429 Too Many Requests, asking to wait",
    ),
    "504": (servers.status(504), "answered 504"),
    "drip": (servers.drip, "too slowly"),
    "header drip": (servers.header_drip, "too slowly"),
    "cut off": (servers.cut_off, "broke off"),
    "web page": (servers.html, "not JSON (text/html"),
    "other encoding": (servers.text('{"a": "Stra\xdfe"}'.encode("latin-1")), "not in UTF-8"),
    "half a character": (servers.text('{"elements": [], "a": "\\ud83d"}'), "half a character"),
    "remark": (servers.remark, 'not whole: runtime error: Query timed out in "query"'),
    "node missing": (servers.node_missing, "not whole: it lacks nodes"),
    "elsewhere": (
        servers.elsewhere(302, "https://maps.invalid/api"),
        "pointing to 'https://maps.invalid/api'",
    ),
    "elsewhere without end": (servers.elsewhere(endless=True), "pointing to"),
    "hung up": (servers.hang_up, "127.0.0.1"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_that_stays(nest: Nursery, server: Server, tmp_path: Path, name: str) -> None:
    """The wait before a second try (3 s) is more than what is left of the time, so each is met once."""
    fault, said = FAULTS[name]
    server.always = fault
    error = failed(get(nest, server, tmp_path, "--deadline", "1"), tmp_path)
    # A machine that is very busy may take the whole second for its own part.
    assert said in error or "total time of 1 s is over" in error
    assert "local extract file" in error
    assert len(server.asked) <= 1
    assert server.patient == []


def test_areas_that_hold_nothing_or_too_much(nest: Nursery, server: Server, tmp_path: Path) -> None:
    assert "above the 10,000 km2" in failed(get(nest, server, tmp_path, area="-60,30,-20,70"), tmp_path)
    assert server.asked == []
    child = get(nest, server, tmp_path, area="-30,45,-29.99,45.01")
    assert child.wait() == 1
    assert "holds no roads" in child.said()
    assert not (tmp_path / "a.roads").exists()


def test_nobody_there_and_nothing_kept(nest: Nursery, tmp_path: Path) -> None:
    with servers.map_servers(full_town()) as gone:
        pass
    assert "refused" in failed(get(nest, gone, tmp_path, "--deadline", "2"), tmp_path)
    assert "not among the answers kept" in failed(get(nest, gone, tmp_path, "--offline"), tmp_path)


def test_ctrl_c_then_the_same_command_then_no_network(nest: Nursery, server: Server, tmp_path: Path) -> None:
    """What was finished is kept, what was not is asked for again, and later nothing is asked at all."""
    came, go_on = threading.Event(), threading.Event()

    def hold(handler: servers.Handler) -> None:
        came.set()
        go_on.wait(60)
        handler.reply()

    server.faults = [servers.well, hold]
    child = get(nest, server, tmp_path)
    assert came.wait(60)
    child.kill(signal.SIGINT)
    code = child.wait()
    go_on.set()
    # 130 is what a shell makes of the signal, too.
    assert code in (130, -signal.SIGINT), child.said()
    assert child.said().strip().startswith("clearance: interrupted; ")
    assert "run it again to go on" in child.said()
    assert not (tmp_path / "a.roads").exists()
    assert len(kept(tmp_path)) == 1

    server.asked.clear()
    child = get(nest, server, tmp_path)
    assert child.wait() == 0, child.said()
    assert len(server.asked) == QUESTIONS - 1
    whole = (tmp_path / "a.roads").read_bytes()
    check_road_file(tmp_path / "a.roads")

    # A server in trouble does not undo what is kept.
    server.always = servers.status(504)
    child = get(nest, server, tmp_path, "--refresh", "--deadline", "1")
    assert child.wait() == 1
    assert (tmp_path / "a.roads").read_bytes() == whole
    assert len(kept(tmp_path)) == QUESTIONS
    server.asked.clear()
    child = get(nest, server, tmp_path, "--offline")
    assert child.wait() == 0, child.said()
    assert server.asked == []
    assert "map data kept on this computer was used, fetched" in child.said()
    assert "(0 days ago)" in child.said()
