"""What a page shows of a drive, a screening or structures, and the packed files that it shows them with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.core.record import Record
    from clearance.core.screening import Screening
    from clearance.core.structure import Structure
    from clearance.core.tradeoff import TradeOff, TradeOffs

__all__ = [
    "coach_view",
    "drive_view",
    "page_files",
    "records_view",
    "screen_view",
    "structure_matches",
    "structure_view",
    "trade_offs_view",
]


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


def trade_offs_view(found: TradeOffs) -> list[tuple[TradeOff, dict[str, Any]]]:
    """The choices worth showing, each with its row of `outputs.tradeoff_chart.way_chart_rows`."""
    from clearance.outputs.tradeoff_chart import way_chart_rows, worth_showing

    shown = worth_showing(found.choices)
    return list(zip(shown, way_chart_rows(shown), strict=True))


def screen_view(found: Screening) -> tuple[dict[str, Any], dict[str, Any]]:
    """The texts of a screening's page in both units, and what its map draws, without roads beneath."""
    from clearance.outputs.screen_view import screen_data, screen_texts

    return screen_texts(found), screen_data(found)


def records_view(records: Sequence[Record]) -> list[dict[str, Any]]:
    """Records in their order as a page tells them, heights in both units, texts not yet escaped."""
    from clearance.outputs.measures import clearance_text
    from clearance.outputs.page_view import dual
    from clearance.outputs.wording import plain

    return [
        {
            "number": record.number,
            "height": dual(lambda u, height=record.height: clearance_text(height, u)),  # type: ignore[misc]
            "what": plain(record.kind) or "height",
            "road": plain(record.road or record.name),
            "at": f"{record.lat:.5f}, {record.lon:.5f}",
            "date": record.date,
            "who": plain(record.who),
            "note": plain(record.note),
            "photo": plain(record.photo),
            "matched": bool(record.key),
        }
        for record in records
    ]


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


def structure_matches(
    roads: Path, wanted: Mapping[str, Any], coach: Coach | None, records: Path | None = None
) -> list[Structure]:
    """The structures of a road file, with heights recorded, that fit `wanted`, the gravest first.

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
    for structure in opened(roads, records).structures:
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
