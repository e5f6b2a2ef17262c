"""The owner's records as a list for the terminal, a table and points on a map."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from clearance.core.record import Record
from clearance.outputs.csv_table import table_csv
from clearance.outputs.geojson import feature_of, point_of
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.wording import plain

__all__ = ["RECORD_COLUMNS", "records_csv", "records_geojson", "records_text"]

RECORD_COLUMNS = (
    *("height", "height_m", "date", "who", "lat", "lon"),
    *("kind", "name", "road", "key", "elements", "photo", "note"),
    *("uid", "added", "removed", "removed_by", "removed_why"),
)


def _values(record: Record) -> dict[str, Any]:
    removal = record.removal
    return {
        "height": plain(record.raw),
        "height_m": float(record.height.metres),
        "date": record.date,
        "who": plain(record.who),
        "lat": record.lat,
        "lon": record.lon,
        "kind": plain(record.kind),
        "name": plain(record.name),
        "road": plain(record.road),
        "key": record.key,
        "elements": " ".join(record.elements),
        "photo": plain(record.photo),
        "note": plain(record.note),
        "uid": record.uid,
        "added": record.added,
        "removed": removal.when if removal else "",
        "removed_by": plain(removal.who) if removal else "",
        "removed_why": plain(removal.why) if removal else "",
    }


def records_csv(records: Sequence[Record]) -> str:
    """The records as a table (RFC 4180) that `clearance record import` reads back, in the order given."""
    return table_csv(RECORD_COLUMNS, map(_values, records))


def records_geojson(records: Sequence[Record]) -> dict[str, Any]:
    """The records as a FeatureCollection of points (RFC 7946) that `clearance record import` reads back."""
    features = []
    for record in records:
        values = {k: v for k, v in _values(record).items() if k not in {"lat", "lon"} and v != ""}
        title = f"{clearance_text(record.height, Units.BOTH)} seen on {record.date} by {plain(record.who)}"
        point = point_of(record.lon, record.lat)
        features.append(feature_of(record.uid, point, {"role": "record", "title": title, **values}))
    return {"type": "FeatureCollection", "features": features}


def records_text(records: Sequence[Record], units: Units = Units.FEET) -> str:
    """A few lines for each record, with its number. Ends in a line end."""
    if not records:
        return "No records.\n"
    return "".join(f"{line}\n" for record in records for line in _lines(record, units))


def _lines(record: Record, units: Units) -> list[str]:
    what = plain(record.kind) or "height at a place, no structure told"
    if record.name:
        what += f" ({plain(record.name)})"
    if record.road:
        what += f", {plain(record.road)}"
    lines = [
        f"{record.number:>4}  {clearance_text(record.height, units)} (written {plain(record.raw)}), "
        f"{record.date} by {plain(record.who)}: {what} at {record.lat:.5f},{record.lon:.5f}"
    ]
    more = [f"key {record.key}" if record.key else "", f"photo {plain(record.photo)}" if record.photo else ""]
    more.append(plain(record.note))
    if said := "; ".join(filter(None, more)):
        lines.append(f"      {said}")
    if record.removal:
        gone = record.removal
        lines.append(f"      REMOVED {gone.when[:10]} by {plain(gone.who)}: {plain(gone.why)}")
    return lines
