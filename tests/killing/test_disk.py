"""A full disk, what may not be written, and what stands in place of a road file: told, and nothing lost."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from clearance.network.roadfile import check_road_file
from clearance.sources.records import read_records
from tests.killing.nursery import ROOT, Child, Nursery
from tests.killing.trials import SAMPLE, Evidence, Get, Record, Screen, Trial, street

Arguments = list[str | Path]
PLACES = ["--from", "Pellowick Coach Yard", "--to", "Harbor Quay Visitor Lot", "--height", "13ft"]


@pytest.fixture(scope="module")
def roads(nest: Nursery, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "town.roads"
    nest.run("get", SAMPLE, "-o", path)
    return path


def contents(folder: Path) -> dict[str, str]:
    """Every file below a folder by its digest."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def refused(child: Child, *said: str) -> None:
    """One line on stderr with what is said, and the exit code of a failure."""
    assert child.wait() == 1, child.said()
    error = child.err.read_text(encoding="utf-8")
    assert child.out.read_text(encoding="utf-8") == ""
    assert len(error.strip().splitlines()) == 1, error
    assert error.startswith("clearance: ")
    assert "fault of the program" not in error
    for text in said:
        assert text in error, error


@pytest.mark.parametrize(
    ("kind", "limits"),
    [(Get, (3000, 20_000)), (Evidence, (3000, 9000)), (Record, (3000, 12_000)), (Screen, (3000, 50_000))],
    ids=["get", "evidence add", "record add", "screen"],
)
def test_no_room_at_some_moment(
    nest: Nursery, tmp_path: Path, kind: type[Trial], limits: tuple[int, ...]
) -> None:
    """No file may grow beyond a limit (RLIMIT_FSIZE), so that a write fails as on a full disk."""
    trial = kind(tmp_path, nest)
    for limit in limits:
        arguments = trial.arguments()
        before = contents(tmp_path)
        child = nest.start(*arguments, env=trial.env, limit=limit)
        refused(child)
        trial.said = child.said()
        if kind is not Screen:
            assert {k: v for k, v in contents(tmp_path).items() if "sqlite" not in k} == {
                k: v for k, v in before.items() if "sqlite" not in k
            }
        trial.outcome()
        assert trial.left_over() == []


def test_a_full_disk(roads: Path, tmp_path: Path) -> None:
    """A file system of 256 KiB in a name space that goes with the process; skips where none may be made."""
    disk = tmp_path / "disk"
    disk.mkdir()
    command = f"{sys.executable} -m clearance"
    script = (
        f"mount -t tmpfs -o size=256k tmpfs {disk} || exit 77\n"
        f"cp {roads} {disk}/town.roads; cksum < {disk}/town.roads | cut -d' ' -f1\n"
        f"{command} get {SAMPLE} -o {disk}/town.roads >&2; echo $?\n"
        f"{command} record add --at 45,-40 --height 4m --who Ines --records {disk}/r.sqlite >&2; echo $?\n"
        f"head -c 250k /dev/zero >> {disk}/filling 2>/dev/null\n"
        f"{command} record add --at 45,-40 --height 4m --who Ines --records {disk}/r.sqlite >&2; echo $?\n"
        f"cksum < {disk}/town.roads | cut -d' ' -f1; ls -A {disk}; cp {disk}/r.sqlite* {tmp_path}\n"
    )
    unshare = shutil.which("unshare")
    if unshare is None or os.geteuid() != 0:
        pytest.skip("only the superuser may mount a file system")
    done = subprocess.run(
        [unshare, "--mount", "sh", "-c", script], capture_output=True, text=True, cwd=ROOT, check=False
    )
    if done.returncode == 77 or "unshare" in done.stderr:
        pytest.skip(f"no file system may be mounted here: {done.stderr.strip()}")
    before, get, first, second, after, *left = done.stdout.split()
    assert (get, first, second) == ("1", "0", "1"), done.stdout + done.stderr
    assert before == after
    assert not [name for name in left if name.endswith(".part")], left
    assert "disk is full" in done.stderr
    assert "fault of the program" not in done.stderr
    assert len(read_records(tmp_path / "r.sqlite")) == 1


# --- what may not be written or read -----------------------------------------------------------------


