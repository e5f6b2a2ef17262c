"""Progress of long work, shown on stderr when that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click

__all__ = ["progress_on_terminal"]


@contextmanager
def progress_on_terminal() -> Iterator[Callable[[str, int, int], None] | None]:
    """What to tell progress to: (what, steps finished, steps in all or 0). None off a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    bar: Any = None
    shown = ""

    def tell(what: str, done: int, total: int) -> None:
        nonlocal bar, shown
        if what != shown:
            if bar is not None:
                bar.render_finish()
            bar = click.progressbar(length=total or None, label=what, file=sys.stderr)
            bar.render_progress()
            shown = what
        if bar is not None and total:
            bar.update(max(0, done - bar.pos))

    try:
        yield tell
    finally:
        if bar is not None:
            bar.render_finish()
