"""The commands as a user runs them: results, exit codes, and one clear line for every mistake."""

from __future__ import annotations

import bz2
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town

SAMPLE = Path(__file__).resolve().parents[2] / "data_samples" / "pellowick.osm"
YARD, QUAY, CAMP = "Pellowick Coach Yard", "Harbor Quay Visitor Lot", "Lighthouse Camp"
COACH = ["--height", "13'0\"", "--margin", "6in", "--comfort", "14ft"]


@dataclass
class Ran:
    code: int
    out: str
    err: str


def run(*args: str | Path, cwd: Path | None = None, env: dict[str, str] | None = None) -> Ran:
    """Run the command in a process of its own, as a user does."""
    done = subprocess.run(
        [sys.executable, "-m", "clearance", *map(str, args)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=os.environ | (env or {}),
        timeout=120,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return Ran(done.returncode, done.stdout, done.stderr)


def at(x: float, y: float) -> str:
    return f"{LAT0 + y / M_PER_LAT:.6f},{LON0 + x / M_PER_LON:.6f}"


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    made = run("get", SAMPLE, "-o", path)
    assert made.code == 0, made.err
    assert "railway bridge" in made.err
    assert made.out == ""  # talk goes to stderr
    return path


def test_a_drive_writes_its_files_and_says_so(roads: Path, tmp_path: Path) -> None:
    day, table = tmp_path / "day.geojson", tmp_path / "day.csv"
    done = run("drive", roads, "--from", YARD, "--to", QUAY, *COACH, "-o", day, "--csv", table)
    assert done.code == 0, done.err
    assert done.out.startswith("TAKE CARE")
    assert "12'6\"" in done.out  # the bridge that the car's way passes
    document = json.loads(day.read_text(encoding="utf-8"))
    assert document["type"] == "FeatureCollection"
    roles = {f["properties"]["role"] for f in document["features"]}
    assert len(roles) >= 4, roles
    assert "footbridge" in table.read_text(encoding="utf-8")
    assert str(day) in done.err


def test_blocked_is_exit_code_three_with_a_file_that_tells_why(roads: Path, tmp_path: Path) -> None:
    out = tmp_path / "blocked.geojson"
    done = run("drive", roads, "--from", YARD, "--to", CAMP, *COACH, "-o", out)
    assert done.code == 3
    assert done.out.startswith("BLOCKED")
    assert "13'1\"" in done.out  # Point Tunnel, 4.0 m: what gets through
    assert out.exists()


def test_a_lower_coach_reaches_what_the_taller_cannot(roads: Path) -> None:
    assert run("drive", roads, "--from", YARD, "--to", CAMP, "--height", "12'0\"").code == 0


def test_json_is_for_programs(roads: Path) -> None:
    done = run("drive", roads, "--from", YARD, "--to", QUAY, *COACH, "--json")
    report = json.loads(done.out)
    assert report["verdict"] == "care"


def test_structures_as_text_geojson_csv(roads: Path, tmp_path: Path) -> None:
    assert "railway trestle" in run("structures", roads, "--height", "13'").out
    for name in ("s.geojson", "s.csv"):
        assert run("structures", roads, "-o", tmp_path / name).code == 0
    features = json.loads((tmp_path / "s.geojson").read_text(encoding="utf-8"))["features"]
    rows = (tmp_path / "s.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == len(features) + 1
    assert run("structures", roads, "-o", tmp_path / "s.xlsx").code == 2


def test_the_height_has_no_default(roads: Path) -> None:
    done = run("drive", roads, "--from", YARD, "--to", QUAY)
    assert done.code == 2
    assert "measure" in done.err


@pytest.mark.parametrize(
    ("args", "code", "says"),
    [
        (["--height", "13"], 2, "no unit"),
        (["--height", "130ft"], 2, "outside"),
        (["--height", "tall"], 2, "cannot be read"),
        (["--height", "13'", "--margin", "-1in"], 2, "margin"),
        (["--height", "13'", "--weight", "heavy"], 2, "weight"),
        (["--height", "13'", "--depart", "tomorrow"], 2, "depart"),
    ],
)
def test_an_impossible_coach_is_one_line(roads: Path, args: list[str], code: int, says: str) -> None:
    done = run("drive", roads, "--from", YARD, "--to", QUAY, *args)
    assert (done.code, done.out) == (code, "")
    assert says in done.err
    assert len(done.err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("start", "end", "code", "says"),
    [
        ("10.0,10.0", QUAY, 1, "outside"),
        (YARD, "Nowhere Street", 1, "Nowhere"),
        (YARD, "95.0,10.0", 1, "outside -90 to 90"),
        (QUAY, QUAY, 2, "start and end"),
        (YARD, at(40_000, 0), 1, "outside"),
    ],
)
def test_places_that_cannot_be(
    roads: Path, tmp_path: Path, *, start: str, end: str, code: int, says: str
) -> None:
    out = tmp_path / "day.geojson"
    out.write_text("before", encoding="utf-8")
    done = run("drive", roads, "--from", start, "--to", end, *COACH, "-o", out)
    assert (done.code, done.out) == (code, ""), done.err
    assert says in done.err
    assert len(done.err.strip().splitlines()) == 1
    assert out.read_text(encoding="utf-8") == "before"


def test_an_ambiguous_name_is_listed(tmp_path: Path) -> None:
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 3000, 0).node(4, 3500, 0)
    town.way(10, [1, 2], {"highway": "residential", "name": "Twin Street"})
    town.way(11, [3, 4], {"highway": "residential", "name": "Twin Street"})
    town.way(12, [2, 3], {"highway": "residential", "name": "Long Street"})
    (tmp_path / "t.osm").write_text(town.osm_xml(), encoding="utf-8")
    assert run("get", "t.osm", "-o", "t.roads", cwd=tmp_path).code == 0
    done = run("drive", "t.roads", "--from", "Twin Street", "--to", "Long Street", *COACH, cwd=tmp_path)
    assert done.code == 1
    assert done.err.count("45,-39.9") == 2  # both, with coordinates to paste


def test_no_way_between_two_islands(tmp_path: Path) -> None:
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 3000, 0).node(4, 3500, 0)
    (tmp_path / "t.osm").write_text(town.way(10, [1, 2]).way(11, [3, 4]).osm_xml(), encoding="utf-8")
    run("get", "t.osm", "-o", "t.roads", cwd=tmp_path)
    done = run("drive", "t.roads", "--from", at(100, 0), "--to", at(3200, 0), *COACH, cwd=tmp_path)
    assert (done.code, done.out) == (1, "")
    assert "no way leads" in done.err


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("missing.osm", None, "missing.osm"),
        ("empty.osm", b"", "empty"),
        ("page.osm", b"<html><body>no</body></html>", "web page"),
        ("noroads.osm", b'<osm version="0.6"><node id="1" lat="1" lon="1"/></osm>', "no roads"),
        ("cut.osm.pbf", b"\x00\x00\x00\x0d\x0a\x09OSMHeader\x18\x7c", "cut"),
        ("cut.osm.bz2", bz2.compress(b"<osm version='0.6'>")[:20], "cut"),
        ("notes.txt", b"hello", "notes.txt"),
    ],
)
def test_map_files_that_are_none(tmp_path: Path, name: str, content: bytes | None, says: str) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    out = tmp_path / "x.roads"
    out.write_bytes(b"before")
    done = run("get", name, "-o", out, cwd=tmp_path, env={"XDG_CACHE_HOME": str(tmp_path)})
    assert (done.code, done.out) == (1, ""), done.err
    assert says in done.err
    assert len(done.err.strip().splitlines()) == 1
    assert out.read_bytes() == b"before"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        {"x.roads"} | ({name} if content is not None else set())
    )


