"""Tasks run here one after another, on processes of this machine, or on a Dask cluster.

Whatever runs them, each task's result comes out once. A worker that is lost takes nothing along: its tasks
are given to others, by the scheduler as long as it will, then by us.
"""

from __future__ import annotations

import contextlib
import secrets
import tempfile
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from clearance.core.errors import DataUnavailableError, UsageError
from clearance.workflow.screen_task import TaskResult, made_by, run_task

if TYPE_CHECKING:
    from clearance.core.jobs import Task

__all__ = ["on_cluster", "on_processes", "one_by_one"]

#: How often a task is tried again where it raises, and where the workers that had it were lost.
_RETRIES = 2
_LOST_WORKERS = 5
_PATIENCE_S = 60.0
#: Tasks handed over at a time, for each thread of the cluster: enough that none waits for us.
_AHEAD = 4

Results = Iterator[tuple["Task", TaskResult]]


def one_by_one(tasks: Sequence[Task]) -> Results:
    """Each task in turn, in this process."""
    for task in tasks:
        for attempt in range(_RETRIES + 1):
            try:
                result = run_task(task)
                break
            except DataUnavailableError as error:
                if attempt == _RETRIES:
                    result = TaskResult(made_by=made_by(), failure=str(error))
        yield task, result


def on_processes(tasks: Sequence[Task], processes: int) -> Results:
    """The tasks on so many processes of this machine, in the order in which they are done.

    Raises UsageError where the packages for it are not installed.
    """
    distributed = _distributed()
    with (
        tempfile.TemporaryDirectory(prefix="clearance-dask-") as folder,
        distributed.LocalCluster(
            n_workers=processes,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
            local_directory=folder,
            silence_logs=50,
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        yield from _on(distributed, client, tasks)


def on_cluster(tasks: Sequence[Task], address: str) -> Results:
    """The tasks on the cluster of the scheduler at `address`, in the order in which they are done.

    Raises UsageError where the packages for it are not installed or the address is none,
    DataUnavailableError where the scheduler cannot be reached, has no workers or goes away.
    """
    distributed = _distributed()
    try:
        client = distributed.Client(address)
    except ValueError as error:
        raise UsageError(
            f"--cluster {address!r} is no address of a scheduler; write tcp://host:8786"
        ) from error
    except (OSError, TimeoutError) as error:
        raise DataUnavailableError(
            f"the scheduler at {address} cannot be reached; is it running (dask scheduler), and open to here?"
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except (OSError, TimeoutError) as error:
            raise DataUnavailableError(
                f"the scheduler at {address} has no workers; start some with dask worker {address}"
            ) from error
        yield from _on(distributed, client, tasks)


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise UsageError(
            "running on many processes or machines needs more packages; install clearance[cluster]"
        ) from None
    return distributed


def _on(distributed: Any, client: Any, tasks: Sequence[Task]) -> Results:
    """The tasks on a client's cluster, never more handed over than it can soon begin."""
    from concurrent.futures import CancelledError

    # Of one run: a scheduler remembers keys, and another client may have asked it the same.
    run = secrets.token_hex(8)
    left = iter(enumerate(tasks))
    running: dict[str, tuple[int, int]] = {}  # by key: the number of the task, and how often it was lost

    def hand_over(number: int, lost: int) -> Any:
        future = client.submit(
            run_task,
            tasks[number],
            key=f"{tasks[number].name}-{number}-{lost}-{run}",
            retries=_RETRIES,
            priority=-number,
            pure=False,
        )
        running[future.key] = number, lost
        return future

    ahead = max(8, _AHEAD * sum(client.nthreads().values()))
    waiting = distributed.as_completed([hand_over(n, 0) for n, _ in zip(range(ahead), left, strict=False)])
    try:
        for future in waiting:
            number, lost = running.pop(future.key)
            error = future.exception()
            if isinstance(error, distributed.scheduler.KilledWorker) and lost < _LOST_WORKERS:
                waiting.add(hand_over(number, lost + 1))
                continue
            if error is None:
                yield tasks[number], future.result()
            else:
                yield tasks[number], TaskResult(made_by=made_by(), failure=_why(error))
            future.release()
            following = next(left, None)
            if following is not None:
                waiting.add(hand_over(following[0], 0))
    except (CancelledError, OSError, TimeoutError) as error:
        raise DataUnavailableError(
            "the cluster went away; what is done is kept, run the same again to go on"
        ) from error
    finally:
        with contextlib.suppress(Exception):
            client.cancel(list(running))


def _why(error: BaseException) -> str:
    return str(error) if isinstance(error, DataUnavailableError) else f"{type(error).__name__}: {error}"
