"""Options shared by commands, and how their texts become values."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from clearance.core.coach import Coach
from clearance.core.departure import parse_departure
from clearance.core.drive import Drive
from clearance.core.errors import UsageError
from clearance.core.lengths import Length, parse_measure
from clearance.core.weights import parse_own_weight

__all__ = [
    "HOW_TO_MEASURE",
    "coach_from",
    "coach_options",
    "coaches_from",
    "coaches_options",
    "departure_from",
    "drive_options",
    "explain_option",
    "explained",
    "outputs_option",
    "tell_drive",
    "units_option",
    "wanted_outputs",
]

F = TypeVar("F", bound=Callable[..., Any])

HOW_TO_MEASURE = (
    "How to measure: load the coach as for the trip, tyres at travel pressure, antenna and dish down, on "
    "level ground. Lay a straight board across the highest fitting (air conditioner, vent, dome) and measure "
    "from the ground to its underside. Write the figure with its unit: --height 12'10\" or --height 3.91m."
)

_COACH = (
    click.option(
        "--coach",
        "coach_file",
        metavar="FILE",
        type=click.Path(path_type=Path),
        help="Coach file (see `clearance coach new`); each option below overrides what it says.",
    ),
    click.option("--height", metavar="LENGTH", help="Measured height of the loaded coach: 12'10\", 3.91m."),
    click.option(
        "--margin",
        metavar="LENGTH",
        help="Air to keep above the coach. [default: 6in, common practice]",
    ),
    click.option(
        "--comfort",
        metavar="LENGTH",
        help="Clearance you would rather have. [default: 14ft, common practice]",
    ),
    click.option("--width", metavar="LENGTH", help="Width with mirrors folded out; unset: not checked."),
    click.option("--length", metavar="LENGTH", help="Length with whatever is towed; unset: not checked."),
    click.option("--weight", metavar="WEIGHT", help="Weight as loaded: 12t, 26000lbs; unset: not checked."),
    click.option("--towing/--no-towing", default=None, help="A car or trailer is towed. [default: no]"),
    click.option(
        "--propane/--no-propane", default=None, help="Propane is aboard. [default: yes, the safe side]"
    ),
)


def coach_options(command: F) -> F:
    """Add the options that describe the coach."""
    for option in reversed(_COACH):
        command = option(command)
    return command


def coaches_options(command: F) -> F:
    """Add the options that describe several coaches by their files, or one."""
    for option in reversed(_COACH[1:]):
        command = option(command)
    return click.option(
        "--coach",
        "coach_files",
        metavar="FILE",
        multiple=True,
        type=click.Path(path_type=Path),
        help="Coach file (see `clearance coach new`), more than once for several coaches; each option below "
        "overrides what they say.",
    )(command)


def outputs_option(formats: str) -> Callable[[F], F]:
    """Add -o for files to write; `formats` tells the endings."""
    return click.option(
        "-o",
        "--output",
        "outputs",
        metavar="FILE",
        multiple=True,
        type=click.Path(path_type=Path),
        help=f"File to write, more than once if wanted: {formats}",
    )


_RESULT = (
    click.option(
        "--unverified",
        type=click.Choice(["avoid", "accept", "refuse"]),
        default="avoid",
        show_default=True,
        help="Structures with no known height: take a detour of up to 15 min for each, take them as they "
        "come, or never drive under one.",
    ),
    click.option(
        "--depart",
        metavar="TIME",
        help="Local time of departure, 2027-07-04T08:30; hours in the map count by it.",
    ),
    outputs_option(".geojson, .gpx, .csv, .html (a page with a map), .pdf (a sheet to print)."),
    click.option(
        "--csv", metavar="FILE", type=click.Path(path_type=Path), help="Table of flagged structures."
    ),
    click.option(
        "--paper",
        type=click.Choice(["a4", "letter"]),
        default="a4",
        show_default=True,
        help="Paper of the sheet.",
    ),
    click.option(
        "--tiles",
        metavar="URL",
        help="Draw tiles of this server under the page's map, https://host/{z}/{x}/{y}.png. Without it "
        "the page asks nobody for anything.",
    ),
    click.option("--json", "as_json", is_flag=True, help="Print the drive as JSON instead of a summary."),
)


def drive_options(command: F) -> F:
    """Add what a drive is judged by, and where it goes."""
    for option in reversed(_RESULT):
        command = option(command)
    return units_option(command)


def tell_drive(drive: Drive, roads: Path, given: dict[str, Any]) -> int:
    """Write the files asked for, print the drive, and return the exit code."""
    from clearance import workflow
    from clearance.cli.main import EXIT_BLOCKED

    outputs = wanted_outputs(given)
    workflow.write_drive(
        drive, outputs, units=given["units"], roads=roads, paper=given["paper"], tiles=given["tiles"]
    )
    if given["as_json"]:
        click.echo(workflow.drive_json(drive, units=given["units"]))
    else:
        click.echo(workflow.drive_text(drive, units=given["units"]), nl=False)
    for path in outputs:
        click.echo(f"written: {path}", err=True)
    return EXIT_BLOCKED if drive.verdict.value == "blocked" else 0


def wanted_outputs(given: dict[str, Any]) -> list[Path]:
    """The files to write; UsageError, before any work, where an ending names no format."""
    from clearance import workflow

    outputs = [*given["outputs"], *filter(None, [given["csv"]])]
    workflow.check_drive_endings(outputs)
    return outputs


def units_option(command: F) -> F:
    """Add the choice of units for what is shown."""
    return click.option(
        "--units",
        type=click.Choice(["feet", "metres", "both"]),
        default="feet",
        show_default=True,
        help="Units of what is shown; files carry both.",
    )(command)


def explain_option(command: F) -> F:
    """Add the wish to be told what ran, see `explained`."""
    return click.option(
        "--explain",
        is_flag=True,
        help="Tell on stderr which searches ran, what they looked at, and the milliseconds of each stage.",
    )(command)


@contextmanager
def explained() -> Iterator[None]:
    """Tell on stderr what ran inside, however it ends."""
    from clearance import workflow

    try:
        with workflow.explaining() as ran:
            yield
    finally:
        click.echo(workflow.explained_text(ran), nl=False, err=True)


def _length(name: str, text: str | None, *, zero: bool = False) -> Length | None:
    if text is None:
        return None
    return parse_measure(text, what=f"--{name}", zero=zero)


def coach_from(given: dict[str, Any], *, height_needed: bool = True) -> Coach | None:
    """The coach that a coach file and the options describe; None where neither tells a height.

    An option overrides the file. Without a height, and where one is needed, UsageError tells how to
    measure. Raises UsageError naming the option, its text and what to try; InputError for the file.
    """
    height = _length("height", given["height"])
    if given.get("coach_file") is not None:
        from clearance import workflow

        coach = workflow.read_coach_file(given["coach_file"])
        if height is not None:
            coach = replace(coach, height=height, height_at="")
    elif height is not None:
        coach = Coach(height=height)
    elif height_needed:
        raise UsageError(
            "--height or --coach is needed: there is no default, a guess could kill. " + HOW_TO_MEASURE
        )
    else:
        return None
    measures = {
        "margin": _length("margin", given["margin"], zero=True),
        "comfort": _length("comfort", given["comfort"]),
        "width": _length("width", given["width"]),
    }
    told: dict[str, Any] = {name: value for name, value in measures.items() if value is not None}
    if given["weight"] is not None:
        told["weight_kg"] = parse_own_weight(given["weight"], what="--weight")
    if given["propane"] is not None:
        told["propane"] = given["propane"]
    return _towed(replace(coach, **told), given["towing"], _length("length", given["length"]))


def coaches_from(given: dict[str, Any]) -> list[Coach]:
    """The coaches that coach files and the options describe; a file without a name goes by its own.

    Raises UsageError and InputError as `coach_from` does, and UsageError for one height for several coaches.
    """
    files: tuple[Path, ...] = given["coach_files"]
    if not files:
        coach = coach_from(given)
        assert coach is not None, "a height is needed here"
        return [coach]
    if len(files) > 1 and given["height"] is not None:
        raise UsageError("--height is that of one coach; with several --coach, write it in their files")
    coaches = []
    for file in files:
        coach = coach_from(given | {"coach_file": file})
        assert coach is not None, "a coach file tells a height"
        nameless = coach.name == Coach(height=coach.height).name
        coaches.append(replace(coach, name=file.stem) if nameless else coach)
    return coaches


def _towed(coach: Coach, towing: bool | None, length: Length | None) -> Coach:
    """The coach with the two options that bear on its length, which is that of coach and towed vehicle."""
    if towing is False:
        coach = replace(
            coach,
            towing=False,
            tow_reversible=False,
            towed_name="",
            towed_length=None,
            length=coach.own_length,
        )
    elif towing and not coach.towing:
        if coach.own_length is not None and length is None:
            raise UsageError(
                "--towing: the coach file tells the length of the coach alone; give --length with both"
            )
        coach = replace(coach, towing=True)
    if length is not None:
        coach = replace(coach, length=length, own_length=None, towed_length=None)
    return coach


def departure_from(text: str | None) -> datetime | None:
    """The local time that an ISO text such as 2027-07-04T08:30 names; None where none is given."""
    if text is None:
        return None
    return parse_departure(text, datetime.now())
