"""The `clearance` command: a lazy group, and the one place that knows exit codes."""

from __future__ import annotations

import importlib
import os
import sys

import click

from clearance import __version__
from clearance.core.errors import ClearanceError, UsageError

__all__ = ["EXIT_BLOCKED", "cli", "main"]

EXIT_FAILURE = 1
EXIT_USAGE = 2
#: The work was done and the answer is that no drive fits the coach.
EXIT_BLOCKED = 3
EXIT_INTERRUPTED = 130

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

    Map data may be wrong or out of date. Posted signs and local rules win. Measure the loaded
    coach at its tallest point.
    """


def main() -> None:
    """Run the command line; every error becomes one line on stderr and an exit code."""
    try:
        code = cli.main(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.exceptions.Abort:
        click.echo("clearance: interrupted; nothing was written", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except KeyboardInterrupt:
        click.echo("clearance: interrupted; nothing was written", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except click.ClickException as error:
        error.show()
        sys.exit(EXIT_USAGE)
    except ClearanceError as error:
        click.echo(f"clearance: {error}", err=True)
        sys.exit(EXIT_USAGE if isinstance(error, UsageError) else EXIT_FAILURE)
    except BrokenPipeError:
        # The reader of our output has gone; there is nobody left to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_FAILURE)
    except Exception as error:
        if os.environ.get("CLEARANCE_DEBUG"):
            raise
        click.echo(
            f"clearance: a fault of the program itself: {type(error).__name__}: {error}. "
            "Set CLEARANCE_DEBUG=1 to see where, and report it.",
            err=True,
        )
        sys.exit(EXIT_FAILURE)
