"""The interface for programs says what the commands say, and describes itself truly."""

from __future__ import annotations

import io
import json
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pypdf import PdfReader
from starlette.testclient import TestClient

from clearance import workflow
from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.web.openapi import description
from clearance.web.schemas import COACH, DRIVE, INSPECT, RECORD, REQUESTS, SCREEN, misfit
from tests.web.conftest import CAMP, QUAY, YARD

COACH_13 = {"height": "13ft", "margin": "6in", "comfort": "14ft"}
ASKED = {"from": YARD, "to": QUAY, "coach": COACH_13}


def line(client: TestClient, **asked: Any) -> str:
    """A drive as a line from elsewhere."""
    answer = client.post("/api/drive", json={**ASKED, **asked, "format": "gpx"})
    assert answer.status_code == 200
    return answer.text


# --- drives --------------------------------------------------------------------------------------------


def test_a_drive_is_the_one_that_the_command_prints(client: TestClient, roads: Path) -> None:
    coach = Coach(height=Length.from_feet(13))
    wanted = json.loads(workflow.drive_json(workflow.plan_drive(roads, [YARD, QUAY], coach), units="feet"))
    answer = client.post("/api/drive", json=ASKED)
    assert answer.status_code == 200
    assert answer.json() == wanted
    assert wanted["verdict"] == "care"


def test_a_blocked_drive_is_an_answer(client: TestClient) -> None:
    answer = client.post("/api/drive", json={**ASKED, "to": CAMP})
    assert answer.status_code == 200
    document = answer.json()
    assert document["verdict"] == "blocked"
    assert document["gets_through"]["feet"] == "13'1\""


def test_each_format_is_what_it_says(client: TestClient) -> None:
    made = {kind: client.post("/api/drive", json={**ASKED, "format": kind}) for kind in ("geojson", "gpx")}
    made |= {
        kind: client.post("/api/drive", json={**ASKED, "format": kind}) for kind in ("csv", "html", "pdf")
    }
    assert {answer.status_code for answer in made.values()} == {200}
    assert made["geojson"].json()["type"] == "FeatureCollection"
    assert made["geojson"].headers["content-type"] == "application/geo+json"
    assert "<gpx" in made["gpx"].text
    assert "footbridge" in made["csv"].text
    assert made["html"].text.startswith("<!doctype html>")
    assert "13'0\"" in "".join(
        page.extract_text() for page in PdfReader(io.BytesIO(made["pdf"].content)).pages
    )


def test_stops_times_and_facilities(client: TestClient) -> None:
    document = client.post(
        "/api/drive",
        json={
            **ASKED,
            "via": [{"name": "Half way", "lat": 45.00457, "lon": -39.98976, "minutes": 30}],
            "depart": "2099-07-04T08:30",
            "along": ["fuel"],
            "reorder": True,
        },
    ).json()
    half = document["stops"][1]
    assert half["place"]["name"] in {"Half way", ""}
    assert half["leaves_s"] - half["arrives_s"] == 1800
    assert document["departure"].startswith("2099-07-04T08:30")


@pytest.mark.parametrize(
    ("change", "status", "said"),
    [
        ({"to": "Nowhere at all"}, 404, "Nowhere at all"),
        ({"to": YARD}, 400, "start and end"),
        ({"to": "Mill"}, 404, "several places"),
        ({"coach": {"height": "13"}}, 400, "no unit"),
        ({"coach": {}}, 400, "there is no default"),
        ({"coach": {"height": "13ft", "margin": "half"}}, 400, "margin"),
        ({"coach": {"height": "13ft", "lenght": "3m"}}, 400, "lenght"),
        ({"depart": "soon"}, 400, "soon"),
        ({"depart": "2001-01-01T00:00"}, 400, "past"),
        ({"unverified": "maybe"}, 400, "maybe"),
        ({"stay": -1}, 400, "stay"),
        ({"stay": "5"}, 400, "stay"),
        ({"via": ["x"] * 41}, 400, "via"),
        ({"tow": True}, 400, "tow"),
        ({"to": {"lat": 95, "lon": 0}}, 400, "lat"),
        ({"to": "10.0,10.0"}, 404, "road"),
    ],
)
def test_what_cannot_be_meant_is_told(
    client: TestClient, change: dict[str, Any], status: int, said: str
) -> None:
    answer = client.post("/api/drive", json={**ASKED, **change})
    assert answer.status_code == status, answer.text
    assert said in answer.json()["error"]["message"]


