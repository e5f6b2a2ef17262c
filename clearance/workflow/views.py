"""What a page shows of a drive or of structures, and the packed files that it shows them with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.core.structure import Structure

__all__ = ["coach_view", "drive_view", "page_files", "structure_matches", "structure_view"]


def page_files() -> dict[str, bytes]:
    """Styles, scripts, letters and partial templates of a page, see `outputs.page.page_files`."""
    from clearance.outputs.page import page_files as files

    return files()


def drive_view(drive: Drive) -> tuple[dict[str, Any], dict[str, Any]]:
    """The texts of a drive's page in both units, and what its map draws, without roads beneath."""
    from clearance.outputs.page_view import page_data, page_texts

    data = page_data(drive, ())
    del data["roads"], data["names"]
    return page_texts(drive), data


def coach_view(coach: Coach) -> dict[str, Any]:
    """A coach in figures: what it measures and needs, in both units."""
    from clearance.outputs.measures import coach_text, gap_text
    from clearance.outputs.page_view import dual
    from clearance.outputs.wording import coach_line, plain

    return {
        "name": plain(coach.name),
        "height": dual(lambda u: coach_text(coach.height, u)),
        "need": dual(lambda u: coach_text(coach.need, u)),
        "margin": dual(lambda u: gap_text(coach.margin, u)),
        "comfort": dual(lambda u: coach_text(coach.comfort_or_need, u)),
        "line": dual(lambda u: coach_line(coach, u)),
    }


def structure_matches(roads: Path, wanted: Mapping[str, Any], coach: Coach | None) -> list[Structure]:
    """The structures of a road file that fit `wanted`, the gravest first.

    `wanted` may hold `text` (part of a name, road or kind), `kinds` (values of Kind), `standings` (values of
    Standing, with a coach), `known` (True: with a posted or measured height, False: without) and `box`
    (west, south, east, north).
    """
    from clearance.core.place_text import folded
    from clearance.core.standing import standing
    from clearance.core.structure import Direction, Standing
    from clearance.workflow.opened import opened

    text = folded(str(wanted.get("text", "")))
    kinds, standings = set(wanted.get("kinds", ())), set(wanted.get("standings", ()))
    known, box = wanted.get("known"), wanted.get("box")
    order = [Standing.TOO_LOW, Standing.UNVERIFIED, Standing.TIGHT, Standing.CLEAR]
    found = []
    for structure in opened(roads).structures:
        if kinds and structure.kind.value not in kinds:
            continue
        if known is not None and structure.verified() is not known:
            continue
        if box and not (box[0] <= structure.lon <= box[2] and box[1] <= structure.lat <= box[3]):
            continue
        if text and text not in folded(f"{structure.kind.value} {structure.name} {structure.road}"):
            continue
        if coach is not None:
            stands = standing(structure, Direction.BOTH, coach)
        else:
            stands = Standing.CLEAR if structure.verified() else Standing.UNVERIFIED
        if standings and stands.value not in standings:
            continue
        found.append((order.index(stands), structure.road, structure.key, structure))
    return [structure for *_, structure in sorted(found, key=lambda row: row[:3])]


def structure_view(structures: Sequence[Structure], coach: Coach | None) -> list[dict[str, Any]]:
    """The texts of a list of structures in both units, see `outputs.structure_view.structure_rows`."""
    from clearance.outputs.structure_view import structure_rows

    return structure_rows(structures, coach)
