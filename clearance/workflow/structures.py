"""The structures of an area, listed and written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.extract import ExtractInfo
    from clearance.core.structure import Structure

__all__ = [
    "list_structures",
    "structures_json",
    "structures_text",
    "summary_json",
    "summary_text",
    "write_structures",
]


def list_structures(
    roads: Path,
    records: Path | None = None,
    *,
    coach: Coach | None = None,
    tell: Callable[[str], None] | None = None,
) -> tuple[tuple[Structure, ...], ExtractInfo]:
    """Every structure of a road file, and where its data came from.

    Heights in the file `records` are among the evidence; `tell` is told what is to be said of them. What is
    left of a height for the coach where the road dips or humps is among it too.
    """
    from clearance.network.dips import structures_for
    from clearance.workflow.recorded import roads_with_records

    recorded = roads_with_records(roads, records)
    if tell is not None:
        for note in recorded.notes:
            tell(note)
    return structures_for(recorded.network, coach), recorded.network.info


def summary_text(structures: Sequence[Structure], info: ExtractInfo) -> str:
    """How much is known of the heights of these structures, in sentences for the terminal."""
    from clearance.outputs.knowledge import knowledge_text
    from clearance.outputs.listing import origin_text
    from clearance.structures.knowledge import summary

    return "\n".join([*knowledge_text(summary(structures)), origin_text(info)])


def summary_json(structures: Sequence[Structure], info: ExtractInfo) -> str:
    """The same as a JSON text."""
    import json

    from clearance.outputs.knowledge import knowledge_json
    from clearance.structures.knowledge import summary

    return json.dumps(knowledge_json(summary(structures), info), ensure_ascii=False, indent=1)


def write_structures(
    structures: Sequence[Structure], info: ExtractInfo, output: Path, *, units: str, coach: Coach | None
) -> None:
    """Write structures as GeoJSON or CSV, by the ending of `output`.

    Raises UsageError for another ending, OutputError where the file cannot be written.
    """
    from clearance.outputs.atomic import write_whole
    from clearance.outputs.csv_table import structures_csv

    ending = output.suffix.lower()
    if ending in {".geojson", ".json"}:
        write_whole(output, structures_json(structures, info, units=units, coach=coach) + "\n")
    elif ending == ".csv":
        write_whole(output, structures_csv(structures, info, coach))
    else:
        raise UsageError(f"-o {output}: the ending says the format, .geojson or .csv")


def structures_json(
    structures: Sequence[Structure], info: ExtractInfo, *, units: str, coach: Coach | None
) -> str:
    """Structures as a GeoJSON text."""
    import json

    from clearance.outputs.geojson import structures_geojson
    from clearance.outputs.measures import Units

    return json.dumps(structures_geojson(structures, info, Units(units), coach), ensure_ascii=False, indent=1)


def structures_text(
    structures: Sequence[Structure], info: ExtractInfo, *, units: str, coach: Coach | None
) -> str:
    """Structures as a table for the terminal."""
    from clearance.outputs.listing import structures_text as table
    from clearance.outputs.measures import Units

    return table(structures, info, Units(units), coach)
