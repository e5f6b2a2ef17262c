"""What the server keeps while it runs."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from starlette.requests import Request

from clearance import workflow
from clearance.web.jobs import Job
from clearance.web.work import Files

if TYPE_CHECKING:
    from clearance.web.jobs import Jobs
    from clearance.web.settings import Settings
    from clearance.workflow import AreaInfo

__all__ = ["State", "finished", "state_of"]

#: How often it is looked whether somebody still waits for the answer, in seconds.
_LOOK_S = 0.25


class State:
    """Settings and processes of one server."""

    jobs: Jobs

    def __init__(self, settings: Settings) -> None:
        """Keep `settings`; the processes come when the server starts."""
        self.settings = settings
        self.files = Files(settings.roads, settings.records)
        self._about: tuple[tuple[int, int], AreaInfo] | None = None

    @property
    def area(self) -> AreaInfo:
        """What the road file holds now. Raises RoadFileError where it has gone or is none."""
        found = self.settings.roads.stat() if self.settings.roads.exists() else None
        mark = (found.st_mtime_ns, found.st_ino) if found is not None else (0, 0)
        if self._about is None or self._about[0] != mark:
            self._about = (mark, workflow.about_area(self.settings.roads))
        return self._about[1]

    def quick(self, task: Callable[..., Any], *given: Any, keep: bool = False, takes: int = 0) -> Job:
        """A job that somebody waits for; `takes` are the bytes of files among `given`."""
        limit = self.settings.limits.quick_s
        return self.jobs.start(task, self.files, *given, limit_s=limit, keep=keep, takes=takes)

    def long(self, task: Callable[..., Any], *given: Any, takes: int) -> Job:
        """A job that is looked after later; `takes` are the bytes of files among `given`."""
        limit = self.settings.limits.long_s
        return self.jobs.start(task, self.files, *given, long=True, limit_s=limit, keep=True, takes=takes)


def state_of(request: Request) -> State:
    """The state of the server that a request came to."""
    state = request.app.state.own
    assert isinstance(state, State)
    return state


async def finished(request: Request, job: Job) -> bool:
    """Wait for a job while somebody waits for its answer; where nobody does, end it and return False."""
    while not await job.wait(_LOOK_S):
        if await request.is_disconnected():
            state_of(request).jobs.cancel(job)
            await asyncio.sleep(0)
            return False
    return True
