#!/usr/bin/env python3
"""Kills commands some hundred times and looks at what they leave behind; prints a table in Markdown.

    .venv/bin/python scripts/kill_test.py --kills 40

Each command of `tests/killing/trials.py` is killed (SIGKILL) so many times at any moment of its time, as many
times before any line of the code that writes files, half of them among the last lines, and as many times
interrupted (SIGINT). After each the trial says whether the old files stand, the new ones, or some of both,
each of them whole; anything else is a fault, told below the table, and ends with exit code 1. Afterwards
the command is run to its end, which must clear away what the killed have left.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.killing.nursery import Child, Nursery, nursery
from tests.killing.trials import (
    BOTH,
    NEW,
    OLD,
    Download,
    Evidence,
    Get,
    Record,
    Screen,
    ScreenMany,
    Trial,
)
from tests.sources.map_servers import full_town, map_servers

KINDS: tuple[type[Trial], ...] = (Get, Evidence, Record, Screen, ScreenMany, Download)
#: Among so many lines the file takes its name.
LAST_LINES = 30
#: How a process that was killed or interrupted may end; or it was done before.
ENDS = {
    "at any moment": {-signal.SIGKILL, 0, 3},
    "before any line that writes": {-signal.SIGKILL, 0, 3},
    "Ctrl-C at any moment": {-signal.SIGINT, 130, 0, 3},
}
COLUMNS = ("command", "killed", "times", "old stands", "new stands", "some new", "was done before", "faults")


def main() -> int:
    """Run the trials and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=40, help="of each command in each way [40]")
    parser.add_argument("--seed", type=int, default=1, help="of the moments [1]")
    parser.add_argument("--only", help="the one command to try")
    parser.add_argument("--work", type=Path, default=None, help="where to make files [the usual place]")
    given = parser.parse_args()
    chance = random.Random(given.seed)
    faults: list[str] = []
    begun, kills = time.monotonic(), 0
    print(f"| {' | '.join(COLUMNS)} |\n|{'---|' * len(COLUMNS)}", flush=True)
    with (
        tempfile.TemporaryDirectory(dir=given.work) as folder,
        map_servers(full_town()) as server,
        nursery(Path(folder)) as nest,
    ):
        Download.server, Get.large = server, True
        for kind in KINDS:
            if given.only not in (None, kind.name):
                continue
            home = Path(folder) / kind.__name__
            home.mkdir()
            trial = kind(home, nest)
            seconds, lines = measured(trial, nest)
            for way in ENDS:
                counts = Counter[str]()
                for _ in range(given.kills):
                    kill = killing(way, trial, nest, chance=chance, seconds=seconds, lines=lines)
                    one(trial, way, kill, counts, faults)
                kills += given.kills - counts["done"]
                numbers = [counts[each] for each in (OLD, NEW, BOTH, "done", "fault")]
                print(
                    f"| `{kind.name}` | {way} | {given.kills} | {' | '.join(map(str, numbers))} |", flush=True
                )
            clean(trial, nest, faults)
    minutes = (time.monotonic() - begun) / 60
    print(
        f"\n{kills} kills and interruptions in {minutes:.0f} minutes, {len(faults)} faults; seed {given.seed}"
    )
    for fault in faults:
        print(f"- {fault}")
    return 1 if faults else 0


def measured(trial: Trial, nest: Nursery) -> tuple[float, int]:
    """The median time of the command, in seconds, and the lines of code that writes which it runs."""
    times = []

    def look(child_said: str) -> None:
        trial.said = child_said
        trial.outcome()

    for turn in range(4):
        # Commands may take turns with two inputs: the lines are those of the turn that is killed first.
        if turn == 2:
            lines = nest.lines(*trial.arguments(), env=trial.env)
            look("")
        begin = time.monotonic()
        child = nest.run(*trial.arguments(), env=trial.env)
        times.append(time.monotonic() - begin)
        look(child.said())
    return statistics.median(times), lines


def killing(
    way: str, trial: Trial, nest: Nursery, *, chance: random.Random, seconds: float, lines: int
) -> Callable[[], Child]:
    """What starts the command and kills it at a moment of chance."""

    def kill() -> Child:
        if "line" in way:
            # Whoever clears away what others have left runs more lines, and has others at the end.
            for path in trial.left_over():
                Path(path).unlink()
            first = chance.choice((1, max(1, lines - LAST_LINES)))
            return nest.start(*trial.arguments(), env=trial.env, die_at=chance.randint(first, lines))
        child = nest.start(*trial.arguments(), env=trial.env)
        time.sleep(chance.uniform(0, seconds))
        child.kill(signal.SIGINT if "Ctrl-C" in way else signal.SIGKILL)
        return child

    return kill


def one(trial: Trial, way: str, kill: Callable[[], Child], counts: Counter[str], faults: list[str]) -> None:
    """One kill, and what is found afterwards."""
    child = kill()
    code = child.wait()
    trial.said = child.said()
    try:
        found = trial.outcome()
        trial.left_over()
        assert code in ENDS[way], f"exit code {code}, said {trial.said[-500:]!r}"
        assert "Traceback" not in trial.said, trial.said[-500:]
        assert "fault of the program" not in trial.said, trial.said[-500:]
    except Exception as error:
        counts["fault"] += 1
        faults.append(f"{trial.name}, {way}: {type(error).__name__}: {error}")
        print(faults[-1], file=sys.stderr, flush=True)
    else:
        counts["done" if code in (0, 3) else found] += 1


def clean(trial: Trial, nest: Nursery, faults: list[str]) -> None:
    """A run to the end clears away what is left of those that were killed, once it is old enough."""
    left = trial.left_over()
    for path in left:
        old = time.time() - 100_000
        os.utime(path, (old, old))
    nest.run(*trial.arguments(), env=trial.env)
    still = [path for path in left if Path(path).exists()]
    folders = {str(Path(path).parent) for path in still}
    # The folders of a download or of screenings that are over are written to no more.
    if still and not isinstance(trial, Download | ScreenMany):
        faults.append(f"{trial.name}: {len(still)} of {len(left)} parts are still there in {folders}")


if __name__ == "__main__":
    sys.exit(main())
