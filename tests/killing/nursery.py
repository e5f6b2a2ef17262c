"""A process that has imported everything and forks a child for each command: real processes in no time.

Run as ``python -m tests.killing.nursery`` it reads requests, a JSON object a line, and answers each in one:
``{"start": [argument, ...], "env": {}, "out": file, "err": file}`` with the child's id, ``{"wait": id}`` with
how it ended, as `subprocess` tells it. Beside "start" may stand ``"die_at": n``, for the child to kill itself
(SIGKILL) before the n-th line that it runs of the code that writes files, ``"count": file``, to write down
how many such lines there were, ``"limit": bytes``, the largest file that it may write, and ``"meek": true``,
for permissions to bind it though it is the superuser's (Linux).
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import IO, Any

__all__ = ["Child", "Nursery", "nursery"]

ROOT = Path(__file__).resolve().parents[2]
#: What a command would import once it runs. Kernels are loaded from numba's cache on the way.
READY = (
    *("clearance.cli.get", "clearance.cli.screen", "clearance.cli.record", "clearance.cli.evidence"),
    *("clearance.cli.screen_many", "clearance.sources.download", "clearance.sources.osm_file"),
    *(
        "clearance.network.build",
        "clearance.network.roadfile",
        "clearance.assess.screen",
        "clearance.assess.tallest",
    ),
    *("clearance.outputs.screen_page", "clearance.outputs.screen_sheet", "clearance.outputs.screen_gpkg"),
    *("clearance.outputs.screen_parquet", "clearance.outputs.tallest", "clearance.structures.fusion"),
    *("clearance.workflow.evidence", "clearance.workflow.screen_many", "clearance.workflow.cluster"),
    *("clearance.workflow.recorded", "clearance.workflow.destinations", "clearance.sources.height_list"),
    *("osmnx", "osmium", "pyogrio", "pyarrow.parquet", "shapely", "pyproj", "fpdf", "uharfbuzz"),
)
#: Code that writes: every line of it is a moment at which a process may die.
WRITERS = (
    *("clearance/core/whole_file.py", "clearance/outputs/atomic.py", "clearance/network/roadfile.py"),
    *("clearance/sources/records.py", "clearance/sources/cache.py", "clearance/workflow/screen_many.py"),
    *("clearance/workflow/screening.py", "clearance/workflow/evidence.py", "lib/python3.11/zipfile.py"),
)


@dataclass
class Child:
    """A command that runs, or ran."""

    pid: int
    out: Path
    err: Path
    _of: Nursery

    def kill(self, number: int = signal.SIGKILL) -> None:
        """Send a signal; one that has ended already is none to be told."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, number)

    def wait(self) -> int:
        """How it ended: an exit code, or a signal below zero."""
        return int(self._of.ask({"wait": self.pid}))

    def said(self) -> str:
        """What it printed, both kinds."""
        return self.out.read_text(encoding="utf-8") + self.err.read_text(encoding="utf-8")


@dataclass
class Nursery:
    """The parent of the children. `scratch` is a folder for what they print."""

    process: subprocess.Popen[str]
    scratch: Path
    _count: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def ask(self, request: Mapping[str, Any]) -> Any:
        """An answer to a request."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        with self._lock:
            self.process.stdin.write(json.dumps(request) + "\n")
            self.process.stdin.flush()
            return json.loads(self.process.stdout.readline())

    def start(
        self,
        *args: str | Path,
        env: Mapping[str, str] | None = None,
        die_at: int = 0,
        limit: int = 0,
        meek: bool = False,
    ) -> Child:
        """Run `clearance` with these arguments; with `limit`, no file may grow beyond so many bytes."""
        self._count += 1
        out, err = (self.scratch / f"{self._count}.{kind}" for kind in ("out", "err"))
        # A child may die before it has come to that.
        out.touch()
        err.touch()
        request = {"start": [str(a) for a in args], "env": dict(env or {}), "out": str(out), "err": str(err)}
        return Child(
            int(self.ask(request | {"die_at": die_at, "limit": limit, "meek": meek})), out, err, self
        )

    def run(self, *args: str | Path, env: Mapping[str, str] | None = None) -> Child:
        """The same, to its end, which must be a good one."""
        child = self.start(*args, env=env)
        code = child.wait()
        assert code in (0, 3), child.said()
        return child

    def lines(self, *args: str | Path, env: Mapping[str, str] | None = None) -> int:
        """How many lines of code that writes the command runs through."""
        self._count += 1
        out, err, count = (self.scratch / f"{self._count}.{kind}" for kind in ("out", "err", "count"))
        request = {"start": [str(a) for a in args], "env": dict(env or {}), "out": str(out), "err": str(err)}
        child = Child(int(self.ask(request | {"count": str(count)})), out, err, self)
        assert child.wait() in (0, 3), child.said()
        return int(count.read_text())


@contextlib.contextmanager
def nursery(scratch: Path) -> Iterator[Nursery]:
    """A nursery that is ready; its end is the end of the block."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.killing.nursery"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        assert process.stdout is not None
        assert json.loads(process.stdout.readline()) == "ready"
        try:
            yield Nursery(process, scratch)
        finally:
            assert process.stdin is not None
            process.stdin.close()


