"""Measures speed and memory, next to general libraries doing the same, and how both grow.

    scripts/bench            # all of it, an hour or so; the table in DEVELOPERS.md is written anew
    scripts/bench --quick    # small inputs, ten minutes or so; prints the table and writes nothing
    scripts/bench --work DIR # keeps the inputs it makes in DIR, and takes those that are there already
    scripts/bench --nodes 10000,100000 --copies 1,13 # other sizes to grow through
    scripts/bench --cpu      # processor time in place of wall time, where others keep the machine busy
    scripts/bench --rounds 1 # turns of the engines, and --repeat N times in each
    scripts/bench --work DIR --go-on       # measures what an earlier run in DIR left out
    scripts/bench --work DIR --only read,screen # measures these anew, and takes all else from runs before

What was measured stands in DIR/measured.json, of which alone the tables are made. Each measurement is a
process of its own in which pytest-benchmark times the rounds (scripts/bench_run.py), engines taking turns, so
that memory is that of one engine and a busy spell of the machine falls on all. What it tells of each process
is kept in DIR/runs, for `pytest-benchmark compare DIR/runs/*`. Shown are medians. Engines that compute the
same thing must come to the same result, or the run ends with an error.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import re
import statistics
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

# Nothing heavy is imported here: a child's peak memory begins at what its parent holds.
ROOT = Path(__file__).resolve().parent.parent
EXTRACT = ROOT.parent / "shared" / "data" / "liechtenstein.osm.pbf"
PAGE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"
#: Takes seconds where others take milliseconds: one turn, one repetition.
SLOW = frozenset({"networkx"})
#: Tasks that take minutes on large networks.
SLOW_TASKS = frozenset({"screen", "screen searches", "screen process"})
#: Tasks that would take too much memory or time on more than so many nodes.
MOST_NODES = {"screen": 200_000, "screen searches": 200_000, "screen process": 1_000_000}
#: And on map files of more than so many bytes, where `clearance get` shows as much.
MOST_BYTES = {"read": 2**27, "read by two": 2**27}
LIBRARIES = ("numpy", "numba", "scipy", "networkx", "osmium", "shapely", "pytest-benchmark")


@dataclass
class Measured:
    """The seconds of all repetitions of one task by one engine, and the most memory it held, in MiB."""

    seconds: list[float] = field(default_factory=list)
    peak_mib: float = 0.0
    told: float | None = None
    at: str = ""
    commit: str = ""

    @property
    def median(self) -> float:
        """The median of the seconds."""
        return statistics.median(self.seconds)

    def take(self, told: Mapping[str, Any]) -> None:
        """Add what pytest-benchmark tells of one process."""
        (run,) = told["benchmarks"]
        self.seconds += run["stats"]["data"]
        self.peak_mib = max(self.peak_mib, run["extra_info"]["peak_mib"])
        self.told = run["extra_info"]["told"]
        self.at = told["datetime"][:16].replace("T", " ")
        # Where the files are under no version control, their state is not known.
        self.commit = (told["commit_info"].get("id") or "")[:7]


@dataclass(frozen=True)
class Plan:
    """What is measured, on inputs of what size."""

    nodes: tuple[int, ...]
    copies: tuple[int, ...]
    stage_copies: tuple[int, ...]
    road_copies: tuple[int, ...]
    segment_copies: tuple[int, ...]
    compared_nodes: int
    compared_copies: int
    compared_segments: int
    rounds: int
    repeat: int
    by_processor: bool = False


QUICK = Plan(
    (10_000, 100_000),
    (1, 3),
    (1, 3),
    (1, 13),
    (1, 13),
    100_000,
    1,
    13,
    rounds=1,
    repeat=3,
)
FULL = Plan(
    (10_000, 100_000, 1_000_000, 5_000_000),
    (1, 13, 40, 135, 675),
    (1, 13),
    (1, 13, 135),
    (1, 13, 65),
    1_000_000,
    13,
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
    ("read", "reading"),
    ("read by two", "reading by two processes"),
)
GROWING_BY_STAGE = (
    ("structures", "finding structures"),
    ("places", "named places"),
    ("build", "network"),
    ("write", "writing the road file"),
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
    ("screen searches", "of these, in searches"),
    ("screen process", "the same as `clearance screen`, process"),
    ("trade-offs", "all trade-offs of a drive"),
)


def python(script: str, *arguments: str) -> str:
    """What a script prints; ends the run where it fails."""
    command = [sys.executable, str(ROOT / "scripts" / script), *arguments]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        sys.exit(f"{' '.join(command)} failed")
    return done.stdout


class Keeper:
    """What was measured, in a file that later runs go on with; and what this run is to measure."""

    def __init__(self, path: Path, *, go_on: bool, only: frozenset[str] | None) -> None:
        """Begin anew, or with what `path` has where it is to be gone on with or some is `only` repeated."""
        self._path, self._only, self._made = path, only, set[str]()
        #: Tasks that were to be shown, but are neither known nor to be measured.
        self.missing: set[str] = set()
        self.known: dict[str, Measured] = {}
        if (go_on or only is not None) and path.exists():
            kept = json.loads(path.read_text(encoding="utf-8"))
            self.known = {key: Measured(**value) for key, value in kept.items()}

    def wanted(self, task: str, key: str) -> bool:
        """Whether to measure it in this run."""
        if self._only is not None:
            return task in self._only and key not in self._made
        return key not in self.known

    def keep(self, key: str, measured: Measured) -> None:
        """Take a result down at once, so that nothing is lost where the run is broken off."""
        self.known[key] = measured
        self._made.add(key)
        text = json.dumps({key: vars(value) for key, value in self.known.items()}, indent=1)
        self._path.write_text(text, encoding="utf-8")

    def keep_run(self, key: str, turn: int, told: str) -> None:
        """Keep what pytest-benchmark told of one process."""
        folder = self._path.parent / "runs"
        folder.mkdir(exist_ok=True)
        name = re.sub(r"[^A-Za-z0-9.-]+", "_", key)
        (folder / f"{name}-{turn}.json").write_text(told, encoding="utf-8")


def measure(task: str, engines: Sequence[str], path: Path, plan: Plan, keeper: Keeper) -> dict[str, Measured]:
    """The engines in turn, as often as the plan says; those known already where nothing is to be measured.

    Ends the run where they come to different results.
    """
    keys = {engine: f"{task}|{engine}|{path.name}|{plan.rounds}x{plan.repeat}" for engine in engines}
    if plan.by_processor:
        keys = {engine: f"{key}|cpu" for engine, key in keys.items()}
    if not any(keeper.wanted(task, key) for key in keys.values()):
        if not keeper.known.keys() >= set(keys.values()):
            keeper.missing.add(task)
        return {engine: keeper.known[key] for engine, key in keys.items() if key in keeper.known}
    results = {engine: Measured() for engine in engines}
    for turn in range(plan.rounds):
        for engine, result in results.items():
            if turn and engine in SLOW:
                continue
            times = 1 if engine in SLOW else plan.repeat
            cpu = ("--cpu",) if plan.by_processor else ()
            told = python("bench_run.py", task, engine, str(path), "--repeat", str(times), *cpu)
            keeper.keep_run(keys[engine], turn, told)
            result.take(json.loads(told))
            say(f"  {task}, {engine}, {path.name}: {shown(result.median)}, {result.peak_mib:.0f} MiB")
    told_by = {engine: result.told for engine, result in results.items() if result.told is not None}
    first = next(iter(told_by.values()), 0.0)
    if any(not math.isclose(value, first, rel_tol=1e-9) for value in told_by.values()):
        sys.exit(f"{task} on {path.name}: the engines disagree: {told_by}")
    for engine, result in results.items():
        keeper.keep(keys[engine], result)
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


def schema_wanted() -> int:
    """The version of road files that this checkout reads."""
    text = (ROOT / "clearance" / "network" / "roadfile.py").read_text(encoding="utf-8")
    found = re.search(r"^SCHEMA = (\d+)$", text, re.MULTILINE)
    assert found is not None
    return int(found[1])


def schema_of(path: Path) -> int | None:
    """The version of a road file; None where it is none."""
    try:
        with zipfile.ZipFile(path) as kept:
            schema = json.loads(kept.read("manifest.json"))["schema"]
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return None
    return schema if isinstance(schema, int) else None


class Inputs:
    """Inputs in a folder, made where they are not there, or road files of another version."""

    def __init__(self, folder: Path) -> None:
        """Inputs in `folder`, which is there."""
        self._folder = folder

    def _made(self, name: str, script: str, *arguments: str) -> Path:
        """The file `name`, the last argument of the script that makes it."""
        path = self._folder / name
        stale = path.suffix == ".roads" and schema_of(path) != schema_wanted()
        if stale or not path.exists():
            say(f"making {name}")
            python(script, *arguments, str(path))
        return path

    def synthetic(self, nodes: int) -> Path:
        """A synthetic network as a road file."""
        return self._made(f"synthetic-{counted(nodes)}.roads", "make_network.py", "synthetic", str(nodes))

    def tiled(self, times: int) -> Path:
        """Copies of the extract as a map file."""
        return self._made(f"tiled-{times}.osm.pbf", "make_network.py", "tile", str(EXTRACT), str(times))

    def tiled_roads(self, times: int) -> Path:
        """Copies of the extract, joined by roads, as a road file."""
        return self._made(f"tiled-{times}.roads", "make_network.py", "tile", str(EXTRACT), str(times))

    def segments(self, times: int) -> Path:
        """The segments of copies of the extract."""
        name = f"segments-{times}.npz"
        return self._made(name, "bench_tasks.py", str(EXTRACT), str(times))


def warm(inputs: Inputs) -> None:
    """Let all compiled searches be made, so that no measurement counts that."""
    say("compiling")
    path = inputs.synthetic(1000)
    for task, _ in GROWING_ON_ROADS:
        python("bench_run.py", task, "clearance", str(path))
    python("bench_run.py", "one to one", "clearance, no landmarks", str(path))
    if EXTRACT.exists():
        python("bench_run.py", "get", "clearance", str(inputs.tiled(1)))


def compared(plan: Plan, inputs: Inputs, keeper: Keeper) -> list[str]:
    """The table of what other libraries do as well."""
    jobs: list[tuple[str, str, str, tuple[str, ...], Path]] = []
    if EXTRACT.exists():
        path = inputs.tiled(plan.compared_copies)
        jobs.append(
            (
                "read",
                "reading a map file",
                mib(path),
                ("clearance", "clearance, by two processes", "pyosmium"),
                path,
            )
        )
        path = inputs.segments(plan.compared_segments)
        size = f"{counted_segments(path)} segments"
        jobs.append(("crossings", "crossings", size, ("clearance", "shapely"), path))
    path = inputs.synthetic(plan.compared_nodes)
    size = f"{counted(plan.compared_nodes)} nodes"
    jobs += [(task, name, size, engines, path) for task, name, engines in COMPARED_ON_ROADS]
    rows = []
    for task, name, size, engines, path in jobs:
        results = measure(task, engines, path, plan, keeper)
        own = results.get("clearance")
        for engine, other in results.items():
            ratio = "" if own is None or own is other else f"{other.median / own.median:.3g}"
            rows.append([name, size, engine, shown(other.median), ratio, f"{other.peak_mib:.0f} MiB"])
    head = ["what", "size", "by", "median", "ratio to ours", "peak memory"]
    return ["Next to general libraries:", "", *table(head, rows)] if rows else []


def mib(path: Path) -> str:
    """The size of a file."""
    return f"{path.stat().st_size / 2**20:.0f} MiB"


def counted_segments(path: Path) -> str:
    """How many segments a file of segments holds, in thousands or millions."""
    # An array's header says its shape: {'descr': '|b1', 'fortran_order': False, 'shape': (78006,), }
    with zipfile.ZipFile(path) as kept, kept.open("chosen.npy") as array:
        head = array.read(128).decode("latin-1")
    count = int(head.split("'shape': (")[1].split(",")[0])
    return f"{count / 1e6:.1f}M" if count >= 1_000_000 else f"{count / 1000:.0f}k"


def nodes_of(path: Path) -> int:
    """How many nodes a road file has."""
    with zipfile.ZipFile(path) as kept:
        return int(json.loads(kept.read("manifest.json"))["counts"]["nodes"])


@dataclass(frozen=True)
class Sized:
    """An input: how large it is, as a number and as it is told."""

    size: float
    told: str
    path: Path


Tasks = Sequence[tuple[str, str]]


def growing(plan: Plan, inputs: Inputs, keeper: Keeper) -> list[str]:
    """The tables of growth: time and memory by size, and the exponents of both."""
    lines: list[str] = []
    networks = [Sized(n, f"{counted(n)} nodes", inputs.synthetic(n)) for n in plan.nodes]
    lines += grown("a synthetic network", GROWING_ON_ROADS, networks, plan, keeper)
    if not EXTRACT.exists():
        return lines
    made = [inputs.tiled_roads(times) for times in plan.road_copies]
    real = [Sized(nodes_of(p), f"{counted(round(nodes_of(p), -3))} nodes", p) for p in made]
    title = "copies of a real network, joined in a row"
    lines += grown(title, GROWING_ON_ROADS, real, plan, keeper)
    segments = [
        Sized(n, f"{counted_segments(inputs.segments(n))} segments", inputs.segments(n))
        for n in plan.segment_copies
    ]
    lines += grown("their segments", (("crossings", "crossings"),), segments, plan, keeper)
    for tasks, copies in ((GROWING_ON_MAPS, plan.copies), (GROWING_BY_STAGE, plan.stage_copies)):
        maps = [inputs.tiled(times) for times in copies]
        files = [Sized(path.stat().st_size, mib(path), path) for path in maps]
        lines += grown("a real extract as map file", tasks, files, plan, keeper)
    return lines


def grown(title: str, tasks: Tasks, inputs: Sequence[Sized], plan: Plan, keeper: Keeper) -> list[str]:
    """The tables of time and of memory for tasks on inputs of growing size, where there is anything."""
    times: list[list[str]] = []
    peaks: list[list[str]] = []
    for task, name in tasks:
        found: dict[int, Measured] = {}
        for i, one in enumerate(inputs):
            most = MOST_NODES if one.path.suffix == ".roads" else MOST_BYTES
            if one.size > most.get(task, math.inf):
                continue
            # What takes minutes is measured once.
            large = one.path.stat().st_size > 2**24 and one.path.suffix == ".pbf"
            large |= task in SLOW_TASKS and one.size > 500_000
            repeat = 1 if large else plan.repeat
            by_engine = measure(task, ["clearance"], one.path, replace(plan, rounds=1, repeat=repeat), keeper)
            if by_engine:
                found[i] = by_engine["clearance"]
        if not found:
            continue
        sizes = [inputs[i].size for i in found]
        for rows, values, tell in (
            (times, {i: m.median for i, m in found.items()}, shown),
            (peaks, {i: m.peak_mib for i, m in found.items()}, lambda value: f"{value:.0f} MiB"),
        ):
            cells = [tell(values[i]) if i in values else "–" for i in range(len(inputs))]
            fitted = exponent(sizes, list(values.values()))
            rows.append([name, *cells, "" if math.isnan(fitted) else f"{fitted:.2f}"])
    heads = [one.told for one in inputs]
    lines: list[str] = []
    for what, rows in (("median time", times), ("peak memory", peaks)):
        if rows:
            lines += ["", f"{title[0].upper()}{title[1:]}, {what}:", ""]
            lines += table(["what", *heads, "exponent"], rows)
    return lines


def machine(keeper: Keeper) -> str:
    """What it ran on, when, and of which commits."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text(encoding="utf-8").splitlines() if told.exists() else []
    name = next((line.split(":")[1].strip() for line in lines if line.startswith("model name")), "")
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    times = sorted(measured.at for measured in keeper.known.values())
    commits = dict.fromkeys(m.commit for m in sorted(keeper.known.values(), key=lambda m: m.at) if m.commit)
    return (
        f"{times[0]} to {times[-1]}, at {', '.join(commits) or 'no known commit'}, "
        f"{os.cpu_count()} cores of {name or platform.machine()}, {memory:.0f} GiB; "
        f"Python {platform.python_version()}, "
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


def words(text: str) -> frozenset[str]:
    """Words with commas between them."""
    return frozenset(text.split(","))


def main() -> None:
    """Measures, prints the tables and writes them down."""
    parser = argparse.ArgumentParser(description="Measures speed and memory; see the head of the script.")
    parser.add_argument("--quick", action="store_true", help="small inputs; write nothing")
    parser.add_argument("--cpu", action="store_true", help="processor time in place of wall time")
    parser.add_argument("--work", type=Path, help="folder for inputs and what was measured, kept")
    parser.add_argument("--nodes", type=sizes, help="sizes of the synthetic networks, such as 10000,1000000")
    parser.add_argument("--copies", type=sizes, help="how often to repeat the real extract, such as 1,13")
    parser.add_argument("--rounds", type=int, help="turns that engines take when they are compared")
    parser.add_argument("--repeat", type=int, help="times that each measures in its turn")
    parser.add_argument("--go-on", action="store_true", help="measure what an earlier run left out")
    parser.add_argument("--only", type=words, help="tasks to measure anew; what else is known stays")
    parser.add_argument("--tables", action="store_true", help="measure nothing: the tables of what is known")
    asked = parser.parse_args()
    plan = QUICK if asked.quick else FULL
    plan = replace(
        plan,
        nodes=asked.nodes or plan.nodes,
        copies=asked.copies or plan.copies,
        rounds=asked.rounds or plan.rounds,
        repeat=asked.repeat or plan.repeat,
        by_processor=asked.cpu,
    )
    if asked.work is not None:
        asked.work.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        work = asked.work or Path(folder)
        only = frozenset[str]() if asked.tables else asked.only
        keeper = Keeper(work / "measured.json", go_on=asked.go_on, only=only)
        inputs = Inputs(work)
        if not asked.tables:
            warm(inputs)
        lines = [*compared(plan, inputs, keeper), *growing(plan, inputs, keeper)]
    of = ", in seconds that processors worked, whatever else they had to do" if asked.cpu else ""
    lines = [f"Measured by `scripts/bench`{of}: {machine(keeper)}.", "", *lines]
    print("\n".join(lines))
    if keeper.missing:
        say(f"{PAGE.name} stays as it was: {', '.join(sorted(keeper.missing))} not measured; see --go-on")
    elif not asked.quick:
        write(lines)


if __name__ == "__main__":
    main()
