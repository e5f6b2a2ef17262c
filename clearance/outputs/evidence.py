"""What lists of heights did to a map, as text, as JSON values, and what is left over as CSV."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from clearance.core.inventory import EvidenceList, HeightState, InventoryRecord
from clearance.core.knowledge import AreaKnown
from clearance.core.matches import EvidenceReport, HeightRecord, Match, Unmatched, called
from clearance.outputs.csv_table import table_csv
from clearance.outputs.wording import plain

__all__ = ["LEFT_OVER_COLUMNS", "evidence_json", "evidence_text", "left_over_csv"]

LEFT_OVER_COLUMNS = (
    *("what", "list", "where", "structure", "name", "lat", "lon"),
    *("heights", "tells_height", "reason"),
)
#: A summary names so many of a sort one by one; the JSON and the CSV hold all of them.
_MOST_SHOWN = 8


def evidence_text(report: EvidenceReport) -> str:
    """Counts, then what disagrees, what was matched, what was left over and why, and what is known now."""
    lines = [_list_line(each) for each in report.lists]
    if not report.lists:
        lines.append("No list of heights has been added.")
    else:
        without = sum(not u.tells_height for u in report.unmatched)
        words = f" ({without} of those tell no height)" if without else ""
        lines.append(
            f"{_number(len(report.matches), 'bridge')} matched, {len(report.unmatched)} not matched{words}"
        )
    # What tells a height could have been of use, so it comes first.
    left = sorted(report.unmatched, key=lambda u: not u.tells_height)
    lines += _shown("Heights that disagree, the lower counts", [c.text for c in report.conflicts])
    lines += _shown("Matched", [f"{m.text} -> {', '.join(m.structures)}" for m in report.matches])
    lines += _shown("Not matched", [u.text for u in left])
    lines += _shown("Rows that cannot be used", [f"{row.where}: {row.reason}" for row in report.unused])
    lines += _shown("Notes", report.notes)
    lines.append(_known(report.before, report.after))
    return "\n".join(lines)


def _list_line(each: EvidenceList) -> str:
    parts = [f"{_number(len(each.records), 'record')} in the area of the map"]
    if each.outside:
        parts.append(f"{each.outside} outside it")
    if each.unused:
        parts.append(f"{_number(each.unused, 'row')} could not be used")
    source = "" if each.source == each.name else f" ({plain(each.source)})"
    return f"{plain(each.name)}{source}, read {each.added[:10]}: {', '.join(parts)}"


def _shown(title: str, texts: Sequence[str]) -> list[str]:
    if not texts:
        return []
    lines = [f"{title}:", *(f"  - {plain(text)}" for text in texts[:_MOST_SHOWN])]
    if len(texts) > _MOST_SHOWN:
        lines.append(f"  - and {len(texts) - _MOST_SHOWN} more")
    return lines


def _number(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _known(before: AreaKnown, after: AreaKnown) -> str:
    was = "" if before == after else f", {before.known} without the lists"
    return (
        f"Of {after.crossings} bridges and tunnels over roads, {after.known} have a height to rely on{was}; "
        "the others must be looked at on the spot."
    )


def evidence_json(report: EvidenceReport) -> dict[str, Any]:
    """The same in full, as values that json.dumps takes.

    `lists`: [`name`, `source`, `added`, `records`, `outside`, `unused_rows`]; `matches`: [`bridge`,
    `structures` (keys), `distance_m`, `score`, `reason`]; `unmatched`: [`bridge`, `tells_height`, `reason`];
    `conflicts`: [`structure`, `mapped_m`, `listed_m`, `text`]; `unused`: [`where`, `reason`, `dropped`];
    `notes`; `before` and `after`: `crossings`, `known`. A bridge is `text` and `records`: [`where`,
    `structure`, `name`, `lat`, `lon`, `heights_m` by item].
    """
    return {
        "lists": [
            {
                "name": each.name,
                "source": each.source,
                "added": each.added,
                "records": len(each.records),
                "outside": each.outside,
                "unused_rows": each.unused,
            }
            for each in report.lists
        ],
        "matches": [
            {
                "bridge": _bridge(m),
                "structures": list(m.structures),
                "distance_m": m.distance_m,
                "score": m.score,
                "reason": m.reason,
            }
            for m in report.matches
        ],
        "unmatched": [
            {"bridge": _bridge(u), "tells_height": u.tells_height, "reason": u.reason}
            for u in report.unmatched
        ],
        "conflicts": [
            {
                "structure": c.structure,
                "mapped_m": float(c.mapped.metres),
                "listed_m": float(c.listed.metres),
                "text": c.text,
            }
            for c in report.conflicts
        ],
        "unused": [
            {"where": row.where, "reason": row.reason, "dropped": row.dropped} for row in report.unused
        ],
        "notes": list(report.notes),
        "before": {"crossings": report.before.crossings, "known": report.before.known},
        "after": {"crossings": report.after.crossings, "known": report.after.known},
    }


def _bridge(found: Match | Unmatched) -> dict[str, Any]:
    return {
        "text": called(found.records),
        "records": [
            {
                "where": _where(record),
                "structure": _number_of(record),
                "name": _name(record),
                "lat": record.lat,
                "lon": record.lon,
                "heights_m": dict(_heights(record)),
            }
            for record in found.records
        ],
    }


def left_over_csv(report: EvidenceReport) -> str:
    """Every record that was not matched and every row that could not be used, one a line, with the reason.

    `what` is ``not matched``, ``not usable``, or ``item not usable`` where the rest of the row was taken.
    """
    rows: list[dict[str, Any]] = [
        {
            "what": "not matched",
            "list": record.source,
            "where": _where(record),
            "structure": _number_of(record),
            "name": _name(record),
            "lat": record.lat,
            "lon": record.lon,
            "heights": "; ".join(f"{item}: {metres:g} m" for item, metres in _heights(record)),
            "tells_height": "yes" if left.tells_height else "no",
            "reason": left.reason,
        }
        for left in report.unmatched
        for record in left.records
    ]
    name = report.lists[-1].source if report.lists else ""
    rows += [
        {
            "what": "not usable" if row.dropped else "item not usable",
            "list": name,
            "where": row.where,
            "reason": row.reason,
        }
        for row in report.unused
    ]
    return table_csv(LEFT_OVER_COLUMNS, rows)


def _where(record: HeightRecord) -> str:
    return f"line {record.line}" if isinstance(record, InventoryRecord) else record.where


def _number_of(record: HeightRecord) -> str:
    return record.number if isinstance(record, InventoryRecord) else ""


def _name(record: HeightRecord) -> str:
    if isinstance(record, InventoryRecord):
        return " over ".join(filter(None, (record.carried, record.features)))
    return record.name


def _heights(record: HeightRecord) -> Iterable[tuple[str, float]]:
    """The clearances over roads that a record tells, by item, in metres."""
    if not isinstance(record, InventoryRecord):
        return ((record.key, float(record.height.metres)),)
    items = (("Item 10", record.item_10), ("Item 53", record.item_53), ("Item 54", record.item_54))
    return tuple(
        (name, float(item.figure.metres))
        for name, item in items
        if item.state is HeightState.FIGURE and item.figure is not None
    )
