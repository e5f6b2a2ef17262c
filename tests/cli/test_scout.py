"""Scouting from the command line, and what is seen coming back as records."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.cli.test_commands import SAMPLE, YARD, run

COACH = ["--height", "13'0\"", "--margin", "6in", "--comfort", "14ft"]


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    assert run("get", SAMPLE, "-o", path).code == 0
    return path


@pytest.fixture
def places(tmp_path: Path) -> Path:
    path = tmp_path / "places.csv"
    path.write_text(
        "name,place\nMill,Mill House\nHall,Coopers Hall\nQuay,Harbor Quay Visitor Lot\nlost,No Such Place\n",
        encoding="utf-8",
    )
    return path


def test_what_is_seen_is_looked_at_no_more(roads: Path, places: Path, tmp_path: Path) -> None:
    """The list is written, filled in, read as records, and the structure is gone from the next list."""
    table, points, sheet = (tmp_path / f"look.{ending}" for ending in ("csv", "geojson", "txt"))
    home = {"XDG_DATA_HOME": str(tmp_path / "data")}
    ask: list[str | Path] = ["scout", roads, places, "--from", YARD, *COACH]
    done = run(*ask, "-o", table, "-o", points, "-o", sheet, env=home)
    assert done.code == 0, done.err
    assert "line 5: No Such Place" in done.out
    assert sheet.read_text(encoding="utf-8") == done.out
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    first = rows[0]
    assert first["opens"] == "1"
    features = json.loads(points.read_text(encoding="utf-8"))["features"]
    assert features[0]["properties"]["key"] == first["key"]

    first |= {"height": "14'6\"", "date": "2026-05-01", "who": "Ines"}
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(first))
        writer.writeheader()
        writer.writerows(rows)
    taken = run("record", "import", table, env=home)
    assert taken.code == 0, taken.err
    assert "1 record taken in" in taken.out
    after = json.loads(run(*ask, "--json", env=home).out)
    keys = [f["properties"].get("key") for f in after["features"]]
    assert first["key"] not in keys
    assert after["open_now"] == json.loads(points.read_text(encoding="utf-8"))["open_now"] + 1


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("name,place\nlost,No Such Place\n", 1, "no row can be used"),
        ("", 1, "empty"),
        ("name,place\n", 1, "holds no places"),
    ],
)
def test_lists_that_cannot_be_used(roads: Path, tmp_path: Path, text: str, code: int, said: str) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text(text, encoding="utf-8")
    done = run("scout", roads, bad, "--from", YARD, *COACH, "-o", tmp_path / "out.csv")
    assert (done.code, said in done.err) == (code, True), done.err
    assert not (tmp_path / "out.csv").exists()


def test_what_cannot_be_meant(roads: Path, places: Path, tmp_path: Path) -> None:
    for more, said in (
        (["--from", YARD, *COACH, "-o", "x.pdf"], "the ending says the format"),
        (COACH, "--from"),
        (["--from", YARD], "--height"),
    ):
        done = run("scout", roads, places, *more, cwd=tmp_path)
        assert (done.code, said in done.err) == (2, True), done.err
