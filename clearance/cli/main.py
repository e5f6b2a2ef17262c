"""The `clearance` command: a lazy group, and the one place that knows exit codes."""

from __future__ import annotations

import errno
import importlib
import os
import signal
import sys
import traceback
from threading import Timer, current_thread, main_thread
from types import FrameType
from typing import NoReturn

import click

from clearance import __version__
from clearance.core.errors import ClearanceError, UsageError

__all__ = ["EXIT_BLOCKED", "cli", "main"]

EXIT_FAILURE = 1
EXIT_USAGE = 2
#: The work was done and the answer is that no drive fits the coach.
EXIT_BLOCKED = 3
EXIT_INTERRUPTED = 130

_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
#: After so many seconds Ctrl-C is tried again where it must not come yet.
_PATIENCE_S = 0.05
_NUMBA_CACHE = "numba/core/caching.py"

# Command -> (module, one line of help). Read without importing the module, so that --help is quick.
_COMMANDS = {
    "get": ("clearance.cli.get", "Make a road file from a place, a box or a local map file."),
    "drive": ("clearance.cli.drive", "Plan a drive for a coach and check everything over it."),
    "coach": ("clearance.cli.coach", "Write or show a coach file: what was measured on the coach."),
    "inspect": ("clearance.cli.inspect", "Check a line made elsewhere, and mend it where it is too low."),
    "screen": ("clearance.cli.screen", "Check many destinations there and back, for one coach or several."),
    "scout": ("clearance.cli.scout", "List the structures of unknown height to look at first."),
    "screen-many": ("clearance.cli.screen_many", "Screen many homes and regions, on one machine or many."),
    "serve": ("clearance.cli.serve", "Open a local page for people who will not type commands."),
    "record": ("clearance.cli.record", "Keep heights that you have seen yourself, and count them."),
    "evidence": ("clearance.cli.evidence", "Add heights from lists and inventories to a road file."),
    "structures": ("clearance.cli.structures", "List every structure over the roads of an area."),
}


class _LazyGroup(click.Group):
    """Imports a command only when it runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 click gives it
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        command = importlib.import_module(_COMMANDS[cmd_name][0]).command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in _COMMANDS.items()])


@click.command(
    cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(__version__, prog_name="clearance")
def cli() -> None:
    """Check a day's drive in a tall coach against every structure over or across the road.

    \b
    Exit codes: 0 done (clear, or with care)   1 failed
                2 the command was not understood   3 done: no drive fits the coach
                130 interrupted (Ctrl-C): no file is half written

    Map data may be wrong or out of date. Posted signs and local rules win. Measure the loaded
    coach at its tallest point.
    """


def main() -> None:
    """Run the command line; every error becomes one line on stderr and an exit code."""
    told = _listening()
    try:
        code = cli.main(standalone_mode=False)
        # What is still to be written is written here, where its failure can be told.
        sys.stdout.flush()
        sys.exit(code if isinstance(code, int) else 0)
    except (click.exceptions.Abort, KeyboardInterrupt) as error:
        # click takes the end of any file for the end of what is typed.
        if isinstance(error.__cause__, EOFError):
            _fail(error.__cause__)
        _interrupted()
    except click.ClickException as error:
        error.show()
        sys.exit(EXIT_USAGE)
    except ClearanceError as error:
        if told:
            _interrupted()
        click.echo(f"clearance: {error}", err=True)
        sys.exit(EXIT_USAGE if isinstance(error, UsageError) else EXIT_FAILURE)
    except BrokenPipeError:
        # The reader of our output has gone; there is nobody left to tell.
        _forget_stdout()
        sys.exit(EXIT_FAILURE)
    except Exception as error:
        if told:
            _interrupted()
        _fail(error)


def _listening() -> list[int]:
    """The signals of Ctrl-C from here on: libraries in C make another error of one, or none at all."""
    told: list[int] = []

    def interrupt(number: int, frame: FrameType | None) -> None:
        told.append(number)
        if _in_compiler(frame):
            again = Timer(_PATIENCE_S, signal.raise_signal, [number])
            again.daemon = True
            again.start()
            return
        signal.default_int_handler(number, frame)

    # Whoever is told not to listen (nohup), or is no main thread, does not.
    if current_thread() is main_thread() and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, interrupt)
    return told


def _in_compiler(frame: FrameType | None) -> bool:
    """Whether LLVM is at work: an exception in what it calls back is lost, and the process may crash."""
    while frame is not None:
        if "/llvmlite/" in frame.f_code.co_filename.replace("\\", "/"):
            return True
        frame = frame.f_back
    return False


def _interrupted() -> NoReturn:
    click.echo("clearance: interrupted; no file is half written", err=True)
    sys.exit(EXIT_INTERRUPTED)


def _fail(error: Exception) -> NoReturn:
    """Say what no part of the program foresaw, and whose fault it is."""
    if os.environ.get("CLEARANCE_DEBUG"):
        raise error
    if _from_numba_cache(error):
        where = os.environ.get("NUMBA_CACHE_DIR") or "the folders __pycache__ of the program"
        told = (
            f"searches that numba compiled and keeps cannot be loaded or kept ({error}); delete its files "
            f"(*.nbi, *.nbc) in {where}, or name a folder that you may write to in NUMBA_CACHE_DIR"
        )
    elif isinstance(error, OSError):
        _forget_stdout()
        told = _system_error(error)
    else:
        told = (
            f"a fault of the program itself: {type(error).__name__}: {error}. "
            "Set CLEARANCE_DEBUG=1 to see where, and report it."
        )
    click.echo(f"clearance: {told}", err=True)
    sys.exit(EXIT_FAILURE)


def _from_numba_cache(error: Exception) -> bool:
    """Whether an error came up where numba reads or writes what it compiled."""
    frames = traceback.walk_tb(error.__traceback__)
    return any(frame.f_code.co_filename.replace("\\", "/").endswith(_NUMBA_CACHE) for frame, _ in frames)


def _system_error(error: OSError) -> str:
    """What the system refused, of which file where it says so, and what to try."""
    told = error.strerror or str(error) or type(error).__name__
    if error.filename is not None:
        told = f"{str(error.filename)[:200]}: {told}"
    elif error.errno in _NO_ROOM:
        told = f"what this command prints, or keeps for a while, cannot be written: {told}"
    if error.errno in _NO_ROOM:
        return f"{told}; free some space, or choose another disk"
    if error.errno in (errno.EACCES, errno.EPERM):
        return f"{told}; check its permissions and those of its folder"
    return f"{told}; check the name and the disk; CLEARANCE_DEBUG=1 shows where it happened"


def _forget_stdout() -> None:
    """Let what cannot be printed go, so that the end of the program does not try again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
