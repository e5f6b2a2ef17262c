"""Heights seen, from the command line: kept, counted in drives, handed on, taken back."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.test_commands import Ran, at, run
from tests.towns import Town

COACH = ["--height", "13'0\"", "--margin", "6in"]


def town(tmp: Path) -> Path:
    """A street under a railway of no known height, and a way round it."""
    town = Town()
    places = {1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 1000), 6: (1000, 1000)}
    for ref, (x, y) in places.items():
        town.node(ref, x, y)
    town.node(7, 500, -100).node(8, 500, 100)
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential", "name": "Low Street"})
    town.way(12, [2, 5, 6, 3], {"highway": "residential", "name": "High Street"}).way(13, [3, 4])
    town.way(20, [7, 8], {"railway": "rail", "bridge": "yes", "layer": "1"})
    osm, roads = tmp / "town.osm", tmp / "town.roads"
    osm.write_text(town.osm_xml(), encoding="utf-8")
    assert run("get", osm, "-o", roads).code == 0
    return roads


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return town(tmp_path_factory.mktemp("roads"))


#: What Python reads at its start: whatever would reach out of the machine fails.
_CUT_OFF = """
import sys
def _refuse(event, args):
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo"):
        raise RuntimeError(f"{event} {args}")
sys.addaudithook(_refuse)
"""


@pytest.fixture
def home(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """A data folder of its own, as a user has one, on a machine that is cut off from all others."""
    start = tmp_path_factory.mktemp("cut-off")
    (start / "sitecustomize.py").write_text(_CUT_OFF, encoding="utf-8")
    path = os.pathsep.join([str(start), *filter(None, [os.environ.get("PYTHONPATH")])])
    return {"XDG_DATA_HOME": str(tmp_path / "data"), "PYTHONPATH": path}


def test_the_machine_of_these_tests_is_cut_off(home: dict[str, str]) -> None:
    """Records never leave the machine by themselves: every command below runs where nothing can."""
    ask = "import socket; socket.create_connection(('127.0.0.1', 9))"
    done = subprocess.run(
        [sys.executable, "-c", ask], env=os.environ | home, capture_output=True, text=True, check=False
    )
    assert done.returncode != 0
    assert "RuntimeError: socket." in done.stderr


def drive(roads: Path, home: dict[str, str], *more: str) -> dict[str, object]:
    done = run("drive", roads, "--from", at(-400, 0), "--to", at(1400, 0), *COACH, "--json", *more, env=home)
    assert done.code == 0, done.err
    told = json.loads(done.out)
    assert isinstance(told, dict)
    return told


def standings(told: dict[str, object]) -> list[str]:
    findings = told["findings"]
    assert isinstance(findings, list)
    return [finding["standing"] for finding in findings]


def add(roads: Path, home: dict[str, str], height: str, *more: str) -> Ran:
    return run("record", "add", roads, "--height", height, "--who", "Ines", *more, env=home)


def test_a_height_seen_counts_from_then_on_until_it_is_taken_back(roads: Path, home: dict[str, str]) -> None:
    accept = ("--unverified", "accept")
    assert standings(drive(roads, home, *accept)) == ["unverified"]
    done = add(
        roads, home, "14'2\"", "--at", at(505, 3), "--photo", "/home/ines/p1.jpg", "--date", "2026-05-01"
    )
    assert done.code == 0, done.err
    assert "railway bridge, Low Street" in done.out
    assert "/home/ines" not in done.out + done.err.replace(home["XDG_DATA_HOME"], "")
    told = drive(roads, home, *accept)
    assert standings(told) == ["clear"]
    assert told["notes"] == [
        f"1 height from your records ({home['XDG_DATA_HOME']}/clearance/records.sqlite) in this area"
    ]
    assert standings(drive(roads, home, *accept, "--no-records")) == ["unverified"]

    listed = run("record", "list", env=home)
    assert "14'2\"" in listed.out
    gone = run("record", "remove", "1", "--who", "Ines", "--why", "wrong lane", env=home)
    assert gone.code == 0
    assert "REMOVED" in gone.out
    assert standings(drive(roads, home, *accept)) == ["unverified"]
    assert run("record", "list", env=home).out == "No records.\n"
    assert "wrong lane" in run("record", "list", "--all", env=home).out


def test_a_low_height_seen_turns_the_drive_away(roads: Path, home: dict[str, str], tmp_path: Path) -> None:
    assert add(roads, home, "3.6m", "--key", "way/11:way/20:1").code == 0
    assert standings(drive(roads, home, "--unverified", "accept")) == []
    table = tmp_path / "structures.csv"
    done = run("structures", roads, *COACH, "-o", table, env=home)
    assert "1 height from your records" in done.err
    assert "TOO LOW" in table.read_text(encoding="utf-8")


def test_records_go_to_another_machine_and_back(roads: Path, home: dict[str, str], tmp_path: Path) -> None:
    assert add(roads, home, "14'2\"", "--at", at(500, 0), "--note", "=danger").code == 0
    for ending in ("csv", "geojson"):
        passed = tmp_path / f"records.{ending}"
        assert run("record", "export", "-o", passed, env=home).code == 0
        other = tmp_path / f"other-{ending}.sqlite"
        for expected in ("1 record taken in, 0 there already", "0 records taken in, 1 there already"):
            done = run("record", "import", passed, "--records", other)
            assert done.code == 0, done.err
            assert expected in done.out
        ours, theirs = (
            json.loads(run("record", "list", "--json", "--records", file).out)
            for file in (Path(home["XDG_DATA_HOME"]) / "clearance" / "records.sqlite", other)
        )
        assert ours == theirs
        assert standings(drive(roads, {}, "--unverified", "accept", "--records", str(other))) == ["clear"]


def test_a_place_without_a_road_file_is_kept_as_a_place(home: dict[str, str]) -> None:
    done = run("record", "add", "--at", "45.0,-40.0", "--height", "12ft", "--who", "Ines", env=home)
    assert done.code == 0
    assert "clears nothing" in done.err


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (["--height", "4.2", "--at", "45,-40"], 2, "has no unit"),
        (["--height", "4.2m"], 2, "--key or --at is needed"),
        (["--height", "4.2m", "--key", "way/1"], 2, "--key needs the road file"),
        (["--height", "4.2m", "--at", "Low Street"], 2, "is no place"),
        (["--height", "4.2m", "--at", "45,-40", "--date", "2999-01-01"], 2, "yet to come"),
        (["--height", "4.2m", "--at", "45,-40", "--who", " "], 2, "--who is empty"),
    ],
)
def test_what_cannot_be_meant_is_said(home: dict[str, str], given: list[str], code: int, said: str) -> None:
    done = run("record", "add", "--who", "Ines", *given, env=home)
    assert (done.code, said in done.err) == (code, True), done.err
    assert not (Path(home["XDG_DATA_HOME"]) / "clearance" / "records.sqlite").exists()


def test_no_such_structure_and_no_records(roads: Path, home: dict[str, str], tmp_path: Path) -> None:
    done = add(roads, home, "4.2m", "--key", "way/999:own")
    assert (done.code, "no structure" in done.err) == (1, True)
    for command in (
        ["list"],
        ["export", "-o", str(tmp_path / "x.csv")],
        ["remove", "1", "--who", "I", "--why", "w"],
    ):
        done = run("record", *command, env=home)
        assert (done.code, "no such file of records" in done.err) == (1, True)
    assert list(tmp_path.iterdir()) == []
    missing = run("structures", roads, "--records", tmp_path / "none.sqlite", env=home)
    assert (missing.code, "no such file of records" in missing.err) == (1, True)
    both = run("structures", roads, "--records", "a", "--no-records", env=home)
    assert both.code == 2
