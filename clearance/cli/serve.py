"""clearance serve: a local page for people who will not type commands."""

from __future__ import annotations

import secrets
from pathlib import Path

import click

from clearance.core.errors import UsageError

__all__ = ["command"]


@click.command("serve")
@click.argument("roads", type=click.Path(path_type=Path))
@click.option(
    "--coach",
    "coach_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Coach file that the forms begin with; `clearance coach new` writes one.",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8765, show_default=True, help="0: any free one."
)
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on. Any but the loopback needs a --token.",
)
@click.option(
    "--token",
    metavar="TEXT",
    default="",
    help="Let in only who has this token, 16 characters or more; new: make one and print it.",
)
@click.option(
    "--name", "names", metavar="NAME", multiple=True, help="Host name that the server is called by, if any."
)
@click.option(
    "--records",
    "records",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="File of heights seen (see `clearance record`). [default: records.sqlite in your data folder]",
)
@click.option("--no-records", is_flag=True, help="Count and keep no heights seen.")
def command(
    *,
    roads: Path,
    coach_file: Path | None,
    port: int,
    host: str,
    token: str,
    names: tuple[str, ...],
    records: Path | None,
    no_records: bool,
) -> None:
    """Open a page over ROADS at http://127.0.0.1:8765/ for planning, checking and looking up.

    Nothing leaves this machine: the page asks nobody but this server, and the server listens to this
    machine alone unless told otherwise. Ctrl-C ends it.

    \b
    Example:
      clearance serve town.roads --coach coach.toml
    """
    from clearance import workflow
    from clearance.web.server import serve
    from clearance.web.settings import Settings

    if no_records and records is not None:
        raise UsageError("--records names a file, --no-records wants none; leave one of them out")
    settings = Settings(
        roads=roads,
        coach=workflow.read_coach_file(coach_file) if coach_file is not None else None,
        host=host,
        port=port,
        token=secrets.token_urlsafe(24) if token == "new" else token,
        names=names,
        records=None if no_records else records or workflow.usual_records_file(),
    )
    serve(settings, lambda address: click.echo(f"open {address}  (Ctrl-C ends it)", err=True))
