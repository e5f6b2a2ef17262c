from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from jsonschema.protocols import Validator
from referencing import Registry, Resource

from clearance.core.drive import Drive
from clearance.core.lengths import Length
from clearance.core.structure import Standing, Structure
from clearance.outputs.geojson import drive_geojson, structures_geojson
from clearance.outputs.marks import FACILITY_MARK, FULL_TANK_MARK, MARKS, PLACE_MARK, TURN_OFF_MARK
from clearance.outputs.measures import Units
from tests.outputs import samples
from tests.towns import lonlat

SCHEMAS = Path(__file__).resolve().parents[3] / "shared" / "standards" / "geojson-schema"

DRIVES: list[Callable[[], Drive]] = [
    samples.care_drive,
    samples.clear_drive,
    samples.blocked_drive,
    samples.inspected_line,
    samples.hostile_drive,
    samples.long_drive,
]


def _features(collection: dict[str, Any], role: str) -> list[dict[str, Any]]:
    return [f for f in collection["features"] if f["properties"]["role"] == role]


def _structures() -> list[Structure]:
    return [f.structure for f in samples.long_drive().findings]


@pytest.fixture(scope="module")
def validator() -> Validator:
    """The published JSON Schemas of GeoJSON (geojson.org/schema, draft-07)."""
    if not SCHEMAS.is_dir():
        pytest.skip(f"no schemas in {SCHEMAS}")
    schemas = [json.loads(p.read_text(encoding="utf-8")) for p in sorted(SCHEMAS.glob("*.json"))]
    registry: Registry[Any] = Registry().with_resources(
        [(s["$id"], Resource.from_contents(s)) for s in schemas]
    )
    whole = next(s for s in schemas if s["$id"].endswith("/FeatureCollection.json"))
    return jsonschema.Draft7Validator(whole, registry=registry)


@pytest.mark.parametrize("make", DRIVES)
def test_a_drive_is_valid_by_the_published_schema(validator: Validator, make: Callable[[], Drive]) -> None:
    text = json.dumps(drive_geojson(make(), Units.BOTH), allow_nan=False)
    validator.validate(json.loads(text))


def test_an_area_is_valid_by_the_published_schema(validator: Validator) -> None:
    for structures in (_structures(), []):
        for coach in (None, samples.COACH):
            validator.validate(structures_geojson(structures, samples.INFO, coach=coach))


def test_the_schema_refuses_what_is_no_geojson(validator: Validator) -> None:
    bad = drive_geojson(samples.care_drive())
    bad["features"][0]["geometry"]["coordinates"] = [[1.0]]
    assert not validator.is_valid(bad)


@pytest.mark.parametrize("make", DRIVES)
def test_another_library_reads_the_same_features(tmp_path: Path, make: Callable[[], Drive]) -> None:
    geopandas = pytest.importorskip("geopandas")
    written = drive_geojson(make())
    path = tmp_path / "day.geojson"
    path.write_text(json.dumps(written), encoding="utf-8")
    frame = geopandas.read_file(path)
    assert frame.crs.to_epsg() == 4326
    assert list(frame["role"]) == [f["properties"]["role"] for f in written["features"]]
    assert frame.geometry.is_valid.sum() >= len(frame) - 1  # a stop may be a line of no length
    box = frame.total_bounds
    assert list(box) == pytest.approx(written["bbox"], abs=1e-9)
    heights = frame.loc[frame["role"] == "finding", "clearance_m"].dropna()
    assert all(isinstance(h, float) for h in heights)


def test_findings_stand_in_driving_order_with_their_facts() -> None:
    drive = samples.care_drive()
    found = _features(drive_geojson(drive), "finding")
    assert [f["properties"]["number"] for f in found] == [f.number for f in drive.findings]
    tight = next(f for f in found if f["properties"]["kind"] == "footbridge")["properties"]
    assert tight["standing"] == "tight"
    assert tight["label"] == "TIGHT"
    assert tight["clearance"] == "13'9\""
    assert tight["clearance_m"] == 4.2
    assert tight["road"] == "Quay Road"
    assert tight["ways"] == "443"
    assert "13'4\" or more" in tight["description"]


def test_the_exact_height_survives() -> None:
    drive = samples.care_drive()
    finding = replace(drive.findings[0], clearance=Length.from_feet(13, 6))
    written = drive_geojson(replace(drive, findings=(finding,)))
    assert json.loads(json.dumps(_features(written, "finding")[0]))["properties"]["clearance_m"] == 4.1148


