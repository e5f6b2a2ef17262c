"""The US National Bridge Inventory: yearly delimited files, the older fixed-width form, the 2022 form.

Sources: FHWA-PD-96-001 (1995), items as cited in `clearance.core.inventory`, and its Appendix E for the
positions of the fixed-width form. Column names of the delimited files as they stand in published files;
those of Items 34, 43B, 90 and 101 and all of the 2022 specification but B.H.12 and B.H.13 from memory.
"""

from __future__ import annotations

import csv
import re
import sys
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import IO, TYPE_CHECKING

from clearance.core.errors import InputError, UsageError
from clearance.core.inventory import CodedHeight, HeightState, InventoryRecord
from clearance.core.valuetext import shown
from clearance.sources.inventory_items import (
    ItemError,
    decimal_place,
    feet_height,
    inspection_month,
    metric_height,
    place,
    under,
)
from clearance.sources.plain_text import checked_file
from clearance.sources.progress import Progress

if TYPE_CHECKING:
    from clearance.sources.web_file import FetchSettings

__all__ = [
    "Inventory",
    "RowProblem",
    "inventory_rows",
    "inventory_year",
    "read_inventory",
    "read_inventory_at",
]

Box = tuple[float, float, float, float]
_Cells = Mapping[str, str]

_MOST_BYTES = 4 << 30
#: A row of the fixed form has 432 characters, one of the delimited form about 600.
_LONGEST_LINE = 20_000
_TELL_EVERY = 20_000
#: A zip of inventories packs 5 to 20 times (texts padded with blanks; judgement, no source).
_MOST_TIMES, _ALWAYS_BYTES = 200, 64 << 20
#: The largest inventory has about 620,000 rows (from memory); more than this would fill the memory.
_MOST_ROWS = 2_000_000
_MOST_BLANK_LINES = 10_000


@dataclass(frozen=True, slots=True)
class RowProblem:
    """A row or an item of it that could not be used: its line, counted from 1, and why.

    `number` is the structure number (Item 8) where it could be read, `file` the file within a zip of
    several; `dropped` tells whether the whole row is left out or the one item only.
    """

    line: int
    reason: str
    number: str = ""
    dropped: bool = True
    file: str = ""

    def __str__(self) -> str:
        """As a sentence for a reader."""
        file = f"{self.file}, " if self.file else ""
        structure = f", structure {self.number}" if self.number else ""
        return f"{file}line {self.line}{structure}: {self.reason}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inventory:
    """What was read: records in the order of the file, what could not be used, how many rows there were.

    `outside` counts the rows that lie outside the box asked for.
    """

    source: str
    records: tuple[InventoryRecord, ...]
    problems: tuple[RowProblem, ...]
    rows: int
    outside: int


@dataclass(frozen=True, slots=True)
class _Asked:
    """The year of the inventory and the box that is wanted, None where not known or not limited."""

    year: int | None
    box: Box | None


@dataclass(frozen=True, slots=True)
class _Form:
    """A form of the inventory: how a line becomes cells by item, and cells a record."""

    cells: Callable[[str], _Cells]
    place: Callable[[str, str], tuple[float, float, float]]
    heights: Callable[[_Cells, list[str]], tuple[CodedHeight, CodedHeight, CodedHeight]]
    record_type: Callable[[_Cells], str]
    has_header: bool
    edition: int = 1995


def inventory_year(name: str) -> int | None:
    """The year in the name of an inventory's file, such as 2024 in ``HI24.txt`` or ``2024_del.zip``."""
    whole = re.findall(r"(?<!\d)(?:19[89]\d|20\d\d)(?!\d)", name)
    if whole:
        return int(whole[-1])
    short = re.fullmatch(r"[A-Za-z]{2}(\d\d)(?:\D.*)?", name)
    if short is None:
        return None
    return (1900 if int(short[1]) >= 80 else 2000) + int(short[1])


