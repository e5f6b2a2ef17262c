"""Many homes, coaches and regions screened, each result a file; a run that is cut short is gone on with."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance.core.errors import ClearanceError, OutputError, UsageError

if TYPE_CHECKING:
    from clearance.core.jobs import Task
    from clearance.sources.progress import Progress
    from clearance.workflow.screen_task import TaskResult

__all__ = ["ManyDone", "TaskDone", "many_text", "screen_many"]

_MANIFEST, _JOURNAL = "manifest.json", "progress.jsonl"
_FORMAT, _FORMAT_VERSION = "clearance screenings", 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskDone:
    """What became of one home in one region: its file in the folder of results, or why there is none.

    `kept` tells that it was there from a run before.
    """

    region: str
    home: str
    file: str = ""
    sha256: str = ""
    clear: int = 0
    care: int = 0
    blocked: int = 0
    problems: int = 0
    failure: str = ""
    kept: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyDone:
    """All tasks of a run in the order of its file."""

    output: Path
    tasks: tuple[TaskDone, ...]

    @property
    def failed(self) -> int:
        """How many of them have no result."""
        return sum(bool(task.failure) for task in self.tasks)


def screen_many(
    jobs: Path,
    output: Path,
    *,
    cluster: str | None = None,
    local: int | None = None,
    records: Path | None = None,
    progress: Progress | None = None,
) -> ManyDone:
    """Screen every home of the file `jobs` in its regions, and write a Parquet file for each into `output`.

    With `cluster` on the Dask scheduler at that address, with `local` on so many processes of this machine,
    else here, one after another; the files are the same, byte for byte. Each is written whole as soon as it
    is there, and ``manifest.json`` when all are. What a run before wrote for the same task, of the same
    files and with the same versions, is kept. Heights in the file `records` count as measured.

    A task that cannot be done is among the results, with the reason. Raises InputError for the jobs,
    DataUnavailableError where a cluster cannot be reached, OutputError where results cannot be written.
    """
    from clearance.sources.job_file import read_jobs
    from clearance.sources.records import read_records
    from clearance.workflow.cluster import on_cluster, on_processes, one_by_one

    if cluster is not None and local is not None:
        raise UsageError("--cluster and --local do not go together; leave out one of them")
    tasks = read_jobs(jobs).tasks(read_records(records) if records is not None else ())
    folder = _Folder(output)
    prints = {task.name: _fingerprint(task) for task in tasks}
    done = folder.kept(prints)
    left = [task for task in tasks if task.name not in done]

    def tell() -> None:
        if progress is not None:
            progress("screening", len(done), len(tasks))

    tell()
    if cluster is not None and left:
        results = on_cluster(left, cluster)
    elif local is not None and left:
        results = on_processes(left, local)
    else:
        results = one_by_one(left)
    for task, result in results:
        done[task.name] = folder.write(task, result, prints[task.name])
        tell()
    found = ManyDone(output=output, tasks=tuple(done[task.name] for task in tasks))
    folder.finish(found)
    return found


def _fingerprint(task: Task) -> str:
    """What a result hangs on; empty where that cannot be told from here, so that it is made anew."""
    from clearance.sources.shared_file import identity_of
    from clearance.workflow.screen_task import made_by

    try:
        files = [identity_of(place) for place in (task.region.roads, task.region.places)]
    except ClearanceError:
        return ""
    told = repr((made_by(), task, files))
    return hashlib.sha256(told.encode()).hexdigest()


class _Folder:
    """The folder of results, its journal and its manifest."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                f"{path}: cannot be made a folder ({error.strerror}); choose another"
            ) from error

    def kept(self, prints: dict[str, str]) -> dict[str, TaskDone]:
        """The results of runs before that are whole and still hold."""
        found: dict[str, TaskDone] = {}
        for line in self._journal():
            try:
                entry = json.loads(line)
                name, wanted = entry["task"], entry["fingerprint"]
                told = TaskDone(**entry["done"], kept=True)
                found.pop(name, None)
                if wanted and prints.get(name) == wanted and self._sha256(told.file) == told.sha256:
                    found[name] = told
            except (ValueError, KeyError, TypeError, RecursionError):
                continue  # a line that was being written when a run was killed
        return found

    def _journal(self) -> Iterable[str]:
        try:
            # The last line may end within a character.
            return (self._path / _JOURNAL).read_text(encoding="utf-8", errors="replace").splitlines()
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise OutputError(f"{self._path / _JOURNAL}: cannot be read ({error}); remove it") from error

    def _sha256(self, file: str) -> str:
        try:
            return hashlib.sha256((self._path / file).read_bytes()).hexdigest()
        except OSError:
            return ""

    def write(self, task: Task, result: TaskResult, fingerprint: str) -> TaskDone:
        """Write the file of a result, whole, and note it; returned is what became of the task.

        Raises UsageError where a worker of other versions made it: its bytes would not be ours.
        """
        from clearance.outputs.atomic import write_whole
        from clearance.workflow.screen_task import made_by

        told = TaskDone(region=task.region.name, home=task.home.name, failure=result.failure)
        if result.made_by != made_by():
            raise UsageError(
                f"a worker has {result.made_by}, but here is {made_by()}; install the same on all machines"
            )
        if result.failure:
            return told
        file = Path(task.region.name) / f"{task.home.name}.parquet"
        try:
            (self._path / file).parent.mkdir(exist_ok=True)
        except OSError as error:
            raise OutputError(f"{self._path / file}: its folder cannot be made ({error.strerror})") from error
        write_whole(self._path / file, result.table)
        told = replace(
            told,
            file=file.as_posix(),
            sha256=hashlib.sha256(result.table).hexdigest(),
            clear=result.clear,
            care=result.care,
            blocked=result.blocked,
            problems=result.problems,
        )
        noted = {k: v for k, v in asdict(told).items() if k != "kept"}
        self._note({"task": task.name, "fingerprint": fingerprint, "done": noted})
        return told

    def _note(self, entry: dict[str, Any]) -> None:
        path = self._path / _JOURNAL
        try:
            with path.open("ab+") as file:
                end = file.seek(0, os.SEEK_END)
                file.seek(max(end - 1, 0))
                # What a killed run left of a line stays a line of its own.
                begin = b"\n" if end and file.read(1) != b"\n" else b""
                file.write(begin + json.dumps(entry, ensure_ascii=False).encode() + b"\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise OutputError(f"{path}: cannot be written ({error.strerror}); is the disk full?") from error

    def finish(self, found: ManyDone) -> None:
        """Write the manifest: the files of the run with their digests, and what has none."""
        from clearance.outputs.atomic import write_whole

        manifest = {
            "format": _FORMAT,
            "format_version": _FORMAT_VERSION,
            "tasks": [{k: v for k, v in asdict(task).items() if k != "kept"} for task in found.tasks],
        }
        write_whole(self._path / _MANIFEST, json.dumps(manifest, ensure_ascii=False, indent=1) + "\n")


def many_text(found: ManyDone) -> str:
    """A line for each home and region, and what failed. Ends in a line end."""
    rows: Sequence[tuple[str, ...]] = [
        ("region", "home", "clear", "care", "blocked", "problems"),
        *(
            (t.region, t.home, *(str(n) for n in (t.clear, t.care, t.blocked, t.problems)))
            for t in found.tasks
            if not t.failure
        ),
    ]
    widths = [max(len(row[i]) for row in rows) for i in range(6)]
    lines = [
        "  ".join(
            [
                *(text.ljust(width) for text, width in zip(row[:2], widths[:2], strict=True)),
                *(text.rjust(width) for text, width in zip(row[2:], widths[2:], strict=True)),
            ]
        )
        for row in rows
    ]
    lines += [f"NOT DONE {t.region}, {t.home}: {t.failure}" for t in found.tasks if t.failure]
    kept = sum(task.kept for task in found.tasks)
    if kept:
        lines.append(f"{kept} of {len(found.tasks)} were there from before")
    return "\n".join(lines) + "\n"
