"""What ran: which searches, how many states they settled, and how long each stage took.

Nothing is kept unless someone asks, with `recording`. The clock is the asker's: this room has none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

__all__ = ["Ran", "Searched", "is_recorded", "noted", "recording", "searched", "stage"]


@dataclass(frozen=True, slots=True)
class Searched:
    """One search: by which engine, and how many states it made final, or what `unit` says it counts."""

    engine: str
    settled: int
    unit: str = "states settled"


@dataclass(slots=True)
class Ran:
    """Seconds by stage, each without the stages inside it, the searches in order, and what else was told."""

    clock: Callable[[], float]
    seconds: dict[str, float] = field(default_factory=dict)
    searches: list[Searched] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    _stages: list[str] = field(default_factory=list)
    _since: float = 0.0

    def _spent(self) -> None:
        """Give the time since the last change of stage to the one that ran."""
        now = self.clock()
        if self._stages:
            name = self._stages[-1]
            self.seconds[name] = self.seconds.get(name, 0.0) + now - self._since
        self._since = now

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Count what happens inside as the stage `name`, and no longer as the one around it."""
        self._spent()
        self._stages.append(name)
        try:
            yield
        finally:
            self._spent()
            self._stages.pop()


_RAN: ContextVar[Ran | None] = ContextVar("clearance_ran", default=None)


@contextmanager
def recording(ran: Ran) -> Iterator[None]:
    """Keep in `ran` what runs inside."""
    token = _RAN.set(ran)
    try:
        yield
    finally:
        _RAN.reset(token)


@contextmanager
def stage(name: str) -> Iterator[None]:
    """Count what happens inside as the stage `name`, where somebody records; a decorator as well."""
    ran = _RAN.get()
    if ran is None:
        yield
    else:
        with ran.stage(name):
            yield


def is_recorded() -> bool:
    """Whether somebody records, so that counting is worth its while."""
    return _RAN.get() is not None


def searched(engine: str, settled: int, unit: str = "states settled") -> None:
    """Tell of a search that is done; see `Searched`."""
    ran = _RAN.get()
    if ran is not None:
        ran.searches.append(Searched(engine, settled, unit))


def noted(text: str) -> None:
    """Tell of something else that bears on what ran."""
    ran = _RAN.get()
    if ran is not None:
        ran.notes.append(text)
