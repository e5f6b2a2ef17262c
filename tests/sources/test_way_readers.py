"""Ways read in parts, here and by processes of their own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from clearance.core.errors import InputError
from clearance.sources import osm_file
from clearance.sources.osm_bounds import check_pbf
from clearance.sources.osm_file import read_osm
from clearance.sources.way_readers import parts_of, read_in_parts
from tests.sources.test_osm_file import as_pbf, same
from tests.towns import Town

PROJECT = Path(__file__).parents[2]
in_proc = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")


@pytest.fixture(scope="module")
def street(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A PBF file of six frames with ways, of houses, of an area without tags and of streets."""
    folder = tmp_path_factory.mktemp("street")
    whole = b""
    for k in range(3):
        town = Town()
        for n in range(k * 20 + 1, k * 20 + 20):
            town.node(n, 30 * n, 0).node(100 + n, 30 * n + 9, 4).node(200 + n, 30 * n + 9, 90 * k)
            town.way(n, [n, n + 1 if n % 20 != 19 else n - 1], {"highway": "service", "name": f"Row {n}"})
            town.way(100 + n, [n, 100 + n, 200 + n, n], {"building": "yes"})
        town.way(300 + k, [k * 20 + 1, 200 + k * 20 + 5], {"landuse": "meadow"})
        town.relation(
            400 + k, [("w", 302 - k, "outer")], {"type": "multipolygon", "building": "yes", "name": "X"}
        )
        text = town.osm_xml().replace(' id="', ' timestamp="2024-03-04T05:06:07Z" id="')
        (folder / "part.osm").write_text(text, encoding="utf-8")
        part = as_pbf(folder / "part.osm.pbf", folder / "part.osm")
        whole += part.read_bytes()[check_pbf(part)[0][1] if k else 0 :]
    (folder / "street.osm.pbf").write_bytes(whole)
    return folder / "street.osm.pbf"


def test_frames_are_joined_to_parts_that_cover_all_but_the_header() -> None:
    frames = [(0, 10), (10, 14), (14, 15), (15, 30), (30, 31), (31, 32)]
    assert parts_of(frames, 1) == frames[1:]
    assert parts_of(frames, 5) == [(10, 15), (15, 30), (30, 32)]
    assert parts_of(frames, 6) == [(10, 30), (30, 32)]
    assert parts_of(frames, 1000) == [(10, 32)]
    assert parts_of(frames[:1], 5) == []


@pytest.mark.parametrize("processes", [1, 2])
def test_parts_give_what_the_whole_file_gives(
    street: Path, monkeypatch: pytest.MonkeyPatch, processes: int
) -> None:
    told: list[tuple[str, int, int]] = []
    whole = read_osm(street)
    assert len(whole.ways) > 60
    monkeypatch.setattr(osm_file, "_LARGE_BYTES", 0)
    monkeypatch.setattr(osm_file, "_PART_BYTES", 1)
    parted = read_osm(street, lambda *step: told.append(step), processes)
    assert same(whole, parted)
    assert whole.info.data_date == parted.info.data_date == "2024-03-04T05:06:07Z"
    what = "reading ways" if processes == 1 else "reading ways with 2 processes"
    count = len(check_pbf(street)) - 1
    assert count >= 6
    assert [step for step in told if step[0].startswith("reading ways")] == [
        (what, done, count) for done in range(count + 1)
    ]


