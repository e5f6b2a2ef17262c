"""Every target of the fuzzing by name, for the bounded test and for the long run."""

from __future__ import annotations

from tests.fuzz import grammars, readers, roadfiles
from tests.fuzz.target import Target

__all__ = ["TARGETS"]

TARGETS: dict[str, Target] = {
    target.name: target for target in (*grammars.TARGETS, *readers.TARGETS, *roadfiles.TARGETS)
}
