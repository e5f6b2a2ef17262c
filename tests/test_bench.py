"""The measuring scripts: engines come to the same results, growth is fitted right, the page is kept."""

from __future__ import annotations

import importlib
import json
import math
import re
import subprocess
import sys
import time
import weakref
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from clearance.network.roadfile import SCHEMA, open_road_file, write_road_file
from clearance.structures.segments import Segments
from tests.towns import Town

SCRIPTS = Path(__file__).resolve().parent.parent / "scripts"


def _script(name: str) -> ModuleType:
    """A script as a module; it finds the others, as it does when it runs."""
    if str(SCRIPTS) not in sys.path:
        sys.path.append(str(SCRIPTS))
    return importlib.import_module(name)


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bench") / "synthetic.roads"
    write_road_file(_script("make_network").synthetic(1500), path)
    return path


class Fixture:
    """Stands for pytest-benchmark's: as many rounds, each on what its set-up gives."""

    def __init__(self) -> None:
        self.given: list[tuple[Any, ...]] = []
        self.warm = 0

    def pedantic(
        self, target: Callable[..., Any], *, setup: Callable[[], Any], rounds: int, warmup_rounds: int
    ) -> Any:
        self.warm = warmup_rounds
        for _ in range(warmup_rounds + rounds):
            args, kwargs = setup()
            assert not kwargs
            self.given.append(args)
            target(*args)


def done(task: str, engine: str, path: Path, repeat: int) -> tuple[int, Any]:
    """How many rounds of a task are counted, and the figure that it tells, or None."""
    tasks = _script("bench_tasks")
    fixture = Fixture()
    told = tasks.TASKS[task, engine](path, tasks.Rounds(fixture.pedantic, repeat))
    return len(fixture.given) - fixture.warm, told


def test_rounds_let_go_what_the_one_before_gave() -> None:
    fixture = Fixture()
    rounds = _script("bench_tasks").Rounds(fixture.pedantic, 3)
    alive: list[int] = []
    made: list[weakref.ref[Fixture]] = []

    def work(number: int) -> Fixture:
        alive.append(sum(each() is not None for each in made))
        made.append(weakref.ref(given := Fixture()))
        given.warm = number
        return given

    assert rounds.time(work, ((k,) for k in range(9)), warm=1).warm == 3
    assert fixture.given == [(0,), (1,), (2,), (3,)]
    assert alive == [0, 0, 0, 0]
    with pytest.raises(RuntimeError, match="fewer inputs"):
        rounds.time(work, [(1,), (2,)])


@pytest.mark.parametrize("task", ["one to one", "one to all"])
def test_engines_come_to_the_same_costs(task: str, roads: Path) -> None:
    told = {}
    for engine in [engine for name, engine in _script("bench_tasks").TASKS if name == task]:
        rounds, told[engine] = done(task, engine, roads, 2)
        assert rounds in (2, 30), "all, or each of 15 pairs, twice"
    assert len(told) >= 2
    assert min(told.values()) > 0
    assert list(told.values()) == pytest.approx([told["clearance"]] * len(told), rel=1e-9)


@pytest.mark.parametrize("task", ["open", "costs", "tallest", "trade-offs", "drive"])
def test_the_other_tasks_on_roads_run(task: str, roads: Path) -> None:
    assert done(task, "clearance", roads, 2)[0] == 2


def test_searches_are_measured_by_what_they_tell_of_themselves(
    roads: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tasks = _script("bench_tasks")
    monkeypatch.setattr(tasks, "SCREENED", 10)
    before = tasks.searched()
    assert done("screen searches", "clearance", roads, 1) == (1, None)
    first = tasks.searched()
    assert done("screen", "clearance", roads, 1) == (1, 20.0)
    assert first > before
    assert tasks.searched() == first, "only what is recorded counts"


def measured(task: str, path: Path, *more: str) -> dict[str, Any]:
    """What the script prints of a task measured in a process of its own."""
    asked = [sys.executable, str(SCRIPTS / "bench_run.py"), task, "clearance", str(path), *more]
    ran = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")
    told: dict[str, Any] = json.loads(ran.stdout)
    return told


@pytest.mark.parametrize("more", [(), ("--cpu",)])
def test_a_task_is_measured_by_pytest_benchmark(roads: Path, more: tuple[str, ...]) -> None:
    told = measured("costs", roads, "--repeat", "3", *more)
    bench = _script("bench")
    result = bench.Measured()
    result.take(told)
    assert len(result.seconds) == 3
    assert 0 < result.median < 5
    assert result.told == done("costs", "clearance", roads, 1)[1]
    assert 10 < result.peak_mib < 4000
    assert result.at[:2] == "20"
    assert re.fullmatch(r"[0-9a-f]{7}|", result.commit)
    (run,) = told["benchmarks"]
    assert "costs, clearance, synthetic.roads" in run["name"]
    timer = run["options"]["timer"]
    assert ("worked" in timer) == bool(more), timer


def test_a_task_that_fails_says_so(tmp_path: Path) -> None:
    asked = [sys.executable, str(SCRIPTS / "bench_run.py"), "open", "clearance", str(tmp_path / "none.roads")]
    ran = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout) == (1, "")
    assert "there is no such file" in ran.stderr
    assert "could not be measured" in ran.stderr


