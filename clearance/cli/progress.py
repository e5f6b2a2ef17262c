"""Progress of long work, shown on stderr when that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from click._termui_impl import ProgressBar

__all__ = ["progress_on_terminal"]


@contextmanager
def progress_on_terminal() -> Iterator[Callable[[str, int, int], None] | None]:
    """What to tell progress to: (what, steps finished, steps in all or 0). None off a terminal.

    Work of a known number of steps gets a bar, other work a line.
    """
    if not sys.stderr.isatty():
        yield None
        return
    bar: ProgressBar[int] | None = None
    shown = ""

    def tell(what: str, done: int, total: int) -> None:
        nonlocal bar, shown
        if what != shown:
            if bar is not None:
                bar.render_finish()
                bar = None
            if total:
                bar = click.progressbar(length=total, label=what, file=sys.stderr)
                bar.render_progress()
            else:
                click.echo(f"{what} ...", err=True)
            shown = what
        if bar is not None:
            bar.update(max(0, done - bar.pos))

    try:
        yield tell
    finally:
        if bar is not None:
            bar.render_finish()
