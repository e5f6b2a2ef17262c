"""Files from a web address, asked of a server on this machine that does as the test says."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import requests

from clearance.core.errors import DataUnavailableError, UsageError
from clearance.sources.guarded import Limits
from clearance.sources.inventory import read_inventory_at
from clearance.sources.web_file import FetchSettings, _go_on, _RefusedError, fetched_file, is_web_address
from tests.sources.test_inventory import HEADER, delimited


class Answers(BaseHTTPRequestHandler):
    """What each path answers."""

    asked: list[str]

    def do_GET(self) -> None:
        self.asked.append(self.path)
        match self.path.split("?")[0]:
            case "/2024/ME24.txt":
                self._send(f"{HEADER}\n{delimited({})}\n".encode())
            case "/page":
                self._send(b"<html>log in first</html>", kind="text/html; charset=utf-8")
            case "/busy":
                self._send(b"", status=503 if len(self.asked) < 3 else 200, fill=b"at last")
            case "/gone":
                self._send(b"", status=404)
            case "/large":
                self._send(b"x", length=2000)
            case "/endless":
                self.send_response(200)
                self.end_headers()
                while True:
                    self.wfile.write(b"x" * 1000)
            case "/drip":
                self.send_response(200)
                self.end_headers()
                for _ in range(100):
                    self.wfile.write(b"x")
                    self.wfile.flush()
                    time.sleep(0.05)
            case "/moved":
                self._move("/2024/ME24.txt")
            case "/round":
                self._move("/round")
            case "/moved-endless":
                self._move("/2024/ME24.txt", endless=True)
            case "/headers":
                self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
                self._trickle()
            case "/cut":
                self._send(b"half of it", length=100)
            case _:
                self._send(b"")

    def _send(
        self, body: bytes, *, status: int = 200, kind: str = "text/plain", length: int = -1, fill: bytes = b""
    ) -> None:
        body = fill if status == 200 and fill else body
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body) if length < 0 else length))
        self.end_headers()
        self.wfile.write(body)

    def _move(self, target: str, *, endless: bool = False) -> None:
        self.send_response(302)
        self.send_header("Location", target)
        if not endless:
            self.send_header("Content-Length", "0")
        self.end_headers()
        if endless:
            self._trickle()

    def _trickle(self) -> None:
        for _ in range(2000):
            self.wfile.write(b"x")
            self.wfile.flush()
            time.sleep(0.02)
        self.asked.append("heard to the end")

    def log_message(self, *args: object) -> None:
        """Say nothing."""


class Quiet(ThreadingHTTPServer):
    """A server that does not mind when its client hangs up."""

    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing."""


@contextmanager
def serving() -> Iterator[tuple[str, list[str]]]:
    asked: list[str] = []
    handler = type("Handler", (Answers,), {"asked": asked})
    server = Quiet(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", asked
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


QUICK = FetchSettings(
    deadline_s=5.0, limits=Limits(attempts=3, wait_s=0.01, silence_s=2.0, largest_answer_bytes=1000 + 500)
)


def test_an_inventory_at_a_web_address() -> None:
    """The year comes from the name at the end of the address; nothing is left on the disk."""
    with serving() as (base, asked):
        found = read_inventory_at(f"{base}/2024/ME24.txt?key=1", settings=QUICK)
        with fetched_file(f"{base}/2024/ME24.txt", QUICK) as path:
            assert path.name == "ME24.txt"
            kept = path
    assert [r.carried for r in found.records] == ["HEATHER STREET"]
    assert found.source == "National Bridge Inventory 2024"
    assert len(asked) == 2
    assert not kept.exists()


@pytest.mark.parametrize(
    ("path", "said", "times"),
    [
        ("/page", "is a web page", 1),
        ("/gone", "answered 404", 1),
        ("/large", "more than the 0 MiB allowed", 1),
        ("/endless", "larger than", 1),
        ("/nothing", "is empty", 1),
        ("/cut", "broke off", 3),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_address(path: str, said: str, times: int) -> None:
    with serving() as (base, asked):
        with pytest.raises(DataUnavailableError, match=said) as caught, fetched_file(base + path, QUICK):
            pass
        assert len(asked) == times
    assert base + path in str(caught.value)
    assert "download the file with a browser" in str(caught.value)


def test_a_busy_server_is_asked_again_a_few_times() -> None:
    with serving() as (base, asked), fetched_file(f"{base}/busy", QUICK) as path:
        assert path.read_bytes() == b"at last"
    assert len(asked) == 3


def test_a_drip_ends_at_the_deadline() -> None:
    began = time.monotonic()
    with (
        serving() as (base, _),
        pytest.raises(DataUnavailableError, match="too slowly"),
        fetched_file(f"{base}/drip", FetchSettings(deadline_s=0.3, limits=QUICK.limits)),
    ):
        pass
    assert time.monotonic() - began < 30


def test_nobody_there() -> None:
    with serving() as (base, _):
        pass
    with pytest.raises(DataUnavailableError, match="check the address"), fetched_file(base, QUICK):
        pass


@pytest.mark.parametrize("path", ["/moved", "/moved-endless"])
def test_a_file_that_has_moved_is_fetched_where_it_is(path: str) -> None:
    """The body of the redirect is not waited for."""
    with serving() as (base, asked), fetched_file(base + path, QUICK) as found:
        assert found.read_text().startswith(HEADER)
        assert asked == [path, "/2024/ME24.txt"]


def test_a_file_that_moves_in_a_circle() -> None:
    with (
        serving() as (base, _),
        pytest.raises(DataUnavailableError, match="30 redirects"),
        fetched_file(f"{base}/round", QUICK),
    ):
        pass


def test_headers_without_end_are_hung_up_on_at_the_deadline() -> None:
    with serving() as (base, asked):
        with (
            pytest.raises(DataUnavailableError, match="too slowly"),
            fetched_file(f"{base}/headers", FetchSettings(deadline_s=0.3, limits=QUICK.limits)),
        ):
            pass
        assert asked == ["/headers"]


def test_a_protected_address_is_not_left_for_an_open_one() -> None:
    """What comes over an open line may have been changed on its way, and heights are at stake."""
    response = requests.Response()
    response.status_code, response.url = 302, "https://files.invalid/a"
    response.raw = io.BytesIO(b"the body")
    response.headers["Location"] = "/b"
    _go_on(response)
    assert response.content == b""
    response.headers["Location"] = "http://files.invalid/a"
    with pytest.raises(_RefusedError, match="anybody on the way could change"):
        _go_on(response)


@pytest.mark.parametrize(
    "text",
    [
        "http://a..b/",
        "http://[zz]/a",
        "http://127.0.0.1:99999/a",
        "ftp://example.invalid/a",
        "file:///etc/hosts",
        "http://",
        "ME24.txt",
    ],
)
def test_addresses_that_are_none(text: str, tmp_path: Path) -> None:
    assert is_web_address(text) == text.startswith("http")
    with pytest.raises(UsageError, match="no web address"), fetched_file(text, QUICK):
        pass
