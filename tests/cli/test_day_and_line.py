"""A whole day and a line from elsewhere, as commands: files, exit codes, and every kind of bad input."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.test_commands import CAMP, COACH, QUAY, SAMPLE, YARD, Ran, run

TOMORROW = (datetime.now() + timedelta(days=1)).strftime("%Y-%m-%dT09:00")


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    assert run("get", SAMPLE, "-o", path).code == 0
    return path


@pytest.fixture(scope="module")
def track(roads: Path) -> Path:
    path = roads.with_name("day.gpx")
    coach = ["--height", "11'0\"", "--comfort", "11'6\"", "--unverified", "accept"]
    assert run("drive", roads, "--from", YARD, "--to", QUAY, *coach, "-o", path).code == 0
    return path


def day(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "stops.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_day_from_a_file_in_every_format(roads: Path, tmp_path: Path) -> None:
    stops = day(tmp_path, f"place,minutes\n{YARD},\nDune Camp,20\n{QUAY},\n")
    outputs = [tmp_path / f"day{ending}" for ending in (".geojson", ".csv", ".gpx", ".html", ".pdf")]
    flags: list[str | Path] = [word for path in outputs for word in ("-o", path)]
    done = run("drive", roads, "--day", stops, *COACH, "--depart", TOMORROW, "--along", "fuel,dump", *flags)
    assert done.code == 0, done.err
    assert all(path.stat().st_size > 500 for path in outputs)
    assert outputs[4].read_bytes().startswith(b"%PDF")
    report = json.loads(run("drive", roads, "--day", stops, *COACH, "--json").out)
    first, middle, last = report["stops"]
    assert middle["leaves_s"] - middle["arrives_s"] == 20 * 60
    assert last["arrives_s"] == pytest.approx(report["duration_s"] + 20 * 60)
    assert first["place"]["name"] == YARD
    assert [s["in_out"]["answer"] for s in (middle, last)] == ["drives through"] * 2


def test_no_time_is_spent_at_the_start_nor_at_the_end(roads: Path, tmp_path: Path) -> None:
    """The departure is when the coach leaves; a stay is for the stops between."""
    via: list[str | Path] = ["drive", roads, "--from", YARD, "--via", "Dune Camp", "--to", QUAY, *COACH]
    stops = json.loads(run(*via, "--stay", "30", "--depart", TOMORROW, "--json").out)["stops"]
    assert [s["leaves_s"] - s["arrives_s"] for s in stops] == [0, 1800, 0]
    assert stops[0]["leaves"] == f"{TOMORROW}:00"
    file = day(tmp_path, f"place,minutes\n{YARD},15\nDune Camp,\n{QUAY},15\n")
    stops = json.loads(run("drive", roads, "--day", file, *COACH, "--stay", "30", "--json").out)["stops"]
    assert [s["leaves_s"] - s["arrives_s"] for s in stops] == [0, 1800, 0]


def test_reorder_makes_the_day_no_longer(roads: Path) -> None:
    via = [word for name in ("Orchard Stay", "Dune Camp", "Market Street") for word in ("--via", name)]
    command: list[str | Path] = ["drive", roads, "--from", YARD, *via, "--to", QUAY, *COACH, "--json"]
    given, better = (json.loads(run(*command, *more).out) for more in ([], ["--reorder"]))
    cost = [d["duration_s"] + d["policy_seconds"] for d in (given, better)]
    assert cost[1] <= cost[0] + 1e-6
    assert any("best order" in note for note in better["notes"])
    assert sorted(p["name"] for p in better["places"]) == sorted(p["name"] for p in given["places"])


def test_inspect_finds_what_the_line_passes_and_mends_it(roads: Path, track: Path, tmp_path: Path) -> None:
    """The track of a coach of 11 ft goes under the 12'6" of Mill Street: too low for one of 13 ft."""
    done = run("inspect", roads, track, *COACH, "-o", tmp_path / "checked.geojson")
    assert done.code == 3
    assert "12'6\"" in done.out
    assert "Last turn-off" in done.out
    mended = run("inspect", roads, track, *COACH, "--mend", "--json")
    assert mended.code == 0, mended.out
    report = json.loads(mended.out)
    assert report["verdict"] == "care"
    assert any("another way" in note for note in report["notes"])