def test_lines_run_through_every_point_once_and_seven_digits_are_kept() -> None:
    drive = samples.care_drive()
    (line,) = _features(drive_geojson(drive), "drive")
    points = line["geometry"]["coordinates"]
    assert points[0] == list(lonlat(-1800, 1300))
    assert points[-1] == list(lonlat(-1500, 450))
    assert all(a != b for a, b in pairwise(points))
    assert all(round(v, 7) == v for p in points for v in p)


def test_pieces_show_the_worst_standing_on_them() -> None:
    pieces = {
        f["properties"]["title"]: f["properties"]
        for f in _features(drive_geojson(samples.care_drive()), "piece")
    }
    assert pieces["Tannery Lane"]["standing"] == "unverified"
    assert pieces["Quay Road"]["standing"] == "tight"
    assert pieces["Ridge Highway"]["standing"] == "clear"
    # nothing found on it is not the same as clear
    assert pieces["North Street"]["standing"] == ""
    assert pieces["North Street"]["stroke-width"] < pieces["Ridge Highway"]["stroke-width"]


def test_facilities_along_the_way() -> None:
    drive = samples.care_drive()
    found = _features(drive_geojson(drive), "facility")
    assert [f["properties"]["title"] for f in found][::5] == [
        "Fuel: Ridge Fuel",
        "Full tank before the end: Tannery Fuel",
    ]
    first, dump = found[0]["properties"], found[3]["properties"]
    assert found[0]["geometry"]["coordinates"] == list(lonlat(-400, 1330))
    assert (first["kind"], first["detour_s"], first["distance_m"]) == ("fuel", 95, 1400)
    assert (first["canopy"], first["canopy_m"]) == ("13'8\"", 4.1656)
    assert first["facts"] == "octane 87, 91\nroom for trucks"
    assert (dump["in_and_out"], dump["serious"], dump["canopy_m"]) == ("needs room to turn", True, None)
    assert [f["properties"]["full_tank"] for f in found] == [False] * 5 + [True]
    assert not _features(drive_geojson(samples.clear_drive()), "facility")


def test_the_mark_of_a_facility_has_a_shape_of_its_own() -> None:
    others = {mark.symbol for mark, _ in MARKS.values()} | {PLACE_MARK.symbol, TURN_OFF_MARK.symbol}
    assert FACILITY_MARK.symbol not in others
    assert FULL_TANK_MARK.symbol == FACILITY_MARK.symbol
    assert FULL_TANK_MARK.size != FACILITY_MARK.size


def test_no_two_standings_differ_by_colour_alone() -> None:
    assert set(MARKS) == set(Standing)
    marks, lines = zip(*MARKS.values(), strict=True)
    assert len({m.symbol for m in marks}) == len({x.width for x in lines}) == len(marks)
    assert len({m.color for m in marks}) == len(marks)
    assert {m.size for m in marks} <= {"small", "medium", "large"}


def test_places_are_start_stops_and_end() -> None:
    written = drive_geojson(samples.care_drive())
    assert [_features(written, r)[0]["properties"]["title"] for r in ("start", "stop", "end")] == [
        "Start: Ridge Highway",
        "Stop: Pellowick Quay",
        "End: Ferry Landing",
    ]
    without_stops = drive_geojson(samples.clear_drive())
    assert [len(_features(without_stops, r)) for r in ("start", "stop", "end")] == [1, 0, 1]


def test_places_tell_when_the_coach_comes_and_goes() -> None:
    written = drive_geojson(samples.care_drive(datetime(2026, 5, 1, 8, 30)))
    stop = _features(written, "stop")[0]["properties"]
    assert (stop["arrives"], stop["leaves"]) == ("2026-05-01T08:38:20", "2026-05-01T09:23:20")
    assert stop["description"].startswith("Arrive 8:38 AM after 3.9 mi, 45 min there, leave 9:23 AM. Drives")
    end = _features(written, "end")[0]["properties"]
    assert end["description"].endswith("The nearest road for the coach is 400 ft from it.")
    stop = _features(drive_geojson(samples.care_drive()), "stop")[0]["properties"]
    assert (stop["arrives"], stop["leaves"]) == (None, None)


