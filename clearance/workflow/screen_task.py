"""One home in one region, screened: what a worker does, wherever it runs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from clearance import __version__
from clearance.core.errors import ClearanceError, DataUnavailableError

if TYPE_CHECKING:
    from clearance.core.jobs import Task

__all__ = ["TaskResult", "made_by", "run_task"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskResult:
    """The table of a task as Parquet bytes, and its sums; or why there is none.

    `made_by` names the versions that bytes hang on. `failure` is empty where the task was done.
    """

    made_by: str
    table: bytes = b""
    clear: int = 0
    care: int = 0
    blocked: int = 0
    problems: int = 0
    failure: str = ""


def made_by() -> str:
    """The versions of this program and of what writes and computes, by which equal tasks give equal bytes."""
    from importlib.metadata import version

    libraries = ", ".join(f"{name} {version(name)}" for name in ("numba", "numpy", "pyarrow"))
    return f"clearance {__version__}, {libraries}"


def run_task(task: Task) -> TaskResult:
    """Screen the destinations of a region from one home, for all coaches.

    What is wrong with the task itself (no such file, home in another region) is told in the result: another
    worker would fare no better. All else, such as a storage that does not answer, is raised, for the task to
    be tried again.
    """
    try:
        return _done(task)
    except DataUnavailableError:
        raise
    except ClearanceError as error:
        return TaskResult(made_by=made_by(), failure=str(error))


def _done(task: Task) -> TaskResult:
    from clearance.assess.records import with_records
    from clearance.assess.screen import screen
    from clearance.core.drive import Verdict
    from clearance.core.place_text import find_place
    from clearance.core.screening import SortBy
    from clearance.outputs.screen_parquet import screen_parquet
    from clearance.sources.shared_file import local_file
    from clearance.workflow.destinations import read_destinations
    from clearance.workflow.opened import opened

    counted = with_records(opened(local_file(task.region.roads)).network, task.records)
    network = counted.network
    home = find_place(task.home.place, network.places)
    destinations, unread, notes = read_destinations(network, local_file(task.region.places))
    found = screen(
        network,
        task.coaches,
        home,
        destinations,
        unverified=task.unverified,
        sort_by=SortBy.LIST,
    )
    found = replace(
        found,
        problems=(*unread, *found.problems),
        notes=(*notes, *found.notes, *counted.notes),
    )
    verdicts = [row.verdict for row in found.rows]
    return TaskResult(
        made_by=made_by(),
        table=screen_parquet(found, region=task.region.name, home=task.home.name),
        clear=verdicts.count(Verdict.CLEAR),
        care=verdicts.count(Verdict.CARE),
        blocked=verdicts.count(Verdict.BLOCKED),
        problems=len(found.problems),
    )
