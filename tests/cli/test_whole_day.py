"""A day of six stops on real roads, written in every format: each of them complete, and all of one mind.

Data © OpenStreetMap contributors, ODbL 1.0; read from ../shared/data where that folder stands.
scripts/measure_day.py runs the same day against the clock.
"""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import re
import subprocess
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import pytest
from lxml import etree
from pypdf import PdfReader
from pyproj import Geod

from tests.cli.test_commands import run

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT.parent / "shared" / "data" / "liechtenstein.osm.pbf"
STANDARDS = ROOT.parent / "shared" / "standards"
GPX = {"g": "http://www.topografix.com/GPX/1/1"}
pytestmark = pytest.mark.skipif(not DATA.is_file(), reason="../shared/data is not here")


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("measure_day", ROOT / "scripts" / "measure_day.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


DAY = _script()
NAMES = [name for name, *_ in DAY.STOPS]


@dataclass
class Written:
    """The files of the day, and the same drive told to a program."""

    folder: Path
    report: dict[str, Any]
    text: str

    def read(self, ending: str) -> str:
        return (self.folder / f"day.{ending}").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Written:
    folder = tmp_path_factory.mktemp("day")
    roads, stops = folder / "area.roads", folder / "stops.csv"
    assert run("get", DATA, "-o", roads).code == 0
    DAY.day_file(stops)
    command = DAY.command(roads, stops, folder)
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    bare = command[: command.index("-o")]
    told = subprocess.run([*bare, "--json"], capture_output=True, text=True, check=True, cwd=ROOT)
    return Written(folder, json.loads(told.stdout), done.stdout)


def test_the_day_goes_through_all_stops_in_order(day: Written) -> None:
    report = day.report
    stops = report["stops"]
    assert [s["place"]["name"] for s in stops] == NAMES
    assert report["verdict"] == "care"
    assert len(report["findings"]) >= 2
    assert report["distance_m"] == pytest.approx(sum(p["length_m"] for p in report["pieces"]))
    assert report["duration_s"] == pytest.approx(sum(p["duration_s"] for p in report["pieces"]))
    assert stops[-1]["distance_m"] == pytest.approx(report["distance_m"])
    for before, after in pairwise(report["pieces"]):
        assert before["points"][-1] == pytest.approx(after["points"][0], abs=1e-7)
    for before, after in pairwise(stops):
        assert before["leaves_s"] < after["arrives_s"]
        assert before["distance_m"] < after["distance_m"]
    minutes = [int(stay or 0) for *_, stay in DAY.STOPS]
    assert [s["leaves_s"] - s["arrives_s"] for s in stops] == [60 * m for m in minutes]
    assert all(s["in_out"] is not None for s in stops[1:])


def test_times_are_those_of_the_clock(day: Written) -> None:
    leaves = datetime.fromisoformat(day.report["departure"])
    for stop in day.report["stops"]:
        for key in ("arrives", "leaves"):
            moment = datetime.fromisoformat(stop[key])
            assert abs(moment - leaves - timedelta(seconds=stop[f"{key}_s"])) <= timedelta(seconds=0.5)
    second = day.report["stops"][2]
    clock = datetime.fromisoformat(second["arrives"])
    assert f"Second: Arrive {clock:%I:%M %p}".replace(" 0", " ") in " ".join(day.text.split())


def test_the_lines_lie_on_the_ground_as_long_as_they_say(day: Written) -> None:
    geod = Geod(ellps="WGS84")
    for piece in day.report["pieces"]:
        lons, lats = zip(*piece["points"], strict=True)
        assert geod.line_length(lons, lats) == pytest.approx(piece["length_m"], rel=1e-3, abs=0.5)
    for stop in day.report["stops"]:
        away = geod.inv(stop["lon"], stop["lat"], stop["place"]["lon"], stop["place"]["lat"])[2]
        assert away == pytest.approx(stop["off_road_m"], abs=0.5)
        assert bool(stop["off_road_text"]) == (stop["off_road_m"] > 50)


def test_facilities_lie_within_reach(day: Written) -> None:
    along = day.report["along"]
    assert {f["kind"] for f in along} >= {"fuel", "water"}
    assert [f["distance_m"] for f in along] == sorted(f["distance_m"] for f in along)
    assert sum(f["full_tank"] for f in along) <= 1
    for facility in along:
        assert facility["detour_s"] <= (900 if facility["full_tank"] else 600)
        assert 0 <= facility["distance_m"] <= day.report["distance_m"]


def test_the_geojson_is_valid_and_complete(day: Written) -> None:
    import jsonschema

    document = json.loads(day.read("geojson"))
    schema = STANDARDS / "geojson-schema" / "FeatureCollection.json"
    if schema.is_file():
        jsonschema.Draft7Validator(json.loads(schema.read_text("utf-8"))).validate(document)
    roles = [f["properties"]["role"] for f in document["features"]]
    report = day.report
    assert roles.count("stop") == 6
    assert (roles.count("start"), roles.count("end"), roles.count("drive")) == (1, 1, 1)
    assert roles.count("piece") == len(report["pieces"])
    assert roles.count("finding") == len(report["findings"])
    assert roles.count("facility") == len(report["along"])
    arrivals = [
        f["properties"]["arrives"]
        for f in document["features"]
        if f["properties"]["role"] in {"start", "stop", "end"}
    ]
    assert arrivals == [s["arrives"] for s in report["stops"]]
    assert arrivals == sorted(arrivals)
    west, south, east, north = document["bbox"]
    assert 9.4 < west < east < 9.7
    assert 47.0 < south < north < 47.3


def test_the_gpx_is_valid_and_complete(day: Written) -> None:
    root: Any = etree.fromstring(day.read("gpx").encode())
    xsd = STANDARDS / "gpx-1.1.xsd"
    if xsd.is_file():
        schema = etree.XMLSchema(etree.parse(str(xsd)))
        assert schema.validate(root), schema.error_log
    kinds = root.xpath("g:wpt/g:type/text()", namespaces=GPX)
    report = day.report
    assert kinds.count("stop") == 8
    assert sum(kind.startswith("finding") for kind in kinds) == len(report["findings"])
    assert sum(kind.startswith("facility") for kind in kinds) == len(report["along"])
    segments = root.xpath("g:trk/g:trkseg", namespaces=GPX)
    geod = Geod(ellps="WGS84")
    length = 0.0
    assert len(segments) == 7
    for segment, stop in zip(segments, report["stops"][1:], strict=True):
        points = [(float(p.get("lon")), float(p.get("lat"))) for p in segment]
        assert points[-1] == pytest.approx((stop["lon"], stop["lat"]), abs=1e-6)
        lons, lats = zip(*points, strict=True)
        length += geod.line_length(lons, lats)
    assert length == pytest.approx(report["distance_m"], rel=1e-3)
    assert len(root.xpath("g:rte/g:rtept", namespaces=GPX)) >= 14


def test_the_sheet_holds_stops_times_and_findings_on_two_pages(day: Written) -> None:
    pages = PdfReader(io.BytesIO((day.folder / "day.pdf").read_bytes())).pages
    assert len(pages) <= 2
    said = " ".join(" ".join(page.extract_text() for page in pages).split())
    for stop in day.report["stops"]:
        arrives = datetime.fromisoformat(stop["arrives"])
        assert stop["place"]["name"] in said
        assert f"{arrives:%I:%M %p}".lstrip("0") in said
    assert said.count("NOT VERIFIED") >= sum(f["standing"] == "unverified" for f in day.report["findings"])
    assert "10'6\"" in said
    assert "Along the way" in said
    assert "OpenStreetMap contributors" in said
    tank = [f for f in day.report["along"] if f["full_tank"]]
    assert ("Full tank before the end" in said) == bool(tank)


def test_the_page_opens_alone_and_holds_the_day(day: Written, browser: Browser) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    complaints: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    path = day.folder / "day.html"
    page.goto(path.as_uri())
    page.wait_for_function("document.querySelectorAll('.map-mark').length > 0")
    report = day.report
    assert page.locator("#stops-heading ~ ol > li").count() == 8
    assert page.locator("#along-heading ~ ol > li").count() == len(report["along"])
    assert page.locator("#findings-heading ~ ol > li").count() == len(report["findings"])
    assert page.locator(".map-mark.stop").count() == 8
    assert page.locator(".map-mark.facility").count() == len(report["along"])
    data = json.loads(page.locator("#data").text_content() or "")
    assert len(data["drive"]) == 7
    assert data["roads"]["rail"]
    assert len(data["roads"]["minor"]) > 500
    page.click("#along-1 .choose")
    assert page.locator(".map-mark.is-chosen").get_attribute("data-mark") == "along-1"
    assert complaints == []
    assert [url for url in asked if url != path.as_uri() and not url.startswith("data:")] == []
    context.close()


def test_the_table_holds_what_is_flagged(day: Written) -> None:
    rows = list(csv.DictReader(io.StringIO(day.read("csv"), newline="")))
    flagged = [f for f in day.report["findings"] if f["standing"] != "clear"]
    on_the_drive = [row for row in rows if row["where"] == "on the drive"]
    assert [int(row["number"]) for row in on_the_drive] == [f["number"] for f in flagged]


def test_the_text_tells_the_same(day: Written) -> None:
    flat = " ".join(day.text.split())
    assert flat.startswith("TAKE CARE.")
    miles = re.search(r"Length ([\d.]+) mi", flat)
    assert miles
    assert float(miles[1]) * 1609.344 == pytest.approx(day.report["distance_m"], abs=81)
    stops = " ".join(day.text.split("In and out\n")[1].split("\n\n")[0].split())
    assert [stops.count(f"- {name}: ") for name in NAMES] == [1] * 8
