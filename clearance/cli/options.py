"""Options shared by commands, and how their texts become values."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

import click

from clearance.core.coach import COMMON_COMFORT, COMMON_MARGIN, Coach
from clearance.core.errors import UsageError
from clearance.core.lengths import Length, UnreadableError, parse_measure
from clearance.core.weights import parse_weight

__all__ = ["HOW_TO_MEASURE", "coach_from", "coach_options", "departure_from", "units_option"]

F = TypeVar("F", bound=Callable[..., Any])

HOW_TO_MEASURE = (
    "How to measure: load the coach as for the trip, tyres at travel pressure, antenna and dish down, on "
    "level ground. Lay a straight board across the highest fitting (air conditioner, vent, dome) and measure "
    "from the ground to its underside. Write the figure with its unit: --height 12'10\" or --height 3.91m."
)

_COACH = (
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


def units_option(command: F) -> F:
    """Add the choice of units for what is shown."""
    return click.option(
        "--units",
        type=click.Choice(["feet", "metres", "both"]),
        default="feet",
        show_default=True,
        help="Units of what is shown; files carry both.",
    )(command)


def _length(name: str, text: str | None, *, zero: bool = False) -> Length | None:
    if text is None:
        return None
    return parse_measure(text, what=f"--{name}", zero=zero)


def coach_from(given: dict[str, Any], *, height_needed: bool = True) -> Coach | None:
    """The coach that the options describe; None where no height is given and none is needed.

    Raises UsageError naming the option, its text and what to try.
    """
    height = _length("height", given["height"])
    if height is None:
        if height_needed:
            raise UsageError(f"--height is needed: there is no default, a guess could kill. {HOW_TO_MEASURE}")
        return None
    weight = None
    if given["weight"] is not None:
        try:
            weight = parse_weight(given["weight"]).kg
        except UnreadableError as error:
            raise UsageError(f"--weight {error}") from None
    return Coach(
        height=height,
        margin=_length("margin", given["margin"], zero=True) or COMMON_MARGIN,
        comfort=_length("comfort", given["comfort"]) or COMMON_COMFORT,
        width=_length("width", given["width"]),
        length=_length("length", given["length"]),
        weight_kg=weight,
        towing=bool(given["towing"]),
        propane=given["propane"] is not False,
    )


def departure_from(text: str | None) -> datetime | None:
    """The local time that an ISO text such as 2026-07-04T08:30 names; None where none is given."""
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--depart {text!r} is no time; write it as 2026-07-04T08:30") from None
    if moment.tzinfo is not None:
        raise UsageError(f"--depart {text!r} carries a zone; give the local time where the coach starts")
    return moment
