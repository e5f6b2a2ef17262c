"""Structures of unknown height to look at first, and what is written of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.scouting import Scouting

__all__ = ["SCOUT_ENDINGS", "check_scout_endings", "scout_json", "scout_places", "scout_text", "write_scout"]

SCOUT_ENDINGS = (".geojson", ".json", ".csv", ".txt")


def scout_places(
    roads: Path, places: Path, home: str, coach: Coach, *, records: Path | None = None
) -> Scouting:
    """The unverified structures ranked by what hangs on them for the destinations in the file `places`.

    `home` is ``lat,lon`` or a name. Heights in the file `records` count as measured, so that what has been
    looked at is not listed again. Rows that cannot be used are among the problems, with their line.

    Raises InputError where no row can be used, PlaceError where home cannot be found.
    """
    from clearance.assess.scouting import scout
    from clearance.core.place_text import find_place
    from clearance.workflow.destinations import read_some_destinations
    from clearance.workflow.recorded import roads_with_records

    recorded = roads_with_records(roads, records)
    start = find_place(home, recorded.network.places)
    destinations, problems, notes = read_some_destinations(recorded.network, places)
    found = scout(recorded.network, coach, start, destinations)
    return replace(
        found,
        problems=(*problems, *found.problems),
        notes=(*notes, *found.notes, *recorded.notes),
    )


def check_scout_endings(outputs: Sequence[Path]) -> None:
    """Raise UsageError for a file whose ending says no format of a checklist."""
    for path in outputs:
        if path.suffix.lower() not in SCOUT_ENDINGS:
            raise UsageError(f"{path}: the ending says the format, one of {', '.join(SCOUT_ENDINGS)}")


def write_scout(found: Scouting, outputs: Sequence[Path], *, units: str) -> None:
    """Write a checklist to each of `outputs`, by its ending; everything is made before anything is written.

    Raises UsageError for another ending, OutputError where a file cannot be written.
    """
    from clearance.outputs.atomic import write_whole

    check_scout_endings(outputs)
    made = [(path, _as(found, path.suffix.lower(), units)) for path in outputs]
    for path, content in made:
        write_whole(path, content)


def _as(found: Scouting, ending: str, units: str) -> str:
    if ending == ".csv":
        from clearance.outputs.scouting import scout_csv

        return scout_csv(found)
    return scout_text(found, units=units) if ending == ".txt" else scout_json(found, units=units) + "\n"


def scout_json(found: Scouting, *, units: str) -> str:
    """A checklist as a GeoJSON text."""
    import json

    from clearance.outputs.measures import Units
    from clearance.outputs.scouting import scout_geojson

    return json.dumps(scout_geojson(found, Units(units)), ensure_ascii=False, indent=1)


def scout_text(found: Scouting, *, units: str) -> str:
    """A checklist to print."""
    from clearance.outputs.measures import Units
    from clearance.outputs.scouting import scout_text as text

    return text(found, Units(units))
