"""The pages as they come, without a browser: everything but the map works without scripts."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from starlette.testclient import TestClient

from clearance.core.coach import Coach, Fuel
from clearance.core.coach_items import ITEMS
from clearance.core.lengths import Length
from clearance.web.asked import Form, coach_form
from clearance.web.forms import coach_pairs
from tests.web.conftest import CAMP, HERON, QUAY, WREN, YARD, over

COACH = {"coach.height": "13ft", "coach.margin": "6in", "coach.comfort": "14ft"}
DAY = {"from": YARD, "to": QUAY, **COACH}


class Fields(HTMLParser):
    """The values that a form would send."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.fields: dict[str, list[str]] = {}
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag != "input" or "name" not in told:
            return
        if told.get("type") in {"checkbox", "radio"} and "checked" not in told:
            return
        self.fields.setdefault(str(told["name"]), []).append(told.get("value") or "")


@pytest.fixture
def page(client: TestClient) -> Iterator[TestClient]:
    client.cookies.clear()
    yield client
    client.cookies.clear()


def planned(client: TestClient, **fields: str | list[str]) -> str:
    """The address of the page of a drive."""
    return over(client, begun(client, **fields))


def begun(client: TestClient, **fields: str | list[str]) -> str:
    """The address of the page of a drive that may not be there yet."""
    answer = client.post("/drive", data={**DAY, **fields})
    assert answer.status_code == 303, re.findall(r'class="fault[^>]*>([^<]*)', answer.text)
    return answer.headers["location"]


def test_a_drive_from_the_form_to_its_files(page: TestClient) -> None:
    address = planned(page)
    html = page.get(address).text
    assert "<title>TAKE CARE: Pellowick Coach Yard to Harbor Quay Visitor Lot" in html
    # The verdict in words comes before everything else that the drive has to tell.
    assert html.index("TAKE CARE</span>") < html.index('id="map"') < html.index('id="findings-heading"')
    for kind, begins in (
        ("geojson", b"{"),
        ("gpx", b"<?xml"),
        ("csv", b"\xef\xbb\xbf"),
        ("html", b"<!doctype html>"),
        ("pdf", b"%PDF"),
    ):
        file = page.get(f"{address}/file/{kind}")
        assert file.status_code == 200
        assert file.content.startswith(begins) or kind == "csv"
        assert file.headers["content-disposition"] == f'attachment; filename="drive.{kind}"'
    assert page.get(f"{address}/file/exe").status_code == 404


def test_a_blocked_drive_says_so_and_why(page: TestClient) -> None:
    html = page.get(planned(page, to=CAMP)).text
    assert "BLOCKED" in html
    assert "What stands in the way" in html
    assert "13&#39;1&#34;" in html


def test_change_this_drive_leads_back_to_a_form_that_holds_it(page: TestClient) -> None:
    html = page.get(
        planned(page, unverified="refuse", along=["fuel", "camp"], via=["45.00457,-39.98976"])
    ).text
    back = re.search(r'href="(/\?[^"]+)"', html)
    assert back is not None
    fields = Fields(page.get(back[1].replace("&amp;", "&")).text).fields
    assert fields["from"] == [YARD]
    assert fields["to"] == [QUAY]
    assert fields["via"] == ["45.00457,-39.98976"]
    assert fields["coach.height"] == ["13ft"]
    assert fields["unverified"] == ["refuse"]
    assert fields["along"] == ["fuel", "camp"]


def test_what_is_missing_is_told_where_it_is_missing(page: TestClient) -> None:
    answer = page.post("/drive", data={"from": "", "to": QUAY, "coach.height": "13", "coach.width": "wide"})
    assert answer.status_code == 422
    html = answer.text
    for ref in ("from", "coach-height", "coach-width"):
        assert f'href="#{ref}"' in html
        assert f'id="{ref}-fault"' in html
        assert re.search(rf'id="{ref}"[^>]*aria-describedby="[^"]*{ref}-fault', html), ref
    assert 'href="#to"' not in html
    # What was right is still there.
    assert Fields(html).fields["to"] == [QUAY]


