"""Trade-offs from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_commands import QUAY, SAMPLE, YARD, at, run
from tests.towns import Town

COACH = ["--height", "13'0\"", "--margin", "6in", "--comfort", "14ft"]


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    assert run("get", SAMPLE, "-o", path).code == 0
    return path


def test_a_table_and_its_files(roads: Path, tmp_path: Path) -> None:
    files = [tmp_path / f"choices.{ending}" for ending in ("geojson", "csv", "html")]
    outputs = [part for file in files for part in ("-o", file)]
    done = run("drive", roads, "--from", YARD, "--to", QUAY, *COACH, "--trade-offs", *outputs)
    assert done.code == 0, done.err
    assert "2 drives to choose from" in done.out
    assert "Coast Line" in done.out
    collection = json.loads(files[0].read_text(encoding="utf-8"))
    first, second = collection["choices"]
    assert (first["unverified"], second["unverified"]) == (0, 1)
    assert second["duration_s"] < first["duration_s"]
    assert all(file.stat().st_size > 300 for file in files)


def test_one_of_them_as_a_drive_like_any_other(roads: Path, tmp_path: Path) -> None:
    told = []
    for most in ("0", "1", "7"):
        gpx = tmp_path / f"{most}.gpx"
        done = run(
            "drive", roads, "--from", YARD, "--to", QUAY, *COACH, "--at-most", most, "--json", "-o", gpx
        )
        assert done.code == 0, done.err
        assert gpx.read_bytes().startswith(b"<?xml")
        told.append(json.loads(done.out))
    counts = [sum(f["standing"] == "unverified" for f in t["findings"]) for t in told]
    assert counts == [0, 1, 1]
    assert told[0]["duration_s"] > told[1]["duration_s"] == told[2]["duration_s"]


def test_fewer_than_the_fewest_is_no_drive(tmp_path: Path) -> None:
    """One street, under one railway of no known height."""
    town = Town().node(1, 0, 0).node(2, 1000, 0).node(3, 500, -50).node(4, 500, 50).way(10, [1, 2])
    town.way(20, [3, 4], {"railway": "rail", "bridge": "yes", "layer": "1"})
    osm, roads = tmp_path / "town.osm", tmp_path / "town.roads"
    osm.write_text(town.osm_xml(), encoding="utf-8")
    assert run("get", osm, "-o", roads).code == 0
    ends = ["--from", at(100, 0), "--to", at(900, 0)]
    done = run("drive", roads, *ends, *COACH, "--at-most", "0", "-o", tmp_path / "none.gpx")
    assert (done.code, done.out) == (3, "")
    assert "every drive passes more than 0 unverified; the fewest are 1" in done.err
    assert not (tmp_path / "none.gpx").exists()


def test_a_blocked_drive_is_told_as_one(roads: Path, tmp_path: Path) -> None:
    tall = ["--height", "15'6\""]
    for more in (["--trade-offs"], ["--at-most", "3"]):
        file = tmp_path / "why.geojson"
        done = run("drive", roads, "--from", YARD, "--to", QUAY, *tall, *more, "-o", file)
        assert done.code == 3, done.err
        assert done.out.startswith("BLOCKED")
        assert json.loads(file.read_text(encoding="utf-8"))["verdict"] == "blocked"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--trade-offs", "--via", QUAY], "alone"),
        (["--at-most", "1", "--along", "fuel"], "alone"),
        (["--trade-offs", "--unverified", "refuse"], "leave out --unverified"),
        (["--trade-offs", "-o", "x.pdf"], "--at-most"),
        (["--at-most", "-1"], "at-most"),
    ],
)
def test_what_does_not_go_together(roads: Path, tmp_path: Path, more: list[str], said: str) -> None:
    done = run("drive", roads, "--from", YARD, "--to", QUAY, *COACH, *more, cwd=tmp_path)
    assert (done.code, said in done.err) == (2, True), done.err
    assert list(tmp_path.iterdir()) == []
