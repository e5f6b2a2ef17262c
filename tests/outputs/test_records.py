"""Records as a list for a person."""

from __future__ import annotations

from dataclasses import replace

from clearance.outputs.measures import Units
from clearance.outputs.records import records_geojson, records_text
from tests.sources.test_records import GONE, record


def test_a_record_in_words() -> None:
    text = records_text([replace(record(1), number=3)], Units.BOTH)
    assert text.startswith("   3  13'4\" (4.06 m) (written 13'4\"), 2026-06-01 by Ines: railway bridge")
    assert "(Coast Line), Low Street at 45.00000,-40.00000" in text
    assert "key way/11:way/20:1; photo p1.jpg; left lane" in text
    assert text.endswith("\n")


def test_a_place_alone_and_a_removed_record_say_so() -> None:
    text = records_text([record(1, key="", kind="", name="", road="", removal=GONE)])
    assert "no structure told" in text
    assert "REMOVED 2026-06-02 by Bo: other bridge" in text


def test_nothing_recorded() -> None:
    assert records_text([]) == "No records.\n"
    assert records_geojson([]) == {"type": "FeatureCollection", "features": []}


def test_texts_of_others_cannot_move_the_cursor() -> None:
    assert "\x1b" not in records_text([record(1, note="\x1b[2J", who="I\x07nes", road="a\nb")])


def test_points_with_their_record() -> None:
    (feature,) = records_geojson([record(5)])["features"]
    assert feature["geometry"] == {"type": "Point", "coordinates": [-40.0, 45.0]}
    assert feature["id"] == feature["properties"]["uid"] == f"{5:032x}"
    assert feature["properties"]["height_m"] == 4.064
    assert feature["properties"]["title"] == "13'4\" (4.06 m) seen on 2026-06-01 by Ines"
    assert "removed" not in feature["properties"]
