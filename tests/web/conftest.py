"""A server over Pellowick, the invented town: inside the test for requests, on the loopback for browsers."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn
from starlette.testclient import TestClient

from clearance import workflow
from clearance.web.server import application
from clearance.web.settings import Limits, Settings
from clearance.web.state import State

SAMPLE = Path(__file__).resolve().parents[2] / "data_samples" / "pellowick.osm"
YARD, QUAY, CAMP = "Pellowick Coach Yard", "Harbor Quay Visitor Lot", "Lighthouse Camp"


@pytest.fixture(scope="session")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    workflow.get_roads(str(SAMPLE), path)
    return path


#: Destinations of Pellowick: three that can be screened, and two bad rows.
PLACES = f"""name,lat,lon,place
Quay,,,{QUAY}
,,,{CAMP}
Mill,,,Mill Street
Bad,north,-40.0,
Nowhere,,,No Such Place
"""
HERON = """name = "Heron"
height = "13ft"
margin = "6in"
comfort = "14ft"
length = "38ft"
[towed]
length = "17ft"
"""
WREN = 'name = "Wren"\nheight = "10ft 6in"\n'


def settings_for(roads: Path, folder: Path) -> Settings:
    return Settings(
        roads=roads, records=folder / "records.sqlite", limits=Limits(upload=2 << 20, text=64 << 10)
    )


@pytest.fixture(scope="package")
def client(roads: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A client inside the process, as a program that is no browser."""
    app = application(settings_for(roads, tmp_path_factory.mktemp("client")))
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as client:
        yield client


def over(client: TestClient, address: str) -> str:
    """Wait until the job that a page shows is over, on a machine however busy; returned is the address."""
    ref = address.rpartition("/")[2]
    end = time.monotonic() + 120
    while client.get(f"/api/jobs/{ref}").json()["state"] in {"waiting", "running"}:
        assert time.monotonic() < end, "the job is not over"
        time.sleep(0.05)
    return address


@dataclass(frozen=True)
class Served:
    """A server on a port of its own."""

    address: str
    records: Path
    state: State


@pytest.fixture(scope="package")
def served(roads: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The server as it is run, for a browser."""
    settings = settings_for(roads, tmp_path_factory.mktemp("served"))
    app = application(settings)
    state = app.app.state.own  # type: ignore[attr-defined]
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    end = time.monotonic() + 30
    while not server.started:
        assert time.monotonic() < end, "the server did not start"
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    assert settings.records is not None
    yield Served(f"http://127.0.0.1:{port}", settings.records, state)
    server.should_exit = True
    thread.join(timeout=10)
    assert not thread.is_alive()
