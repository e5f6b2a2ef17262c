"""clearance screen-many: many homes, coaches and regions, on one machine or many."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.progress import progress_on_terminal
from clearance.cli.record_options import records_from, records_options

__all__ = ["command"]


@click.command("screen-many")
@click.argument("jobs", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    metavar="FOLDER",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder of the results, a .parquet file for each home and region.",
)
@click.option("--cluster", metavar="ADDRESS", help="Run on the Dask scheduler there, tcp://host:8786.")
@click.option(
    "--local", metavar="N", type=click.IntRange(1, 1024), help="Run on N processes of this machine."
)
@records_options
def command(*, jobs: Path, output: Path, cluster: str | None, local: int | None, **given: Any) -> int:
    """Screen the homes of JOBS, a TOML file, in their regions, for all its coaches.

    \b
    JOBS:
      [[coach]]
      file = "tall.toml"
      [[home]]
      name = "North Yard"
      place = "45.0123,-40.0456"
      [[region]]
      name = "north"
      roads = "s3://bucket/north.roads"
      places = "north.csv"

    Without --cluster and --local the tasks run here, one after another; the results are the same, byte for
    byte. --cluster and --local need clearance[cluster]. Results that are there already and still hold are
    kept, so that a run that was cut short can be gone on with.
    """
    from clearance import workflow
    from clearance.cli.main import EXIT_FAILURE, EXIT_INTERRUPTED

    try:
        with progress_on_terminal() as progress:
            found = workflow.screen_many(
                jobs, output, cluster=cluster, local=local, records=records_from(given), progress=progress
            )
    except KeyboardInterrupt:
        click.echo(
            f"clearance: interrupted; what is done is kept in {output}, run it again to go on", err=True
        )
        return EXIT_INTERRUPTED
    click.echo(workflow.many_text(found), nl=False)
    click.echo(f"written: {output}", err=True)
    return EXIT_FAILURE if found.failed else 0
