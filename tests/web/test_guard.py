"""What the server refuses: other names, other sites, strangers, floods, and every path to the disk."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from clearance.core.errors import UsageError
from clearance.web.server import application
from clearance.web.settings import Settings, is_loopback
from tests.web.conftest import over

TOKEN = "a-token-for-the-tests"


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "127.0.0.1:8765", "localhost:1", "LOCALHOST", "[::1]:8765", "[::1]", "127.9.9.9"]
)
def test_own_names_are_answered(client: TestClient, host: str) -> None:
    assert client.get("/api/roads", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "town.example",
        "localhost.example",
        "127.0.0.1.example:80",
        "192.168.0.7",
        "0.0.0.0",
        "",
        "a:b:c",
        "::1:x",
    ],
)
def test_other_names_are_not(client: TestClient, host: str) -> None:
    """A site that turns its own name to this machine (DNS rebinding) still sends its own name."""
    answer = client.get("/api/roads", headers={"host": host})
    assert answer.status_code == 421
    assert "attribution" not in answer.text


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"origin": "http://127.0.0.1"}, 200),
        ({"sec-fetch-site": "same-origin"}, 200),
        ({"origin": "http://127.0.0.1:81"}, 403),
        ({"origin": "https://127.0.0.1"}, 403),
        ({"origin": "https://town.example"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
    ],
)
def test_only_own_pages_may_change_something(
    client: TestClient, headers: dict[str, str], status: int
) -> None:
    answer = client.post("/api/coach", json={"height": "13ft"}, headers=headers)
    assert answer.status_code == status


def test_other_sites_may_link_but_not_embed(client: TestClient) -> None:
    cross = {"sec-fetch-site": "cross-site"}
    assert client.get("/", headers={**cross, "sec-fetch-mode": "navigate"}).status_code == 200
    assert client.get("/", headers={**cross, "sec-fetch-mode": "no-cors"}).status_code == 403
    assert client.get("/api/roads", headers={**cross, "sec-fetch-mode": "cors"}).status_code == 403


@pytest.mark.parametrize("path", ["/", "/api/roads", "/packed/web.js", "/nowhere", "/drive/x"])
def test_every_answer_tells_the_browser_to_stay_here(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["connect-src"] == "'self'"
    assert policy["form-action"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"


def test_a_failure_of_the_program_tells_nothing_and_is_dressed_as_well(
    roads: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from clearance.web import api

    def broken(*_: object) -> None:
        raise RuntimeError("inner secret")

    monkeypatch.setattr(api, "coach_asked", broken)
    with TestClient(
        application(Settings(roads=roads, records=tmp_path / "r.sqlite")),
        base_url="http://127.0.0.1",
        raise_server_exceptions=False,
    ) as client:
        answer = client.post("/api/coach", json={"height": "13ft"})
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "content-security-policy" in answer.headers


def test_too_much_is_refused_by_its_told_length_and_by_what_comes(client: TestClient) -> None:
    body = b'{"height": "' + b"1" * (70 << 10) + b'"}'
    kind = {"content-type": "application/json"}
    assert client.post("/api/coach", content=body, headers=kind).status_code == 413

    def drip() -> Iterator[bytes]:
        for start in range(0, len(body), 8192):
            yield body[start : start + 8192]

    # Sent in pieces, no length is told.
    answer = client.post("/api/coach", content=drip(), headers=kind)
    assert answer.status_code == 413
    assert answer.json()["error"]["kind"] == "TooLargeError"


def test_uploads_have_a_limit_of_their_own(client: TestClient) -> None:
    small = {"line": ("a.gpx", b"x" * (1 << 20))}
    assert client.post("/api/inspect", files=small).status_code in {400, 422}
    for path, name in (("/api/inspect", "line"), ("/api/screen", "places"), ("/screen", "list")):
        large = {name: ("a.gpx", b"x" * (3 << 20))}
        assert client.post(path, files=large).status_code == 413, path
    # A coach file is a short text.
    assert client.post("/coach/file", files={"coach.file": ("a.toml", b"x" * (1 << 20))}).status_code == 413


@pytest.mark.parametrize(
    "path",
    [
        "/packed/../settings.py",
        "/packed/..%2Fsettings.py",
        "/packed/%2e%2e/settings.py",
        "/packed//etc/passwd",
        "/packed/%2Fetc%2Fpasswd",
        "/packed/page.html",
        "/packed/lists.html",
        "/packed/",
        "/records/file/..%2Fx",
        "/screen/x/file/..%2Fx",
        "/screen/..%2F..%2Fetc%2Fpasswd",
        "/drive/../../etc/passwd",
    ],
)
def test_no_path_reaches_the_disk(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert "root:" not in answer.text


def test_a_file_name_that_was_sent_is_only_shown(client: TestClient, tmp_path: Path) -> None:
    target = tmp_path / "planted.gpx"
    for name in (str(target), "../../planted.gpx", "..\\planted.gpx", "a\x00b.gpx", "x" * 500 + ".gpx"):
        answer = client.post(
            "/api/inspect", files={"line": (name, b"<gpx/>")}, data={"asked": '{"coach": {"height": "13ft"}}'}
        )
        assert answer.status_code in {400, 422}, name
        assert "/tmp" not in answer.json()["error"]["message"].replace(str(tmp_path), "")
        asked = {"from": "Mill Street", "coach": {"height": "13ft"}}
        files = {"places": (name, b"lat,lon\n1,2\n"), "since": (name, b"{}")}
        begun = client.post("/api/screen", files=files, data={"asked": json.dumps(asked)})
        told = client.get(over(client, begun.headers["location"]))
        assert told.status_code == 422, name
        assert "/tmp" not in told.text.replace(str(tmp_path), "")
    assert not target.exists()
    assert not Path("planted.gpx").exists()


# --- with a token --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def opened_up(roads: Path) -> Iterator[TestClient]:
    app = application(Settings(roads=roads, host="0.0.0.0", token=TOKEN, names=("yard.example",)))
    with TestClient(app, base_url="http://192.168.0.7:8765", follow_redirects=False) as client:
        yield client


def test_off_the_loopback_a_token_is_needed(roads: Path) -> None:
    for host in ("0.0.0.0", "192.168.0.7", "::", "yard.example"):
        with pytest.raises(UsageError, match="token"):
            Settings(roads=roads, host=host)
        with pytest.raises(UsageError, match="16 characters"):
            Settings(roads=roads, host=host, token="short")
    assert is_loopback("::1")
    assert not is_loopback("::")


def test_without_the_token_nothing_is_told(opened_up: TestClient) -> None:
    for path in ("/", "/api/roads", "/packed/web.js", "/nowhere"):
        answer = opened_up.get(path)
        assert answer.status_code == 401
        assert "pellowick" not in answer.text.lower()
    for wrong in (TOKEN[:-1], TOKEN.upper(), "", "ü"):
        assert opened_up.get("/", params={"token": wrong}).status_code == 401
    bearer = {"authorization": f"Bearer {TOKEN}x"}
    assert opened_up.get("/api/roads", headers=bearer).status_code == 401


def test_a_program_sends_it_as_a_bearer(opened_up: TestClient) -> None:
    answer = opened_up.get("/api/roads", headers={"authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 200


def test_a_browser_opens_the_link_once_and_the_token_leaves_the_address(opened_up: TestClient) -> None:
    answer = opened_up.get("/structures", params={"token": TOKEN, "text": "mill street"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/structures?text=mill+street"
    cookie = answer.headers["set-cookie"]
    assert TOKEN not in cookie
    assert "httponly" in cookie.lower()
    assert "samesite=strict" in cookie.lower()
    assert opened_up.get("/").status_code == 200
    opened_up.cookies.clear()
    assert opened_up.get("/").status_code == 401


def test_the_link_leads_nowhere_else(opened_up: TestClient) -> None:
    answer = opened_up.get("//elsewhere.example/x", params={"token": TOKEN})
    opened_up.cookies.clear()
    assert answer.headers.get("location", "/").startswith("/")
    assert not answer.headers.get("location", "/").startswith("//")


def test_off_the_loopback_numbers_and_given_names_are_answered(opened_up: TestClient) -> None:
    bearer = {"authorization": f"Bearer {TOKEN}"}
    for host, status in (("10.0.0.9", 200), ("yard.example:8765", 200), ("evil.example", 421)):
        assert opened_up.get("/api/roads", headers={**bearer, "host": host}).status_code == status
