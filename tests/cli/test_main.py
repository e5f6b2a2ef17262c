"""What no part of the program foresaw: one line that says whose fault it is, and the exit code."""

from __future__ import annotations

import errno
import signal
import sys

import click
import pytest

from clearance.cli import main as module


def ends(
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    program: str,
    name: str = "x.py",
    **known: object,
) -> tuple[object, str]:
    """How the command line ends where a command does so, as if it stood in a file of that name."""

    @click.command()
    def command() -> None:
        exec(compile(program, name, "exec"), {"errno": errno, "signal": signal, **known})

    monkeypatch.setattr(module, "cli", command)
    monkeypatch.setattr(sys, "argv", ["clearance"])
    monkeypatch.delenv("CLEARANCE_DEBUG", raising=False)
    before = signal.getsignal(signal.SIGINT)
    try:
        with pytest.raises(SystemExit) as end:
            module.main()
    finally:
        signal.signal(signal.SIGINT, before)
    said = capfd.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    return end.value.code, said.err.strip()


@pytest.mark.parametrize(
    ("program", "code", "said"),
    [
        ("raise RuntimeError('odd')", 1, "clearance: a fault of the program itself: RuntimeError: odd."),
        ("raise KeyboardInterrupt", 130, "clearance: interrupted; no file is half written"),
        (
            # As numpy does where Ctrl-C comes while it compares two arrays.
            "try: signal.raise_signal(signal.SIGINT)\nexcept BaseException: pass\nraise TypeError('arrays')",
            130,
            "clearance: interrupted; no file is half written",
        ),
        (
            "from clearance.core.errors import RoadFileError as E\n"
            "try: signal.raise_signal(signal.SIGINT)\n"
            "except BaseException: pass\nraise E('damaged')",
            130,
            "clearance: interrupted; no file is half written",
        ),
        (
            "raise OSError(errno.ENOSPC, 'No space left on device', '/disk/a')",
            1,
            "clearance: /disk/a: No space left on device; free some space",
        ),
        (
            "raise FileNotFoundError(errno.ENOENT, 'No usable temporary directory')",
            1,
            "clearance: No usable temporary directory; check the name",
        ),
        (
            "raise OSError(errno.EACCES, 'Permission denied', '/disk/a')",
            1,
            "clearance: /disk/a: Permission denied; check its permissions",
        ),
    ],
)
def test_errors_nobody_foresaw(
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    *,
    program: str,
    code: int,
    said: str,
) -> None:
    # What is printed is forgotten where there is no room for it: not the pipe of the tests.
    monkeypatch.setattr(module, "_forget_stdout", lambda: None)
    found, error = ends(monkeypatch, capfd, program)
    assert (found, error.startswith(said)) == (code, True), error
    assert len(error.splitlines()) == 1


def test_ctrl_c_waits_until_the_compiler_is_done(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """LLVM calls back, and what is raised there may crash the process."""
    inside = "signal.raise_signal(signal.SIGINT)\nwitness.append(1)"
    program = (
        "import time\n"
        f"exec(compile({inside!r}, '/lib/llvmlite/binding/executionengine.py', 'exec'))\n"
        "for _ in range(600): time.sleep(0.05)\n"
        "raise RuntimeError('never interrupted')"
    )
    witness: list[int] = []
    found = ends(monkeypatch, capfd, program, witness=witness)
    assert found == (130, "clearance: interrupted; no file is half written")
    assert witness == [1]


@pytest.mark.parametrize("error", ["EOFError()", "RuntimeError('no locator available')", "ValueError('cut')"])
def test_searches_that_are_kept_and_damaged(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], error: str
) -> None:
    """A power cut or a full disk leaves what numba keeps cut off; which folder to clear is said."""
    name = "/lib/numba/core/caching.py"
    code, said = ends(monkeypatch, capfd, f"raise {error}", name)
    assert code == 1
    assert "searches that numba compiled" in said
    assert "__pycache__" in said
    monkeypatch.setenv("NUMBA_CACHE_DIR", "/my/folder")
    assert "/my/folder" in ends(monkeypatch, capfd, f"raise {error}", name)[1]