def test_a_road_file_that_is_none(tmp_path: Path) -> None:
    for name, content in (
        ("a.roads", b""),
        ("b.roads", b"not a road file"),
        ("c.roads", SAMPLE.read_bytes()),
    ):
        (tmp_path / name).write_bytes(content)
        done = run("drive", tmp_path / name, "--from", YARD, "--to", QUAY, *COACH)
        assert (done.code, done.out) == (1, "")
        assert "clearance get" in done.err
        assert len(done.err.strip().splitlines()) == 1
    assert run("drive", tmp_path / "none.roads", "--from", YARD, "--to", QUAY, *COACH).code == 1


def test_an_output_that_cannot_be_written(roads: Path, tmp_path: Path) -> None:
    out = tmp_path / "no such folder" / "day.geojson"
    done = run("drive", roads, "--from", YARD, "--to", QUAY, *COACH, "-o", out)
    assert (done.code, done.out) == (1, "")
    assert not out.parent.exists()


@pytest.mark.parametrize("command", ["get", "drive", "structures", "coach"])
def test_every_command_has_help(command: str) -> None:
    done = run(command, "--help")
    assert done.code == 0
    assert "Usage" in done.out


def test_help_lists_every_command() -> None:
    from clearance.cli.main import _COMMANDS

    out = run("--help").out
    assert all(name in out for name in _COMMANDS)
    assert "Exit codes" in out


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from clearance.cli.main import cli;"
        "assert CliRunner().invoke(cli, ['--help']).exit_code == 0;"
        "heavy = {'numpy', 'numba', 'shapely', 'osmium', 'osmnx', 'pyarrow', 'pyproj', 'requests'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
