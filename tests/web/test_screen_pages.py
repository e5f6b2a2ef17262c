"""The pages that screen a list, without a browser and without scripts."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from clearance.web import screen_pages, work
from tests.web.conftest import CAMP, HERON, PLACES, QUAY, WREN, YARD, over
from tests.web.test_jobs import sleep

MILL = "Mill Street"
ASKED = {"from": YARD, "coach.height": "13ft", "coach.comfort": "14ft", "coach.name": "Heron"}


@pytest.fixture
def page(client: TestClient) -> Iterator[TestClient]:
    client.cookies.clear()
    yield client
    client.cookies.clear()


def screened(
    client: TestClient, places: str = PLACES, files: list[tuple[str, Any]] | None = None, **fields: str
) -> str:
    """The address of the page of a screening that is over."""
    sent = [("list", ("season.csv", places.encode())), *(files or [])]
    answer = client.post("/screen", data={**ASKED, **fields}, files=sent)
    assert answer.status_code == 303, re.findall(r'class="fault[^>]*>([^<]*)', answer.text)
    return over(client, answer.headers["location"])


@pytest.fixture(scope="module")
def two(client: TestClient) -> str:
    """A screening for two coaches."""
    return screened(client, files=[("coaches", ("wren.toml", WREN.encode()))])


def rows(html: str) -> list[tuple[str, str]]:
    """Destination and verdict of each row in their order."""
    return re.findall(
        r'data-choose="row-[^"]*">([^<]*)</button>.*?<td class="word">.*?<span>([A-Z ]+)</span>',
        html,
        re.DOTALL,
    )


def test_the_totals_come_first_then_the_map_then_every_row_and_bad_line(page: TestClient, two: str) -> None:
    html = page.get(two).text
    assert f"<title>Destinations from {YARD}" in html
    assert html.index("3 destinations screened there and back") < html.index('class="coaches"')
    assert html.index('class="coaches"') < html.index('id="map"') < html.index('id="destinations"')
    assert rows(html) == [
        (CAMP, "BLOCKED"),
        (QUAY, "TAKE CARE"),
        (MILL, "CLEAR"),
        *[(name, "TAKE CARE") for name in (CAMP, QUAY, MILL)],
    ]
    assert "line 5: latitude &#39;north&#39; is no number" in html
    assert "line 6: No Such Place" in html
    assert "2 lines could not be used" in html
    assert "Tallest coach" in html
    assert "12&#39;7&#34;" in html


def test_every_file_can_be_taken_along(page: TestClient, two: str) -> None:
    begins = {
        "csv": b"number,name,lat,lon",
        "geojson": b"{",
        "gpkg": b"SQLite format 3",
        "pdf": b"%PDF",
        "html": b"<!doc",
    }
    for kind, first in begins.items():
        file = page.get(f"{two}/file/{kind}")
        assert file.status_code == 200, kind
        assert file.content.startswith(first), kind
        assert file.headers["content-disposition"] == f'attachment; filename="screening.{kind}"'
    report = page.get(f"{two}/file/json").json()
    assert [coach["label"] for coach in report["coaches"]] == ["Heron", "Wren"]
    assert page.get(f"{two}/file/exe").status_code == 404
    letter = page.get(f"{two}/file/pdf", params={"paper": "letter"}).content
    assert b"612" in letter  # points: 8.5 in


def test_links_sort_filter_and_keep_each_other(page: TestClient, two: str) -> None:
    html = page.get(two, params={"rows": "name-down", "coach": "1", "find": "mi"}).text
    assert [name for name, _ in rows(html)] == [MILL]
    assert "1 to 1 of 1" in html
    assert 'aria-sort="descending"' in html
    link = re.search(r'data-key="there" href="([^"]+)"', html)
    assert link is not None
    assert link[1].replace("&amp;", "&") == "?coach=1&find=mi&rows=there-up#rows-heading"
    names = [name for name, _ in rows(page.get(two, params={"rows": "there-up"}).text)]
    assert names[-1] == CAMP  # blocked: no time to be told
    lowest = page.get(two, params={"structures": "height-up"}).text
    shown = re.findall(r'<tbody id="structure-\d+"[^>]* data-height="([^"]*)"', lowest)
    assert [int(h) for h in shown if h] == sorted(int(h) for h in shown if h)
    assert "Nothing fits" in page.get(two, params={"find": "no such place"}).text
    for odd in ({"rows": "secret-up"}, {"coach": "9"}, {"coach": "x"}, {"start": "99"}, {"find": "<b>" * 99}):
        answer = page.get(two, params=odd)
        assert answer.status_code == 200, odd
        assert "<b><b>" not in answer.text


def test_a_long_list_is_turned_page_by_page(
    page: TestClient, two: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(screen_pages, "_ROWS", 4)
    first = page.get(two, params={"rows": "name-up"}).text
    after = re.search(r'href="([^"]+)" rel="next"', first)
    assert after is not None
    assert "1 to 4 of 6" in first
    rest = page.get(two + after[1].replace("&amp;", "&").partition("#")[0]).text
    assert [n for n, _ in rows(first)] + [n for n, _ in rows(rest)] == [QUAY, QUAY, CAMP, CAMP, MILL, MILL]
    assert 'rel="prev"' in rest
    monkeypatch.setattr(screen_pages, "_ROWS", 1)
    assert page.get(two).text.count("more are in the files") == 2  # structures, and bad lines
    # Scripts are told that there is more, and the map has no mark without a row.
    data = json.loads(re.search(r'id="data">(.*?)</script>', rest)[1])  # type: ignore[index]
    assert data["whole"] is False
    assert sum(mark["id"].startswith("row-") for mark in data["marks"]) == 2


def test_coach_files_alone_are_enough_and_since_tells_what_moved(page: TestClient, two: str) -> None:
    report = page.get(f"{two}/file/json").content
    files = [
        ("coaches", ("heron.toml", HERON.encode())),
        ("coaches", ("wren.toml", WREN.replace("10ft 6in", "13ft 6in").encode())),
        ("since", ("last year.json", report)),
    ]
    html = page.get(screened(page, files=files, **{"coach.height": "", "coach.name": ""})).text
    assert re.findall(r"<h2>(Heron|Wren)</h2>", html) == ["Heron", "Wren"]
    assert "What changed" in html
    assert f"{CAMP} (Wren): BLOCKED, was TAKE CARE. The coach is another one" in html


def test_what_is_missing_or_wrong_is_told_in_the_form(page: TestClient) -> None:
    none = page.post("/screen", data={**ASKED, "from": "", "coach.height": "13"})
    assert none.status_code == 422
    for ref in ("list", "from", "coach-height"):
        assert f'id="{ref}-fault"' in none.text
        assert f'href="#{ref}"' in none.text
        assert f'id="{ref}"' in none.text
    assert "Choose a file first" in none.text

    def answer(name: str, content: bytes, **more: Any) -> str:
        files = [("list", (name, content)), *more.pop("files", [])]
        sent = page.post("/screen", data={**ASKED, **more}, files=files)
        if sent.status_code == 303:
            sent = page.get(over(page, sent.headers["location"]))
        assert sent.status_code == 422
        assert "/tmp" not in sent.text
        return sent.text

    assert "season.csv: no row can be used" in answer("season.csv", b"lat,lon\nx,y\n")
    assert "no_columns.csv" in answer("../../no_columns.csv", b"a,b\n1,2\n")
    assert "Choose one" in answer("season.csv", PLACES.encode(), **{"from": "mill"})
    assert "old.json" in answer("a.csv", PLACES.encode(), files=[("since", ("old.json", b"{}"))])
    assert "w.toml" in answer("a.csv", PLACES.encode(), files=[("coaches", ("w.toml", b"height = 4"))])
    many = [("coaches", (f"{n}.toml", WREN.encode())) for n in range(12)]
    assert "more than 12 coaches" in answer("a.csv", PLACES.encode(), files=many)


def test_more_rows_than_the_server_takes_are_refused(
    page: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits = page.app.app.state.own.settings.limits  # type: ignore[attr-defined]
    object.__setattr__(limits, "screen_rows", 5)
    try:
        html = page.get(screened(page, files=[("coaches", ("w.toml", WREN.encode()))])).text
    finally:
        object.__setattr__(limits, "screen_rows", 10_000)
    assert "season.csv: holds 3 destinations, more than 2" in html


def test_a_screening_is_watched_and_ended_without_scripts(
    page: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = page.app.app.state.own  # type: ignore[attr-defined]
    begin = state.jobs.start
    monkeypatch.setattr(screen_pages, "_PATIENCE_S", 0.05)

    def start(task: Any, *given: Any, **how: Any) -> Any:
        return begin(sleep, 60.0, **how) if task is work.screen else begin(task, *given, **how)

    monkeypatch.setattr(state.jobs, "start", start)
    files = {"list": ("season.csv", PLACES.encode())}
    address = page.post("/screen", data=ASKED, files=files).headers["location"]
    shown = page.get(address)
    assert shown.status_code == 202
    assert 'http-equiv="refresh"' in shown.text
    assert "screening" in shown.text
    ref = address.rpartition("/")[2]
    asked = time.monotonic()
    # Others are served meanwhile.
    assert page.get("/structures").status_code == 200
    ended = page.post(f"/cancel/{ref}")
    assert time.monotonic() - asked < 30  # not the 60 s of the job
    assert re.search(r'href="/screen\?from=[^"]*">Change this screening', ended.text)
    assert "was ended" in page.get(address).text


def test_pages_of_other_work_are_no_screenings(page: TestClient, two: str) -> None:
    drive = page.post("/drive", data={**ASKED, "to": QUAY}).headers["location"]
    over(page, drive)
    ref, other = two.rpartition("/")[2], drive.rpartition("/")[2]
    for path in (f"/screen/{other}", f"/drive/{ref}", "/screen/none", f"/screen/{other}/file/csv"):
        assert page.get(path).status_code == 404, path


def test_all_of_a_screening_is_told_in_spanish(page: TestClient, two: str) -> None:
    for address in (two, "/screen"):
        html = page.get(address, headers={"accept-language": "es"}).text
        assert 'lang="en"' not in html.replace('hreflang="en" lang="en"', "")
    html = page.get(two, headers={"accept-language": "es"}).text
    assert "3 destinos revisados, ida y vuelta" in html
    assert "BLOQUEADO" in html
    assert "línea 5: la latitud" in html
