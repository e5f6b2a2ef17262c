"""The structures of an area as a table for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from clearance.core.coach import Coach
from clearance.core.extract import ExtractInfo
from clearance.core.standing import standing
from clearance.core.structure import Direction, Structure
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.wording import CAUTIONS, coach_line, counted, plain, standing_text, structure_text

__all__ = ["origin_text", "structures_text"]


def structures_text(
    structures: Sequence[Structure],
    info: ExtractInfo,
    units: Units = Units.FEET,
    coach: Coach | None = None,
) -> str:
    """One line for each structure: height, standing for the coach, what and where, the elements that tell.

    Structures beside the road, which no road of the area passes, come last and say so. Without
    structures the list says that the map data holds none, which does not mean that there are none.
    """
    lines: list[str] = []
    if coach is not None:
        lines.append(f"Coach: {coach_line(coach, units)}.")
    over = [s for s in structures if s.spans or s.nodes]
    beside = [s for s in structures if not (s.spans or s.nodes)]
    if not structures:
        lines.append(
            "No structure over or across a road in the map data. That does not mean that there is none."
        )
    else:
        lines.append(f"Over or across a road: {counted(s.kind for s in over) or 'none'}.")
    lines += [_row(s, units, coach) for s in over]
    if beside:
        lines.append("Beside the road, or over none in this area:")
        lines += [_row(s, units, coach) for s in beside]
    lines.append(origin_text(info))
    return "\n".join([*lines, *CAUTIONS[:2]])


def origin_text(info: ExtractInfo) -> str:
    """Where the map data came from, in one line."""
    return f"Data: {plain(info.source)}, {info.data_date[:10] or 'date not known'}. {info.attribution}."


def _row(structure: Structure, units: Units, coach: Coach | None) -> str:
    lowest = structure.lowest()
    height = "no height" if lowest is None else clearance_text(lowest, units)
    if lowest is not None and not structure.verified():
        height += "?"
    stands = "" if coach is None else f"{standing_text(standing(structure, Direction.BOTH, coach)):<11} "
    place = f"{structure.lat:.5f},{structure.lon:.5f}"
    return (
        f"  {stands}{height:<10} {structure_text(structure)} at {place} ({', '.join(structure.tags)})"
        + "".join(f"\n      {plain(warning)}" for warning in structure.warnings)
    )
