"""Structures as CSV tables (RFC 4180): comma, CRLF, doubled quotes, one header line, UTF-8 without a mark.

Texts of the map can be anything. A spreadsheet takes a cell that begins with ``=``, ``+``, ``-`` or ``@`` for
a formula and may run it, so such a text gets an apostrophe before it, as does one that begins so after
spaces or a full-width form of those signs. Numbers are written as numbers and are left alone.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from clearance.core.coach import Coach
from clearance.core.drive import Drive, Finding
from clearance.core.extract import ExtractInfo
from clearance.core.lengths import Length
from clearance.core.standing import standing
from clearance.core.structure import Direction, Standing, Structure
from clearance.outputs.elements import elements_of
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.wording import CAUTIONS, advice, evidence_lines, kind_text, plain, standing_text

__all__ = ["DRIVE_COLUMNS", "STRUCTURE_COLUMNS", "drive_csv", "structures_csv", "table_csv"]

_KNOWLEDGE = ("evidence", "order_not_told", "ways", "nodes", "relations", "key")
_ORIGIN = ("data_source", "data_date", "attribution", "caution")

DRIVE_COLUMNS = (
    *("where", "number", "standing", "kind", "name", "road"),
    *("clearance_ft_in", "clearance_m", "above_coach_m", "distance_mi", "distance_km", "minutes"),
    *("lat", "lon", "what_to_do"),
    *_KNOWLEDGE,
    *_ORIGIN,
)
STRUCTURE_COLUMNS = (
    *("kind", "name", "road", "standing", "verified"),
    *("clearance_ft_in", "clearance_m", "clearance_forward_m", "clearance_backward_m"),
    *("lat", "lon"),
    *_KNOWLEDGE,
    *_ORIGIN,
)

#: Signs that begin a formula, with their full-width forms (OWASP, CSV Injection; from memory).
#: An apostrophe before them is guarded too, so that whoever takes off one has the text as it was.
_FORMULA = re.compile(r"[\s']*[=+\-@＝＋－＠]")


def drive_csv(drive: Drive, units: Units = Units.FEET) -> str:
    """The flagged structures of a drive: all that is too low, unverified or tight, in driving order.

    `where` is ``on the drive``, ``in the way`` (what blocks it) or ``on the car drive`` (what made the
    coach's drive another one). Heights are in both units, rounded down to the inch in feet, exact in metres;
    the sentence on what to do follows `units`. Only the header line where nothing is flagged.
    """
    rows = [
        _finding(where, finding, drive, units)
        for where, found in (
            ("on the drive", drive.findings),
            ("in the way", drive.in_the_way),
            ("on the car drive", drive.car.differences if drive.car else ()),
        )
        for finding in found
        if finding.standing is not Standing.CLEAR
    ]
    return table_csv(DRIVE_COLUMNS, rows)


def structures_csv(structures: Sequence[Structure], info: ExtractInfo, coach: Coach | None = None) -> str:
    """All structures of an area, one a line, in the order given; `standing` is empty without a coach."""
    return table_csv(STRUCTURE_COLUMNS, (_structure(s, info, coach) for s in structures))


def table_csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """A header of `columns` and a line for each of `rows`; texts that a spreadsheet would run are guarded."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({key: _cell(value) for key, value in row.items()} for row in rows)
    return out.getvalue()


def _cell(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    return f"'{value}" if _FORMULA.match(value) else value


def _metres(length: Length | None) -> str | float:
    return "" if length is None else float(length.metres)


def _feet(length: Length | None) -> str:
    return "" if length is None else clearance_text(length, Units.FEET)


def _finding(where: str, finding: Finding, drive: Drive, units: Units) -> dict[str, Any]:
    return {
        "where": where,
        "number": finding.number,
        "standing": standing_text(finding.standing),
        "kind": kind_text(finding.structure.kind),
        "name": plain(finding.structure.name),
        "road": plain(finding.road or finding.structure.road),
        "clearance_ft_in": _feet(finding.clearance),
        "clearance_m": _metres(finding.clearance),
        "above_coach_m": _metres(finding.headroom),
        "distance_mi": round(finding.distance_m / 1609.344, 2),
        "distance_km": round(finding.distance_m / 1000, 2),
        "minutes": round(finding.seconds / 60, 1),
        "lat": round(finding.lat, 7),
        "lon": round(finding.lon, 7),
        "what_to_do": advice(finding, drive.coach, units),
        **_knowledge(finding.structure, units),
        **_origin(drive.info),
    }


def _structure(structure: Structure, info: ExtractInfo, coach: Coach | None) -> dict[str, Any]:
    lowest = structure.lowest()
    stands = "" if coach is None else standing_text(standing(structure, Direction.BOTH, coach))
    return {
        "kind": kind_text(structure.kind),
        "name": plain(structure.name),
        "road": plain(structure.road),
        "standing": stands,
        "verified": _yes(structure.verified()),
        "clearance_ft_in": _feet(lowest),
        "clearance_m": _metres(lowest),
        "clearance_forward_m": _metres(structure.lowest(Direction.FORWARD)),
        "clearance_backward_m": _metres(structure.lowest(Direction.BACKWARD)),
        "lat": round(structure.lat, 7),
        "lon": round(structure.lon, 7),
        **_knowledge(structure, Units.FEET),
        **_origin(info),
    }


def _knowledge(structure: Structure, units: Units) -> dict[str, Any]:
    elements = elements_of(structure)
    return {
        "evidence": " / ".join(evidence_lines(structure, units)),
        "order_not_told": _yes(structure.ambiguous_order),
        "ways": " ".join(map(str, elements.ways)),
        "nodes": " ".join(map(str, elements.nodes)),
        "relations": " ".join(map(str, elements.relations)),
        "key": plain(structure.key),
    }


def _origin(info: ExtractInfo) -> dict[str, str]:
    """On every line, for a table has no other place for it, and lines get copied out of tables."""
    return {
        "data_source": plain(info.source),
        "data_date": info.data_date,
        "attribution": info.attribution,
        "caution": " ".join(CAUTIONS),
    }


def _yes(value: bool) -> str:
    return "yes" if value else "no"
