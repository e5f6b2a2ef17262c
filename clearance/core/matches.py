"""What became of the records of lists that were brought to the structures of a map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clearance.core.inventory import EvidenceList, InventoryRecord, ListedHeight, UnusedRow
from clearance.core.knowledge import AreaKnown
from clearance.core.lengths import Length

__all__ = ["Conflict", "EvidenceReport", "HeightRecord", "Match", "Unmatched", "called"]

HeightRecord = InventoryRecord | ListedHeight


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Records of one bridge of a list, and the keys of the structures that they were matched to.

    `score` is from 0 to 1, `reason` says in words what it comes from.
    """

    records: tuple[HeightRecord, ...]
    structures: tuple[str, ...]
    distance_m: float
    score: float
    reason: str

    @property
    def text(self) -> str:
        """The match as a sentence for a reader."""
        return f"{called(self.records)}: matched with score {self.score:.2f}, {self.reason}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmatched:
    """Records of one bridge of a list that belong to nothing in the map, and why.

    `tells_height` is whether they hold a height at all: most records are of culverts and river bridges.
    """

    records: tuple[HeightRecord, ...]
    reason: str
    tells_height: bool

    @property
    def text(self) -> str:
        """The left-over as a sentence for a reader."""
        return f"{called(self.records)}: not matched, {self.reason}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """Two heights of one structure that cannot both be true; the lower counts.

    `mapped` is the height of the map, or of another list; `listed` that of the list.
    """

    structure: str
    mapped: Length
    listed: Length
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceReport:
    """What lists of heights did to a map: each bridge of theirs is in `matches` or in `unmatched`.

    `unused` are rows that could not be used, known only when their list is read; `notes` are sentences of the
    reader. `before` and `after` is what is known of the area without and with the lists.
    """

    lists: tuple[EvidenceList, ...]
    matches: tuple[Match, ...]
    unmatched: tuple[Unmatched, ...]
    conflicts: tuple[Conflict, ...]
    before: AreaKnown
    after: AreaKnown
    unused: tuple[UnusedRow, ...] = ()
    notes: tuple[str, ...] = ()


def called(records: Sequence[HeightRecord]) -> str:
    """Source, place in the file and name of a bridge of a list, from its records (one at least)."""
    first = records[0]
    if isinstance(first, ListedHeight):
        return f"{first.source}, {first.where}{f' ({first.name})' if first.name else ''}"
    name = " over ".join(filter(None, (first.carried, first.features)))
    return f"{first.source}, line {first.line}, structure {first.number}{f' ({name})' if name else ''}"