def test_a_name_of_several_places_is_chosen_without_scripts(page: TestClient) -> None:
    answer = page.post("/drive", data={**DAY, "to": "mill"})
    assert answer.status_code == 422
    found = re.search(r'type="submit" name="to" value="([^"]+)" data-name="Mill Street"', answer.text)
    assert found is not None
    # The button that is pressed is sent after the field.
    chosen = page.post("/drive", data={**DAY, "to": ["mill", found[1]], "to.at": ""})
    assert chosen.status_code == 303


def test_a_stop_is_added_without_scripts(page: TestClient) -> None:
    html = page.post("/drive", data={**DAY, "add": "stop"}).text
    fields = Fields(html).fields
    assert fields["via"] == [""]
    assert fields["from"] == [YARD]
    # One that stays empty is no stop.
    assert planned(page, via="")


def test_a_drive_that_is_forgotten_says_so(page: TestClient) -> None:
    for address in ("/drive/none", "/drive/none/ways", "/drive/none/file/pdf"):
        answer = page.get(address)
        assert answer.status_code == 404
        assert "no longer kept" in answer.text


def compared(client: TestClient, address: str) -> str:
    """The page of the other ways of a drive, once it is there."""
    while (answer := client.get(f"{address}/ways")).status_code == 202:
        time.sleep(0.05)
    return answer.text


def test_other_ways_are_drives_of_their_own(page: TestClient) -> None:
    address = planned(page)
    html = compared(page, address)
    ways = re.findall(
        r'<a href="(/drive/[^"/]+)">([^<]+)</a>(.*?)</th><td class="number">([^<]+)', html, re.DOTALL
    )
    assert [name for _, name, _, _ in ways] == ["nothing unverified", "1 unverified structure"]
    # The drive itself is the one with nothing unverified, and marked so.
    assert ["this drive" in marked for _, _, marked, _ in ways] == [True, False]
    assert 'aria-label="nothing unverified: 6 min; 1 unverified structure: 4 min"' in html
    for way, _, _, duration in ways:
        shown = page.get(way)
        assert shown.status_code == 200
        assert f"<dd>{duration}</dd>" in shown.text
        assert page.get(f"{way}/file/gpx").status_code == 200
    assert f'data-ways="{address}/ways"' in page.get(address).text


def test_a_day_of_stops_is_one_drive_in_order(page: TestClient) -> None:
    picked = "45.0045700,-39.9897600"
    address = planned(
        page, via=["Mill Street", picked, ""], **{"via.at": ["", picked, ""], "via.minutes": ["20", "5", ""]}
    )
    html = page.get(address).text
    names = re.findall(r'<span class="hidden">Stop [A-D]: </span>([^<]+)', html)
    assert names == [YARD, "Mill Street", "45.00457,-39.98976", QUAY]
    assert "20 min there" in html
    # Ways are compared between two places alone.
    assert "data-ways" not in html


def test_a_coach_file_stands_in_for_the_form(page: TestClient) -> None:
    file = {"coach.file": ("heron.toml", HERON.encode())}
    filled = page.post("/drive", data={"from": YARD, "to": QUAY, "fill": "coach"}, files=file)
    assert filled.status_code == 200
    fields = Fields(filled.text).fields
    assert fields["coach.height"] == ["13ft"]
    assert fields["coach.towing"] == ["yes"]
    assert fields["coach.towed.length"] == ["17ft"]
    assert fields["from"] == [YARD]
    # Sent straight away, it counts in place of what the form holds.
    answer = page.post("/drive", data={**DAY, "coach.height": "9ft"}, files=file)
    assert answer.status_code == 303
    assert "Heron" in page.get(over(page, answer.headers["location"])).text
    line = page.get(f"{answer.headers['location']}/file/gpx").content
    for path, more in (("/inspect", {"line": ("a.gpx", line)}), ("/screen", {})):
        shown = page.post(path, data={"fill": "coach"}, files={**file, **more})
        assert Fields(shown.text).fields["coach.name"] == ["Heron"], path


