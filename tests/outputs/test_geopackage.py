"""GeoPackages read back by geopandas and by sqlite3."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

from clearance.outputs.geopackage import Layer, geopackage_bytes, lines_wkb, points_wkb
from clearance.outputs.screen_gpkg import screen_gpkg
from tests.outputs.screen_samples import LOW, SCREENING, UNKNOWN


@pytest.fixture
def season(tmp_path: Path) -> Path:
    path = tmp_path / "season.gpkg"
    path.write_bytes(screen_gpkg(SCREENING))
    return path


def test_geopandas_reads_the_layers(season: Path) -> None:
    rows = gpd.read_file(season, layer="destinations")
    assert rows.crs.to_epsg() == 4326
    assert rows.coach.tolist() == ["Heron"] * 3 + ["Wren"] * 3
    assert rows.verdict.tolist() == ["BLOCKED", "TAKE CARE", "CLEAR", "CLEAR", "CLEAR", "CLEAR"]
    camp = SCREENING.rows[0].place
    assert (rows.geometry[0].x, rows.geometry[0].y) == pytest.approx((camp.lon, camp.lat))
    assert rows.there_minutes[1] == pytest.approx(6.7)
    # Nothing told is NULL, not nothing spent.
    assert rows.there_minutes.isna().tolist() == [True] + [False] * 5
    assert rows.unverified[1] == 1
    structures = gpd.read_file(season, layer="structures").set_index("key")
    assert structures.standing[LOW.key] == "too low"
    assert structures.unverified_for[UNKNOWN.key] == 1
    assert np.isnan(structures.clearance_m[UNKNOWN.key])
    assert len(gpd.read_file(season, layer="home")) == 1


def test_sqlite_reads_the_file_as_the_standard_lays_it_out(season: Path) -> None:
    """Application id, required tables and the reference system: OGC 12-128r19 clauses 1.1 to 2.1 (memory)."""
    with closing(sqlite3.connect(season)) as file:
        assert file.execute("PRAGMA application_id").fetchone()[0].to_bytes(4, "big") == b"GPKG"
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        kinds = dict(file.execute("SELECT table_name, data_type FROM gpkg_contents"))
        assert kinds == {
            "destinations": "features",
            "structures": "features",
            "home": "features",
            "not_screened": "attributes",
            "about": "attributes",
        }
        shapes = file.execute("SELECT DISTINCT geometry_type_name, srs_id FROM gpkg_geometry_columns")
        assert shapes.fetchall() == [("POINT", 4326)]
        left = file.execute('SELECT "where", coach FROM not_screened ORDER BY fid').fetchall()
        assert left == [("line 5", ""), ("line 6", "Heron")]
        told = dict(file.execute("SELECT what, text FROM about"))
        assert told["attribution"] == SCREENING.info.attribution
        assert file.execute("SELECT count(*) FROM destinations WHERE extra_minutes IS NULL").fetchone() == (
            2,
        )


def test_lines_and_kinds_of_columns(tmp_path: Path) -> None:
    path = tmp_path / "lines.gpkg"
    lon, lat = np.array([1.0, 2.0, 3.0, 4.0, 5.0]), np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    columns: dict[str, Any] = {
        "n": [1, None],
        "x": [0.5, 2],
        "yes": [True, False],
        "text": ["a", None],
        "whole": np.array([7, 8], dtype=np.int64),
        "nothing": [None, None],
    }
    lines = Layer(
        name="lines", columns=columns, wkb=lines_wkb(lon, lat, np.array([0, 2, 5])), geometry="LineString"
    )
    path.write_bytes(geopackage_bytes([lines]))
    found = gpd.read_file(path, layer="lines")
    assert [list(g.coords) for g in found.geometry] == [
        [(1.0, 0.0), (2.0, 1.0)],
        [(3.0, 2.0), (4.0, 3.0), (5.0, 4.0)],
    ]
    assert found.whole.tolist() == [7, 8]
    assert found.yes.tolist() == [True, False]
    assert found.x.tolist() == [0.5, 2.0]
    assert (found.n[0], np.isnan(found.n[1]), found.text[0]) == (1, True, "a")
    assert found.text.isna().tolist() == [False, True]


def test_a_layer_may_hold_nothing(tmp_path: Path) -> None:
    path = tmp_path / "empty.gpkg"
    path.write_bytes(geopackage_bytes([Layer(name="none", columns={"a": []}, wkb=points_wkb([], []))]))
    assert len(gpd.read_file(path, layer="none")) == 0
