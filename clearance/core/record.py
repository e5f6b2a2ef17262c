"""What the owner saw at a structure: a height measured or read on the spot, by whom and when."""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from dataclasses import dataclass

from clearance.core.errors import UsageError
from clearance.core.lengths import HIGHEST_HEIGHT, LOWEST_HEIGHT, Length, UnreadableError, parse_length
from clearance.core.structure import Evidence, EvidenceClass, Structure

__all__ = [
    "Record",
    "Removal",
    "elements_of_structure",
    "parse_date",
    "parse_seen_height",
    "record_evidence",
    "uid_of",
]

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_HOW = "write it like 13'4\", 160in, 4.05m or 405cm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Removal:
    """That a record no longer counts: since when (ISO 8601, UTC), by whom, and why."""

    when: str
    who: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A height seen, in `height` as a clearance and in `raw` as it was written.

    `uid` (32 hexadecimal digits) is the same wherever the record goes; `number` counts in one file of
    records alone, 0 where it is in none. `date` is that of the visit, ``YYYY-MM-DD``; `added` when it was
    written down, ISO 8601 in UTC. The place is WGS84 degrees, longitude first.

    `key` is that of the structure at the time, empty where only a place is known; `kind`, `name`, `road`
    and `elements` (``way/12``) describe it, to know it again where the map has changed. `photo` is the name
    of a file, never its content. `removal` is None while the record counts.
    """

    uid: str
    height: Length
    raw: str
    date: str
    who: str
    lon: float
    lat: float
    key: str = ""
    kind: str = ""
    name: str = ""
    road: str = ""
    elements: tuple[str, ...] = ()
    photo: str = ""
    note: str = ""
    added: str = ""
    number: int = 0
    removal: Removal | None = None

    @property
    def label(self) -> str:
        """What to call the record in a message."""
        what = " ".join(filter(None, (self.kind or "height", f"over {self.road}" if self.road else "")))
        number = f"record {self.number}" if self.number else f"record {self.uid[:8]}"
        return f"{number} ({what} at {self.lat:.5f},{self.lon:.5f}, {self.date} by {self.who})"


def parse_seen_height(text: str, *, what: str = "--height") -> Length:
    """A clearance that a person saw, rounded down to a tenth of a millimetre; `what` names it in messages.

    The unit must be written. Raises UsageError, showing the text and what to write.
    """
    try:
        reading = parse_length(text, low=LOWEST_HEIGHT, high=HIGHEST_HEIGHT)
    except UnreadableError as error:
        raise UsageError(f"{what} {text[:60]!r} cannot be read; {_HOW}") from error
    if reading.bare:
        raise UsageError(f"{what} {text[:60]!r} has no unit; {_HOW}")
    if reading.length is None or reading.partial or ";" in text or "|" in text:
        reason = reading.implausible or "it is more than one figure"
        raise UsageError(f"{what} {text[:60]!r} cannot be meant: {reason}; {_HOW}")
    return reading.length


def parse_date(text: str, today: datetime.date, *, what: str = "--date") -> str:
    """The day of a visit as ``YYYY-MM-DD``; `what` names it in messages.

    Raises UsageError for a text that is no day, and for one more than a day after `today`: whoever was there
    may live where it is tomorrow already.
    """
    plain = text.strip()
    try:
        # Not every form that Python reads: 20270704 may be anything.
        day = datetime.date.fromisoformat(plain if _DATE.fullmatch(plain) else "")
    except ValueError:
        raise UsageError(f"{what} {text[:40]!r} is no day; write it as 2027-07-04") from None
    if (day - today).days > 1:
        raise UsageError(f"{what} {plain} is yet to come; give the day on which the height was seen")
    return plain


def record_evidence(record: Record) -> Evidence:
    """The record as evidence of the structure's height, in either direction."""
    photo = f"photo {record.photo}" if record.photo else ""
    return Evidence(
        evidence_class=EvidenceClass.MEASURED,
        figure=record.height,
        element=f"record/{record.uid[:8]}",
        key="height seen",
        raw=record.raw,
        note=", ".join(filter(None, (record.note, photo))),
        source=f"recorded by {record.who}",
        date=record.date,
    )


def elements_of_structure(structure: Structure) -> tuple[str, ...]:
    """The map elements by which a structure is known again: what it stands over, and itself.

    None for a structure beside the road.
    """
    found = {f"way/{span.way}" for span in structure.spans} | {f"node/{node}" for node in structure.nodes}
    return tuple(sorted(found | ({structure.upper} if found and structure.upper else set())))


def uid_of(*content: object) -> str:
    """The uid of a record made by hand: the same for the same content, so that nothing is taken in twice.

    >>> len(uid_of("4.05 m", "2027-07-04"))
    32
    """
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:32]
