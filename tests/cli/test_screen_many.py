"""Many homes and regions: here, on processes, and on a real scheduler with two workers, one killed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from tests.cli.test_commands import QUAY, SAMPLE, YARD, Ran, run

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three homes, one of them nowhere, in three regions; the road file of one lies packed in an archive."""
    folder = tmp_path_factory.mktemp("jobs")
    roads = folder / "north.roads"
    assert run("get", SAMPLE, "-o", roads).code == 0
    (folder / "south.roads").write_bytes(roads.read_bytes())
    with zipfile.ZipFile(folder / "west.zip", "w") as packed:
        packed.write(roads, "west.roads")
    (folder / "tall.toml").write_text('name = "tall"\nheight = "13ft"\n', encoding="utf-8")
    (folder / "low.toml").write_text('name = "low"\nheight = "10ft"\n', encoding="utf-8")
    places = [
        ("Quay", QUAY),
        ("Camp", "Lighthouse Camp"),
        ("Hall", "Coopers Hall"),
        ("lost", "No Such Place"),
    ]
    lines = [f"{name} {n},{place}" for n in range(12) for name, place in places]
    (folder / "places.csv").write_text("\n".join(["name,place", *lines]), encoding="utf-8")
    tables = ['[[coach]]\nfile = "tall.toml"', '[[coach]]\nfile = "low.toml"']
    tables += [
        f'[[home]]\nname = "{name}"\nplace = "{place}"'
        for name, place in (("Yard", YARD), ("Quay", QUAY), ("Lost", "45.2,-40.2"))
    ]
    west = f"zip://west.roads::file://{folder / 'west.zip'}"
    tables += [
        f'[[region]]\nname = "{name}"\nroads = "{where}"\nplaces = "places.csv"'
        for name, where in (("north", "north.roads"), ("south", "south.roads"), ("west", west))
    ]
    path = folder / "jobs.toml"
    path.write_text("\n".join(tables), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """A cache folder of its own, for what is copied from storage."""
    return {"XDG_CACHE_HOME": str(tmp_path_factory.mktemp("cache"))}


@pytest.fixture(scope="module")
def alone(jobs: Path, cache: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The answer of one machine."""
    output = tmp_path_factory.mktemp("alone") / "results"
    done = screen_many(jobs, output, cache)
    assert done.code == 1, done.err
    return results(output)


def screen_many(jobs: Path, output: Path, cache: dict[str, str], *more: str) -> Ran:
    return run("screen-many", jobs, "-o", output, *more, env=cache)


def results(output: Path) -> dict[str, bytes]:
    """The files of a run by their path, but for the journal, which tells the order in which they came."""
    return {
        str(path.relative_to(output)): path.read_bytes()
        for path in sorted(output.rglob("*"))
        if path.is_file() and path.name != "progress.jsonl"
    }


def test_one_machine_writes_a_table_for_each_home_and_region(
    alone: dict[str, bytes], jobs: Path, cache: dict[str, str], tmp_path: Path
) -> None:
    names = [f"{region}/{home}.parquet" for region in ("north", "south", "west") for home in ("Quay", "Yard")]
    assert sorted(alone) == sorted(["manifest.json", *names])
    manifest = json.loads(alone["manifest.json"])
    failed = [task for task in manifest["tasks"] if task["failure"]]
    assert [(task["region"], task["home"]) for task in failed] == [
        (region, "Lost") for region in ("north", "south", "west")
    ]
    assert "outside the area" in failed[0]["failure"]
    path = tmp_path / "one.parquet"
    path.write_bytes(alone["north/Yard.parquet"])
    rows = pq.read_table(path).to_pylist()
    assert {row["coach"] for row in rows} == {"tall", "low"}
    assert len([row for row in rows if row["problem"] is None]) == 2 * 36
    # The same town under three names: the same answer, whichever storage it came from.
    tables = []
    for region in ("north", "south", "west"):
        path.write_bytes(alone[f"{region}/Yard.parquet"])
        tables.append(pq.read_table(path).drop(["region"]).to_pylist())
    assert tables[0] == tables[1] == tables[2]


def test_processes_give_the_same_bytes(
    alone: dict[str, bytes], jobs: Path, cache: dict[str, str], tmp_path: Path
) -> None:
    done = screen_many(jobs, tmp_path / "out", cache, "--local", "2")
    assert done.code == 1, done.err
    assert results(tmp_path / "out") == alone


def test_a_run_cut_short_is_gone_on_with(
    alone: dict[str, bytes], jobs: Path, cache: dict[str, str], tmp_path: Path
) -> None:
    """What is whole is kept; a file that was lost or changed, and a journal cut in a line, are made anew."""
    output = tmp_path / "out"
    screen_many(jobs, output, cache)
    (output / "manifest.json").unlink()
    (output / "north" / "Quay.parquet").unlink()
    (output / "south" / "Quay.parquet").write_bytes(b"half")
    journal = output / "progress.jsonl"
    journal.write_bytes(journal.read_bytes() + b'{"task": "south/Ya')
    kept = (output / "west" / "Yard.parquet").stat().st_mtime_ns
    done = screen_many(jobs, output, cache)
    assert "4 of 9 were there from before" in done.out
    assert results(output) == alone
    assert (output / "west" / "Yard.parquet").stat().st_mtime_ns == kept
    again = screen_many(jobs, output, cache)
    assert "6 of 9 were there from before" in again.out


# --- a cluster ---------------------------------------------------------------------------------------


@contextmanager
def process(log: Path, *arguments: str, env: dict[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """A process of ours that is ended, by its own id, when the test is done with it."""
    with log.open("wb") as file:
        started = subprocess.Popen(
            [sys.executable, "-m", *arguments], stdout=file, stderr=file, cwd=ROOT, env=os.environ | env
        )
        try:
            yield started
        finally:
            if started.poll() is None:
                started.terminate()
            try:
                started.wait(20)
            except subprocess.TimeoutExpired:
                started.kill()
                started.wait(20)


def until(what: str, true: object, within: float = 60.0) -> None:
    end = time.monotonic() + within
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end, f"{what} did not happen"
        time.sleep(0.01)


def test_a_cluster_that_loses_a_worker_gives_the_same_bytes(
    alone: dict[str, bytes], jobs: Path, cache: dict[str, str], tmp_path: Path
) -> None:
    """A scheduler and two workers on loopback; one worker is killed once the first result is there."""
    address, output = tmp_path / "scheduler.json", tmp_path / "out"
    env = cache | {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
    worker = ["distributed.cli.dask_worker", "--scheduler-file", str(address), "--nthreads", "1"]
    worker += ["--no-nanny", "--no-dashboard", "--host", "127.0.0.1", "--local-directory", str(tmp_path)]
    with ExitStack() as stack:
        scheduler = ["distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
        stack.enter_context(
            process(tmp_path / "s.log", *scheduler, "--scheduler-file", str(address), env=env)
        )
        until("the scheduler", lambda: address.exists() and address.stat().st_size)
        workers = [stack.enter_context(process(tmp_path / f"w{n}.log", *worker, env=env)) for n in range(2)]
        for n in range(2):
            until("a worker", lambda n=n: b"Registered to" in (tmp_path / f"w{n}.log").read_bytes())
        where = json.loads(address.read_text(encoding="utf-8"))["address"]
        command = ["clearance", "screen-many", str(jobs), "-o", str(output), "--cluster", where]
        client = stack.enter_context(process(tmp_path / "c.log", *command, env=cache))
        until("a result", lambda: client.poll() is not None or list(output.rglob("*.parquet")))
        workers[0].send_signal(signal.SIGKILL)
        before = len(list(output.rglob("*.parquet")))
        assert client.poll() is None, (tmp_path / "c.log").read_text(encoding="utf-8")
        assert client.wait(120) == 1, (tmp_path / "c.log").read_text(encoding="utf-8")
        assert workers[0].wait(20) == -signal.SIGKILL
        assert workers[1].poll() is None
    assert before < len(alone) - 1  # some were still to come when the worker went
    assert results(output) == alone


def test_a_cluster_that_is_not_there(jobs: Path, cache: dict[str, str], tmp_path: Path) -> None:
    cache = cache | {"DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "1s"}
    done = screen_many(jobs, tmp_path / "a", cache, "--cluster", "tcp://127.0.0.1:9")
    assert (done.code, "cannot be reached" in done.err) == (1, True), done.err
    done = screen_many(jobs, tmp_path / "b", cache, "--cluster", "nowhere")
    assert done.code in {1, 2}
    assert "nowhere" in done.err
    done = screen_many(jobs, tmp_path / "c", cache, "--cluster", "tcp://127.0.0.1:9", "--local", "2")
    assert (done.code, "do not go together" in done.err) == (2, True)


def test_what_cannot_be_written_is_said(jobs: Path, cache: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    done = screen_many(jobs, tmp_path / "file", cache)
    assert (done.code, "cannot be made a folder" in done.err) == (1, True), done.err
