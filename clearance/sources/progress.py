"""How a long reading tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress"]

#: Called with what is being done, how many steps of it are finished, and of how many (0: not known).
Progress = Callable[[str, int, int], None]
