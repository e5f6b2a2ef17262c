"""Lists of heights in the forms that people keep them. Places and names are invented."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.errors import InputError, UsageError
from clearance.core.lengths import Length
from clearance.sources import height_list
from clearance.sources.height_list import Columns, HeightList, read_height_list


def csv(folder: Path, *rows: str, unit: str = "m", columns: Columns | None = None) -> HeightList:
    path = folder / "heights.csv"
    path.write_text("\n".join([*rows, ""]), encoding="utf-8")
    return read_height_list(path, unit=unit, columns=columns)


@pytest.mark.parametrize(
    ("unit", "text", "metres"),
    [
        ("m", "4.11", "4.11"),
        ("m", "4,11", "4.11"),
        ("cm", "411", "4.11"),
        ("mm", "4115", "4.115"),
        ("ft", "13.5", "4.1148"),  # 1 ft = 0.3048 m exactly
        ("in", "162", "4.1148"),  # 1 in = 25.4 mm exactly
        ("ft.in", "13.06", "4.1148"),
        ("ft.in", "13.6", "4.1148"),
        ("ft.in", "13.11", "4.2418"),
        ("ft.in", "13", "3.9624"),
        ("m", "13'6\"", "4.1148"),  # a text that carries its unit is read as it says
        ("ft", "4.1 m", "4.1"),
    ],
)
def test_heights_are_exact_in_every_unit(tmp_path: Path, unit: str, text: str, metres: str) -> None:
    (record,) = csv(tmp_path, "lat;lon;height", f"45.0;-40.0;{text}", unit=unit).records
    assert record.height == Length.from_metres(metres)
    assert (record.raw, record.key, record.source) == (text, "height", "heights.csv")
    assert (record.lon, record.lat, record.where) == (-40.0, 45.0, "line 2")


def test_columns_of_any_name(tmp_path: Path) -> None:
    columns = Columns(
        height="Min Clearance", lat="Y_coord", lon="X_coord", name="Road under", date="Measured"
    )
    found = csv(
        tmp_path,
        "X_coord,Y_coord,ROAD UNDER,min_clearance,measured,other",
        "-40,45,Heather Street,13.5,2021-05-04,x",
        unit="ft",
        columns=columns,
    )
    (record,) = found.records
    assert (record.name, record.date, record.key) == ("Heather Street", "2021-05-04", "Min Clearance")
    assert found.problems == ()


def test_every_bad_row_is_listed_with_its_line(tmp_path: Path) -> None:
    rows = ["lat,lon,height", "45,-40,4.2", "45,-40,", "45,-40,tall", "45,-40,42", "95,-40,4.2", ",-40,4.2"]
    rows += ["45,-40,4.2,5,6", "45,-40,0", "45,-40,-4", "45,-40,4.1"]
    found = csv(tmp_path, *rows)
    assert [r.where for r in found.records] == ["line 2", "line 11"]
    assert [p.split(":")[0] for p in found.problems] == [f"line {n}" for n in range(3, 11)]
    assert "outside 1 m to 30 m" in found.problems[2]
    assert "another unit" in found.problems[2]


def test_feet_that_look_like_inches_are_noted(tmp_path: Path) -> None:
    """13.10 in decimal feet is 13'1": whoever wrote 13.10 and 13.11 may have meant inches."""
    rows = ["lat,lon,height", *(f"45,-40,{text}" for text in ("13.6", "14.11", "12.3", "13.10", "13.0"))]
    found = csv(tmp_path, *rows, unit="ft")
    assert "ft.in" in found.notes[0]
    assert csv(tmp_path, *rows, unit="ft.in").notes == ()
    plain = ["lat,lon,height", *(f"45,-40,{text}" for text in ("13.5", "14.25", "12.75", "13.1", "13.0"))]
    assert csv(tmp_path, *plain, unit="ft").notes == ()


def feature(height: object, position: object = (-40.0, 45.0), kind: str = "Point") -> dict[str, object]:
    return {
        "type": "Feature",
        "properties": {"Clearance": height, "name": "Old Mill Bridge", "date": 2020},
        "geometry": {"type": kind, "coordinates": position},
    }


def test_geojson_points(tmp_path: Path) -> None:
    path = tmp_path / "heights.geojson"
    features = [feature(4.1), feature("13'6\""), feature(None), feature(4.2, [[0, 0], [1, 1]], "LineString")]
    features += [feature(4.2, [200, 45]), feature(4)]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    found = read_height_list(path, unit="m", columns=Columns(height="clearance"), source="Invented County")
    assert [r.height for r in found.records] == [
        Length.from_metres("4.1"),
        Length.from_feet(13, 6),
        Length.from_metres("4"),
    ]
    assert {(r.source, r.name, r.date) for r in found.records} == {
        ("Invented County", "Old Mill Bridge", "2020")
    }
    assert [p.split(":")[0] for p in found.problems] == ["feature 3", "feature 4", "feature 5"]


