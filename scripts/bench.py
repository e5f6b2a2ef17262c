"""Measures speed and memory, next to general libraries doing the same, and how both grow.

    scripts/bench            # all of it, an hour or so; the table in DEVELOPERS.md is written anew
    scripts/bench --quick    # small inputs, some minutes; prints the table and writes nothing
    scripts/bench --work DIR # keeps the inputs it makes in DIR, and takes those that are there already
    scripts/bench --nodes 10000,100000 --copies 1,13 # other sizes to grow through
    scripts/bench --cpu      # processor time in place of wall time, where others keep the machine busy

Each measurement is a process of its own (scripts/bench_tasks.py), engines taking turns, so that memory is
that of one engine and a busy spell of the machine falls on all. Shown are medians. Engines that compute the
same thing must come to the same result, or the run ends with an error.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

# Nothing heavy is imported here: a child's peak memory begins at what its parent holds.
ROOT = Path(__file__).resolve().parent.parent
EXTRACT = ROOT.parent / "shared" / "data" / "liechtenstein.osm.pbf"
PAGE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"
#: Takes seconds where others take milliseconds: one turn, one repetition.
SLOW = frozenset({"networkx"})
LIBRARIES = ("numpy", "numba", "scipy", "networkx", "osmium", "shapely")


@dataclass
class Measured:
    """The seconds of all repetitions of one task by one engine, and the most memory it held, in MiB."""

    seconds: list[float] = field(default_factory=list)
    peak_mib: float = 0.0
    told: float | None = None

    @property
    def median(self) -> float:
        """The median of the seconds."""
        return statistics.median(self.seconds)


@dataclass(frozen=True)
class Plan:
    """What is measured, on inputs of what size."""

    nodes: tuple[int, ...]
    copies: tuple[int, ...]
    segment_copies: tuple[int, ...]
    compared_nodes: int
    compared_copies: int
    compared_segments: int
    rounds: int
    repeat: int
    by_processor: bool = False


QUICK = Plan((10_000, 100_000), (1, 3), (1, 13), 100_000, 1, 13, rounds=1, repeat=3)
FULL = Plan(
    (10_000, 100_000, 1_000_000, 5_000_000),
    (1, 13, 135),
    (1, 13, 65),
    1_000_000,
    1,
    13,
    rounds=3,
    repeat=5,
)

#: Tasks that more than one engine does, with what they are called in the table.
COMPARED_ON_ROADS = (
    (
        "one to one",
        "one state to another, open to the coach",
        ("clearance", "clearance, no landmarks", "scipy", "networkx"),
    ),
    ("one to all", "one state to all", ("clearance", "scipy")),
)
GROWING_ON_MAPS = (
    ("get", "`clearance get`, process"),
    ("read", "read"),
    ("structures", "find structures"),
    ("places", "named places"),
    ("build", "network"),
    ("write", "write road file"),
)
GROWING_ON_ROADS = (
    ("drive process", "`clearance drive`, process"),
    ("drive", "drive, warm"),
    ("open", "open road file"),
    ("costs", "costs of a coach"),
    ("one to one", "one to one"),
    ("one to all", "one to all"),
    ("tallest", "tallest coach, one to all"),
    ("tallest roads", "tallest coach on every road, a direction"),
    ("screen", "1,000 destinations, 2 coaches"),
    ("trade-offs", "all trade-offs of a drive"),
)


def python(script: str, *arguments: str) -> str:
    """What a script prints; ends the run where it fails."""
    command = [sys.executable, str(ROOT / "scripts" / script), *arguments]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        sys.exit(f"{' '.join(command)} failed")
    return done.stdout


def measure(
    task: str, engines: Sequence[str], path: Path, *, rounds: int, repeat: int, by_processor: bool = False
) -> dict[str, Measured]:
    """The engines in turn, `rounds` times. Ends the run where they come to different results."""
    results = {engine: Measured() for engine in engines}
    for turn in range(rounds):
        for engine, result in results.items():
            if turn and engine in SLOW:
                continue
            times = 1 if engine in SLOW else repeat
            asked = (task, engine, str(path), str(times), *(["cpu"] if by_processor else []))
            told = json.loads(python("bench_tasks.py", *asked))
            result.seconds += told["seconds"]
            result.peak_mib = max(result.peak_mib, told["peak_mib"])
            result.told = told["told"]
            say(f"  {task}, {engine}, {path.name}: {shown(result.median)}, {result.peak_mib:.0f} MiB")
    told_by = {engine: result.told for engine, result in results.items() if result.told is not None}
    first = next(iter(told_by.values()), 0.0)
    if any(not math.isclose(value, first, rel_tol=1e-9) for value in told_by.values()):
        sys.exit(f"{task} on {path.name}: the engines disagree: {told_by}")
    return results


def say(text: str) -> None:
    """Tell how it goes, apart from the result."""
    print(text, file=sys.stderr, flush=True)


def shown(seconds: float) -> str:
    """Seconds with three figures, in a unit that suits."""
    if seconds < 0.9995:
        return f"{seconds * 1000:.3g} ms"
    return f"{seconds:.3g} s" if seconds < 100 else f"{seconds:.0f} s"


def counted(number: int) -> str:
    """10k, 1M."""
    for unit, size in (("M", 1_000_000), ("k", 1000)):
        if number >= size:
            return f"{number / size:g}{unit}"
    return str(number)


def exponent(sizes: Sequence[float], values: Sequence[float]) -> float:
    """The p of size ** p, fitted by least squares on logarithms; nan for fewer than two sizes."""
    if len(sizes) < 2:
        return math.nan
    return statistics.linear_regression([math.log(s) for s in sizes], [math.log(v) for v in values]).slope


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return ["| " + " | ".join(line) + " |" for line in lines]


class Inputs:
    """Inputs in a folder, made where they are not there or older than what makes them."""

    def __init__(self, folder: Path) -> None:
        """Inputs in `folder`, which is there."""
        self._folder = folder

    def _made(self, name: str, makers: Sequence[str], script: str, *arguments: str) -> Path:
        """The file `name`, the last argument of the script that makes it; anew where `makers` are newer."""
        path = self._folder / name
        if not path.exists() or path.stat().st_mtime < max(
            ((ROOT / m).stat().st_mtime for m in makers), default=0.0
        ):
            say(f"making {name}")
            python(script, *arguments, str(path))
        return path

    def synthetic(self, nodes: int) -> Path:
        """A synthetic network as a road file."""
        makers = ("scripts/make_network.py", "clearance/network/roadfile.py", "clearance/network/network.py")
        name = f"synthetic-{counted(nodes)}.roads"
        return self._made(name, makers, "make_network.py", "synthetic", str(nodes))

    def tiled(self, times: int) -> Path:
        """Copies of the extract as a map file."""
        return self._made(f"tiled-{times}.osm.pbf", (), "make_network.py", "tile", str(EXTRACT), str(times))

    def segments(self, times: int) -> Path:
        """The segments of copies of the extract."""
        makers = ("scripts/bench_tasks.py", "clearance/structures/segments.py")
        name = f"segments-{times}.npz"
        return self._made(name, makers, "bench_tasks.py", "prepare segments", "", str(EXTRACT), str(times))


def warm(inputs: Inputs) -> None:
    """Let all compiled searches be made, so that no measurement counts that."""
    say("compiling")
    path = inputs.synthetic(1000)
    for task, _ in GROWING_ON_ROADS:
        python("bench_tasks.py", task, "clearance", str(path))
    python("bench_tasks.py", "one to one", "clearance, no landmarks", str(path))
    if EXTRACT.exists():
        python("bench_tasks.py", "get", "clearance", str(inputs.tiled(1)))


def compared(plan: Plan, inputs: Inputs) -> list[str]:
    """The table of what other libraries do as well."""
    jobs: list[tuple[str, str, tuple[str, ...], Path]] = []
    if EXTRACT.exists():
        jobs.append(
            ("read", "reading, real extract", ("clearance", "pyosmium"), inputs.tiled(plan.compared_copies))
        )
        path = inputs.segments(plan.compared_segments)
        jobs.append(
            ("crossings", f"crossings, {counted_segments(path)} segments", ("clearance", "shapely"), path)
        )
    path = inputs.synthetic(plan.compared_nodes)
    jobs += [
        (task, f"{name}, {counted(plan.compared_nodes)} nodes", engines, path)
        for task, name, engines in COMPARED_ON_ROADS
    ]
    rows = []
    for task, name, engines, path in jobs:
        results = measure(
            task, engines, path, rounds=plan.rounds, repeat=plan.repeat, by_processor=plan.by_processor
        )
        own = results["clearance"]
        for engine, other in results.items():
            ratio = "" if engine == "clearance" else f"{other.median / own.median:.3g}"
            rows.append([name, engine, shown(other.median), ratio, f"{other.peak_mib:.0f} MiB"])
    return table(["what", "by", "median", "times ours", "peak memory"], rows)


def counted_segments(path: Path) -> str:
    """How many segments a file of segments holds, in thousands or millions."""
    import zipfile

    # An array's header says its shape: {'descr': '|b1', 'fortran_order': False, 'shape': (78006,), }
    with zipfile.ZipFile(path) as kept, kept.open("chosen.npy") as array:
        head = array.read(128).decode("latin-1")
    count = int(head.split("'shape': (")[1].split(",")[0])
    return f"{count / 1e6:.1f}M" if count >= 1_000_000 else f"{count / 1000:.0f}k"


def growing(plan: Plan, inputs: Inputs) -> list[str]:
    """The tables of growth: time and memory by size, and the exponents of both."""
    lines: list[str] = []
    if EXTRACT.exists():
        rows = [
            grown(task, name, [(times, inputs.tiled(times)) for times in plan.copies], plan)
            for task, name in GROWING_ON_MAPS
        ]
        sizes = [f"{times} × ({inputs.tiled(times).stat().st_size / 2**20:.0f} MiB)" for times in plan.copies]
        lines += ["", *table(["a real extract, so many times over", *sizes, "exponent (time, memory)"], rows)]
        paths = [(times, inputs.segments(times)) for times in plan.segment_copies]
        row = grown("crossings", "crossings", paths, plan)
        lines += [
            "",
            *table(["segments", *(counted_segments(p) for _, p in paths), "exponent (time, memory)"], [row]),
        ]
    rows = [
        grown(task, name, [(nodes, inputs.synthetic(nodes)) for nodes in plan.nodes], plan)
        for task, name in GROWING_ON_ROADS
    ]
    heads = [f"{counted(nodes)} nodes" for nodes in plan.nodes]
    return [*lines, "", *table(["a synthetic network", *heads, "exponent (time, memory)"], rows)]


def grown(task: str, name: str, inputs: Sequence[tuple[int, Path]], plan: Plan) -> list[str]:
    """One row: median and peak memory at each size, and the two exponents."""
    measured = []
    for _, path in inputs:
        # What takes minutes is measured once.
        large = path.stat().st_size > 2**26 and task in {task for task, _ in GROWING_ON_MAPS}
        repeat = 1 if large else plan.repeat
        by_engine = measure(
            task, ["clearance"], path, rounds=1, repeat=repeat, by_processor=plan.by_processor
        )
        measured.append(by_engine["clearance"])
    sizes = [size for size, _ in inputs]
    time = exponent(sizes, [m.median for m in measured])
    memory = exponent(sizes, [m.peak_mib for m in measured])
    cells = [f"{shown(m.median)}, {m.peak_mib:.0f} MiB" for m in measured]
    return [name, *cells, f"{time:.2f}, {memory:.2f}"]


def machine() -> str:
    """What it ran on, and when."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text(encoding="utf-8").splitlines() if told.exists() else []
    name = next((line.split(":")[1].strip() for line in lines if line.startswith("model name")), "")
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    return (
        f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores of {name or platform.machine()}, "
        f"{memory:.0f} GiB, load {load} at the end; Python {platform.python_version()}, "
        + ", ".join(f"{library} {version(library)}" for library in LIBRARIES)
    )