def test_a_blocked_drive_shows_what_is_in_the_way_and_what_a_car_would_do() -> None:
    written = drive_geojson(samples.blocked_drive())
    assert written["verdict"] == "blocked"
    assert written["gets_through_m"] == 4.0
    assert written["other_limits"] == ["weight limit on Weir Road: maxweight=10 st (way/348)"]
    assert len(_features(written, "in the way")) == 2
    assert len(_features(written, "car drive")) == 1
    assert not _features(written, "drive")


def test_every_collection_carries_cautions_date_and_attribution() -> None:
    for written in (
        drive_geojson(samples.clear_drive()),
        structures_geojson(_structures(), samples.INFO),
        structures_geojson([], samples.INFO),
    ):
        assert any("signs" in c for c in written["cautions"])
        assert written["data_date"] == "2026-01-01T00:00:00Z"
        assert "OpenStreetMap" in written["attribution"]


def test_turn_offs_stops_and_unchecked_parts_have_their_words() -> None:
    written = drive_geojson(samples.care_drive())
    (turn,) = _features(written, "turn-off")
    assert turn["properties"]["finding"] == 8
    assert "onto Weir Road" in turn["properties"]["description"]
    assert "Ferry Road ends here" in _features(written, "end")[0]["properties"]["description"]
    (gap,) = _features(drive_geojson(samples.inspected_line()), "unchecked")
    assert gap["geometry"]["type"] == "LineString"
    assert gap["properties"]["title"].startswith("Not checked for 1050 ft")


def test_ids_of_features_are_unique() -> None:
    for make in DRIVES:
        ids = [f["id"] for f in drive_geojson(make())["features"]]
        assert len(ids) == len(set(ids))


def test_a_listing_without_a_coach_has_no_standing() -> None:
    plain = structures_geojson(_structures(), samples.INFO)["features"]
    judged = structures_geojson(_structures(), samples.INFO, coach=samples.COACH)["features"]
    assert all("standing" not in f["properties"] for f in plain)
    assert {f["properties"]["standing"] for f in judged} >= {"tight", "unverified", "clear"}
    assert [f["id"] for f in plain] == [s.key for s in _structures()]


def test_texts_of_the_map_are_one_line_without_control_marks() -> None:
    for feature in drive_geojson(samples.hostile_drive())["features"]:
        for key in ("title", "name", "road"):
            value = feature["properties"].get(key, "")
            assert "\x00" not in value
            assert "\u2028" not in value


# ------------------------------------------------------------------------------------- across 180 degrees


def _across() -> dict[str, Any]:
    drive = samples.clear_drive()
    points = ((179.5, -16.0), (179.9, -16.2), (-179.9, -16.4), (-179.5, -16.6))
    piece = replace(drive.pieces[0], points=points)
    places = tuple(
        replace(p, lon=lon, lat=lat)
        for p, (lon, lat) in zip(drive.places, (points[0], points[-1]), strict=True)
    )
    return drive_geojson(replace(drive, pieces=(piece,), places=places, findings=()))


def test_a_line_is_cut_where_it_crosses_180_degrees() -> None:
    """RFC 7946 section 3.1.9."""
    (line,) = _features(_across(), "drive")
    assert line["geometry"] == {
        "type": "MultiLineString",
        "coordinates": [
            [[179.5, -16.0], [179.9, -16.2], [180.0, -16.3]],
            [[-180.0, -16.3], [-179.9, -16.4], [-179.5, -16.6]],
        ],
    }


def test_a_box_across_180_degrees_has_its_west_east_of_its_east() -> None:
    """RFC 7946 section 5.2 with its example of Fiji."""
    assert _across()["bbox"] == [179.5, -16.6, -179.5, -16.0]


def test_a_box_of_a_single_point_and_of_nothing() -> None:
    one = structures_geojson(_structures()[:1], samples.INFO)
    lon, lat = one["features"][0]["geometry"]["coordinates"]
    assert one["bbox"] == [lon, lat, lon, lat]
    assert "bbox" not in structures_geojson([], samples.INFO)


def test_a_drive_of_one_point_still_has_a_line_of_two_positions() -> None:
    drive = samples.clear_drive()
    piece = replace(drive.pieces[0], points=drive.pieces[0].points[:1])
    (line,) = _features(drive_geojson(replace(drive, pieces=(piece,))), "drive")
    assert len(line["geometry"]["coordinates"]) == 2