def test_a_coach_file_that_is_none_is_told_by_its_name(page: TestClient) -> None:
    broken = {"coach.file": ("../heron.toml", b'height = 4\ncolor = "red"\n')}
    answer = page.post("/drive", data=DAY, files=broken)
    assert answer.status_code == 422
    assert 'id="coach-file-fault"' in answer.text
    assert "heron.toml" in answer.text
    assert "/tmp" not in answer.text
    told = page.post("/coach/file", files=broken)
    assert told.status_code == 422
    assert "color" in told.json()["wrong"]["coach.file"]
    fields = dict(page.post("/coach/file", files={"coach.file": ("w.toml", WREN.encode())}).json()["fields"])
    assert fields["coach.height"] == "10ft 6in"
    many = [("coach.file", ("a.toml", WREN.encode())), ("coach.file", ("b.toml", WREN.encode()))]
    assert page.post("/drive", data=DAY, files=many).status_code == 422


def test_a_line_is_checked(page: TestClient) -> None:
    line = page.get(planned(page) + "/file/gpx").content
    answer = page.post("/inspect", data=COACH, files={"line": ("Tuesday.gpx", line)})
    assert answer.status_code == 303
    html = page.get(over(page, answer.headers["location"])).text
    assert "TAKE CARE" in html
    assert "Change the line or the coach" in html
    empty = page.post("/inspect", data=COACH)
    assert empty.status_code == 422
    assert "Choose a file first" in empty.text
    broken = page.post("/inspect", data=COACH, files={"line": ("Tuesday.gpx", b"<gpx/>")})
    assert broken.status_code == 422
    assert "Tuesday.gpx" in broken.text
    assert Fields(broken.text).fields["coach.height"] == ["13ft"]


def test_structures_are_filtered_and_turned(page: TestClient) -> None:
    everything = page.get("/structures").text
    total = int(re.search(r"(\d+) structures</h2>|(\d+) structures\s", everything)[1])  # type: ignore[index]
    low = page.get("/structures", params={"coach.height": "13ft", "standing": "too low"}).text
    assert "TOO LOW" in low
    assert "NOT VERIFIED" not in low
    assert low.count('class="finding ') < total
    assert "Nothing fits" in page.get("/structures", params={"text": "no such road"}).text
    bad = page.get("/structures", params={"coach.height": "13"})
    assert 'id="coach-height-fault"' in bad.text
    for odd in ({"start": "-5"}, {"start": "9" * 30}, {"start": "x"}, {"start": "9999"}, {"kind": "x"}):
        assert page.get("/structures", params=odd).status_code == 200, odd


def test_a_height_is_recorded_and_taken_back(page: TestClient) -> None:
    html = page.get("/structures", params={"text": "bakers alley"}).text
    key = re.search(r'name="key" value="([^"]+)"', html)
    assert key is not None
    sent = {
        "key": key[1],
        "height": "14'2\"",
        "who": "Ines <b>",
        "date": "2026-01-02",
        "note": "over the lane",
    }
    answer = page.post("/record", data=sent)
    assert answer.status_code == 303
    records = page.get(answer.headers["location"].partition("#")[0]).text
    assert "Kept. It counts as measured" in records
    assert "Ines &lt;b&gt;" in records
    number = re.search(r'name="number" value="(\d+)"', records)
    assert number is not None
    assert "over the lane" in page.get("/records/file/csv").text
    assert page.get("/records/file/geojson").json()["features"]
    assert page.get("/records/file/exe").status_code == 404
    wrong = page.post("/record", data={**sent, "height": "14"})
    assert wrong.status_code == 400
    assert "no unit" in wrong.text
    assert 'value="Ines &lt;b&gt;"' in wrong.text
    unsaid = page.post("/records/remove", data={"number": number[1], "who": "", "why": ""})
    assert unsaid.status_code == 400
    gone = page.post("/records/remove", data={"number": number[1], "who": "Ines", "why": "wrong bridge"})
    assert gone.status_code == 303
    assert "Ines" not in page.get("/records").text