def write(lines: Sequence[str]) -> None:
    """Put the lines between the two marks of the developers' page."""
    text = PAGE.read_text(encoding="utf-8")
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not (begin and end):
        sys.exit(f"{PAGE}: the marks {BEGIN} and {END} are not both there")
    PAGE.write_text("\n".join([before + BEGIN, *lines, END + after]), encoding="utf-8")


def sizes(text: str) -> tuple[int, ...]:
    """Whole numbers with commas between them."""
    return tuple(int(part) for part in text.split(","))


def main() -> None:
    """Measures, prints the tables and writes them down."""
    parser = argparse.ArgumentParser(description="Measures speed and memory; see the head of the script.")
    parser.add_argument("--quick", action="store_true", help="small inputs; write nothing")
    parser.add_argument("--cpu", action="store_true", help="processor time in place of wall time")
    parser.add_argument("--work", type=Path, help="folder for inputs, kept")
    parser.add_argument("--nodes", type=sizes, help="sizes of the synthetic networks, such as 10000,1000000")
    parser.add_argument("--copies", type=sizes, help="how often to repeat the real extract, such as 1,13")
    asked = parser.parse_args()
    plan = QUICK if asked.quick else FULL
    plan = replace(
        plan,
        nodes=asked.nodes or plan.nodes,
        copies=asked.copies or plan.copies,
        by_processor=asked.cpu,
    )
    if asked.work is not None:
        asked.work.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        inputs = Inputs(asked.work or Path(folder))
        warm(inputs)
        lines = [*compared(plan, inputs), *growing(plan, inputs)]
    of = " in seconds that processors worked, whatever else they had to do" if asked.cpu else ""
    lines = [f"Measured by `scripts/bench`{of}: {machine()}.", "", *lines]
    print("\n".join(lines))
    if not asked.quick:
        write(lines)


if __name__ == "__main__":
    main()
