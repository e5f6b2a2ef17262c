"""The folder of a run of many screenings: its journal is read again whatever a killed run left at its end."""

from __future__ import annotations

from pathlib import Path

import pytest

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.jobs import JobHome, JobRegion, Task
from clearance.core.lengths import Length
from clearance.workflow.screen_many import _Folder
from clearance.workflow.screen_task import TaskResult, made_by

TASKS = [
    Task(
        home=JobHome(name=f"Yard {i}", place="45,-40"),
        region=JobRegion(name="north", roads="north.roads", places="north.csv"),
        coaches=(Coach(height=Length(40000)),),
        unverified=Unverified.AVOID,
    )
    for i in range(3)
]
PRINTS = {task.name: f"print of {task.name}" for task in TASKS}


def done(folder: Path, task: Task) -> None:
    result = TaskResult(made_by=made_by(), table=task.name.encode(), clear=1)
    _Folder(folder).write(task, result, PRINTS[task.name])


def kept(folder: Path) -> list[str]:
    return sorted(_Folder(folder).kept(PRINTS))


@pytest.mark.parametrize("cut", [1, 2, 40, 200])
def test_half_a_line_loses_its_own_task_and_no_other(tmp_path: Path, cut: int) -> None:
    """What is noted after it begins a line of its own."""
    journal = tmp_path / "progress.jsonl"
    done(tmp_path, TASKS[0])
    done(tmp_path, TASKS[1])
    whole = journal.read_bytes()
    journal.write_bytes(whole[:-cut])
    expected = [TASKS[0].name] if cut > 1 else [TASKS[0].name, TASKS[1].name]
    assert kept(tmp_path) == expected
    done(tmp_path, TASKS[2])
    assert kept(tmp_path) == [*expected, TASKS[2].name]


@pytest.mark.parametrize(
    "line",
    [
        b"\xff\xfe half a character",
        b'{"task": "north/Yard 0", "fingerprint": "print of north/Yard 0", "done": {"region": 1}}',
        b'{"task": [], "fingerprint": "x", "done": {"region": "north", "home": "Yard 0"}}',
        b'{"task": "north/Yard 1", "fingerprint": "print of north/Yard 1", '
        b'"done": {"region": "north", "home": "Yard 1", "file": 5, "sha256": "x"}}',
        b"[" * 100_000,
        b"null",
    ],
)
def test_a_line_that_is_none_is_passed_over(tmp_path: Path, line: bytes) -> None:
    done(tmp_path, TASKS[0])
    with (tmp_path / "progress.jsonl").open("ab") as journal:
        journal.write(line + b"\n")
    assert kept(tmp_path) == [TASKS[0].name]


def test_a_file_that_has_changed_is_made_anew(tmp_path: Path) -> None:
    done(tmp_path, TASKS[0])
    (tmp_path / TASKS[0].name).with_suffix(".parquet").write_bytes(b"other")
    assert kept(tmp_path) == []