def test_work_that_takes_long_can_be_watched_and_ended(
    page: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from clearance.web import pages, work
    from tests.web.test_jobs import sleep

    state = page.app.app.state.own  # type: ignore[attr-defined]
    begin = state.jobs.start
    monkeypatch.setattr(pages, "PATIENCE_S", 0.1)

    def start(task: Any, *given: Any, **how: Any) -> Any:
        return begin(sleep, 30.0, **how) if task is work.plan else begin(task, *given, **how)

    monkeypatch.setattr(state.jobs, "start", start)
    address = begun(page)
    shown = page.get(address)
    assert shown.status_code == 202
    assert 'http-equiv="refresh"' in shown.text
    ref = address.rpartition("/")[2]
    assert page.get(f"/api/jobs/{ref}").json()["state"] == "running"
    asked = time.monotonic()
    assert page.get("/structures").status_code == 200
    assert page.post(f"/cancel/{ref}").status_code == 200
    assert time.monotonic() - asked < 20  # not the 30 s of the job
    assert page.get(f"/api/jobs/{ref}").json()["state"] == "cancelled"
    ended = page.get(address).text
    assert "was ended" in ended
    # Nothing that was filled in is lost.
    assert re.search(r'href="/\?from=[^"]+">Change this drive', ended)
    assert page.post("/cancel/none").status_code == 404


# --- language and units --------------------------------------------------------------------------------


def test_the_language_is_negotiated_chosen_and_kept(page: TestClient) -> None:
    assert '<html lang="es"' in page.get("/", headers={"accept-language": "es-MX,es;q=0.9"}).text
    assert '<html lang="en"' in page.get("/").text
    chosen = page.get("/structures", params={"lang": "es"})
    assert chosen.headers["content-language"] == "es"
    kept = page.get("/", headers={"accept-language": "en"})
    assert "¿Adónde va la autocaravana?" in kept.text
    assert '<html lang="en"' in page.get("/", params={"lang": "xx"}, headers={"cookie": ""}).text


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"to": CAMP},
        {
            "via": ["Mill Street"],
            "via.minutes": "20",
            "along": ["fuel", "dump", "camp", "water", "propane"],
            "depart": "2027-07-04T08:30",
            "reorder": "yes",
        },
        {"coach.towing": "yes", "coach.length": "38ft", "coach.towed.length": "17ft", "to": "Mill Street"},
        {"coach.width": "8ft", "coach.weight": "40000lbs", "unverified": "refuse"},
    ],
    ids=["drive", "blocked", "day", "tow", "limits"],
)
def test_all_of_a_drive_is_told_in_spanish(page: TestClient, fields: dict[str, Any]) -> None:
    html = page.get(planned(page, **fields), headers={"accept-language": "es"}).text
    assert 'lang="en"' not in html.replace('hreflang="en" lang="en"', "")
    assert ("BLOQUEADO" if fields.get("to") == CAMP else "CON CUIDADO") in html or "LIBRE" in html
    for english in ("Slow down", "Turn off", "Left onto", "needs", "the start", "bridge", " high"):
        assert english not in re.sub(r"<script.*?</script>", "", html, flags=re.DOTALL), english


def test_all_structures_are_told_in_spanish(page: TestClient) -> None:
    for query in ({}, {"coach.height": "13ft"}):
        html = page.get("/structures", params=query, headers={"accept-language": "es"}).text
        assert 'lang="en"' not in html.replace('hreflang="en" lang="en"', "")
        assert "señalizado" in html


def test_units_are_chosen_and_kept(page: TestClient) -> None:
    assert 'data-units="feet">' in page.get("/").text
    assert 'data-units="metres">' in page.get("/", params={"units": "metres"}).text
    assert 'data-units="metres">' in page.get("/inspect").text
    line = page.get(f"{planned(page)}/file/gpx").text
    assert re.search(r"\d\.\d\d m\b", line)