def one_line(done: Ran, says: str, code: int = 1) -> None:
    assert (done.code, done.out) == (code, ""), (done.out, done.err)
    assert says in done.err
    assert len(done.err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("none.gpx", "<gpx xmlns='http://www.topografix.com/GPX/1/1' version='1.1' creator='t'/>", "point"),
        (
            "bomb.gpx",
            "<?xml version='1.0'?><!DOCTYPE g [<!ENTITY a 'aaaa'><!ENTITY b '&a;&a;'>]><gpx>&b;</gpx>",
            "document type",
        ),
        ("far.csv", "lat,lon\n10,10\n10.01,10.01\n", "no part of the line"),
        ("bad.geojson", '{"type": "Point", "coordinates": [1, 2]}', "line"),
        ("cut.geojson", '{"type": "LineString", "coordinates": [[1, 2', "cut.geojson"),
        ("word.csv", "lat,lon\nnorth,west\n", "line 2"),
        ("notes.txt", "hello", "notes.txt"),
    ],
)
def test_lines_that_are_none(roads: Path, tmp_path: Path, name: str, content: str, says: str) -> None:
    (tmp_path / name).write_text(content, encoding="utf-8")
    out = tmp_path / "out.geojson"
    one_line(run("inspect", roads, tmp_path / name, *COACH, "-o", out), says)
    assert not out.exists()


def test_days_that_cannot_be(roads: Path, tmp_path: Path) -> None:
    base: list[str | Path] = ["drive", roads, *COACH, "-o", tmp_path / "out.geojson"]
    one_line(run(*base, "--from", YARD, "--to", QUAY, "--depart", "2001-01-01T08:00"), "past", 2)
    one_line(run(*base, "--from", YARD, "--to", "Gannet Lookout"), "nearest road")  # on a footpath
    one_line(run(*base, "--from", YARD, "--to", QUAY, "--along", "beer"), "beer", 2)
    one_line(run(*base, "--from", YARD), "--to", 2)
    one_line(run(*base, "--day", tmp_path / "none.csv"), "none.csv")
    one_line(run(*base, "--day", day(tmp_path, f"place\n{YARD}\nNowhere At All\n")), "line 3")
    one_line(run(*base, "--day", day(tmp_path, "lat,lon\n45,-40\nx,y\n")), "line 3")
    one_line(run(*base, "--day", day(tmp_path, "place\n"), "--from", YARD), "--day", 2)
    one_line(run(*base, "--from", YARD, "--to", CAMP, "-o", tmp_path / "day.xyz"), "ending", 2)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["stops.csv"]


def test_a_large_track_is_read_or_refused_in_one_line(roads: Path, tmp_path: Path) -> None:
    """50 MB of points far outside the area: read in a stream, then refused."""
    path = tmp_path / "large.gpx"
    point = '<trkpt lat="10.{:06d}" lon="10.{:06d}"><time>2026-01-01T00:00:00Z</time></trkpt>\n'
    with path.open("w", encoding="utf-8") as file:
        file.write("<gpx xmlns='http://www.topografix.com/GPX/1/1' version='1.1' creator='t'><trk><trkseg>\n")
        n = 0
        while file.tell() < 50_000_000:
            file.write("".join(point.format(i % 1_000_000, i % 999_983) for i in range(n, n + 10_000)))
            n += 10_000
        file.write("</trkseg></trk></gpx>\n")
    done = run("inspect", roads, path, *COACH)
    assert (done.code, done.out) == (1, "")
    assert len(done.err.strip().splitlines()) == 1
