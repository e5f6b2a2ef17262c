"""GPX against the published schema (topografix.com/GPX/1/1/gpx.xsd), read by lxml."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from clearance.core.drive import Drive
from clearance.core.places import Place
from clearance.outputs.directions import directions
from clearance.outputs.gpx import drive_gpx
from clearance.outputs.marks import FACILITY_MARK
from clearance.outputs.measures import Units
from clearance.outputs.wording import CAUTIONS, plain
from tests.outputs import samples
from tests.towns import lonlat

XSD = Path(__file__).resolve().parents[2].parent / "shared" / "standards" / "gpx-1.1.xsd"
NS = {"g": "http://www.topografix.com/GPX/1/1"}
MADE = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)

DRIVES: dict[str, Callable[[], Drive]] = {
    "care": lambda: samples.care_drive(datetime(2026, 5, 1, 8, 30)),
    "clear": samples.clear_drive,
    "blocked": samples.blocked_drive,
    "inspected": samples.inspected_line,
    "hostile": samples.hostile_drive,
    "long": samples.long_drive,
}


def read(text: str) -> Any:
    return etree.fromstring(text.encode("utf-8"))


def texts(root: Any, path: str) -> list[str]:
    return [str(found) for found in root.xpath(f"{path}/text()", namespaces=NS)]


@pytest.fixture(scope="module")
def schema() -> Any:
    if not XSD.exists():
        pytest.skip(f"{XSD} is not here")
    return etree.XMLSchema(etree.parse(str(XSD)))


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("name", DRIVES)
def test_every_drive_is_valid(schema: Any, name: str, units: Units) -> None:
    root = read(drive_gpx(DRIVES[name](), units, made=MADE))
    assert schema.validate(root), schema.error_log


def test_the_schema_would_refuse_another_order(schema: Any) -> None:
    root = read(drive_gpx(samples.care_drive(), made=MADE))
    root.append(root[0])
    assert not schema.validate(root)


def test_waypoints_are_stops_findings_and_turn_offs() -> None:
    drive = samples.care_drive(datetime(2026, 5, 1, 8, 30))
    root = read(drive_gpx(drive, made=MADE))
    names = texts(root, "g:wpt/g:name")
    assert names[:3] == ["A Ridge Highway", "B Pellowick Quay", "C Ferry Landing"]
    assert [n.split()[0] for n in names[3:-7]] == [str(f.number) for f in drive.findings]
    assert names[-7] == "Turn-off for 8 NOT VERIFIED"
    assert names[-6:] == [
        *("Fuel: Ridge Fuel", "Propane: Ridge Fuel", "Camp: Quarry Camp", "Dump station: no name"),
        *("Water: Quay Tap", "Full tank before the end: Tannery Fuel"),
    ]
    by_name = dict(zip(names, texts(root, "g:wpt/g:desc"), strict=False))
    assert by_name["A Ridge Highway"] == "Leave 8:30 AM."
    assert "Arrive 8:38 AM after 3.9 mi, 45 min there, leave 9:23 AM." in by_name["B Pellowick Quay"]
    assert "The nearest road for the coach is 400 ft from it." in by_name["C Ferry Landing"]
    assert "cannot be backed up" in by_name["C Ferry Landing"]
    point = root.xpath("g:wpt[g:name='8 NOT VERIFIED no height']", namespaces=NS)[0]
    assert float(point.get("lon")) == pytest.approx(drive.findings[7].lon, abs=1e-7)
    assert float(point.get("lat")) == pytest.approx(drive.findings[7].lat, abs=1e-7)


def test_facilities_tell_their_detour_and_how_to_get_in() -> None:
    drive = samples.care_drive()
    points = read(drive_gpx(drive, made=MADE)).xpath("g:wpt[starts-with(g:type, 'facility')]", namespaces=NS)
    assert [p.findtext("g:type", namespaces=NS) for p in points] == [
        f"facility: {kind}" for kind in ("fuel", "propane", "camp", "dump", "water", "fuel")
    ]
    assert {p.findtext("g:sym", namespaces=NS) for p in points} == {FACILITY_MARK.symbol}
    desc = [p.findtext("g:desc", namespaces=NS) for p in points]
    assert desc[0] == (
        "After 0.9 mi, 2 min detour; height told 13'8\", tight; octane 87, 91; room for trucks. "
        "Drives through: in and out forward."
    )
    assert "cannot be backed up" in desc[3]
    assert (float(points[2].get("lon")), float(points[2].get("lat"))) == lonlat(1450, 700)


def test_standings_differ_in_text_and_symbol() -> None:
    root = read(drive_gpx(samples.care_drive(), made=MADE))
    pairs = set()
    for point in root.xpath("g:wpt[starts-with(g:type, 'finding')]", namespaces=NS):
        pairs.add((point.findtext("g:sym", namespaces=NS), point.findtext("g:type", namespaces=NS)))
    assert {kind for _, kind in pairs} == {"finding: clear", "finding: tight", "finding: unverified"}
    assert len({sym for sym, _ in pairs}) == 3


def test_the_track_has_a_segment_for_each_leg() -> None:
    drive = samples.care_drive()
    root = read(drive_gpx(drive, made=MADE))
    segments = root.xpath("g:trk/g:trkseg", namespaces=NS)
    assert len(segments) == 2
    ends = [(float(s[-1].get("lon")), float(s[-1].get("lat"))) for s in segments]
    assert ends == [(s.lon, s.lat) for s in drive.stops[1:]]
    points = [(p.get("lon"), p.get("lat")) for s in segments for p in s]
    # Where pieces meet, their common point stands once; where legs meet, twice.
    assert len(points) == len({*points}) + sum(points.count(p) - 1 for p in {*points})
    assert all(a != b for s in segments for a, b in zip(list(s), list(s)[1:], strict=False))
    assert len(points) == sum(len(p.points) for p in drive.pieces) - len(drive.pieces) + 2


def test_the_route_has_the_turns() -> None:
    drive = samples.care_drive()
    root = read(drive_gpx(drive, made=MADE))
    assert len(root.xpath("g:rte/g:rtept", namespaces=NS)) == len(directions(drive))
    assert "Right onto Quarry Road" in texts(root, "g:rte/g:rtept/g:name")


def test_a_gap_parts_the_track_and_is_named() -> None:
    root = read(drive_gpx(samples.inspected_line(), made=MADE))
    tracks = root.xpath("g:trk", namespaces=NS)
    assert [len(t.findall("g:trkseg", NS)) for t in tracks] == [2, 1]
    assert texts(tracks[1], "g:name") == ["Not checked"]


def test_a_blocked_drive_tells_what_is_in_the_way() -> None:
    root = read(drive_gpx(samples.blocked_drive(), made=MADE))
    assert not root.findall("g:rte", NS)
    assert not root.findall("g:trk", NS)
    assert "1 TOO LOW 13'0\"" in texts(root, "g:wpt/g:name")
    assert "BLOCKED" in texts(root, "g:metadata/g:desc")[0]


def test_cautions_data_date_attribution_and_time() -> None:
    root = read(drive_gpx(samples.care_drive(), made=MADE.astimezone(timezone(timedelta(hours=-5)))))
    (desc,) = texts(root, "g:metadata/g:desc")
    assert all(caution in desc for caution in CAUTIONS)
    assert "2026-01-01" in desc
    holder = root.find("g:metadata/g:copyright", NS)
    assert "OpenStreetMap" in holder.get("author")
    assert texts(root, "g:metadata/g:copyright/g:license") == [
        "https://opendatacommons.org/licenses/odbl/1-0/"
    ]
    assert texts(root, "g:metadata/g:time") == ["2026-03-04T05:06:07Z"]


def test_units() -> None:
    root = read(drive_gpx(samples.care_drive(), Units.METRES, made=MADE))
    assert "6 TIGHT 4.20 m" in texts(root, "g:wpt/g:name")


def test_longitude_180_is_written_as_the_schema_wants_it(schema: Any) -> None:
    drive = samples.blocked_drive()
    edge = Place(lon=180.0, lat=10.0, name="Edge")
    root = read(drive_gpx(replace(drive, places=(edge, drive.places[1])), made=MADE))
    assert schema.validate(root)
    assert root.find("g:wpt", NS).get("lon") == "-180.0000000"


@settings(max_examples=60)
@given(st.text(st.characters(codec=None, categories=("L", "N", "P", "S", "Z", "C")), max_size=40))
def test_any_name_is_well_formed(name: str) -> None:
    """Surrogates, controls and non-characters among them."""
    drive = samples.blocked_drive()
    places = (replace(drive.places[0], name=name), drive.places[1])
    root = read(drive_gpx(replace(drive, places=places), made=MADE))
    kept = "".join(c for c in plain(name) if c not in "\ufffe\uffff")
    if kept:
        assert texts(root, "g:wpt/g:name")[0] == f"A {kept}"


def test_hostile_names_stay_text() -> None:
    root = read(drive_gpx(samples.hostile_drive(), made=MADE))
    assert texts(root, "g:wpt/g:name")[0] == f"A {plain(samples.HOSTILE)}"
    assert not root.xpath("//*[local-name()='script']")