# --- odd input -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "fields",
    [
        {"from": "<script>alert(1)</script>"},
        {"from": "x" * 5000},
        {"from": "\x00\x1b[31m"},
        {"from": "45.0,-40.0\r\nSet-Cookie: a=b"},
        {"coach.height": "<img src=x>"},
        {"coach.name": "</script><script>alert(1)</script>", "coach.height": "13"},
        {"via": ["a"] * 100},
        {"via.minutes": "9999999999", "via": "Mill Street"},
        {"unverified": "'; drop"},
        {"depart": "yesterday"},
        {"detour": "1e999"},
        {"along": "<b>"},
        {"from.at": "1,2,3"},
    ],
)
def test_odd_answers_are_shown_as_text_or_refused(page: TestClient, fields: dict[str, str]) -> None:
    answer = page.post("/drive", data={**DAY, **fields})
    assert answer.status_code in {303, 422}
    assert "<script>alert" not in answer.text
    assert "<img" not in answer.text
    assert "set-cookie" not in answer.headers


def test_odd_answers_are_text_in_every_language(page: TestClient) -> None:
    odd = "<script>alert(1)</script> to"
    spanish = {"accept-language": "es"}
    html = page.post("/drive", data={**DAY, "to": odd, "coach.width": "<b>wide</b>"}, headers=spanish).text
    assert "<script>alert" not in html
    assert "<b>wide" not in html
    html = page.post("/drive", data={**DAY, "to": odd}, headers=spanish).text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; to» no está en los datos del mapa" in html
    told = page.post("/coach", data={"coach.height": "<b>13"}, headers=spanish).json()
    # Scripts show it as text, so that it carries no marks of its own.
    assert "<span" not in told["wrong"]["coach.height"]


@pytest.mark.parametrize(
    "query",
    [
        "",
        "box=1,2,3&zoom=4",
        "box=a,b,c,d&zoom=4",
        "box=1,2,0,3&zoom=4",
        "box=nan,0,1,1&zoom=1",
        "box=0,0,1,1&zoom=x",
        "box=0,0,1,1&zoom=inf",
    ],
)
def test_odd_boxes_are_refused(page: TestClient, query: str) -> None:
    assert page.get(f"/map?{query}").status_code == 400


def test_the_map_gives_what_its_zoom_draws(page: TestClient) -> None:
    box = "-40.03,44.99,-39.96,45.02"
    near = page.get(f"/map?box={box}&zoom=15").json()
    far = page.get(f"/map?box={box}&zoom=9").json()
    assert len(near["roads"]["minor"]) > 20
    assert {kind for kind, lines in far["roads"].items() if lines} <= {"major"}
    assert page.get("/map?box=10,10,11,11&zoom=15").json()["roads"]["minor"] == []


def test_packed_files_are_kept_by_browsers_only_with_their_mark(page: TestClient) -> None:
    html = page.get("/").text
    for address in re.findall(r'"(/packed/[^"]+)"', html):
        answer = page.get(address)
        assert answer.status_code == 200, address
        assert "immutable" in answer.headers["cache-control"]
    assert page.get("/packed/web.css").headers["cache-control"] == "no-store"


def test_every_question_about_a_coach_is_asked_and_read_back() -> None:
    coach = Coach(
        height=Length.from_feet(12, 10),
        name="Heron",
        width=Length.from_metres("2.55"),
        length=Length.from_feet(55),
        own_length=Length.from_feet(38),
        towing=True,
        towed_length=Length.from_feet(17),
        towed_name="small car",
        weight_kg=11793,
        propane=False,
        fuel=Fuel.DIESEL,
    )
    pairs = coach_pairs(coach)
    assert {name.removeprefix("coach.") for name, _ in pairs} <= {item.key for item in ITEMS} | {"towing"}
    assert coach_form(Form(pairs)) == coach
