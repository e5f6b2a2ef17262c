"""Measures one task of scripts/bench_tasks.py with pytest-benchmark, in a process of its own.

    .venv/bin/python scripts/bench_run.py TASK ENGINE INPUT [--repeat N] [--cpu]

prints pytest-benchmark's own JSON of it, with the most memory that was held (`peak_mib`) and the figure to
compare engines by (`told`).
"""

from __future__ import annotations

import argparse
import io
import os
import sys
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest
from bench_tasks import TASKS, Rounds, peak_mib, searched, worked

ROOT = Path(__file__).resolve().parent.parent
#: The task that is measured by what the program itself tells of its searches.
SEARCHES = "screen searches"


@dataclass(frozen=True)
class Asked:
    """What is to be measured, and how."""

    task: str
    engine: str
    path: Path
    repeat: int
    cpu: bool

    def pytest_generate_tests(self, metafunc: pytest.Metafunc) -> None:
        """Hand it to the test, under a name that tells one measurement from another."""
        metafunc.parametrize("asked", [self], ids=[f"{self.task}, {self.engine}, {self.path.name}"])


def measured(benchmark: Any, asked: Asked) -> None:
    """Have the task measured."""
    benchmark.group = f"{asked.task}, {asked.path.name}"
    rounds = Rounds(benchmark.pedantic, asked.repeat, worked if asked.cpu else perf_counter)
    told = TASKS[asked.task, asked.engine](asked.path, rounds)
    benchmark.extra_info.update(told=told, peak_mib=peak_mib(asked.task))


def test_task(benchmark: Any, asked: Asked) -> None:
    """By the clock, or by the work of processors."""
    measured(benchmark, asked)


@pytest.mark.benchmark(timer=searched)
def test_searches(benchmark: Any, asked: Asked) -> None:
    """By the seconds that searches took."""
    measured(benchmark, asked)


def main() -> None:
    """Measure what is asked for and print what pytest-benchmark tells; its talk only where that fails."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("task", choices=sorted({task for task, _ in TASKS}))
    parser.add_argument("engine", choices=sorted({engine for _, engine in TASKS}))
    parser.add_argument("path", type=Path)
    parser.add_argument("--repeat", type=int, default=1, help="rounds")
    parser.add_argument("--cpu", action="store_true", help="processor time in place of wall time")
    asked = Asked(**vars(parser.parse_args()))
    # A worker of a parallel run of tests measures nothing, and tells so to whatever it starts.
    for name in [name for name in os.environ if name.startswith("PYTEST_")]:
        del os.environ[name]
    # Other plugins take memory and time; those of the tests are not for here.
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    test = test_searches if asked.task == SEARCHES else test_task
    talk = io.StringIO()
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder) / "told.json"
        with redirect_stdout(talk), redirect_stderr(talk):
            code = pytest.main(
                [
                    f"{Path(__file__).resolve()}::{test.__name__}",
                    *("-c", os.devnull, f"--rootdir={ROOT}", "-p", "no:cacheprovider"),
                    *("-p", "pytest_benchmark.plugin", f"--benchmark-json={told}"),
                    f"--benchmark-timer={'bench_tasks.worked' if asked.cpu else 'time.perf_counter'}",
                ],
                plugins=[asked],
            )
        if code or not told.exists():
            sys.exit(f"{talk.getvalue()}\n{asked} could not be measured")
        print(told.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
