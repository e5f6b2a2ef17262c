"""The GeoJSON that the commands write, against the published schema and read back by geopandas."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_commands import CAMP, COACH, QUAY, SAMPLE, YARD, run

SCHEMAS = Path(__file__).resolve().parents[3] / "shared" / "standards" / "geojson-schema"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A drive, a blocked drive, a line inspected, and the structures of the sample town."""
    folder = tmp_path_factory.mktemp("geojson")
    roads = folder / "p.roads"
    assert run("get", SAMPLE, "-o", roads).code == 0
    paths = {name: folder / f"{name}.geojson" for name in ("drive", "blocked", "line", "structures")}
    track = folder / "track.gpx"
    along = ["--along", "fuel,camp"]
    drive: list[str | Path] = ["drive", roads, "--from", YARD, *COACH]
    assert run(*drive, "--to", QUAY, *along, "-o", paths["drive"], "-o", track).code == 0
    assert run(*drive, "--to", CAMP, "-o", paths["blocked"]).code == 3
    assert run("inspect", roads, track, *COACH, "-o", paths["line"]).code == 0
    assert run("structures", roads, *COACH, "-o", paths["structures"]).code == 0
    return paths


NAMES = ["drive", "blocked", "line", "structures"]


@pytest.mark.skipif(not SCHEMAS.is_dir(), reason="../shared/standards/geojson-schema is not here")
@pytest.mark.parametrize("name", NAMES)
def test_it_fits_the_published_schema(written: dict[str, Path], name: str) -> None:
    """Source: the GeoJSON JSON Schemas (draft-07) of geojson.org, after RFC 7946."""
    import jsonschema

    schema = json.loads((SCHEMAS / "FeatureCollection.json").read_text("utf-8"))
    document = json.loads(written[name].read_text("utf-8"))
    jsonschema.Draft7Validator(schema).validate(document)
    assert "crs" not in document


@pytest.mark.parametrize("name", NAMES)
def test_geopandas_reads_it(written: dict[str, Path], name: str) -> None:
    import geopandas

    document: dict[str, Any] = json.loads(written[name].read_text("utf-8"))
    frame = geopandas.read_file(written[name])
    assert len(frame) == len(document["features"]) > 0
    west, south, east, north = document["bbox"]
    bounds = frame.total_bounds
    assert bounds == pytest.approx([west, south, east, north], abs=1e-6)


def test_a_point_for_each_finding_and_both_ends(written: dict[str, Path]) -> None:
    features = json.loads(written["drive"].read_text("utf-8"))["features"]
    roles = [f["properties"]["role"] for f in features]
    assert roles.count("drive") == roles.count("start") == roles.count("end") == 1
    assert roles.count("piece") >= 3
    findings = [f for f in features if f["properties"]["role"] == "finding"]
    assert {f["properties"]["standing"] for f in findings} == {"clear", "tight"}
    marks = {f["properties"]["standing"]: f["properties"]["marker-symbol"] for f in findings}
    assert len(set(marks.values())) == len(marks)  # the symbol tells, not the colour alone


def test_the_ceiling_is_the_lowest_clearance_on_the_drive(written: dict[str, Path]) -> None:
    document = json.loads(written["drive"].read_text("utf-8"))
    clearances = [
        f["properties"]["clearance_m"] for f in document["features"] if f["properties"]["role"] == "finding"
    ]
    assert document["ceiling_m"] == min(c for c in clearances if c is not None)
