"""Work in processes of its own: a long job blocks nobody, and any job can be ended at once.

A thread looks after each process. It hands over one job at a time, notes progress, and kills the process
where the job is cancelled or takes too long; the next job then gets a new one. One process takes quick jobs
alone, so that whatever else is going on a drive is planned.
"""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import secrets
import signal
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from enum import StrEnum
from multiprocessing.connection import Connection
from typing import Any

from clearance.core.errors import ClearanceError

__all__ = ["BusyError", "Failure", "Job", "Jobs", "Progress", "State"]

Tell = Callable[[str, int, int], None]

#: How often a running job is asked whether it has been cancelled, and progress is passed on, in seconds.
_LOOK_S = 0.05
_TELL_S = 0.1


class BusyError(ClearanceError):
    """More jobs wait than the server takes."""


class State(StrEnum):
    """Where a job stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True)
class Progress:
    """What is being done; steps done of steps in all, 0 where their number is not known."""

    what: str = ""
    done: int = 0
    total: int = 0


@dataclass(frozen=True, slots=True)
class Failure:
    """Why a job failed: the name of the error's class (``fault`` for one of the program) and its message.

    `fields` are fields of a form with what is wrong with each, `choices` places that a name may mean.
    """

    kind: str
    message: str
    fields: dict[str, str] = field(default_factory=dict)
    choices: dict[str, list[dict[str, Any]]] = field(default_factory=dict)


class Job:
    """One piece of work. `result` and `failure` are set once `state` is final."""

    def __init__(
        self,
        task: Callable[..., Any],
        given: tuple[Any, ...],
        *,
        long: bool,
        limit_s: float,
        takes: int = 0,
    ) -> None:
        """A job that waits, under an id that cannot be guessed."""
        self.id = secrets.token_urlsafe(12)
        self.task, self.given, self.long, self.limit_s, self.takes = task, given, long, limit_s, takes
        self.state = State.WAITING
        self.progress = Progress()
        self.result: Any = None
        self.failure: Failure | None = None
        self.cancelled = threading.Event()
        self.finished: Future[None] = Future()
        #: What the pages note beside it; never sent to a process.
        self.note: dict[str, Any] = {}

    @property
    def over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in (State.DONE, State.FAILED, State.CANCELLED)

    async def wait(self, seconds: float) -> bool:
        """Wait until the job is over, at most so long; whether it is."""
        if self.over:
            return True
        loop, done = asyncio.get_running_loop(), asyncio.Event()

        def wake(_: object) -> None:
            # The server may have stopped meanwhile.
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(done.set)

        self.finished.add_done_callback(wake)
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(done.wait(), seconds)
        return self.over

    def end(self, state: State, *, result: Any = None, failure: Failure | None = None) -> None:
        """Note how the job ended and wake who waits for it."""
        self.result, self.failure, self.state = result, failure, state
        # Whatever was sent is needed no longer, and may be large.
        self.given = ()
        self.finished.set_result(None)


def _nothing(*, tell: Tell) -> None:
    """The task of a job that never runs."""


class Jobs:
    """The processes and their jobs. `setup` is called once in each process before its first job."""

    def __init__(
        self,
        *,
        workers: int = 2,
        most_waiting: int = 200,
        most_waiting_bytes: int = 256 << 20,
        most_kept: int = 200,
        most_kept_bytes: int = 256 << 20,
        setup: Callable[..., None] | None = None,
        setup_given: tuple[Any, ...] = (),
    ) -> None:
        """Start the processes; `close` ends them."""
        self._setup, self._setup_given = setup, setup_given
        self._most_waiting, self._most_waiting_bytes = most_waiting, most_waiting_bytes
        self._most_kept, self._most_kept_bytes = most_kept, most_kept_bytes
        self._quick: deque[Job] = deque()
        self._long: deque[Job] = deque()
        self._kept: OrderedDict[str, tuple[Job, int]] = OrderedDict()
        self._change = threading.Condition()
        self._closing = False
        # Fewer than two could not keep one free.
        self._threads = [
            threading.Thread(target=self._look_after, args=(n > 0,), name=f"jobs {n}", daemon=True)
            for n in range(max(2, workers))
        ]
        for thread in self._threads:
            thread.start()

    def start(
        self,
        task: Callable[..., Any],
        *given: Any,
        long: bool = False,
        limit_s: float = 60.0,
        keep: bool = False,
        takes: int = 0,
    ) -> Job:
        """Put a job in the queue: `task(*given, tell=...)`, a function that a new process can import.

        With `keep` the job can be asked for by its id for as long as there is room. `takes` are the bytes
        that `given` holds while it waits.
        Raises BusyError where too many, or too much, wait already.
        """
        job = Job(task, given, long=long, limit_s=limit_s, takes=takes)
        with self._change:
            queue = self._long if long else self._quick
            waiting = sum(other.takes for other in (*self._quick, *self._long))
            full = len(queue) >= self._most_waiting or waiting + takes > self._most_waiting_bytes
            if full or self._closing:
                raise BusyError("the server has too much to do; try again in a moment")
            queue.append(job)
            if keep:
                self._kept[job.id] = (job, 0)
                self._make_room()
            self._change.notify_all()
        return job

    def keep(self, result: Any) -> Job:
        """A job that is over already, for a result that came about in another one; `size` is its bytes."""
        job = Job(_nothing, (), long=False, limit_s=0.0)
        job.end(State.DONE, result=result)
        with self._change:
            self._kept[job.id] = (job, getattr(result, "size", 0))
            self._make_room()
        return job

    def get(self, ref: str) -> Job | None:
        """A job that was kept; None where it is unknown or had to make room."""
        with self._change:
            found = self._kept.get(ref)
            if found is None:
                return None
            self._kept.move_to_end(ref)
            return found[0]

    def weigh(self, job: Job, size: int) -> None:
        """Count the bytes that a kept job's result takes."""
        with self._change:
            if job.id in self._kept:
                self._kept[job.id] = (job, size)
                self._kept.move_to_end(job.id)
                self._make_room()

    def cancel(self, job: Job) -> None:
        """End a job: one that waits never starts, the process of one that runs is killed."""
        job.cancelled.set()
        with self._change:
            for queue in (self._quick, self._long):
                if job in queue:
                    queue.remove(job)
                    job.end(State.CANCELLED)

    def close(self) -> None:
        """End everything and wait until no process is left."""
        with self._change:
            self._closing = True
            for queue in (self._quick, self._long):
                while queue:
                    queue.popleft().end(State.CANCELLED)
            self._change.notify_all()
        for thread in self._threads:
            thread.join()

    def _make_room(self) -> None:
        def over() -> bool:
            return len(self._kept) > self._most_kept or (
                sum(size for _, size in self._kept.values()) > self._most_kept_bytes and len(self._kept) > 1
            )

        while over():
            oldest = next((ref for ref, (job, _) in self._kept.items() if job.over), None)
            if oldest is None:
                return
            del self._kept[oldest]

    def _next(self, takes_long: bool) -> Job | None:
        """The next job, quick ones first; None once the server closes."""
        with self._change:
            while True:
                if self._closing:
                    return None
                if self._quick:
                    return self._quick.popleft()
                if takes_long and self._long:
                    return self._long.popleft()
                self._change.wait()

    def _look_after(self, takes_long: bool) -> None:
        process = _Worker(self._setup, self._setup_given)
        try:
            while (job := self._next(takes_long)) is not None:
                if not process.alive:
                    process = _Worker(self._setup, self._setup_given)
                try:
                    self._run(job, process)
                except Exception as error:  # the thread must outlive any job
                    process.kill()
                    if not job.over:
                        job.end(State.FAILED, failure=Failure("fault", f"{type(error).__name__}: {error}"))
        finally:
            process.kill()

    def _run(self, job: Job, process: _Worker) -> None:
        if job.cancelled.is_set():
            job.end(State.CANCELLED)
            return
        job.state = State.RUNNING
        process.give(job)
        end = time.monotonic() + job.limit_s
        while True:
            if job.cancelled.is_set() or self._closing:
                process.kill()
                job.end(State.CANCELLED)
                return
            if time.monotonic() > end:
                process.kill()
                message = (
                    f"this took longer than {job.limit_s:.0f} seconds and was ended; ask for less at once"
                )
                job.end(State.FAILED, failure=Failure("TooLongError", message))
                return
            try:
                said = process.said()
            except (EOFError, OSError):
                process.kill()
                job.end(State.FAILED, failure=Failure("fault", "the process that worked on this ended"))
                return
            match said:
                case ("progress", what, done, total):
                    job.progress = Progress(what, done, total)
                case ("done", result):
                    job.end(State.DONE, result=result)
                    self.weigh(job, getattr(result, "size", 0))
                    return
                case ("failed", failure):
                    job.end(State.FAILED, failure=failure)
                    return


