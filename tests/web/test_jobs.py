"""Jobs in processes of their own: ended at once, never in each other's way, lost processes replaced."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from clearance.core.errors import PlaceError
from clearance.web.asked import WhereError
from clearance.web.jobs import BusyError, Job, Jobs, Progress, State

# --- tasks, importable by a new process ----------------------------------------------------------------


def add(a: int, b: int, *, tell: Any) -> int:
    return a + b


def sleep(seconds: float, *, tell: Any) -> str:
    time.sleep(seconds)
    return "slept"


def steps(*, tell: Any) -> int:
    for n in range(1, 4):
        tell("counting", n, 3)
        time.sleep(0.12)
    return os.getpid()


def die(*, tell: Any) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def lose(*, tell: Any) -> None:
    raise PlaceError("nowhere")


def misunderstand(*, tell: Any) -> None:
    raise WhereError({"from": "where?"}, {"from": [{"name": "here"}]})


def fault(*, tell: Any) -> None:
    raise RuntimeError("oops")


def unsendable(*, tell: Any) -> Any:
    return threading.Lock()


# --- tests ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def jobs() -> Iterator[Jobs]:
    made = Jobs(workers=2, most_waiting=3, most_kept=4)
    yield made
    made.close()


def over(job: Job, seconds: float = 20.0) -> Job:
    job.finished.result(timeout=seconds)
    return job


def test_a_job_gives_its_result(jobs: Jobs) -> None:
    job = over(jobs.start(add, 2, 3))
    assert (job.state, job.result, job.failure) == (State.DONE, 5, None)


def test_progress_is_passed_on(jobs: Jobs) -> None:
    job = jobs.start(steps)
    seen = set()
    while not job.over:
        seen.add(job.progress)
        time.sleep(0.01)
    assert Progress("counting", 2, 3) in seen
    assert job.progress == Progress("counting", 3, 3)


def test_errors_keep_their_meaning(jobs: Jobs) -> None:
    lost = over(jobs.start(lose)).failure
    assert lost is not None
    assert (lost.kind, lost.message) == ("PlaceError", "nowhere")
    asked = over(jobs.start(misunderstand)).failure
    assert asked is not None
    assert asked.fields == {"from": "where?"}
    assert asked.choices == {"from": [{"name": "here"}]}
    broken = over(jobs.start(fault))
    assert broken.state is State.FAILED
    assert broken.failure is not None
    assert (broken.failure.kind, broken.failure.message) == ("fault", "RuntimeError: oops")


def test_a_running_job_is_ended_at_once_and_the_next_one_runs(jobs: Jobs) -> None:
    job = jobs.start(sleep, 30.0)
    while job.state is not State.RUNNING:
        time.sleep(0.01)
    begun = time.monotonic()
    jobs.cancel(job)
    over(job, 3.0)
    assert str(job.state) == "cancelled"
    assert time.monotonic() - begun < 20.0  # not the 30 s of the job
    assert over(jobs.start(add, 1, 1)).result == 2


def test_a_waiting_job_that_is_cancelled_never_starts(jobs: Jobs) -> None:
    running = [jobs.start(sleep, 1.0), jobs.start(sleep, 1.0)]
    waiting = jobs.start(add, 1, 1)
    jobs.cancel(waiting)
    assert waiting.state is State.CANCELLED
    assert waiting.result is None
    for job in running:
        assert over(job).result == "slept"


def test_long_jobs_leave_one_process_to_the_quick_ones(jobs: Jobs) -> None:
    long = [jobs.start(sleep, 60.0, long=True) for _ in range(3)]
    # The process that takes one of them may still be starting, after what ran before.
    while all(job.state is State.WAITING for job in long):
        time.sleep(0.01)
    for n in range(5):
        assert over(jobs.start(add, n, 1)).result == n + 1
    assert [job.state for job in long].count(State.WAITING) == 2
    for job in long:
        jobs.cancel(job)
        over(job)


def test_a_job_that_takes_too_long_is_ended(jobs: Jobs) -> None:
    job = over(jobs.start(sleep, 30.0, limit_s=0.2))
    assert job.state is State.FAILED
    assert job.failure is not None
    assert job.failure.kind == "TooLongError"


def test_a_process_that_dies_fails_its_job_alone(jobs: Jobs) -> None:
    job = over(jobs.start(die))
    assert job.failure is not None
    assert job.failure.kind == "fault"
    assert over(jobs.start(add, 1, 2)).result == 3


def test_a_result_that_cannot_be_sent_is_a_fault(jobs: Jobs) -> None:
    job = over(jobs.start(unsendable))
    assert job.failure is not None
    assert job.failure.kind == "fault"
    assert over(jobs.start(add, 1, 2)).result == 3


def test_too_many_waiting_are_refused(jobs: Jobs) -> None:
    running = [jobs.start(sleep, 5.0), jobs.start(sleep, 5.0)]
    while any(job.state is State.WAITING for job in running):
        time.sleep(0.01)
    waiting = [jobs.start(add, 1, n) for n in range(3)]
    with pytest.raises(BusyError):
        jobs.start(add, 1, 1)
    for job in (*running, *waiting):
        jobs.cancel(job)
        over(job)


def test_kept_jobs_make_room_for_newer_ones_by_number_and_by_size(jobs: Jobs) -> None:
    kept = [over(jobs.start(add, n, 0, keep=True)) for n in range(4)]
    assert jobs.get(kept[0].id) is kept[0]
    newest = over(jobs.start(add, 4, 0, keep=True))
    # The first was asked for last, so that the second is the oldest.
    assert [jobs.get(job.id) for job in kept] == [kept[0], None, kept[2], kept[3]]
    jobs.weigh(newest, 1 << 40)
    assert [job for job in kept if jobs.get(job.id) is not None] == []
    assert jobs.get(newest.id) is newest
    assert jobs.get("never") is None


def test_ids_cannot_be_guessed(jobs: Jobs) -> None:
    ids = {jobs.keep(n).id for n in range(50)}
    assert len(ids) == 50
    assert min(map(len, ids)) >= 16


def test_closing_ends_what_runs_and_leaves_no_process() -> None:
    made = Jobs(workers=2)
    running, waiting = made.start(sleep, 60.0), made.start(sleep, 60.0, long=True)
    pid = over(made.start(steps)).result
    made.close()
    assert running.over
    assert waiting.over
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    with pytest.raises(BusyError):
        made.start(add, 1, 1)