@pytest.mark.skipif(sys.platform != "linux", reason="the superuser is bound by permissions on Linux alone")
def test_folders_and_files_that_may_not_be_written(nest: Nursery, roads: Path, tmp_path: Path) -> None:
    osm = tmp_path / "town.osm"
    osm.write_text(street("Old Street", 400), encoding="utf-8")
    folder = tmp_path / "locked"
    folder.mkdir()
    shutil.copy(roads, folder / "town.roads")
    (folder / "heights.csv").write_text("lat,lon,height\n45,-39.999,4.2\n", encoding="utf-8")
    add = [
        "evidence",
        "add",
        folder / "town.roads",
        folder / "heights.csv",
        "--height",
        "height",
        "--unit",
        "m",
    ]
    seen = ["record", "add", "--at", "45,-40", "--height", "4m", "--who", "Ines"]
    nest.run(*seen, "--records", folder / "seen.sqlite")
    before = contents(tmp_path)
    folder.chmod(0o500)
    try:
        get: Arguments = ["get", osm, "-o", folder / "town.roads"]
        for arguments in (get, add):
            refused(nest.start(*arguments, meek=True), "town.roads", "you may not write there")
        for name in ("seen.sqlite", "new.sqlite"):
            refused(nest.start(*seen, "--records", folder / name, meek=True), name, "writable")
        refused(nest.start(*seen, "--records", folder / "a" / "new.sqlite", meek=True), "cannot be made")
        # Reading needs no leave to write.
        child = nest.start(
            "drive", folder / "town.roads", *PLACES, "--records", folder / "seen.sqlite", meek=True
        )
        assert child.wait() == 0, child.said()
        child = nest.start("record", "list", "--records", folder / "seen.sqlite", meek=True)
        assert child.wait() == 0, child.said()
        assert "by Ines" in child.said()
    finally:
        folder.chmod(0o700)
    (folder / "town.roads").chmod(0o400)
    refused(nest.start("get", osm, "-o", folder / "town.roads", meek=True), "you may not write there")
    (folder / "town.roads").chmod(0o000)
    drive: Arguments = ["drive", folder / "town.roads", *PLACES]
    child = nest.start(*drive, meek=True)
    assert child.wait() == 2
    assert "town.roads' is not readable" in child.said()
    folder.chmod(0o000)
    try:
        refused(nest.start(*drive, meek=True), "town.roads", "Permission denied")
    finally:
        folder.chmod(0o700)
    (folder / "town.roads").chmod(0o600)
    assert contents(tmp_path) == before


# --- what stands in place of a road file -------------------------------------------------------------


def cut(path: Path, roads: Path) -> None:
    path.write_bytes(roads.read_bytes()[:-5000])


def flipped(path: Path, roads: Path) -> None:
    content = bytearray(roads.read_bytes())
    content[len(content) // 2] ^= 4
    path.write_bytes(content)


def older(path: Path, roads: Path) -> None:
    import json
    import zipfile

    with zipfile.ZipFile(roads) as container, zipfile.ZipFile(path, "w") as other:
        for name in container.namelist():
            content = container.read(name)
            if name == "manifest.json":
                content = json.dumps(json.loads(content) | {"schema": 1}).encode()
            other.writestr(name, content)


def circle(path: Path, _roads: Path) -> None:
    path.symlink_to(path)


IN_PLACE: dict[str, tuple[Callable[[Path, Path], object], str]] = {
    "cut": (cut, "damaged"),
    "flipped": (flipped, "damaged"),
    "older": (older, "an older version"),
    "emptied": (lambda path, _: path.touch(), "is empty"),
    "folder": (lambda path, _: path.mkdir(), "is a folder"),
    "dangling link": (lambda path, _: path.symlink_to("absent"), "no such file"),
    "link in a circle": (circle, "symbolic links"),
    "pipe": (lambda path, _: os.mkfifo(path), "pipe or a device"),
    "nothing": (lambda _path, _roads: None, "no such file"),
}


@pytest.mark.parametrize("what", IN_PLACE)
def test_what_stands_in_place_of_a_road_file(nest: Nursery, roads: Path, tmp_path: Path, what: str) -> None:
    make, said = IN_PLACE[what]
    path, heights, places = tmp_path / "area.roads", tmp_path / "heights.csv", tmp_path / "places.csv"
    make(path, roads)
    heights.write_text("lat,lon,height\n45,-39.999,4.2\n", encoding="utf-8")
    places.write_text("place\nMill House\n", encoding="utf-8")
    before = contents(tmp_path)
    asked: list[Arguments] = [
        ["drive", path, *PLACES, "--no-records", "-o", tmp_path / "day.geojson"],
        ["structures", path, "--no-records"],
        ["screen", path, places, *PLACES[:2], *PLACES[4:], "--no-records", "-o", tmp_path / "s.csv"],
        ["evidence", "add", path, heights, "--height", "height", "--unit", "m"],
        ["evidence", "list", path],
    ]
    for arguments in asked:
        refused(nest.start(*arguments), str(path), said)
    assert contents(tmp_path) == before
    # It can be made anew, but over a folder or a pipe.
    child = nest.start("get", SAMPLE, "-o", path)
    if what in ("folder", "pipe", "link in a circle"):
        refused(child, "cannot write", str(path))
    else:
        assert child.wait() == 0, child.said()
        check_road_file(path)


def test_results_that_find_no_room_where_they_are_printed(roads: Path) -> None:
    """/dev/full takes nothing (full(4))."""
    if not Path("/dev/full").exists():
        pytest.skip("there is no /dev/full")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "clearance", "structures", str(roads), "--no-records"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            check=False,
        )
    assert done.returncode == 1
    assert done.stderr.startswith("clearance: what this command prints, or keeps for a while, cannot be")
    assert "No space left on device" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
