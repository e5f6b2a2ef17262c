"""Heights from lists added to a road file: an inventory's, a county's, one's own."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from clearance.core.collector import without_collector
from clearance.core.errors import UsageError
from clearance.core.inventory import EvidenceList, InventoryRecord, UnusedRow

if TYPE_CHECKING:
    from clearance.core.extract import Extract
    from clearance.core.knowledge import AreaKnown
    from clearance.core.matches import EvidenceReport, HeightRecord
    from clearance.core.structure import Structure
    from clearance.network.kept import Kept
    from clearance.sources.progress import Progress
    from clearance.structures.fusion import Fused

__all__ = [
    "ListRead",
    "add_heights",
    "add_inventory",
    "check_left_over",
    "evidence_json",
    "evidence_report",
    "evidence_text",
    "fused_with",
    "list_evidence",
    "read_inventory_list",
    "remove_list",
    "write_left_over",
]

#: Records this far outside the nodes of the map, in degrees, may still be of one of its bridges.
_MARGIN_DEG = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class ListRead:
    """A list as it was read for a map: what is used of it, and what cannot be."""

    evidence: EvidenceList
    unused: tuple[UnusedRow, ...]
    notes: tuple[str, ...] = ()


# --- reading ----------------------------------------------------------------------------------------


def read_inventory_list(
    place: str, ground: Extract, *, year: int | None = None, progress: Progress | None = None
) -> ListRead:
    """The records of a bridge inventory, a file or a web address, in the area of a map.

    `year` is that of the inventory where the name of the file does not tell it. Raises InputError where it
    is no inventory, DataUnavailableError where an address does not bring it.
    """
    from clearance.sources.inventory import read_inventory_at

    name = _name_of(place)
    # Named for its year, else for nothing: rows of several files of one year are one inventory.
    read = read_inventory_at(place, year=year, box=_box(ground), progress=progress)
    unused = tuple(
        UnusedRow(
            f"{problem.file}{', ' if problem.file else ''}line {problem.line}"
            + (f", structure {problem.number}" if problem.number else ""),
            problem.reason,
            problem.dropped,
        )
        for problem in read.problems
    )
    evidence = EvidenceList(
        name=name,
        source=read.source,
        added=_now(),
        records=read.records,
        outside=read.outside,
        unused=sum(row.dropped for row in unused),
    )
    return ListRead(evidence=evidence, unused=unused)


def _read_heights(
    place: str, ground: Extract, *, unit: str, columns: dict[str, str], source: str, date: str
) -> ListRead:
    from clearance.core.structure import MAP_SOURCE
    from clearance.sources.height_list import Columns, read_height_list

    name = source or _name_of(place)
    if name == MAP_SOURCE:
        raise UsageError(f"--source {name!r} is the name of the map itself; give the list another")
    with _file(place) as path:
        read = read_height_list(path, unit=unit, columns=Columns(**columns), source=name, date=date)
    box = _box(ground)
    records = tuple(
        r for r in read.records if box and box[0] <= r.lon <= box[2] and box[1] <= r.lat <= box[3]
    )
    unused = tuple(
        UnusedRow(where, reason) for where, _, reason in (text.partition(": ") for text in read.problems)
    )
    evidence = EvidenceList(
        name=name,
        source=name,
        added=_now(),
        records=records,
        outside=len(read.records) - len(records),
        unused=len(unused),
    )
    return ListRead(evidence=evidence, unused=unused, notes=read.notes)


@contextmanager
def _file(place: str) -> Iterator[Path]:
    """The file of that name, or the one at that web address while it is needed."""
    from clearance.sources.web_file import fetched_file, is_web_address

    if is_web_address(place):
        with fetched_file(place) as path:
            yield path
    else:
        yield Path(place)


def _name_of(place: str) -> str:
    from clearance.sources.web_file import is_web_address

    # Not every text that begins like a web address can be taken apart as one.
    inside = place.partition("://")[2].partition("#")[0].partition("?")[0]
    path = unquote(inside) if is_web_address(place) else Path(place).as_posix()
    return PurePosixPath(path).name or "file"


def _box(ground: Extract) -> tuple[float, float, float, float] | None:
    """West, south, east, north of a map with a margin; None for a map of nothing."""
    if not len(ground.lon):
        return None
    west, east = float(ground.lon.min()) - _MARGIN_DEG, float(ground.lon.max()) + _MARGIN_DEG
    south, north = float(ground.lat.min()) - _MARGIN_DEG, float(ground.lat.max()) + _MARGIN_DEG
    return max(west, -180.0), max(south, -90.0), min(east, 180.0), min(north, 90.0)


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


# --- adding -----------------------------------------------------------------------------------------


@without_collector()
def fused_with(lists: Sequence[EvidenceList], structures: Sequence[Structure], ground: Extract) -> Fused:
    """The structures, whatever lists they had before, with the heights of these lists.

    Where files of one inventory hold the same record, the one that was added last counts.
    """
    from clearance.structures.fusion import from_map, fuse

    taken: set[tuple[str, ...]] = set()
    records: list[HeightRecord] = []
    for each in reversed(lists):
        new = [r for r in each.records if _identity(r) not in taken]
        taken |= {_identity(r) for r in each.records}
        records = [*new, *records]
    return fuse(from_map(structures), records, ground)


def _identity(record: HeightRecord) -> tuple[str, ...]:
    """What a record is known by in the next file of its source."""
    if isinstance(record, InventoryRecord):
        return record.source, record.state, record.number, record.record_type
    return record.source, record.where


def _with(lists: Sequence[EvidenceList], new: EvidenceList) -> tuple[tuple[EvidenceList, ...], str]:
    """The lists with a new one, in place of one of its name or of its content; what it replaced in words."""
    rest, replaced = [], ""
    for each in lists:
        if each.name == new.name and each.source == new.source:
            replaced = f"it replaces {each.name} as read on {each.added[:10]}"
        elif each.records and _content(each) == _content(new):
            replaced = f"it holds the same as {each.name}, which it replaces"
        else:
            rest.append(each)
    return (*rest, new), replaced


def _content(each: EvidenceList) -> list[object]:
    """The records without what tells where they stood."""
    return [
        replace(r, line=0) if isinstance(r, InventoryRecord) else replace(r, source="", where="")
        for r in each.records
    ]


def add_heights(
    roads: Path,
    place: str,
    *,
    unit: str,
    columns: dict[str, str],
    source: str = "",
    date: str = "",
    progress: Progress | None = None,
) -> EvidenceReport:
    """Add a list of heights, a file or a web address, to a road file; what became of it.

    `columns` are those of `sources.height_list.Columns` that differ from their defaults; `source` names the
    list, else its file does; `date` holds for rows without one. A list of the same name is replaced. The road
    file is replaced whole, or stands as it was.

    Raises UsageError and InputError where the list cannot be read, RoadFileError where the road file cannot
    take it, OutputError where it cannot be written.
    """
    return _add(
        roads,
        lambda ground: _read_heights(place, ground, unit=unit, columns=columns, source=source, date=date),
        progress,
    )


def add_inventory(
    roads: Path, place: str, *, year: int | None = None, progress: Progress | None = None
) -> EvidenceReport:
    """The same for a bridge inventory, see `read_inventory_list`."""
    return _add(
        roads, lambda ground: read_inventory_list(place, ground, year=year, progress=progress), progress
    )


@without_collector()
def _add(roads: Path, read: Callable[[Extract], ListRead], progress: Progress | None) -> EvidenceReport:
    from clearance.core.whole_file import only_writer
    from clearance.network.roadfile import open_kept

    def waiting() -> None:
        if progress is not None:
            progress(f"waiting for another program that is changing {roads}", 0, 0)

    with only_writer(roads, waiting=waiting):
        kept = open_kept(roads)
        new = read(kept.ground)
        lists, replaced = _with(kept.lists, new.evidence)
        fused, before = _rewritten(roads, replace(kept, lists=lists), progress)
    notes = (*new.notes, *((replaced,) if replaced else ()))
    return evidence_report((new.evidence,), fused, before, unused=new.unused, notes=notes)


@without_collector()
def remove_list(roads: Path, name: str) -> EvidenceReport:
    """Take the heights of a list away from a road file; what the lists left in it tell.

    Raises UsageError where it holds no list of that name.
    """
    from clearance.core.whole_file import only_writer
    from clearance.network.roadfile import open_kept

    with only_writer(roads):
        kept = open_kept(roads)
        left = tuple(each for each in kept.lists if each.name != name)
        if len(left) == len(kept.lists):
            known = ", ".join(each.name for each in kept.lists) or "none"
            raise UsageError(f"{roads} holds no list {name!r}; it holds {known}")
        fused, before = _rewritten(roads, replace(kept, lists=left), None)
    return evidence_report(left, fused, before)


def _rewritten(roads: Path, kept: Kept, progress: Progress | None) -> tuple[Fused, tuple[Structure, ...]]:
    """Write the road file anew with the lists of `kept`; the result, and what its structures were."""
    from clearance.network.roadfile import check_road_file, open_road_file, write_road_file
    from clearance.network.structure_arrays import with_structures

    tell = progress or (lambda _what, _done, _total: None)
    # What is copied to the new file must be as it was written.
    check_road_file(roads)
    network = open_road_file(roads)
    tell("matching heights with bridges", 0, 0)
    before = tuple(network.structures)
    fused = fused_with(kept.lists, before, kept.ground)
    tell("writing the road file", 0, 0)
    write_road_file(with_structures(network, fused.structures), roads, kept)
    return fused, before


@without_collector()
def list_evidence(roads: Path) -> EvidenceReport:
    """The lists that a road file holds, and what became of their records."""
    from clearance.network.roadfile import open_kept, open_road_file

    structures, kept = tuple(open_road_file(roads).structures), open_kept(roads)
    return evidence_report(kept.lists, fused_with(kept.lists, structures, kept.ground), structures)


def evidence_report(
    lists: tuple[EvidenceList, ...],
    fused: Fused,
    structures: Sequence[Structure],
    *,
    unused: tuple[UnusedRow, ...] = (),
    notes: tuple[str, ...] = (),
) -> EvidenceReport:
    """What of the result is of these lists; `structures` are those of the map, with or without lists."""
    from clearance.core.matches import EvidenceReport
    from clearance.structures.fusion import from_map

    mine = {id(record) for each in lists for record in each.records}
    matches = tuple(m for m in fused.matches if any(id(r) in mine for r in m.records))
    touched = {key for m in matches for key in m.structures}
    return EvidenceReport(
        lists=lists,
        matches=matches,
        unmatched=tuple(u for u in fused.unmatched if any(id(r) in mine for r in u.records)),
        conflicts=tuple(c for c in fused.conflicts if c.structure in touched),
        before=_known(from_map(structures)),
        after=_known(fused.structures),
        unused=unused,
        notes=notes,
    )


def _known(structures: Sequence[Structure]) -> AreaKnown:
    from clearance.core.knowledge import AreaKnown

    over = [s for s in structures if s.over_road]
    return AreaKnown(len(over), sum(s.verified() for s in over))


# --- telling ----------------------------------------------------------------------------------------


def evidence_text(report: EvidenceReport) -> str:
    """A report as lines for the terminal."""
    from clearance.outputs.evidence import evidence_text as text

    return text(report)


def evidence_json(report: EvidenceReport) -> dict[str, Any]:
    """A report in full, as values for JSON."""
    from clearance.outputs.evidence import evidence_json as document

    return document(report)


def write_left_over(report: EvidenceReport, output: Path) -> None:
    """Write the records that were not matched and the rows that cannot be used as CSV.

    Raises UsageError where the name does not end in .csv, OutputError where it cannot be written.
    """
    from clearance.outputs.atomic import write_whole
    from clearance.outputs.evidence import left_over_csv

    check_left_over(output)
    write_whole(output, left_over_csv(report))


def check_left_over(output: Path) -> None:
    """Raise UsageError, before any work, where the file of what is left over has another ending than .csv."""
    if output.suffix.lower() != ".csv":
        raise UsageError(f"--unmatched {output}: is a table; give it a name that ends in .csv")
