"""What ran for a drive: the searches by name, what they looked at, and how long each stage took."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from time import perf_counter

from clearance.routing.ran import Ran, recording

__all__ = ["explained_text", "explaining"]

#: The stage of what belongs to no other.
_REST = "rest"


@contextmanager
def explaining() -> Iterator[Ran]:
    """Keep what runs inside, to be told with `explained_text`."""
    ran = Ran(clock=perf_counter)
    with recording(ran), ran.stage(_REST):
        yield ran


def explained_text(ran: Ran) -> str:
    """What ran, as lines for the terminal, once the work is done.

    Searches by the same engine share a line. Milliseconds of a stage leave out the stages inside it.
    """
    lines = [*dict.fromkeys(ran.notes)]
    kinds: dict[tuple[str, str], list[int]] = {}
    for search in ran.searches:
        kinds.setdefault((search.engine, search.unit), []).append(search.settled)
    for (engine, unit), settled in kinds.items():
        times = "1 search" if len(settled) == 1 else f"{len(settled)} searches"
        lines.append(f"{times} by {engine}: {sum(settled)} {unit}")
    if not kinds:
        lines.append("no search was needed")
    stages = sorted(ran.seconds, key=lambda name: name == _REST)
    told = [f"{name} {ran.seconds[name] * 1000:.1f}" for name in stages]
    whole = sum(ran.seconds.values()) * 1000
    lines.append(f"milliseconds: {', '.join(told)}; in all {whole:.1f}")
    return "".join(f"explain: {line}\n" for line in lines)