def read_inventory(
    path: Path, *, year: int | None = None, box: Box | None = None, progress: Progress | None = None
) -> Inventory:
    """All records of an inventory file, or those inside `box` (west, south, east, north, WGS84 degrees).

    The file is the delimited or the fixed-width form as text, or a zip of such files; which form it is
    shows in its first line. `year` is the year of the inventory, else the one in the file's name.

    A row without a usable place is left out and listed, whatever the box; a row with an item that
    cannot be read is kept without that item, and listed. Raises InputError where the file as a whole
    is no inventory, UsageError for a box that is none.
    """
    records: list[InventoryRecord] = []
    problems: list[RowProblem] = []
    outside = 0
    for row in inventory_rows(path, year=year, box=box, progress=progress):
        if isinstance(row, InventoryRecord):
            records.append(row)
        elif isinstance(row, RowProblem):
            problems.append(row)
        else:
            outside += 1
        if len(records) + len(problems) > _MOST_ROWS:
            raise InputError(
                f"{path}: holds more than {_MOST_ROWS:,} rows to keep, {len(problems):,} of them with faults"
                "; is it an inventory? Take the file of one state"
            )
    return Inventory(
        source=_source(year if year is not None else inventory_year(path.name)),
        records=tuple(records),
        problems=tuple(problems),
        rows=len(records) + outside + sum(p.dropped for p in problems),
        outside=outside,
    )


def read_inventory_at(
    place: str,
    *,
    year: int | None = None,
    box: Box | None = None,
    settings: FetchSettings | None = None,
    progress: Progress | None = None,
) -> Inventory:
    """`read_inventory` of a file by its name, or of one at a web address, fetched first.

    Raises as `read_inventory` does; for an address also DataUnavailableError, as `fetched_file` does.
    """
    from clearance.sources.web_file import fetched_file, is_web_address

    if not is_web_address(place):
        return read_inventory(Path(place), year=year, box=box, progress=progress)
    with fetched_file(place, settings, progress=progress) as path:
        return read_inventory(path, year=year, box=box, progress=progress)


def inventory_rows(
    path: Path, *, year: int | None = None, box: Box | None = None, progress: Progress | None = None
) -> Iterator[InventoryRecord | RowProblem | None]:
    """The rows of an inventory file one after another, as `read_inventory` takes them.

    None stands for a row outside the box. Problems of single items come before their record. Never
    holds more than a row.
    """
    if box is not None and not (-180 <= box[0] < box[2] <= 180 and -90 <= box[1] < box[3] <= 90):
        raise UsageError(f"box {box} is none; give west, south, east, north in degrees")
    asked = _Asked(year if year is not None else inventory_year(path.name), box)
    tell = progress or (lambda _what, _done, _total: None)
    checked_file(path, most_bytes=_MOST_BYTES, what="a bridge inventory")
    try:
        with path.open("rb") as raw:
            zipped = raw.read(4) == b"PK\x03\x04"
        if not zipped:
            with path.open("rb") as raw:
                yield from _rows(str(path), raw, asked, tell)
            return
        with zipfile.ZipFile(path) as archive:
            members = _members(path, archive)
            for member in members:
                with archive.open(member) as raw:
                    for row in _rows(f"{path}: {member.filename}", raw, asked, tell):
                        if isinstance(row, RowProblem) and len(members) > 1:
                            yield replace(row, file=member.filename)
                        else:
                            yield row
    # The library lets through what it thinks of a name that is no text.
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, UnicodeError) as error:
        raise InputError(f"{path}: is a damaged zip file ({error}); download it again") from error
    except OSError as error:
        raise InputError(
            f"{path}: cannot be read ({error.strerror or error}); copy it to a local disk"
        ) from error