def test_geopackage_points_in_any_reference_system(tmp_path: Path) -> None:
    """Written by geopandas in UTM zone 24 N, read back in WGS84."""
    import geopandas
    import shapely

    frame = geopandas.GeoDataFrame(
        {"h_ft": [13.5, None], "name": ["Heather Street", "x"]},
        geometry=[shapely.Point(-40.0, 45.0), shapely.Point(-40.0, 45.001)],
        crs="EPSG:4326",
    ).to_crs("EPSG:32624")
    path = tmp_path / "heights.gpkg"
    frame.to_file(path, driver="GPKG")
    found = read_height_list(path, unit="ft", columns=Columns(height="h_ft"))
    (record,) = found.records
    assert record.height == Length.from_feet(13, 6)
    assert [record.lon, record.lat] == pytest.approx([-40.0, 45.0], abs=1e-6)
    assert len(found.problems) == 1


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("a.csv", "lat,lon,tall\n1,2,3\n", "no column height"),
        ("a.csv", "lat,height\n1,2\n", "no column lon"),
        ("a.csv", "lat,lon,height\n", "no rows"),
        ("a.csv", "nothing\n", "must name the columns"),
        ("a.geojson", '{"type": "Point", "coordinates": [0, 0]}', "property height"),
        ("a.gpkg", "no database", "GeoPackage"),
        ("a.xls", "x", "ends in none of"),
    ],
)
def test_files_that_are_no_list(tmp_path: Path, name: str, text: str, said: str) -> None:
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(InputError, match=said):
        read_height_list(path, unit="m")


def test_a_named_column_that_is_missing_is_no_empty_one(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no column Street"):
        csv(tmp_path, "lat,lon,height", "45,-40,4.2", columns=Columns(name="Street"))


def test_a_unit_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="write one of m, cm"):
        csv(tmp_path, "lat,lon,height", "45,-40,4.2", unit="yd")


@given(st.text(max_size=10), st.sampled_from(["m", "ft", "in", "ft.in"]))
def test_any_cell_is_a_height_or_a_problem(
    tmp_path_factory: pytest.TempPathFactory, text: str, unit: str
) -> None:
    cell = '"' + text.replace('"', '""').replace("\x00", "") + '"'
    found = csv(
        tmp_path_factory.getbasetemp(), "lat,lon,height", f"45,-40,{cell}", "45,-40,13'0\"", unit=unit
    )
    assert len(found.records) + len(found.problems) == 2
    assert found.records[-1].height == Length.from_feet(13)


@given(st.decimals("4", "29", places=3))
def test_feet_and_metres_agree(tmp_path_factory: pytest.TempPathFactory, feet: Decimal) -> None:
    folder = tmp_path_factory.getbasetemp()
    (record,) = csv(folder, "lat,lon,height", f"45,-40,{feet}", unit="ft").records
    assert 0 <= feet * Decimal("0.3048") - record.height.metres < Decimal("0.0001")


def test_two_heights_of_one_feature_are_told(tmp_path: Path) -> None:
    path = tmp_path / "heights.geojson"
    sound, twice = feature(4.1), feature(4.1)
    sound["properties"] = {"height": 4.1}
    twice["properties"] = {"height": 4.1, "Height": 3.1}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [sound, twice]}), encoding="utf-8")
    found = read_height_list(path, unit="m")
    assert len(found.records) == 1
    assert found.problems == (
        "feature 2: the property height stands there twice and differs; keep one of them",
    )
    text = path.read_text(encoding="utf-8").replace('"Height"', '"height"')
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="the name 'height' stands twice"):
        read_height_list(path, unit="m")


def test_rows_that_cannot_be_used_do_not_fill_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(height_list, "_MOST_ROWS", 20)
    rows = ["lat,lon,height", *["45,-40,x"] * 21]
    assert len(csv(tmp_path, *rows).problems) == 21
    with pytest.raises(InputError, match="more than 20 rows"):
        csv(tmp_path, *rows, "45,-40,4.1")


def _package(path: Path) -> None:
    import numpy as np
    import pyogrio
    import shapely

    pyogrio.raw.write(
        path, shapely.to_wkb(shapely.points([[-40.0, 45.0]])), [np.array([4.1])], ["height"],
        layer="places", geometry_type="Point", crs="EPSG:4326",
    )  # fmt: skip


def test_a_package_that_is_read_in_spite_of_a_fault_brings_no_warning(tmp_path: Path) -> None:
    path = tmp_path / "list.gpkg"
    _package(path)
    whole = bytearray(path.read_bytes())
    # The application id of an SQLite file stands at byte 68 (sqlite.org/fileformat2.html; from memory).
    assert whole[68:72] == b"GPKG"
    whole[68:72] = bytes(4)
    path.write_bytes(whole)
    assert [r.height for r in read_height_list(path, unit="m").records] == [Length.from_metres("4.1")]


@pytest.mark.parametrize("name", ["places", "gpkg_contents", "gpkg_geometry_columns"])
def test_a_view_in_the_place_of_a_table_is_not_asked(tmp_path: Path, name: str) -> None:
    """It could reckon for ever, as this one does."""
    path = tmp_path / "list.gpkg"
    _package(path)
    with contextlib.closing(sqlite3.connect(path)) as file:
        for (trigger,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{trigger}"')
        file.execute(f"ALTER TABLE {name} RENAME TO kept")
        file.execute(
            f"CREATE VIEW {name.upper()} AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
            "SELECT kept.* FROM n, kept WHERE i < 0"
        )
        file.commit()
    with pytest.raises(InputError, match=rf"list\.gpkg: its layer {name} is a view"):
        read_height_list(path, unit="m")


def test_a_view_that_is_no_layer_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "list.gpkg"
    _package(path)
    with contextlib.closing(sqlite3.connect(path)) as file:
        file.execute("CREATE VIEW high AS SELECT * FROM places WHERE height > 4")
        file.commit()
    assert len(read_height_list(path, unit="m").records) == 1
