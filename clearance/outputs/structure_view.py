"""What a page tells of the structures of an area: its texts in both units, and the places of its marks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from clearance.core.standing import standing
from clearance.core.structure import Direction, Standing, Structure
from clearance.outputs.elements import elements_of
from clearance.outputs.measures import clearance_text
from clearance.outputs.page_view import dual, sign_of, slug_of
from clearance.outputs.wording import (
    evidence_lines,
    kind_text,
    plain,
    standing_advice,
    standing_text,
    structure_text,
)

if TYPE_CHECKING:
    from clearance.core.coach import Coach

__all__ = ["structure_rows"]


def structure_rows(structures: Sequence[Structure], coach: Coach | None) -> list[dict[str, Any]]:
    """The values that a list of structures is filled with, in its order, texts not yet escaped.

    With a coach each has its standing for the worse direction; without, whether its height is known.
    """
    return [_row(number, structure, coach) for number, structure in enumerate(structures, 1)]


def _row(number: int, structure: Structure, coach: Coach | None) -> dict[str, Any]:
    lowest, verified = structure.lowest(), structure.verified()
    if coach is None:
        stands = Standing.CLEAR if verified else Standing.UNVERIFIED
        label = "HEIGHT KNOWN" if verified else standing_text(stands)
    else:
        stands = standing(structure, Direction.BOTH, coach)
        label = standing_text(stands)
    what = structure_text(structure)
    lines = evidence_lines(structure)
    elements = elements_of(structure)
    return {
        "id": f"structure-{number}",
        "key": structure.key,
        "slug": slug_of(stands),
        "sign": sign_of(stands),
        "label": label,
        "kind": kind_text(structure.kind),
        "what": what[:1].upper() + what[1:],
        "height": "no height" if lowest is None else dual(lambda u: clearance_text(lowest, u)),
        "advice": None if coach is None else dual(lambda u: standing_advice(stands, coach, u)),
        "evidence": [
            dual(lambda u, n=n: evidence_lines(structure, u)[n])  # type: ignore[misc]
            for n in range(len(lines))
        ],
        "elements": ", ".join(
            f"{word} {ref}"
            for word, refs in (
                ("way", elements.ways),
                ("node", elements.nodes),
                ("relation", elements.relations),
            )
            for ref in refs
        ),
        "upper": plain(structure.upper),
        "at": [round(structure.lat, 6), round(structure.lon, 6)],
    }
