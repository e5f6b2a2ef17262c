"""One question to a server: which answers are let through, and when it is asked again."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator

import pytest
import requests

from clearance.core.errors import DataUnavailableError
from clearance.sources.guarded import Deadline, Hook, Limits, TooMuchError, ask, web_host
from clearance.sources.overpass import check_answer
from tests.sources import map_servers as servers
from tests.sources.map_servers import Fault, Server
from tests.towns import Town

QUERY = '[out:json][timeout:9];(way["highway"](poly:"44 -41 44 -39 46 -39 46 -41");>;);out;'


@pytest.fixture
def server() -> Iterator[Server]:
    town = Town().node(1, 0, 0).node(2, 9, 0).way(1, [1, 2], {"highway": "road", "name": "Straße"})
    with servers.map_servers(town) as running:
        yield running


def asked(server: Server, *, can_split: bool = False, seconds: float = 5, **limits: float) -> object:
    def send(hook: Hook, timeout_s: float) -> None:
        requests.post(
            f"{server.overpass_url}/interpreter",
            data={"data": QUERY},
            timeout=timeout_s,
            hooks={"response": hook},
        )

    return ask(
        send,
        server="map server",
        limits=Limits(**({"attempts": 2, "wait_s": 0.001} | limits)),  # type: ignore[arg-type]
        deadline=Deadline(seconds),
        check=check_answer,
        can_split=can_split,
    )


def right(server: Server) -> object:
    return server.data.answer(QUERY)


FAULTS: dict[str, tuple[Fault, str]] = {
    "429": (servers.status(429, Retry_After="0"), "answered 429 Too Many Requests, asking to wait 0 s"),
    "429 with nonsense": (servers.status(429, Retry_After="soon"), "answered 429"),
    "500": (servers.status(500), "answered 500"),
    "503": (servers.status(503), "answered 503"),
    "504": (servers.status(504), "answered 504 Gateway Timeout"),
    "web page": (servers.html, "not JSON (text/html: '<html><body>The server is busy"),
    "other encoding": (servers.text('{"elements": [], "a": "Stra\xdfe"}'.encode("latin-1")), "not in UTF-8"),
    "UTF-16": (servers.text('{"elements": []}'.encode("utf-16")), "not in UTF-8"),
    "half": (servers.text('{"elements": [{"type": "node", "id": 1'), "not JSON"),
    "empty": (servers.text(""), "not JSON"),
    "deep": (servers.text("[" * 100_000), "not JSON"),
    "list": (servers.text("[]"), "no list of map elements"),
    "null": (servers.text("null"), "no list of map elements"),
    "no list": (servers.text('{"elements": {}}'), "no list of map elements"),
    "number": (servers.text('{"elements": [7]}'), "damaged element: 7"),
    "north of the pole": (
        servers.text('{"elements": [{"type": "node", "id": 1, "lat": 95.0, "lon": 0.0}]}'),
        "damaged element",
    ),
    "not a number": (
        servers.text('{"elements": [{"type": "node", "id": 1, "lat": NaN, "lon": 0.0}]}'),
        "damaged element",
    ),
    "no place": (servers.text('{"elements": [{"type": "node", "id": 1}]}'), "damaged element"),
    "id in text": (
        servers.text('{"elements": [{"type": "way", "id": "1", "nodes": []}]}'),
        "damaged element",
    ),
    "node in text": (
        servers.text('{"elements": [{"type": "way", "id": 1, "nodes": ["a"]}]}'),
        "damaged element",
    ),
    "tag not text": (
        servers.text('{"elements": [{"type": "way", "id": 1, "nodes": [1], "tags": {"a": 1}}]}'),
        "damaged element",
    ),
    "odd member": (
        servers.text('{"elements": [{"type": "relation", "id": 1, "members": [{"type": "x"}]}]}'),
        "damaged element",
    ),
    "large id": (
        servers.text('{"elements": [{"type": "way", "id": 99999999999999999999, "nodes": []}]}'),
        "damaged element",
    ),
    "half a character": (
        servers.text(
            r'{"elements": [{"type": "node", "id": 1, "lat": 1, "lon": 1, "tags": {"name": "\ud83d"}}]}'
        ),
        "half a character",
    ),
    "429 and a digit that is none": (servers.status(429, Retry_After="\xb2"), "answered 429"),
    "429 until no date at all": (
        servers.status(429, Retry_After="Mon, 01 Jan 0001 00:00:00 +2359"),
        "answered 429",
    ),
    "node missing": (servers.node_missing, "not whole: it lacks nodes of way 1"),
    "remark": (servers.remark, "not whole: runtime error: Query timed out"),
    "cut off": (servers.cut_off, "broke off"),
    "cut off unnoticed": (servers.cut_off_unnoticed, "not JSON"),
    "hung up": (servers.hang_up, "map server: "),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_asked_about_once_more(server: Server, name: str) -> None:
    server.faults = [FAULTS[name][0]]
    assert asked(server) == right(server)
    assert len(server.asked) == 2


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_that_stays_is_told(server: Server, name: str) -> None:
    fault, says = FAULTS[name]
    server.always = fault
    with pytest.raises(DataUnavailableError) as caught:
        asked(server)
    assert says in str(caught.value)
    assert "local extract file" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(server.asked) == 2


@pytest.mark.parametrize(
    "form",
    [
        servers.packed,
        lambda handler: handler.reply(handler.body(), Content_Type="text/plain; charset=ISO-8859-1"),
        lambda handler: handler.reply(b"\xef\xbb\xbf" + handler.body()),
        lambda handler: handler.reply(json.dumps(json.loads(handler.body())).encode()),
        lambda handler: handler.reply(json.dumps({"a": "\U0001f68c"} | json.loads(handler.body())).encode()),
    ],
    ids=["gzip", "header names another encoding", "byte order mark", "ASCII", "both halves of a character"],
)
def test_forms_of_a_right_answer(server: Server, form: Fault) -> None:
    server.always = form
    assert asked(server) | {"a": 0} == right(server) | {"a": 0}  # type: ignore[operator]


@pytest.mark.parametrize("code", [400, 401, 403, 404, 413])
def test_a_refusal_is_not_asked_again(server: Server, code: int) -> None:
    server.always = servers.status(code)
    with pytest.raises(DataUnavailableError, match=f"answered {code}"):
        asked(server)
    assert len(server.asked) == 1


def test_a_body_that_unpacks_without_end_is_given_up(server: Server) -> None:
    import gzip

    server.always = servers.text(gzip.compress(b" " * 3_000_000), Content_Encoding="gzip")
    with pytest.raises(DataUnavailableError, match="larger than"):
        asked(server, largest_answer_bytes=1 << 20)
    assert len(server.asked) == 1


@pytest.mark.parametrize("fault", [servers.remark, servers.text(b" " * 200_000)], ids=["remark", "size"])
def test_too_much_is_told_at_once_where_the_question_can_be_split(server: Server, fault: Fault) -> None:
    server.always = fault
    with pytest.raises(TooMuchError):
        asked(server, can_split=True, largest_answer_bytes=100_000)
    assert len(server.asked) == 1


def test_a_small_answer_that_unpacks_to_a_large_one_takes_no_memory(server: Server) -> None:
    """Packed twice over, under 5 KB; what is held of it is a small part of what it is."""
    import gzip
    import resource
    import zlib

    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    zeros = bytes(1 << 24)
    once = b"".join([*(packer.compress(zeros) for _ in range(8)), packer.flush()])
    twice = gzip.compress(once)
    assert len(twice) < 5000
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    server.always = servers.text(twice, Content_Encoding="gzip, gzip")
    with pytest.raises(DataUnavailableError, match="larger than"):
        asked(server, largest_answer_bytes=1 << 20)
    # In KiB on Linux (getrusage(2)); the whole would be 131,072.
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


@pytest.mark.parametrize("code", [301, 302, 303, 307, 308])
def test_nobody_is_followed_elsewhere(server: Server, code: int) -> None:
    """Another server's answer would be kept as this one's, and a body without end be read to its end."""
    server.always = servers.elsewhere(code, "http://127.0.0.2:9/map", endless=code == 302)
    with pytest.raises(DataUnavailableError, match=rf"answered {code}, pointing to 'http://127.0.0.2:9/map'"):
        asked(server)
    assert len(server.asked) == 1
    assert server.patient == []


@pytest.mark.parametrize("fault", [servers.header_drip, servers.half_then_drip], ids=["header", "body"])
def test_whoever_keeps_us_waiting_is_hung_up_on_at_the_deadline(server: Server, fault: Fault) -> None:
    """A byte each 20 ms, so that no time-out between bytes is ever over."""
    server.always = fault
    with pytest.raises(DataUnavailableError, match=r"too slowly.*the total time of 0\.3 s is over"):
        asked(server, seconds=0.3, silence_s=60)
    assert server.patient == []


def test_a_connection_that_breaks_as_we_hang_up_came_too_slowly() -> None:
    """Whether the system tells of an end or of a reset is chance."""

    def send(_hook: Hook, _seconds: float) -> None:
        time.sleep(0.1)
        raise requests.ConnectionError("Connection reset by peer")

    with pytest.raises(DataUnavailableError, match=r"too slowly.*the total time of 0\.05 s is over"):
        ask(
            send,
            server="map server",
            limits=Limits(wait_s=0.001),
            deadline=Deadline(0.05),
            check=check_answer,
        )


@pytest.mark.parametrize(
    ("url", "host"),
    [
        ("http://127.0.0.1:99999/", ""),
        ("http://127.0.0.1:99/a", "127.0.0.1"),
        ("HTTPS://Maps.invalid/", "maps.invalid"),
        ("http://[::1]:8080/", "::1"),
        ("http://[zz]/", ""),
        ("http://.maps.invalid/", ""),
        (f"http://{'m' * 70}.invalid/", ""),
        ("maps.invalid/api", ""),
        ("", ""),
    ],
)
def test_the_host_of_an_address(url: str, host: str) -> None:
    assert web_host(url) == host


@pytest.mark.parametrize("fault", [servers.drip, servers.status(504)], ids=["drip", "busy"])
def test_the_deadline_ends_everything(server: Server, fault: Fault) -> None:
    server.always = fault
    begin = time.monotonic()
    with pytest.raises(DataUnavailableError):
        asked(server, seconds=0.4, attempts=1000, wait_s=0.05, longest_wait_s=60)
    assert time.monotonic() - begin < 30


def test_nothing_is_asked_after_the_deadline(server: Server) -> None:
    with pytest.raises(DataUnavailableError, match="total time of 0 s is over"):
        asked(server, seconds=0)
    assert server.asked == []
