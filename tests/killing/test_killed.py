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


#: Moments are shares of the lines that write; -1 is the last of them, and comes first, before what the killed
#: leave behind makes them more.
@pytest.mark.parametrize(
    ("kind", "moments"),
    [
        (Get, (-1, 0.02, 0.5, 0.99)),
        (Evidence, (-1, 0.1, 0.99)),
        (Record, (-1, 0.2, 0.5, 0.6, 0.7, 0.8)),
        (Screen, (0.2, 0.9)),
        (ScreenMany, (0.5, 0.99)),
    ],
    ids=["get", "evidence add", "record add", "screen", "screen-many"],
)
def test_killed_while_it_writes(
    nest: Nursery, tmp_path: Path, kind: type[Trial], moments: tuple[float, ...]
) -> None:
    trial = kind(tmp_path, nest)
    lines = nest.lines(*trial.arguments(), env=trial.env)
    assert trial.outcome() == NEW
    if kind is Get:
        # It takes turns with two maps.
        nest.run(*trial.arguments(), env=trial.env)
        assert trial.outcome() == NEW
    found = []
    for moment in moments:
        die_at = round(moment * lines) if moment > 0 else lines
        child = nest.start(*trial.arguments(), env=trial.env, die_at=die_at)
        assert child.wait() == -signal.SIGKILL, child.said()
        trial.said = child.said()
        found.append(trial.outcome())
    assert OLD in found
    assert -1 not in moments or found[0] == NEW
    # Whoever writes there next clears away what the killed have left.
    long_ago = time.time() - 120
    for path in trial.left_over():
        os.utime(path, (long_ago, long_ago))
    child = nest.run(*trial.arguments(), env=trial.env)
    trial.said = child.said()
    assert trial.outcome() == NEW
    assert trial.left_over() == []