# --- the process itself ------------------------------------------------------------------------------


def _serve() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in READY:
        importlib.import_module(name)
    _know_zones()
    _answer("ready")
    for line in sys.stdin:
        request = json.loads(line)
        if "wait" in request:
            _, status = os.waitpid(request["wait"], 0)
            _answer(os.waitstatus_to_exitcode(status))
            continue
        pid = os.fork()
        if pid == 0:
            _be_child(request)
        _answer(pid)


def _know_zones() -> None:
    """Look up the map projection of a town once: osmnx does so four times for each question."""
    import geopandas

    look_up = geopandas.GeoSeries.estimate_utm_crs
    zones: dict[tuple[int, int], object] = {}

    def known(series: geopandas.GeoSeries, datum_name: str = "WGS 84") -> object:
        west, south, _, _ = series.total_bounds
        key = (round(west), round(south))
        if key not in zones:
            zones[key] = look_up(series, datum_name)
        return zones[key]

    geopandas.GeoSeries.estimate_utm_crs = known
    known(geopandas.GeoSeries.from_xy([-40.0, -39.98], [45.0, 45.02], crs="EPSG:4326"))


def _answer(value: object) -> None:
    sys.stdout.write(json.dumps(value) + "\n")
    sys.stdout.flush()


def _be_child(request: dict[str, Any]) -> None:
    """Run the command and leave, as a process of its own would."""
    code = 1
    try:
        _print_to(request["out"], request["err"])
        os.environ.update(request["env"])
        if request.get("limit"):
            import resource

            resource.setrlimit(resource.RLIMIT_FSIZE, (request["limit"], request["limit"]))
        if request.get("meek"):
            _be_meek()
        sys.argv = ["clearance", *request["start"]]
        count = _watch(request.get("die_at", 0)) if "count" in request or request.get("die_at") else None
        from clearance.__main__ import main

        # Ignored until here, as by whoever has not started yet.
        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            main()
            code = 0
        finally:
            sys.settrace(None)
            if count is not None and "count" in request:
                Path(request["count"]).write_text(str(count[0]))
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        with contextlib.suppress(OSError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def _print_to(out: str, err: str) -> None:
    for number, path in ((1, out), (2, err)):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(handle, number)
        os.close(handle)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    sys.stdout, sys.stderr = _text(1), _text(2)


def _text(number: int) -> IO[str]:
    return open(number, "w", encoding="utf-8", buffering=1, closefd=False)


def _be_meek() -> None:
    """Give up what lets the superuser past permissions: capabilities 1 and 2 (capabilities(7), capset(2))."""
    import ctypes

    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)
    sets = (ctypes.c_uint32 * 6)()
    if libc.capget(header, sets) == 0:
        for which in (0, 1):  # effective and permitted
            sets[which] &= ~0b110
        if libc.capset(header, sets) == 0:
            return
    raise OSError(ctypes.get_errno(), "capabilities cannot be given up")


def _watch(die_at: int) -> list[int]:
    """Count lines of `WRITERS` as they run, and die before one of them."""
    count = [0]

    def line(frame: FrameType, event: str, _arg: object) -> Any:
        if event == "line":
            count[0] += 1
            if count[0] == die_at:
                os.kill(os.getpid(), signal.SIGKILL)
        return line

    def call(frame: FrameType, _event: str, _arg: object) -> Any:
        return line if frame.f_code.co_filename.endswith(WRITERS) else None

    sys.settrace(call)
    return count


if __name__ == "__main__":
    _serve()
