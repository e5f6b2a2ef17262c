"""The ways to choose from between two places, and what is written of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import UsageError
from clearance.routing.ran import stage

if TYPE_CHECKING:
    from datetime import datetime

    from clearance.core.coach import Coach
    from clearance.core.places import Place
    from clearance.core.tradeoff import TradeOffs

__all__ = [
    "TRADE_OFF_ENDINGS",
    "check_trade_off_endings",
    "plan_trade_offs",
    "trade_offs_json",
    "trade_offs_text",
    "write_trade_offs",
]

TRADE_OFF_ENDINGS = (".geojson", ".json", ".csv", ".html", ".htm")


def plan_trade_offs(
    roads: Path,
    start: str | Place,
    end: str | Place,
    coach: Coach,
    *,
    departure: datetime | None = None,
    records: Path | None = None,
) -> TradeOffs:
    """Every drive from `start` to `end`, each ``lat,lon``, a name or a place, that no other beats.

    What is compared is driving time and the number of unverified structures passed. Heights in the file
    `records` count as measured. Raises as `workflow.plan_drive` does.
    """
    with stage("load"):
        from clearance.assess.day import Halt
        from clearance.assess.tradeoffs import plan_trade_offs as plan
        from clearance.core.place_text import find_place
        from clearance.workflow.recorded import roads_with_records

    recorded = roads_with_records(roads, records)
    network = recorded.network
    places = [find_place(p, network.places) if isinstance(p, str) else p for p in (start, end)]
    if (places[0].lon, places[0].lat) == (places[1].lon, places[1].lat):
        named = [p if isinstance(p, str) else p.name or f"{p.lat:.5f},{p.lon:.5f}" for p in (start, end)]
        raise UsageError(f"{named[0]} and {named[1]} are one place; give two")
    found = plan(network, coach, *(Halt(place=place) for place in places), departure=departure)
    return replace(found, notes=(*found.notes, *recorded.notes))


def check_trade_off_endings(outputs: Sequence[Path]) -> None:
    """Raise UsageError for a file whose ending says no format of trade-offs."""
    for path in outputs:
        if path.suffix.lower() not in TRADE_OFF_ENDINGS:
            known = ", ".join(TRADE_OFF_ENDINGS)
            raise UsageError(
                f"{path}: trade-offs are written as {known}; for another format take one with --at-most"
            )


def write_trade_offs(found: TradeOffs, outputs: Sequence[Path], *, units: str) -> None:
    """Write trade-offs to each of `outputs`, by its ending; everything is made before anything is written.

    Raises UsageError for another ending, OutputError where a file cannot be written.
    """
    from clearance.outputs.atomic import write_whole

    check_trade_off_endings(outputs)
    with stage("write"):
        made = [(path, _as(found, path.suffix.lower(), units)) for path in outputs]
        for path, content in made:
            write_whole(path, content)


def _as(found: TradeOffs, ending: str, units: str) -> str:
    import json

    from clearance.outputs import tradeoffs
    from clearance.outputs.measures import Units

    if ending == ".csv":
        return tradeoffs.trade_offs_csv(found)
    if ending in {".html", ".htm"}:
        return tradeoffs.trade_offs_page(found, Units(units))
    return json.dumps(tradeoffs.trade_offs_geojson(found, Units(units)), ensure_ascii=False, indent=1) + "\n"


def trade_offs_text(found: TradeOffs, *, units: str) -> str:
    """Trade-offs as a table for the terminal."""
    from clearance.outputs.measures import Units
    from clearance.outputs.tradeoffs import trade_offs_text as text

    return text(found, Units(units))


def trade_offs_json(found: TradeOffs, *, units: str) -> str:
    """Trade-offs as a JSON text for programs."""
    import json

    from clearance.outputs.measures import Units
    from clearance.outputs.tradeoffs import trade_offs_json as document

    return json.dumps(document(found, Units(units)), ensure_ascii=False, indent=1)