def test_names_that_fit_several_places_come_with_them(client: TestClient) -> None:
    error = client.post("/api/drive", json={**ASKED, "to": "Mill"}).json()["error"]
    assert {place["name"] for place in error["choices"]["to"]} >= {"Mill Street", "Mill House"}


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b"null", b'"x"', b'{"from": NaN}', b"\xff\xfe", b"[" * 60_000, b'{"from":1e999}'],
)
def test_a_body_that_is_no_document(client: TestClient, body: bytes) -> None:
    answer = client.post("/api/drive", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 400
    assert answer.json()["error"]["kind"] == "UsageError"


def test_plain_text_is_no_document(client: TestClient) -> None:
    """A form of another site can send plain text unasked, a JSON body it cannot."""
    answer = client.post("/api/drive", content=json.dumps(ASKED), headers={"content-type": "text/plain"})
    assert answer.status_code == 400


# --- lines, places, coach, structures ------------------------------------------------------------------


def test_a_line_is_inspected_and_mended(client: TestClient) -> None:
    low = line(client, coach={"height": "9ft", "comfort": "10ft"}, unverified="accept")
    for mend, verdict in ((False, "blocked"), (True, "care")):
        answer = client.post(
            "/api/inspect",
            files={"line": ("day.gpx", low.encode())},
            data={"asked": json.dumps({"coach": COACH_13, "mend": mend})},
        )
        assert answer.status_code == 200, answer.text
        assert answer.json()["verdict"] == verdict


def test_a_line_that_is_none_is_named_as_it_was_sent(client: TestClient) -> None:
    answer = client.post(
        "/api/inspect",
        files={"line": ("my track.gpx", b"<gpx></gpx>")},
        data={"asked": json.dumps({"coach": COACH_13})},
    )
    assert answer.status_code == 422
    assert answer.json()["error"]["message"].startswith("my track.gpx")


def test_an_upload_that_is_none(client: TestClient) -> None:
    asked = json.dumps({"coach": COACH_13})
    for sent in (
        {"data": {"asked": asked}},
        {"files": {"other": ("a.gpx", b"x")}, "data": {"asked": asked}},
        {"files": {"line": ("a.gpx", b"x"), "more": ("b.gpx", b"x")}, "data": {"asked": asked}},
        {"files": {"line": ("a.gpx", b"x")}, "data": {"asked": "{"}},
        {"files": {"line": ("a.gpx", b"x")}, "data": {"asked": asked, "road": "x"}},
    ):
        assert client.post("/api/inspect", **sent).status_code == 400, sent
    broken = client.post(
        "/api/inspect", content=b"--x\r\nbroken", headers={"content-type": "multipart/form-data; boundary=y"}
    )
    assert broken.status_code == 400
    assert client.post("/api/inspect", json={}).status_code == 400


def test_places_by_what_is_typed(client: TestClient) -> None:
    names = [p["name"] for p in client.get("/api/places", params={"name": "mill"}).json()["places"]]
    assert names[0].startswith("Mill")
    assert client.get("/api/places", params={"name": "zzz"}).json() == {"places": []}
    assert client.get("/api/places").status_code == 400
    assert client.get("/api/places?name=a&name=b").status_code == 400


def test_a_coach_in_figures(client: TestClient) -> None:
    told = client.post(
        "/api/coach",
        json={"height": "12ft 10in", "length": "38ft", "towed": {"length": "17ft", "reversible": False}},
    ).json()
    assert told["need"] == {"metres": 4.064, "tenths_of_mm": 40640, "feet": "13'4\""}
    assert told["length"]["feet"] == "55'0\""
    assert told["towing"] is True


def test_structures_by_standing_kind_and_text(client: TestClient) -> None:
    def found(**query: str) -> list[dict[str, Any]]:
        answer = client.get("/api/structures", params=query)
        assert answer.status_code == 200, answer.text
        return [feature["properties"] for feature in answer.json()["features"]]

    everything = found()
    assert len(everything) > 40
    low = found(height="13ft", standing="too low")
    assert {p["standing"] for p in low} == {"too low"}
    assert len(low) < len(found(height="14ft", standing="too low"))
    assert {p["kind"] for p in found(kind="railway bridge")} == {"railway bridge"}
    assert all("Mill" in p["road"] or "Mill" in p["name"] for p in found(text="mill street"))
    known, unknown = found(known="true"), found(known="false")
    assert len(known) + len(unknown) == len(everything)
    for wrong in ({"standing": "too low"}, {"height": "13"}, {"margin": "6in"}, {"kind": "x"}, {"x": "y"}):
        assert client.get("/api/structures", params=wrong).status_code == 400, wrong


def test_the_road_file_in_facts(client: TestClient) -> None:
    told = client.get("/api/roads").json()
    west, south, east, north = told["box"]
    assert west < east
    assert south < north
    assert told["attribution"].startswith("© OpenStreetMap contributors")
    assert told["source"] == "pellowick.osm"


def test_an_unknown_job_and_an_unknown_address(client: TestClient) -> None:
    for method, path in (("GET", "/api/jobs/x"), ("DELETE", "/api/jobs/x"), ("GET", "/api/x")):
        answer = client.request(method, path)
        assert answer.status_code == 404
        assert "error" in answer.json()
    assert client.delete("/api/drive").status_code == 405


# --- heights seen --------------------------------------------------------------------------------------


def test_a_height_seen_counts_from_the_next_drive_on(roads: Path, tmp_path: Path) -> None:
    from clearance.web.server import application
    from clearance.web.settings import Settings

    app = application(Settings(roads=roads, records=tmp_path / "records.sqlite"))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        before = client.get("/api/structures", params={"text": "market street", "known": "false"}).json()
        bridge = next(f for f in before["features"] if f["properties"]["kind"] == "railway bridge")
        kept = client.post("/api/record", json={"key": bridge["id"], "height": "14'6\"", "who": "Ines"})
        assert kept.status_code == 200, kept.text
        number = kept.json()["features"][0]["properties"]["number"]
        known = client.get("/api/structures", params={"text": "market street", "known": "true"}).json()
        assert bridge["id"] in {f["id"] for f in known["features"]}
        drive = client.post("/api/drive", json=ASKED)
        assert drive.status_code == 200, drive.text
        assert any("records.sqlite" in note for note in drive.json()["notes"])
        assert str(tmp_path) not in drive.text
        gone = client.post(f"/api/record/{number}/remove", json={"who": "Ines", "why": "wrong bridge"})
        assert gone.status_code == 200
        assert client.get("/api/record").json()["features"] == []
        for wrong in (
            {"height": "14ft", "who": "I"},
            {"key": "none", "height": "14ft", "who": "I"},
            {"key": bridge["id"], "height": "14", "who": "I"},
            {"key": bridge["id"], "height": "14ft"},
        ):
            assert client.post("/api/record", json=wrong).status_code in {400, 404}, wrong


def asked_of(address: str, path: str, document: Any = None) -> Any:
    body = None if document is None else json.dumps(document).encode()
    headers = {} if body is None else {"Content-Type": "application/json"}
    with urllib.request.urlopen(urllib.request.Request(address + path, body, headers), timeout=30) as answer:
        return json.loads(answer.read())


class Run:
    """The command itself, on a port that it finds."""

    def __init__(self, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "clearance", "serve", *arguments, "--port", "0"],
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.process.stderr is not None
        self.said = self.process.stderr.readline()
        self.address = self.said.split()[1].rstrip("/") if "http" in self.said else ""

    def end(self, how: signal.Signals) -> str:
        self.process.send_signal(how)
        assert self.process.stderr is not None
        rest = self.process.stderr.read()
        self.process.wait(timeout=20)
        return rest


@pytest.fixture
def runs() -> Iterator[list[Run]]:
    made: list[Run] = []
    yield made
    for run in made:
        if run.process.poll() is None:
            run.process.kill()
            run.process.wait()
        assert run.process.stderr is not None
        run.process.stderr.close()


def test_a_server_killed_after_its_answer_has_lost_nothing(
    roads: Path, tmp_path: Path, runs: list[Run]
) -> None:
    records = tmp_path / "records.sqlite"
    runs.append(Run(str(roads), "--records", str(records)))
    first = runs[-1]
    assert first.address.startswith("http://127.0.0.1:")
    key = asked_of(first.address, "/api/structures?known=false")["features"][0]["id"]
    asked_of(first.address, "/api/record", {"key": key, "height": "14ft", "who": "Ines"})
    first.end(signal.SIGKILL)
    runs.append(Run(str(roads), "--records", str(records)))
    kept = asked_of(runs[-1].address, "/api/record")["features"]
    assert [feature["properties"]["key"] for feature in kept] == [key]


def test_ctrl_c_ends_the_server_in_silence(roads: Path, runs: list[Run]) -> None:
    runs.append(Run(str(roads), "--no-records"))
    run = runs[-1]
    assert asked_of(run.address, "/api/roads")["source"] == "pellowick.osm"
    with pytest.raises(urllib.error.HTTPError) as refused:
        asked_of(run.address, "/api/record", {"at": "45,-40", "height": "14ft", "who": "Ines"})
    refused.value.close()
    assert refused.value.code == 400
    assert run.end(signal.SIGINT) == ""
    assert run.process.returncode in {0, -signal.SIGINT, 130}


def test_a_server_that_cannot_be(roads: Path, tmp_path: Path, runs: list[Run]) -> None:
    runs.append(Run(str(roads), "--no-records"))
    port = runs[0].address.rpartition(":")[2]
    for arguments, said in (
        ([str(tmp_path / "none.roads")], "No such file"),
        ([str(roads), "--host", "0.0.0.0"], "token"),
        ([str(roads), "--port", port], "cannot listen"),
        ([str(roads), "--records", "x", "--no-records"], "leave one"),
    ):
        done = subprocess.run(
            [sys.executable, "-m", "clearance", "serve", *arguments],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode in {1, 2}
        assert said in done.stderr
        assert "Traceback" not in done.stderr


# --- a client that goes away ---------------------------------------------------------------------------


def test_one_who_waits_no_longer_ends_the_work(roads: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The process of a request whose client has gone is free again at once."""
    import socket

    import uvicorn

    from clearance.web import work
    from clearance.web.server import application
    from clearance.web.settings import Settings
    from tests.web.test_jobs import sleep

    def nap(files: Any, name: str, most: int, *, tell: Any) -> Any:
        return sleep(30, tell=tell)

    guard = application(Settings(roads=roads))
    server = uvicorn.Server(uvicorn.Config(guard, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    state = guard.app.state.own  # type: ignore[attr-defined]
    started = []
    begin = state.jobs.start

    def start(task: Any, *given: Any, **how: Any) -> Any:
        # The quick job of the request takes long this once.
        job = begin(sleep, 30.0, **how) if task is work.places else begin(task, *given, **how)
        started.append(job)
        return job

    monkeypatch.setattr(state.jobs, "start", start)
    port = server.servers[0].sockets[0].getsockname()[1]
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.sendall(f"GET /api/places?name=mill HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        end = time.monotonic() + 20
        while not started or started[0].state.value != "running":
            assert time.monotonic() < end
            time.sleep(0.02)
    started[0].finished.result(timeout=10)
    assert started[0].state.value == "cancelled"
    server.should_exit = True
    thread.join(timeout=10)


# --- the description -----------------------------------------------------------------------------------


def test_the_description_is_openapi_and_its_schemas_are_json_schema(client: TestClient) -> None:
    told = client.get("/api/openapi.json").json()
    assert told["openapi"].startswith("3.1.")
    for schema in told["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)
    ids = [
        operation["operationId"]
        for path in told["paths"].values()
        for method, operation in path.items()
        if method != "parameters"
    ]
    assert len(ids) == len(set(ids))
    assert "coach" in told["components"]["schemas"]["DriveAsked"]["required"]
    assert "coach" not in description(has_coach=True)["components"]["schemas"]["DriveAsked"]["required"]


_SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-200, 2000),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.text(st.characters(codec="utf-8", categories=["L", "N", "P"]), max_size=5),
    st.sampled_from(["avoid", "fuel", "feet", "json", "13ft", "gasoline", ""]),
)
_KEYS = st.sampled_from(
    sorted(
        {
            *DRIVE["properties"],
            *COACH["properties"],
            *RECORD["properties"],
            *INSPECT["properties"],
            *SCREEN["properties"],
            "lat",
            "x",
        }
    )
)
_VALUES = st.recursive(
    _SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_KEYS, inner, max_size=4)),
    max_leaves=8,
)


def _whole(schema: dict[str, Any]) -> dict[str, Any]:
    """The schema with references put in, as a validator of its own takes it."""
    text = json.dumps(schema)
    for name, value in REQUESTS.items():
        text = text.replace(json.dumps({"$ref": f"#/components/schemas/{name}"}), json.dumps(value))
    found = json.loads(text)
    assert isinstance(found, dict)
    return found


@settings(max_examples=150, deadline=None)
@given(document=st.dictionaries(_KEYS, _VALUES, max_size=5), name=st.sampled_from(sorted(REQUESTS)))
def test_requests_are_checked_as_a_library_checks_them(document: dict[str, Any], name: str) -> None:
    """Against jsonschema (python-jsonschema.readthedocs.io), an implementation of JSON Schema 2020-12."""
    try:
        jsonschema.validate(document, _whole(REQUESTS[name]), cls=Draft202012Validator)
        fits = True
    except jsonschema.ValidationError:
        fits = False
    assert (misfit(document, REQUESTS[name]) == "") == fits