class _Worker:
    """A process and the near end of its pipe."""

    def __init__(self, setup: Callable[..., None] | None, given: tuple[Any, ...]) -> None:
        # A new interpreter shares no locks with the server's threads.
        context = multiprocessing.get_context("spawn")
        self._pipe, far = context.Pipe()
        self._process = context.Process(target=_work, args=(far, setup, given), daemon=True)
        self._process.start()
        far.close()

    @property
    def alive(self) -> bool:
        return self._process.is_alive()

    def give(self, job: Job) -> None:
        self._pipe.send((job.task, job.given))

    def said(self) -> Any:
        """What the process said next, None where it said nothing for a moment."""
        return self._pipe.recv() if self._pipe.poll(_LOOK_S) else None

    def kill(self) -> None:
        self._process.kill()
        self._process.join()
        self._pipe.close()


def _work(pipe: Connection, setup: Callable[..., None] | None, given: tuple[Any, ...]) -> None:
    """The life of a process: one job after another until the server is gone."""
    # Ctrl-C goes to every process of the terminal; the server decides when this one ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if setup is not None:
        # What goes wrong here goes wrong again in the job, where somebody can be told.
        with contextlib.suppress(Exception):
            setup(*given)
    while True:
        try:
            task, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        said = _outcome(task, arguments, _teller(pipe))
        try:
            pipe.send(said)
        except OSError:
            return
        except Exception as error:  # a result that cannot be sent
            pipe.send(("failed", Failure("fault", f"{type(error).__name__}: {error}")))


def _teller(pipe: Connection) -> Tell:
    last = 0.0

    def tell(what: str, done: int, total: int) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= _TELL_S or done == total:
            last = now
            with contextlib.suppress(OSError):
                pipe.send(("progress", what, done, total))

    return tell


def _outcome(task: Callable[..., Any], arguments: tuple[Any, ...], tell: Tell) -> tuple[str, Any]:
    try:
        return "done", task(*arguments, tell=tell)
    except ClearanceError as error:
        return "failed", Failure(
            type(error).__name__,
            str(error),
            getattr(error, "fields", {}),
            getattr(error, "choices", {}),
        )
    except Exception as error:  # the process must outlive any job
        return "failed", Failure("fault", f"{type(error).__name__}: {error}")
