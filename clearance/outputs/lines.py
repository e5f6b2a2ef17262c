"""Texts in lines for a terminal of 80 columns."""

from __future__ import annotations

import textwrap

__all__ = ["WIDTH", "wrapped"]

WIDTH = 80


def wrapped(text: str, first: str = "") -> list[str]:
    """The text in lines; `first` stands before the first line, the others keep its room.

    No line is longer than `WIDTH` unless one word is.
    """
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first),
        break_long_words=False,
        break_on_hyphens=False,
    )