def test_every_road_is_reached_as_often_as_the_search_reaches_it(roads: Path) -> None:
    rounds, told = done("tallest roads", "clearance", roads, 2)
    assert rounds == 4, "each direction twice"
    # Twice as many arcs, for there and back; one-way streets at the rim are missing from one of them.
    reached = done("tallest", "clearance", roads, 1)[1]
    assert told > reached


def test_engines_find_the_same_crossings(tmp_path: Path) -> None:
    draw = np.random.default_rng(3)
    ends = draw.integers(0, 5000, (400, 2))
    ends = np.concatenate((ends, ends + draw.integers(-300, 300, ends.shape)), axis=1)
    nodes = draw.integers(0, 500, (400, 2))
    columns = (np.arange(400), np.zeros(400, dtype=np.int64), *nodes.T, *ends.T)
    fields = dict(zip(Segments.__slots__, columns, strict=True))
    np.savez(tmp_path / "segments.npz", chosen=draw.random(400) < 0.6, **fields)
    own, shapelys = (
        done("crossings", engine, tmp_path / "segments.npz", 1)[1] for engine in ("clearance", "shapely")
    )
    assert own == shapelys > 50
    assert _script("bench").counted_segments(tmp_path / "segments.npz") == "0k"


@pytest.mark.parametrize("task", ["structures", "places", "build", "write", "read"])
def test_the_tasks_on_map_files_run(task: str, tmp_path: Path) -> None:
    town = (
        Town().node(1, 0, 0).node(2, 90, 0).way(10, [1, 2], {"highway": "residential", "name": "Mill Street"})
    )
    (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
    rounds, told = done(task, "clearance", tmp_path / "town.osm", 1)
    assert rounds == 1
    assert told == {"structures": 0, "places": 1, "build": 2}.get(task)


def test_every_task_of_the_tables_can_be_done() -> None:
    bench, tasks = _script("bench"), _script("bench_tasks")
    asked = {(task, engine) for task, _, engines in bench.COMPARED_ON_ROADS for engine in engines}
    growing = (*bench.GROWING_ON_MAPS, *bench.GROWING_BY_STAGE, *bench.GROWING_ON_ROADS)
    asked |= {(task, "clearance") for task, _ in growing}
    asked |= {("read", "clearance, by two processes"), ("read", "pyosmium")}
    asked |= {("crossings", "shapely"), ("crossings", "clearance")}
    assert asked == set(tasks.TASKS)
    assert {task for task, _ in asked} >= tasks.PROCESSES


def test_exponents_and_figures() -> None:
    bench = _script("bench")
    assert bench.exponent([10, 100, 1000], [3e-3 * size**1.25 for size in (10, 100, 1000)]) == pytest.approx(
        1.25
    )
    assert math.isnan(bench.exponent([10], [1]))
    shown = {0.0123: "12.3 ms", 0.9999: "1 s", 2.345: "2.35 s", 250.4: "250 s", 0.00004: "0.04 ms"}
    assert {value: bench.shown(value) for value in shown} == shown
    assert [bench.counted(n) for n in (500, 10_000, 5_000_000)] == ["500", "10k", "5M"]


def test_the_table_goes_between_the_marks_of_the_page_and_nothing_else_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _script("bench")
    page = tmp_path / "page.md"
    monkeypatch.setattr(bench, "PAGE", page)
    page.write_text(f"before\n\n{bench.BEGIN}\nold\n{bench.END}\n\nafter\n", encoding="utf-8")
    for _ in range(2):
        bench.write(["new", *bench.table(["a", "b"], [["1", "2"]])])
    expected = f"before\n\n{bench.BEGIN}\nnew\n| a | b |\n| --- | --- |\n| 1 | 2 |\n{bench.END}\n\nafter\n"
    assert page.read_text(encoding="utf-8") == expected
    page.write_text("no marks", encoding="utf-8")
    with pytest.raises(SystemExit, match="marks"):
        bench.write(["new"])
    assert page.read_text(encoding="utf-8") == "no marks"


def test_what_is_known_is_not_measured_again_unless_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _script("bench")
    runs: list[str] = []

    def python(_script: str, task: str, *_: str) -> str:
        runs.append(task)
        run = {
            "stats": {"data": [0.5, 0.25, 1.0]},
            "extra_info": {"peak_mib": 64.0, "told": None},
        }
        commit = {"id": "0123456789abcdef"}
        told = {"benchmarks": [run], "commit_info": commit, "datetime": "2026-01-02T03:04:05+00:00"}
        return json.dumps(told)

    monkeypatch.setattr(bench, "python", python)
    plan = replace(bench.QUICK, repeat=3)
    sized = []
    for nodes in (100, 10_000):
        path = tmp_path / f"{nodes}.roads"
        path.touch()
        sized.append(bench.Sized(nodes, str(nodes), path))

    def tables(**how: object) -> list[str]:
        keeper = bench.Keeper(tmp_path / "kept.json", **{"go_on": False, "only": None, **how})
        found: list[str] = bench.grown("a network", (("a", "A"), ("b", "B")), sized, plan, keeper)
        return found

    first = tables()
    assert runs == ["a", "a", "b", "b"]
    assert first[3:7] == [
        "| what | 100 | 10000 | exponent |",
        "| --- | --- | --- | --- |",
        "| A | 500 ms | 500 ms | 0.00 |",
        "| B | 500 ms | 500 ms | 0.00 |",
    ]
    assert tables(go_on=True) == first
    assert runs == ["a", "a", "b", "b"]
    assert tables(only=frozenset({"b"})) == first
    assert runs[4:] == ["b", "b"]
    kept = json.loads((tmp_path / "kept.json").read_text(encoding="utf-8"))
    assert {(one["at"], one["commit"]) for one in kept.values()} == {("2026-01-02 03:04", "0123456")}
    assert len(list((tmp_path / "runs").iterdir())) == 4
    monkeypatch.setitem(bench.MOST_NODES, "a", 1000)
    assert "| A | 500 ms | – |  |" in tables()


def test_road_files_of_another_schema_are_made_anew(roads: Path, tmp_path: Path) -> None:
    bench = _script("bench")
    assert bench.schema_of(roads) == bench.schema_wanted() == SCHEMA
    assert bench.nodes_of(roads) == 1500
    (tmp_path / "cut.roads").write_bytes(roads.read_bytes()[:5000])
    assert bench.schema_of(tmp_path / "cut.roads") is None


def test_the_developers_page_has_the_marks() -> None:
    bench = _script("bench")
    text = (SCRIPTS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert text.count(bench.BEGIN) == text.count(bench.END) == 1


def test_costs_are_compared_with_scipy_by_both_searches(roads: Path) -> None:
    script = _script("compare_costs")
    found = script.compare("small", open_road_file(roads), 60, 1)
    assert (found.pairs, found.coaches, found.wrong) == (60, 2, 0)
    assert 20 < found.joined <= 60


def test_costs_that_differ_are_told(
    roads: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    script = _script("compare_costs")
    best_way = script.best_way

    def dearer(*args: object, **kwargs: object) -> object:
        way = best_way(*args, **kwargs)
        return way and replace(way, cost=way.cost * (1 + 1e-8))

    monkeypatch.setattr(script, "best_way", dearer)
    monkeypatch.setattr(sys, "argv", ["compare_costs.py", "--pairs", "20", str(roads)])
    with pytest.raises(SystemExit) as ended:
        script.main()
    assert ended.value.code == 1
    told = capsys.readouterr()
    assert "1.0e-08" in told.out
    assert told.err.count(" not ") > 20


def test_processor_time_is_measured_without_what_waits() -> None:
    worked = _script("bench_tasks").worked
    begin = worked()
    time.sleep(0.2)
    assert 0 <= worked() - begin < 0.1
    begin = worked()
    subprocess.run([sys.executable, "-c", "sum(range(3_000_000))"], check=True)
    assert worked() - begin > 0.02


def test_tables_with_less_than_all_are_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page would lose what stands there."""
    bench = _script("bench")
    page = tmp_path / "page.md"
    page.write_text(f"{bench.BEGIN}\nold\n{bench.END}\n", encoding="utf-8")
    monkeypatch.setattr(bench, "PAGE", page)
    missing = {"crossings"}

    def compared(_plan: object, _inputs: object, keeper: Any) -> list[str]:
        keeper.missing |= missing
        return ["new"]

    monkeypatch.setattr(bench, "compared", compared)
    monkeypatch.setattr(bench, "growing", lambda *_: [])
    monkeypatch.setattr(bench, "machine", lambda _: "somewhere")
    monkeypatch.setattr(sys, "argv", ["bench", "--work", str(tmp_path), "--tables"])
    bench.main()
    assert "old" in page.read_text(encoding="utf-8")
    assert "crossings" in capsys.readouterr().err
    missing.clear()
    bench.main()
    assert "old" not in page.read_text(encoding="utf-8")
