"""Progress is shown on a terminal and nowhere else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.test_commands import SAMPLE, run


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_progress_on_a_terminal(tmp_path: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "clearance", "get", str(SAMPLE), "-o", str(tmp_path / "p.roads")]
    done = subprocess.run(command, stdin=theirs, stdout=theirs, stderr=theirs, timeout=120, check=False)
    os.close(theirs)
    shown = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # the other side has gone
            break
        if not part:
            break
        shown += part
    os.close(ours)
    assert done.returncode == 0, shown
    assert b"reading ways" in shown
    assert b"100%" in shown
    assert b"finding structures" in shown


def test_no_progress_in_a_pipe(tmp_path: Path) -> None:
    done = run("get", SAMPLE, "-o", tmp_path / "p.roads")
    assert "reading" not in done.err
    assert "\x1b" not in done.err
