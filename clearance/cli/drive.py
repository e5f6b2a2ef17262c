"""clearance drive: a drive for a coach, checked structure by structure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import (
    coach_from,
    coach_options,
    departure_from,
    drive_options,
    explain_option,
    explained,
    tell_drive,
    wanted_outputs,
)
from clearance.cli.record_options import records_from, records_options
from clearance.core.coach import Coach
from clearance.core.errors import UsageError
from clearance.core.places import StopRequest

__all__ = ["command"]


@click.command("drive")
@click.argument("roads", type=click.Path(path_type=Path))
@click.option("--from", "start", metavar="PLACE", help="Where the drive begins.")
@click.option("--to", "end", metavar="PLACE", help="Where it ends.")
@click.option("--via", metavar="PLACE", multiple=True, help="A stop on the way; more than once, in order.")
@click.option(
    "--day",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="All places of the day in order from a .csv, .gpx or .geojson file, instead of --from, --via, --to.",
)
@click.option(
    "--stay",
    metavar="MIN",
    type=click.FloatRange(0, 1440),
    default=0.0,
    help="Minutes at each stop on the way.",
)
@click.option(
    "--reorder",
    is_flag=True,
    help="Put the stops between start and end in the best order (surely the best up to 10 of them).",
)
@click.option(
    "--along",
    metavar="KINDS",
    help="Facilities to list along the way: fuel,dump,camp,water,propane or some of them.",
)
@click.option(
    "--detour",
    metavar="MIN",
    type=click.FloatRange(0, 240),
    default=10.0,
    show_default=True,
    help="Longest detour to a facility, in minutes.",
)
@click.option(
    "--trade-offs",
    is_flag=True,
    help="List every drive that no other beats on both time and number of unverified structures.",
)
@click.option(
    "--at-most",
    metavar="N",
    type=click.IntRange(min=0),
    help="Of these, tell and write the quickest past no more than N unverified structures.",
)
@coach_options
@records_options
@drive_options
@explain_option
def command(
    *,
    roads: Path,
    start: str | None,
    end: str | None,
    via: tuple[str, ...],
    day: Path | None,
    stay: float,
    reorder: bool,
    along: str | None,
    detour: float,
    trade_offs: bool,
    at_most: int | None,
    explain: bool,
    **given: Any,
) -> int:
    """Plan a drive on ROADS, a file made by `clearance get`, and check everything over it.

    A PLACE is LAT,LON or a name from the map data. Lengths carry their unit: 12'10", 154in, 3.91m.

    \b
    Examples:
      clearance drive town.roads --from "Mill Street" --to 45.0,-40.1 --height "12'10\\"" -o day.geojson
      clearance drive town.roads --day stops.csv --coach coach.toml -o day.html -o day.pdf -o day.gpx
      clearance drive town.roads --from A --to B --coach coach.toml --trade-offs -o choices.geojson

    The exit code is 3 where no drive fits the coach; the files then tell what stands in the way.
    """
    from clearance import workflow

    coach = coach_from(given)
    assert coach is not None, "a height is needed here"
    if explain:
        click.get_current_context().with_resource(explained())
    if trade_offs or at_most is not None:
        if not (start and end) or via or day or reorder or along:
            raise UsageError("--trade-offs and --at-most are for one drive --from a place --to another alone")
        return _trade_offs(roads, (start, end), coach, at_most, given)
    wanted_outputs(given)
    departure = departure_from(given["depart"])
    if day is not None:
        if start or end or via:
            raise UsageError("--day names all the places; leave out --from, --to and --via")
        places: list[str | StopRequest] = list(workflow.read_day(day))
    elif start and end:
        places = [start, *via, end]
    else:
        raise UsageError("--from and --to are needed, or --day with a file of places")
    drive = workflow.plan_drive(
        roads,
        places,
        coach,
        unverified=given["unverified"],
        departure=departure,
        stay_min=stay,
        reorder=reorder,
        along=_kinds(along),
        detour_min=detour,
        records=records_from(given),
    )
    return tell_drive(drive, roads, given)


def _trade_offs(
    roads: Path, ends: tuple[str, str], coach: Coach, at_most: int | None, given: dict[str, Any]
) -> int:
    """Tell all trade-offs, or one of them as the drive that it is."""
    from clearance import workflow
    from clearance.cli.main import EXIT_BLOCKED

    if given["unverified"] != "avoid":
        raise UsageError("--trade-offs and --at-most count unverified structures; leave out --unverified")
    outputs = wanted_outputs(given)
    if at_most is None:
        workflow.check_trade_off_endings(outputs)
    found = workflow.plan_trade_offs(
        roads, *ends, coach, departure=departure_from(given["depart"]), records=records_from(given)
    )
    if found.blocked is not None:
        return tell_drive(found.blocked, roads, given)
    if at_most is not None:
        drive = found.at_most(at_most)
        if drive is not None:
            return tell_drive(drive, roads, given)
        click.echo(
            f"clearance: every drive passes more than {at_most} unverified; the fewest are "
            f"{found.choices[0].unverified}",
            err=True,
        )
        return EXIT_BLOCKED
    workflow.write_trade_offs(found, outputs, units=given["units"])
    if given["as_json"]:
        click.echo(workflow.trade_offs_json(found, units=given["units"]))
    else:
        click.echo(workflow.trade_offs_text(found, units=given["units"]), nl=False)
    for path in outputs:
        click.echo(f"written: {path}", err=True)
    return 0


def _kinds(text: str | None) -> list[str]:
    """The kinds of facilities in a list with commas; UsageError names the one that is none."""
    from clearance.core.facility import FacilityKind

    known = [str(kind) for kind in FacilityKind]
    asked = [word.strip().lower() for word in (text or "").split(",") if word.strip()]
    for word in asked:
        if word not in known:
            raise UsageError(f"--along {word!r} is no kind of facility; known are {','.join(known)}")
    return list(dict.fromkeys(asked))
