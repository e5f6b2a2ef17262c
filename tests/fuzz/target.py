"""What a target of the fuzzing is: inputs, and what must hold for each of them."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from hypothesis.strategies import SearchStrategy

from clearance.core.errors import ClearanceError

__all__ = ["Target", "refused", "run"]

T = TypeVar("T")
#: A message longer than this tells nobody anything.
_LONGEST_MESSAGE = 20_000


@dataclass(frozen=True, slots=True)
class Target:
    """A reader or grammar: `check` raises AssertionError where an input is not taken as it should be.

    `check` is given the input and an empty folder of its own. `few` is how many inputs the short test tries.
    """

    name: str
    inputs: Callable[[], SearchStrategy[Any]]
    check: Callable[[Any, Path], None]
    few: int = 40


def run(target: Target, value: object, folder: Path) -> None:
    """Try one input. Whatever is raised but an AssertionError of the check becomes one."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            target.check(value, folder)
        except AssertionError:
            raise
        # Faults in compiled code may come as what is no Exception.
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt | SystemExit):
                raise
            raise AssertionError(f"{type(error).__name__} escaped: {str(error)[:300]}") from error


def refused(read: Callable[[], T], *, names: str) -> T | None:
    """What `read` gives; None where it refuses with an error of this package that names `names`."""
    try:
        return read()
    except ClearanceError as error:
        message = str(error)
        assert names in message, f"the message does not name {names!r}: {message[:300]}"
        assert len(message) <= _LONGEST_MESSAGE, f"a message of {len(message)} characters"
        return None