def _members(path: Path, archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """The text files of the archive, in order of name."""
    found = [m for m in archive.infolist() if m.filename.lower().endswith((".txt", ".csv"))]
    if not found:
        raise InputError(f"{path}: holds no .txt or .csv file; unpack it and name the inventory's text file")
    if any(m.flag_bits & 1 for m in found):
        raise InputError(f"{path}: is locked with a password; unpack it first")
    if any(m.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for m in found):
        raise InputError(f"{path}: is packed in a way that is not read; unpack it first")
    most = min(_MOST_BYTES, max(_ALWAYS_BYTES, _MOST_TIMES * sum(m.compress_size for m in found)))
    if sum(m.file_size for m in found) > most:
        raise InputError(f"{path}: unpacks to more than {most:,} bytes; is it the right file?")
    return sorted(found, key=lambda m: m.filename)


@cache
def _source(year: int | None) -> str:
    return f"National Bridge Inventory {year}" if year is not None else "National Bridge Inventory"


def _lines(where: str, raw: IO[bytes]) -> Iterator[tuple[int, bytes]]:
    """Each line with its number, line ends off. Raises InputError for a line without end."""
    number = 0
    while line := raw.readline(_LONGEST_LINE + 1):
        number += 1
        if len(line) > _LONGEST_LINE:
            raise InputError(
                f"{where}, line {number}: is longer than {_LONGEST_LINE:,} bytes; not an inventory"
            )
        yield number, line.rstrip(b"\r\n\x1a")


def _rows(
    where: str, raw: IO[bytes], asked: _Asked, tell: Progress
) -> Iterator[InventoryRecord | RowProblem | None]:
    form: _Form | None = None
    encoding = "utf-8"
    blank = 0
    for number, line in _lines(where, raw):
        if not line.strip():
            blank += 1
            if blank > _MOST_BLANK_LINES:
                raise InputError(f"{where}: holds more than {blank - 1:,} blank lines; is it an inventory?")
            continue
        if form is None:
            head = line.removeprefix(b"\xef\xbb\xbf").decode("latin-1")
            form = _form(where, head)
            # A byte is a position in the fixed form, so nothing may merge two of them.
            encoding = "utf-8" if form.has_header else "latin-1"
            if form.has_header:
                continue
        if number % _TELL_EVERY == 0:
            tell("reading the bridge inventory", number, 0)
        text = line.decode(encoding, errors="replace")
        try:
            cells = form.cells(text)
        except ItemError as error:
            yield RowProblem(number, str(error))
            continue
        yield from _record(form, cells, number, asked)
    if form is None:
        raise InputError(f"{where}: holds blank lines only; download it again")


def _record(
    form: _Form, cells: _Cells, line: int, asked: _Asked
) -> Iterator[InventoryRecord | RowProblem | None]:
    number, box, year = cells["8"], asked.box, asked.year
    if not number:
        yield RowProblem(line, "has no structure number (Item 8)")
        return
    try:
        lon, lat, step = form.place(cells["16"], cells["17"])
        if box is not None and not (box[0] <= lon <= box[2] and box[1] <= lat <= box[3]):
            yield None
            return
        record_type = form.record_type(cells)
    except ItemError as error:
        yield RowProblem(line, str(error), number)
        return
    amiss: list[str] = []
    item_10, item_53, item_54 = form.heights(cells, amiss)
    lanes_on, lanes_under, skew = (_whole(cells, item, amiss) for item in ("28A", "28B", "34"))
    for reason in amiss:
        yield RowProblem(line, reason, number, dropped=False)
    code = sys.intern
    yield InventoryRecord(
        source=_source(year),
        line=line,
        number=number,
        record_type=record_type,
        lon=lon,
        lat=lat,
        place_step_m=step,
        item_10=item_10,
        item_53=item_53,
        item_54=item_54,
        state=code(cells.get("1", "")),
        date=inspection_month(cells.get("90", ""), year) or (str(year) if year is not None else ""),
        features=cells.get("6A", ""),
        carried=cells.get("7", ""),
        location=cells.get("9", ""),
        service_on=code(cells.get("42A", "")),
        service_under=code(cells.get("42B", "")),
        lanes_on=lanes_on,
        lanes_under=lanes_under,
        traffic=code(cells.get("102", "")),
        suffix=code(cells.get("5E", "")),
        parallel=code(cells.get("101", "")),
        skew_deg=skew,
        design=code(cells.get("43B", "")),
        edition=form.edition,
    )


def _whole(cells: _Cells, item: str, amiss: list[str]) -> int | None:
    raw = re.sub(r"\.0*$", "", cells.get(item, ""))
    if not raw:
        return None
    if not re.fullmatch(r"\d{1,3}", raw, re.ASCII):
        amiss.append(f"Item {item}: {shown(raw)} is no whole number")
        return None
    return int(raw)


_MISSING = CodedHeight(HeightState.MISSING)
#: Most rows say one of a few things; one value for each keeps a country in memory.
_SHARED: dict[CodedHeight, CodedHeight] = {}


def _coded(item: str, read: Callable[[], CodedHeight], raw: str, amiss: list[str]) -> CodedHeight:
    try:
        told = read()
    except ItemError as error:
        amiss.append(f"Item {item}: {error}")
        return CodedHeight(HeightState.UNREADABLE, raw=raw[:40])
    return _SHARED.setdefault(told, told) if len(_SHARED) < 100_000 else told


# --- the delimited files and the fixed-width form of 1995 ---------------------------------------------

#: Item -> name of its column in the yearly delimited files.
_COLUMNS = {
    "1": "STATE_CODE_001",
    "8": "STRUCTURE_NUMBER_008",
    "5A": "RECORD_TYPE_005A",
    "5E": "DIRECTION_005E",
    "6A": "FEATURES_DESC_006A",
    "7": "FACILITY_CARRIED_007",
    "9": "LOCATION_009",
    "10": "MIN_VERT_CLR_010",
    "16": "LAT_016",
    "17": "LONG_017",
    "28A": "TRAFFIC_LANES_ON_028A",
    "28B": "TRAFFIC_LANES_UND_028B",
    "34": "DEGREES_SKEW_034",
    "42A": "SERVICE_ON_042A",
    "42B": "SERVICE_UND_042B",
    "43B": "STRUCTURE_TYPE_043B",
    "53": "VERT_CLR_OVER_MT_053",
    "54A": "VERT_CLR_UND_REF_054A",
    "54B": "VERT_CLR_UND_054B",
    "90": "DATE_OF_INSPECT_090",
    "101": "PARALLEL_STRUCTURE_101",
    "102": "TRAFFIC_DIRECTION_102",
}
_NEEDED = ("8", "5A", "16", "17", "10", "53", "54A", "54B")

#: Item -> first and last position in the 432 characters of a record (Appendix E, pages E-1 to E-4).
_POSITIONS = {
    "1": (1, 3),
    "8": (4, 18),
    "5A": (19, 19),
    "5E": (27, 27),
    "6A": (38, 61),
    "7": (63, 80),
    "9": (81, 105),
    "10": (106, 109),
    "16": (130, 137),
    "17": (138, 146),
    "28A": (161, 162),
    "28B": (163, 164),
    "34": (181, 182),
    "42A": (200, 200),
    "42B": (201, 201),
    "43B": (203, 204),
    "53": (243, 246),
    "54A": (247, 247),
    "54B": (248, 251),
    "90": (287, 290),
    "101": (357, 357),
    "102": (358, 358),
}
#: The last item that is read must be there: every record, also an "under" one, has Item 102 (Item 5A).
_SHORTEST_RECORD = 358
_LONGEST_RECORD = 445
#: Records of the guide before 1995 have 400 characters and feet (from memory); Appendix E speaks of the
#: expansion.
_RECORD_OF_1988 = 400


def _form(where: str, head: str) -> _Form:
    """The form that the first line shows. Raises InputError where it is none."""
    folded = {_folded(name) for separator in ",\t|;^" for name in head.split(separator)}
    if _COLUMNS["8"] in folded:
        return _delimited(where, head)
    if {"BH12", "BH13"} & {_item_of_2022(name) for name in re.split(r"[,\t|;^]", head)}:
        return _of_2022(where, head)
    if len(head.rstrip()) == _RECORD_OF_1988:
        raise InputError(
            f"{where}, line 1: has {_RECORD_OF_1988} characters: the form before 1995, in feet, is not read; "
            "take the file of a later year"
        )
    if _SHORTEST_RECORD <= len(head) <= _LONGEST_RECORD:
        return _Form(_fixed_cells, place, _metric_heights, _record_type, has_header=False)
    raise InputError(
        f"{where}, line 1: is neither a header with {_COLUMNS['8']} nor a record of 432 characters, but "
        f"{shown(head)}; name a file of the National Bridge Inventory"
    )


def _folded(name: str) -> str:
    return name.strip().strip("'\"").strip().upper()


def _columns(
    where: str, head: str, fold: Callable[[str], str], items: Mapping[str, str]
) -> tuple[str, list[str]]:
    """What parts the cells, and the item of each column, empty where it is none that is read."""
    by_name = {name: item for item, name in items.items()}
    separator = max(",\t|;^", key=lambda s: sum(fold(name) in by_name for name in head.split(s)))
    found = [by_name.get(fold(name), "") for name in head.split(separator)]
    twice = {item for item in found if item and found.count(item) > 1}
    if twice:
        raise InputError(f"{where}, line 1: two columns stand for {items[min(twice)]}; keep one of them")
    return separator, found


def _delimited(where: str, head: str) -> _Form:
    separator, found = _columns(where, head, _folded, _COLUMNS)
    missing = [_COLUMNS[item] for item in _NEEDED if item not in found]
    if missing:
        raise InputError(f"{where}, line 1: has no column {', '.join(missing)}; take the file with all items")
    return _Form(_splitter(separator, found), place, _metric_heights, _record_type, has_header=True)


def _splitter(separator: str, found: Sequence[str]) -> Callable[[str], _Cells]:
    """What takes a delimited line apart: texts in single quotes, or in double ones.

    A row is one line, so that a quote left open spoils that row alone.
    """
    wanted = [(at, item) for at, item in enumerate(found) if item]
    width = len(found)

    def cells(line: str) -> _Cells:
        double = line.count(separator + '"') > line.count(separator + "'")
        quote = '"' if double else "'"
        try:
            row = next(csv.reader((line,), delimiter=separator, quotechar=quote))
        except csv.Error as error:
            raise ItemError(f"the cells cannot be told apart ({error})") from error
        # Some years end each row with a separator.
        if len(row) != width and not (len(row) == width + 1 and not row[-1].strip()):
            raise ItemError(f"has {len(row)} cells, but the header names {width}; is a quote in a name?")
        # An apostrophe within a name leaves the closing quote behind.
        return {item: row[at].strip(" '\"\t") for at, item in wanted}

    return cells


def _fixed_cells(line: str) -> _Cells:
    if not _SHORTEST_RECORD <= len(line) <= _LONGEST_RECORD:
        raise ItemError(f"has {len(line)} characters instead of 432")
    return {item: line[first - 1 : last].strip() for item, (first, last) in _POSITIONS.items()}


def _record_type(cells: _Cells) -> str:
    code = cells["5A"].upper()
    if not re.fullmatch(r"[12A-Z]", code, re.ASCII):
        raise ItemError(f"record type {shown(cells['5A'])} (Item 5A) is none of 1, 2, A to Z")
    return sys.intern(code)


def _metric_heights(cells: _Cells, amiss: list[str]) -> tuple[CodedHeight, CodedHeight, CodedHeight]:
    ten, over, reference, below = cells["10"], cells["53"], cells["54A"], cells["54B"]
    return (
        _coded("10", lambda: metric_height(ten), ten, amiss),
        _coded("53", lambda: metric_height(over), over, amiss),
        _coded("54", lambda: under(reference, below), f"{reference} {below}", amiss),
    )


# --- the specification of 2022 -----------------------------------------------------------------------

#: Our item -> the item of the 2022 specification. One row for each highway feature, on or under.
_ITEMS_OF_2022 = {
    "1": "BL01",
    "8": "BID01",
    "9": "BL11",
    "16": "BL05",
    "17": "BL06",
    "10": "BH12",
    "13": "BH13",
    "feature": "BF01",
    "location": "BF02",
    "name": "BF03",
}
_NEEDED_OF_2022 = ("8", "16", "17", "13", "feature", "location")
#: B.F.02: the feature is carried by the bridge, or below it (from memory).
_CARRIED, _BELOW = "C", "B"


def _item_of_2022(name: str) -> str:
    """``BH13`` of ``B.H.13``, ``BH13`` or ``B_H_13 Highway Min...``; empty where it is no such name."""
    found = re.match(r"B[._ ]?(L|ID|H|F)[._ ]?(\d\d)(?!\d)", _folded(name), re.ASCII)
    return f"B{found[1]}{found[2]}" if found else ""


def _of_2022(where: str, head: str) -> _Form:
    separator, found = _columns(where, head, _item_of_2022, _ITEMS_OF_2022)
    missing = [_ITEMS_OF_2022[item] for item in _NEEDED_OF_2022 if item not in found]
    if missing:
        raise InputError(
            f"{where}, line 1: has no column {', '.join(missing)}; a height of the 2022 form means nothing "
            "without the bridge, its place and the feature it is of"
        )
    split = _splitter(separator, found)

    def cells(line: str) -> _Cells:
        row = dict(split(line))
        carried = row["location"].upper() == _CARRIED
        row["7" if carried else "6A"] = row.get("name", "")
        return row

    return _Form(cells, decimal_place, _feet_heights, _type_of_2022, has_header=True, edition=2022)


def _type_of_2022(cells: _Cells) -> str:
    where = cells["location"].upper()
    if where not in (_CARRIED, _BELOW):
        raise ItemError(f"feature location {shown(cells['location'])} (B.F.02) is neither C nor B")
    return "1" if where == _CARRIED else "2"


def _feet_heights(cells: _Cells, amiss: list[str]) -> tuple[CodedHeight, CodedHeight, CodedHeight]:
    """B.H.12 as Item 10; B.H.13 as Item 53 of a highway carried, as Item 54 of one below."""
    if not cells["feature"].upper().startswith("H"):
        return _MISSING, _MISSING, _MISSING
    most, least = cells.get("10", ""), cells["13"]
    upper = _coded("B.H.12", lambda: feet_height(most), most, amiss)
    lower = _coded("B.H.13", lambda: feet_height(least), least, amiss)
    if cells["location"].upper() == _CARRIED:
        return upper, lower, _MISSING
    return upper, _MISSING, lower
