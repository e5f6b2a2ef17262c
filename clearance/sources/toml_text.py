"""TOML as people write it; what is nested as no file of ours is refused before it costs time or memory."""

from __future__ import annotations

import re
import tomllib
from typing import Any

__all__ = ["parse_toml"]

#: Our files need three levels.
_DEEPEST = 30
#: The library takes time by the square of the parts of a dotted key.
_DOTTED = re.compile(
    rf"(?<![A-Za-z0-9_-])(?:(?:[A-Za-z0-9_-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{_DEEPEST}}}",
    re.ASCII,
)


def parse_toml(text: str) -> dict[str, Any]:
    """The table that a TOML text holds.

    Raises ValueError, with the line where there is one, where the text is no TOML or nested too deeply.
    """
    if found := _DOTTED.search(text):
        raise ValueError(f"nested too deeply (at line {text.count(chr(10), 0, found.start()) + 1})")
    try:
        table = tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    _check_depth(table)
    return table


def _check_depth(table: dict[str, Any]) -> None:
    """Raise ValueError where tables and lists lie deeper than whatever walks through them can follow."""
    level: list[object] = [table]
    for _ in range(_DEEPEST):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
        if not level:
            return
    if any(isinstance(inner, dict | list) for inner in level):
        raise ValueError("nested too deeply")
