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

SAMPLE = Path(__file__).resolve().parents[2] / "data_samples" / "pellowick.osm"
YARD, QUAY, CAMP = "Pellowick Coach Yard", "Harbor Quay Visitor Lot", "Lighthouse Camp"


@pytest.fixture(scope="session")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    workflow.get_roads(str(SAMPLE), path)
    return path


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


@dataclass(frozen=True)
class Served:
    """A server on a port of its own."""

    address: str
    records: Path


@pytest.fixture(scope="package")
def served(roads: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The server as it is run, for a browser."""
    settings = settings_for(roads, tmp_path_factory.mktemp("served"))
    config = uvicorn.Config(application(settings), host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    end = time.monotonic() + 30
    while not server.started:
        assert time.monotonic() < end, "the server did not start"
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    assert settings.records is not None
    yield Served(f"http://127.0.0.1:{port}", settings.records)
    server.should_exit = True
    thread.join(timeout=10)
    assert not thread.is_alive()
