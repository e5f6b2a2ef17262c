"""What the owner saw at structures: kept, listed, handed on, taken in, and taken back."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from clearance.core.errors import PlaceError, UsageError

if TYPE_CHECKING:
    from clearance.core.record import Record
    from clearance.core.structure import Structure

__all__ = [
    "RECORD_ENDINGS",
    "add_record",
    "import_records",
    "list_records",
    "records_document",
    "records_lines",
    "remove_record",
    "usual_records_file",
    "write_records",
]

RECORD_ENDINGS = (".csv", ".geojson", ".json")


def usual_records_file() -> Path:
    """The file where this user's records belong, whether or not there is one."""
    from clearance.sources.records import default_records_file

    return default_records_file()


def add_record(
    file: Path,
    *,
    height: str,
    who: str,
    date: str | None = None,
    roads: Path | None = None,
    key: str | None = None,
    at: str | None = None,
    photo: str = "",
    note: str = "",
) -> Record:
    """Keep a height seen, in the file of records `file`; returned is the record with its number.

    The structure is that of `key` in the road file, or the one near `at` (``lat,lon``) in it. Without a road
    file, or where none is mapped near `at`, the place alone is kept: such a height counts against whatever
    is there, and clears nothing.

    Raises UsageError for what cannot be meant, PlaceError where no structure has the key or several are
    near.
    """
    from clearance.core.place_text import parse_lat_lon
    from clearance.core.record import Record, elements_of_structure, parse_date, parse_seen_height
    from clearance.sources.records import record_file

    now = datetime.now(UTC)
    if not who.strip():
        raise UsageError("--who is empty; say who saw it")
    seen = parse_seen_height(height)
    day = parse_date(date, now.date()) if date else f"{datetime.now().date()}"
    place = parse_lat_lon(at) if at is not None else None
    if at is not None and place is None:
        raise UsageError(f"--at {at!r} is no place; write latitude and longitude, such as 45.1234,-40.5678")
    if key is None and place is None:
        raise UsageError("--key or --at is needed: which structure, or where?")
    structure = None
    if key is not None:
        if roads is None:
            raise UsageError("--key needs the road file that the key is from, before the options")
        structure = _structure_of(roads, key)
    elif roads is not None and place is not None:
        structure = _structure_at(roads, place.lon, place.lat)
    if structure is not None and place is None:
        lon, lat = structure.lon, structure.lat
    else:
        assert place is not None, "there is a structure or a place"
        lon, lat = (structure.lon, structure.lat) if structure is not None else (place.lon, place.lat)
    record = Record(
        uid=secrets.token_hex(16),
        height=seen,
        raw=height.strip(),
        date=day,
        who=who.strip(),
        lon=lon,
        lat=lat,
        key=structure.key if structure else "",
        kind=str(structure.kind) if structure else "",
        name=structure.name if structure else "",
        road=structure.road if structure else "",
        elements=elements_of_structure(structure) if structure else (),
        # The name alone: where it lies on this machine is nobody's business elsewhere.
        photo=PurePath(photo).name,
        note=note.strip(),
        added=f"{now:%Y-%m-%dT%H:%M:%SZ}",
    )
    with record_file(file) as records:
        (kept,) = records.add([record])
    return kept


def _structure_of(roads: Path, key: str) -> Structure:
    from clearance.network.roadfile import open_road_file

    found = next((s for s in open_road_file(roads).structures if s.key == key), None)
    if found is None:
        raise PlaceError(
            f"no structure of {roads} has the key {key!r}; `clearance structures {roads} -o list.csv` tells "
            "the keys"
        )
    return found


def _structure_at(roads: Path, lon: float, lat: float) -> Structure | None:
    """The one structure near a place; None where there is none."""
    from clearance.assess.records import NEAR_M, structures_near
    from clearance.core.record import elements_of_structure
    from clearance.network.roadfile import open_road_file

    network = open_road_file(roads)
    near = [(metres, network.structures[k]) for metres, k in structures_near(network, lon, lat)]
    over = [(metres, s) for metres, s in near if elements_of_structure(s)]
    if len(over) > 1:
        listed = "\n".join(
            f"  --key {s.key}  {s.kind}{f' over {s.road}' if s.road else ''}, {metres:.0f} m away"
            for metres, s in over
        )
        raise PlaceError(
            f"{len(over)} structures are within {NEAR_M:.0f} m of {lat:.5f},{lon:.5f}; name one:\n{listed}"
        )
    return over[0][1] if over else None


def list_records(file: Path, *, removed: bool = False) -> tuple[Record, ...]:
    """The records of a file that count, oldest first; with `removed`, those that do not as well."""
    from clearance.sources.records import read_records

    return read_records(file, removed=removed)


def import_records(file: Path, source: Path, *, who: str = "") -> tuple[tuple[Record, ...], int]:
    """Take the records of a CSV or GeoJSON file into the file of records, all or none.

    Returned are those that were new, and how many were there already: those are left as they are, so that
    a removal made elsewhere takes nothing back here.
    """
    from clearance.sources.record_list import read_record_list
    from clearance.sources.records import record_file

    given = read_record_list(source, now=datetime.now(UTC), who=who)
    with record_file(file) as records:
        fresh = records.add(given)
    return fresh, len(given) - len(fresh)


def remove_record(file: Path, number: int, *, who: str, why: str) -> Record:
    """Let a record no longer count; it stays in the file with who took it back and why."""
    from clearance.core.record import Removal
    from clearance.sources.records import record_file

    if not who.strip() or not why.strip():
        raise UsageError("--who and --why are needed: a height that somebody saw is not taken back unsaid")
    if not file.exists():
        list_records(file)
    when = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
    with record_file(file) as records:
        return records.remove(number, Removal(when=when, who=who.strip(), why=why.strip()))


def records_lines(records: Sequence[Record], *, units: str) -> str:
    """Records as lines for the terminal."""
    from clearance.outputs.measures import Units
    from clearance.outputs.records import records_text

    return records_text(records, Units(units))


def records_document(records: Sequence[Record]) -> str:
    """Records as a GeoJSON text."""
    import json

    from clearance.outputs.records import records_geojson

    return json.dumps(records_geojson(records), ensure_ascii=False, indent=1)


def write_records(records: Sequence[Record], output: Path) -> None:
    """Write records as CSV or GeoJSON, by the ending of `output`, whole or not at all.

    Raises UsageError for another ending, OutputError where the file cannot be written.
    """
    from clearance.outputs.atomic import write_whole
    from clearance.outputs.records import records_csv

    ending = output.suffix.lower()
    if ending == ".csv":
        write_whole(output, records_csv(records))
    elif ending in RECORD_ENDINGS:
        write_whole(output, records_document(records) + "\n")
    else:
        raise UsageError(f"-o {output}: the ending says the format, .csv or .geojson")
