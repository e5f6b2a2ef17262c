"""kill -9 leaves the old file or the new one and loses no record.

Each command dies before chosen lines of the code that writes, so that every run of the tests kills at the
same moments; `scripts/kill_test` kills some hundred times, at any line and at any moment of time.
"""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest

from tests.killing.nursery import Nursery
from tests.killing.trials import NEW, OLD, Evidence, Get, Record, Screen, ScreenMany, Trial


@pytest.mark.parametrize(
    ("kind", "moments"),
    [
        (Get, (0.02, 0.5, 0.998, 0.9995)),
        (Evidence, (0.1, 0.99, 0.9998)),
        (Record, (0.2, 0.5, 0.6, 0.7, 0.8, 0.9)),
        (Screen, (0.2, 0.9)),
        (ScreenMany, (0.5, 0.999)),
    ],
    ids=["get", "evidence add", "record add", "screen", "screen-many"],
)
def test_killed_while_it_writes(
    nest: Nursery, tmp_path: Path, kind: type[Trial], moments: tuple[float, ...]
) -> None:
    trial = kind(tmp_path, nest)
    lines = nest.lines(*trial.arguments(), env=trial.env)
    assert trial.outcome() == NEW
    found = []
    for moment in moments:
        child = nest.start(*trial.arguments(), env=trial.env, die_at=round(moment * lines))
        assert child.wait() == -signal.SIGKILL, child.said()
        trial.said = child.said()
        found.append(trial.outcome())
    assert OLD in found
    # Whoever writes there next clears away what the killed have left.
    long_ago = time.time() - 120
    for path in trial.left_over():
        os.utime(path, (long_ago, long_ago))
    child = nest.run(*trial.arguments(), env=trial.env)
    trial.said = child.said()
    assert trial.outcome() == NEW
    assert trial.left_over() == []
