"""Records from CSV and GeoJSON, and back out again."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.errors import InputError
from clearance.core.lengths import Length
from clearance.core.record import Record, Removal
from clearance.outputs.records import records_csv, records_geojson
from clearance.sources.record_list import read_record_list
from tests.sources.test_records import GONE, record

NOW = datetime.datetime(2026, 6, 15, 12, 0, tzinfo=datetime.UTC)


def read(path: Path, text: str, who: str = "") -> tuple[Record, ...]:
    path.write_text(text, encoding="utf-8", newline="")
    return read_record_list(path, now=NOW, who=who)


#: Texts on one line as outputs print them, formulas and all.
words = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), max_size=12)
names = words.filter(lambda t: t != "")
records = st.builds(
    record,
    number=st.integers(0, 2**63),
    height=st.integers(10_000, 300_000).map(Length),
    who=names,
    lon=st.floats(-180, 180).map(lambda v: round(v, 7) + 0.0),
    lat=st.floats(-90, 90).map(lambda v: round(v, 7) + 0.0),
    note=words,
    name=words,
    road=words,
    photo=words,
    removal=st.one_of(st.none(), st.builds(Removal, when=st.just(GONE.when), who=names, why=names)),
).map(lambda r: replace(r, raw=str(r.height)))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(records, min_size=1, max_size=4, unique_by=lambda r: r.uid))
def test_what_is_written_is_read_back(tmp_path: Path, told: list[Record]) -> None:
    assert list(read(tmp_path / "r.csv", records_csv(told))) == told
    text = json.dumps(records_geojson(told), ensure_ascii=False)
    assert list(read(tmp_path / "r.geojson", text)) == told


def test_a_table_written_by_hand(tmp_path: Path) -> None:
    text = 'Height;Date;Latitude;Longitude;Note\n"13\'4""";2026-06-01;45,01;-40,02;left lane\n'
    (found,) = read(tmp_path / "r.csv", text, who="Ines")
    assert (found.height, found.raw, found.who) == (Length(40640), "13'4\"", "Ines")
    assert (found.lat, found.lon, found.note) == (45.01, -40.02, "left lane")
    assert found.added == "2026-06-15T12:00:00Z"
    (again,) = read(tmp_path / "r.csv", text, who="Ines")
    assert again.uid == found.uid


def test_metres_alone_will_do(tmp_path: Path) -> None:
    (found,) = read(tmp_path / "r.csv", "height_m,date,who,lat,lon\n4.05,2026-06-01,Ines,45,-40\n")
    assert (found.height, found.raw) == (Length(40500), "4.05 m")


def test_a_guarded_formula_comes_back_as_it_was(tmp_path: Path) -> None:
    """A spreadsheet must not run it; the next import must not keep the guard."""
    text = records_csv([record(1, note="=1+1", name="'=quoted")])
    assert "'=1+1" in text
    (found,) = read(tmp_path / "r.csv", text)
    assert (found.note, found.name) == ("=1+1", "'=quoted")


HEAD = "height,date,who,lat,lon,height_m,uid,elements,removed,removed_by\n"
BAD = {
    "4.05,2026-06-01,Ines,45,-40,,,,,": "no unit",
    ",2026-06-01,Ines,45,-40,,,,,": "no height",
    "4.05m,1.6.2026,Ines,45,-40,,,,,": "no day",
    "4.05m,2026-07-01,Ines,45,-40,,,,,": "yet to come",
    "4.05m,2026-06-01,,45,-40,,,,,": "does not tell who",
    "4.05m,2026-06-01,Ines,145,-40,,,,,": "latitude 145",
    "4.05m,2026-06-01,Ines,,-40,,,,,": "latitude is empty",
    "4.05m,2026-06-01,Ines,45,-40,4.10,,,,": "make them agree",
    "4.05m,2026-06-01,Ines,45,-40,,abc,,,": "uid",
    "4.05m,2026-06-01,Ines,45,-40,,,bridge 7,,": "no map element",
    "4.05m,2026-06-01,Ines,45,-40,,,,2026-06-02T08:00:00Z,Bo": "removed in part",
    "4.05m,2026-06-01,Ines,45,-40,,,,,,x": "cells",
}


@pytest.mark.parametrize(("line", "why"), BAD.items())
def test_a_bad_row_is_told_with_its_line(tmp_path: Path, line: str, why: str) -> None:
    good = "4.05m,2026-06-01,Ines,45,-40,,,,,\n"
    with pytest.raises(InputError, match=rf"nothing was taken in.*line 3: .*{why}"):
        read(tmp_path / "r.csv", HEAD + good + line + "\n")


def test_every_bad_row_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError) as told:
        read(tmp_path / "r.csv", HEAD + "\n".join(BAD))
    assert [f"line {n}: " in str(told.value) for n in range(2, 2 + len(BAD))] == [True] * len(BAD)


def test_what_is_no_point_and_no_list(tmp_path: Path) -> None:
    line = {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}
    with pytest.raises(InputError, match="feature 1: is a LineString"):
        read(tmp_path / "r.geojson", json.dumps({"type": "Feature", "properties": {}, "geometry": line}))
    with pytest.raises(InputError, match="holds no records"):
        read(tmp_path / "r.csv", HEAD)
    with pytest.raises(InputError, match="ends in none"):
        read(tmp_path / "r.xlsx", HEAD)


def test_the_table_is_one_that_other_programs_read(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    path = tmp_path / "r.csv"
    path.write_text(records_csv([record(1), record(2, removal=GONE)]), encoding="utf-8", newline="")
    frame = pandas.read_csv(path)
    assert frame["height_m"].tolist() == [4.064, 4.064]
    assert frame["removed_by"].fillna("").tolist() == ["", "Bo"]


def test_two_heights_of_one_feature_are_told(tmp_path: Path) -> None:
    told = {"height": "4.1 m", "clearance": "3.1 m", "date": "2026-06-01", "who": "Ines"}
    point = {"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2]}, "properties": told}
    with pytest.raises(InputError, match="feature 1: two properties stand for height and differ"):
        read(tmp_path / "a.geojson", json.dumps(point))
    told["clearance"] = "4.1 m"
    (found,) = read(tmp_path / "a.geojson", json.dumps(point))
    assert found.height == Length.from_metres("4.1")


def test_thousands_of_problems_do_not_fill_the_screen(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"line 101: .*and there may be more$") as caught:
        read(tmp_path / "a.csv", "lat,lon,height,date,who\n" + "1,2,x,y,z\n" * 5000)
    assert len(str(caught.value)) < 20_000
