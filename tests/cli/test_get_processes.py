"""`clearance get` on a large map file: who reads it, and what Ctrl-C leaves."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from clearance.cli.main import cli
from clearance.core.extract import Extract
from clearance.network.roadfile import open_road_file
from clearance.sources import osm_file
from clearance.sources.progress import Progress
from tests.sources.test_osm_file import as_pbf
from tests.towns import Town

PROJECT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def streets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("streets")
    town = Town()
    for ref in range(1, 40):
        town.node(ref, 30 * ref, 0).node(100 + ref, 30 * ref, 80)
        town.way(ref, [ref, 100 + ref], {"highway": "residential"})
    town.way(200, list(range(1, 40)), {"highway": "tertiary"})
    (folder / "streets.osm").write_text(town.osm_xml(), encoding="utf-8")
    return as_pbf(folder / "streets.osm.pbf", folder / "streets.osm")


@pytest.mark.parametrize(
    ("given", "cores", "expected"),
    [([], 2, 2), ([], 1, 1), ([], 64, 4), (["--processes", "1"], 2, 1), (["--processes", "7"], 2, 7)],
)
def test_one_process_for_each_core_and_no_more_than_help(
    streets: Path, monkeypatch: pytest.MonkeyPatch, given: list[str], cores: int, expected: int
) -> None:
    asked: list[int] = []

    def read(path: Path, progress: Progress | None, processes: int) -> Extract:
        asked.append(processes)
        return real(path, progress)

    real = osm_file.read_osm
    monkeypatch.setattr(os, "sched_getaffinity", lambda _who: set(range(cores)), raising=False)
    monkeypatch.setattr(osm_file, "read_osm", read)
    out = streets.with_name("out.roads")
    done = CliRunner().invoke(cli, ["get", str(streets), "-o", str(out), *given])
    assert done.exit_code == 0, done.output
    assert asked == [expected]


def test_no_processes_at_all_are_refused(streets: Path) -> None:
    done = CliRunner().invoke(cli, ["get", str(streets), "-o", "x.roads", "--processes", "0"])
    assert done.exit_code == 2
    assert "--processes" in done.output


#: The command, with all files large and each block of them a part.
GET = """
import signal
import sys
from clearance.__main__ import main
from clearance.sources import osm_file, wanted_ways

if __name__ == "__main__":
    # What is started in the background does without Ctrl-C, and so would this.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    osm_file._LARGE_BYTES, osm_file._PART_BYTES = 0, 1
    if sys.argv.pop(1) == "held":
        def held(self, blocks):
            print("reading", flush=True)
            __import__("time").sleep(60)
        wanted_ways.WantedWays.add = held
    main()
"""


def run(folder: Path, streets: Path, how: str) -> subprocess.Popen[str]:
    script = folder / "get.py"
    script.write_text(GET, encoding="utf-8")
    return subprocess.Popen(
        [
            sys.executable,
            str(script),
            how,
            "get",
            str(streets),
            "-o",
            str(folder / "out.roads"),
            "--processes",
            "2",
        ],
        cwd=PROJECT,
        env={**os.environ, "PYTHONPATH": str(PROJECT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def test_the_road_file_is_that_of_one_process(streets: Path, tmp_path: Path) -> None:
    with run(tmp_path, streets, "free") as process:
        _, said = process.communicate(timeout=60)
    assert process.returncode == 0, said
    done = CliRunner().invoke(
        cli, ["get", str(streets), "-o", str(tmp_path / "one.roads"), "--processes", "1"]
    )
    assert done.exit_code == 0
    two, one = (open_road_file(tmp_path / name) for name in ("out.roads", "one.roads"))
    assert two.arc_tail.size == one.arc_tail.size > 100
    assert two.node_osm.tolist() == one.node_osm.tolist()
    assert list(two.ways) == list(one.ways)


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="there is no Ctrl-C to a group of processes")
def test_ctrl_c_is_told_once_and_leaves_no_file(streets: Path, tmp_path: Path) -> None:
    with run(tmp_path, streets, "held") as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "reading\n"
        os.killpg(process.pid, signal.SIGINT)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 130
    assert said.count("interrupted") == 1
    assert "Traceback" not in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["get.py"]