def test_small_files_start_no_process(street: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(osm_file, "_PART_BYTES", 1)
    monkeypatch.setattr("multiprocessing.get_context", lambda _kind: pytest.fail("a process is started"))
    read_osm(street, None, 8)


@pytest.mark.parametrize("processes", [1, 2])
def test_a_part_that_cannot_be_read_is_told(
    street: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, processes: int
) -> None:
    """The first pass takes no notice of the parts of ways that are damaged behind its back."""
    frames = check_pbf(street)
    content = bytearray(street.read_bytes())
    begin, end = frames[-1]
    content[begin + 40 : end] = bytes(end - begin - 40)
    damaged = tmp_path / "damaged.osm.pbf"
    damaged.write_bytes(content)
    with pytest.raises(RuntimeError):
        list(read_in_parts(damaged, frames[0], frames[1:], frozenset(), processes))
    monkeypatch.setattr(osm_file, "_LARGE_BYTES", 0)
    with pytest.raises(InputError, match=r"damaged\.osm\.pbf: cannot be read as PBF"):
        read_osm(damaged, None, processes)


@in_proc
def test_a_process_that_is_lost_is_told(street: Path) -> None:
    """For want of memory, say: the system then ends whatever takes most."""
    frames = check_pbf(street)
    reading = read_in_parts(street, frames[0], frames[1:] * 200, frozenset(), 2)
    assert next(reading)
    for pid in _children(os.getpid(), besides="resource_tracker"):
        os.kill(pid, signal.SIGKILL)
    with pytest.raises(InputError, match=r"street\.osm\.pbf: a process .* ended before .*--processes 1"):
        list(reading)


@pytest.mark.parametrize("error", [OSError(38, "Function not implemented"), NotImplementedError("no locks")])
def test_a_system_that_starts_no_process_is_told(
    street: Path, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def none(*_given: object, **_more: object) -> None:
        raise error

    monkeypatch.setattr("concurrent.futures.ProcessPoolExecutor", none)
    frames = check_pbf(street)
    with pytest.raises(InputError, match=r"no process can be started .*--processes 1"):
        list(read_in_parts(street, frames[0], frames[1:], frozenset(), 2))


def test_a_process_that_may_not_be_started_is_told(street: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where a user may have no more of them; what was made by then is put away."""

    def none(*_given: object) -> None:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr("concurrent.futures.ProcessPoolExecutor.submit", none)
    frames = check_pbf(street)
    with pytest.raises(InputError, match=r"no process can be started .*unavailable.*--processes 1"):
        list(read_in_parts(street, frames[0], frames[1:], frozenset(), 2))


@in_proc
def test_nobody_reads_for_a_caller_who_stops(street: Path) -> None:
    """The processes end with the iteration; left to themselves they would wait for ever."""
    frames = check_pbf(street)
    reading = read_in_parts(street, frames[0], frames[1:], frozenset(), 2)
    assert next(reading)
    pids = _children(os.getpid(), besides="resource_tracker")
    assert len(pids) >= 2
    reading.close()  # type: ignore[attr-defined]
    _await_end(pids)


READER = """
import os, signal, sys, time
from clearance.sources.osm_bounds import check_pbf
from clearance.sources.way_readers import read_in_parts
from pathlib import Path

# What is started in the background does without Ctrl-C, and so would this.
signal.signal(signal.SIGINT, signal.default_int_handler)
street = Path(sys.argv[1])
frames = check_pbf(street)
try:
    for blocks in read_in_parts(street, frames[0], frames[1:], frozenset(), 2):
        print("read", flush=True)
        time.sleep(60)
except KeyboardInterrupt:
    sys.exit(130)
"""


@in_proc
@pytest.mark.parametrize("sent", [signal.SIGKILL, signal.SIGINT])
def test_no_process_outlives_the_one_it_reads_for(street: Path, sent: signal.Signals) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(READER), str(street)],
        cwd=PROJECT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "read\n"
        pids = _children(process.pid)
        assert len(pids) >= 2
        if sent is signal.SIGINT:  # as a terminal sends it, to every process at once
            os.killpg(process.pid, sent)
        else:
            process.send_signal(sent)
        _, said = process.communicate(timeout=30)
        _await_end(pids)
        assert process.returncode == (130 if sent is signal.SIGINT else -sent)
        assert "Traceback" not in said


def _children(parent: int, besides: str = "") -> list[int]:
    """The processes that `parent` started, but for those with `besides` in their command line."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
            command = stat.with_name("cmdline").read_text()
        except OSError:
            continue
        if int(fields[1]) == parent and not (besides and besides in command):
            found.append(int(stat.parent.name))
    return found


def _await_end(pids: list[int]) -> None:
    """Wait until all of them are gone."""

    def runs(pid: int) -> bool:
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            return False
        return state != "Z"

    last = time.monotonic() + 30
    while alive := [pid for pid in pids if runs(pid)]:
        assert time.monotonic() < last, alive
        time.sleep(0.05)
