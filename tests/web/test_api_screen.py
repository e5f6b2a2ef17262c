"""The screening of the interface: a job, its answer in every format, the same as the command prints."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from clearance import workflow
from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.web.jobs import State
from clearance.web.schemas import SCREEN_FORMATS
from tests.web.conftest import CAMP, PLACES, YARD, over

HERON = {"name": "Heron", "height": "13ft", "margin": "6in", "comfort": "14ft"}
ASKED: dict[str, Any] = {"from": YARD, "coach": HERON}


def sent(client: TestClient, asked: dict[str, Any], places: bytes = PLACES.encode(), **more: bytes) -> Any:
    files = {"places": ("season.csv", places)} | {name: (f"{name}.json", held) for name, held in more.items()}
    return client.post("/api/screen", files=files, data={"asked": json.dumps(asked)})


def screened(client: TestClient, asked: dict[str, Any], **more: bytes) -> str:
    """The address of a screening that is over."""
    answer = sent(client, asked, **more)
    assert answer.status_code == 202, answer.text
    assert answer.json()["state"] in {"waiting", "running"}
    return over(client, answer.headers["location"])


@pytest.fixture(scope="module")
def heron(client: TestClient) -> str:
    return screened(client, ASKED)


def test_a_screening_is_the_one_that_the_command_prints(
    client: TestClient, heron: str, roads: Path, tmp_path: Path
) -> None:
    path = tmp_path / "season.csv"
    path.write_text(PLACES)
    coach = Coach(height=Length.from_feet(13), name="Heron")
    wanted = json.loads(
        workflow.screen_as_json(workflow.screen_places(roads, path, YARD, [coach]), units="feet")
    )
    answer = client.get(heron)
    assert answer.status_code == 200
    assert answer.json() == wanted
    assert [row["verdict"] for row in wanted["rows"]] == ["blocked", "care", "clear"]
    assert wanted["rows"][0]["place"]["name"] == CAMP


def test_each_format_is_what_it_says(client: TestClient, heron: str) -> None:
    begins = {
        "json": b"{",
        "csv": b"number,",
        "geojson": b"{",
        "gpkg": b"SQLite format 3",
        "html": b"<!doc",
        "pdf": b"%PDF",
        "txt": b"3 dest",
    }
    for kind in SCREEN_FORMATS:
        answer = client.get(heron, params={"format": kind, "units": "metres", "paper": "letter"})
        assert answer.status_code == 200, kind
        assert answer.content.startswith(begins[kind]), kind
    assert "4.1" in client.get(heron, params={"format": "txt", "units": "metres"}).text
    for odd in ({"format": "exe"}, {"units": "miles"}, {"paper": "a0"}, {"x": "y"}):
        assert client.get(heron, params=odd).status_code == 400, odd


def test_several_coaches_sorted_and_compared_with_an_earlier_report(client: TestClient, heron: str) -> None:
    wren = {"name": "Wren", "height": "10ft 6in"}
    lower = {**HERON, "height": "12ft 6in"}
    asked = {**ASKED, "coach": [lower, wren], "sort": "name", "unverified": "accept"}
    found = client.get(screened(client, asked, since=client.get(heron).content)).json()
    assert found["unverified"] == "accept"
    assert [row["coach"] for row in found["rows"]] == [0, 0, 0, 1, 1, 1]
    names = [row["place"]["name"] for row in found["rows"][:3]]
    assert names == sorted(names)
    moved = {(m["name"], m["before"], m["now"]) for m in found["changes"]["moved"]}
    assert (CAMP, "blocked", "care") in moved


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"coach": HERON}, "from: is missing"),
        ({"from": YARD}, "height"),
        ({**ASKED, "coach": []}, "coach: holds less than 1"),
        ({**ASKED, "coach": [HERON] * 13}, "coach: holds more than 12"),
        ({**ASKED, "coach": {"height": 4}}, "coach.height: 4 is no string"),
        ({**ASKED, "sort": "beauty"}, "sort: 'beauty' is none of"),
        ({**ASKED, "to": CAMP}, "to: is not known"),
    ],
)
def test_what_cannot_be_meant_is_told_at_once(client: TestClient, asked: dict[str, Any], said: str) -> None:
    answer = sent(client, asked)
    assert answer.status_code == 400
    assert said in answer.json()["error"]["message"]


def test_files_that_are_none(client: TestClient) -> None:
    asked = {"asked": json.dumps(ASKED)}
    for files in (
        {},
        {"list": ("a.csv", b"x")},
        {"places": ("a.csv", b"x"), "other": ("b.csv", b"x")},
    ):
        assert client.post("/api/screen", files=files, data=asked).status_code == 400
    as_field = client.post("/api/screen", files={"places": ("a.csv", b"x")}, data={**asked, "since": "x"})
    assert as_field.status_code == 400
    assert client.post("/api/screen", json=ASKED).status_code == 400


@pytest.mark.parametrize(
    ("asked", "places", "status", "kind"),
    [
        (ASKED, b"name\n", 422, "InputError"),
        ({**ASKED, "from": "mill"}, PLACES.encode(), 404, "WhereError"),
        ({**ASKED, "from": {"lat": 10.0, "lon": 10.0}}, PLACES.encode(), 404, "PlaceError"),
    ],
)
def test_what_goes_wrong_in_the_job_is_its_answer(
    client: TestClient, asked: dict[str, Any], places: bytes, status: int, kind: str
) -> None:
    address = over(client, sent(client, asked, places).headers["location"])
    answer = client.get(address)
    assert (answer.status_code, answer.json()["error"]["kind"]) == (status, kind)
    assert "/tmp" not in answer.text
    if kind == "WhereError":
        assert answer.json()["error"]["choices"]["from"]


def test_a_screening_waits_is_told_of_and_ended(client: TestClient) -> None:
    state = client.app.app.state.own  # type: ignore[attr-defined]
    from tests.web.test_jobs import sleep

    before = state.jobs.start(sleep, 60.0, long=True)
    address = sent(client, ASKED).headers["location"]
    assert client.get(address).status_code == 202
    job = client.delete(f"/api/jobs/{address.rpartition('/')[2]}")
    assert job.json()["state"] == "cancelled"
    assert client.get(address).status_code == 404
    state.jobs.cancel(before)
    before.finished.result(timeout=30)
    assert before.state is State.CANCELLED
    assert client.get("/api/screen/none").status_code == 404


def test_lists_that_wait_are_bounded_in_bytes(client: TestClient) -> None:
    """One visitor's large files do not fill the memory of the machine."""
    jobs = client.app.app.state.own.jobs  # type: ignore[attr-defined]
    from tests.web.test_jobs import sleep

    before = jobs.start(sleep, 60.0, long=True)
    while before.state is State.WAITING:
        time.sleep(0.01)
    jobs._most_waiting_bytes, most = 3 * len(PLACES), jobs._most_waiting_bytes
    try:
        answers = [sent(client, ASKED) for _ in range(4)]
    finally:
        jobs._most_waiting_bytes = most
    assert [answer.status_code for answer in answers] == [202, 202, 202, 503]
    for answer in answers[:3]:
        client.delete(f"/api/jobs/{answer.json()['id']}")
    jobs.cancel(before)
    before.finished.result(timeout=30)
