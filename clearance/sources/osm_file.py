"""Local OpenStreetMap files, read through pyosmium."""

from __future__ import annotations

import bz2
import gzip
import re
import zlib
from collections import deque
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from clearance.core.collector import young_collector
from clearance.core.errors import InputError
from clearance.core.extract import Extract, ExtractInfo, Member, Relation
from clearance.sources.assemble import Elements, assemble
from clearance.sources.osm_bounds import check_pbf, check_xml
from clearance.sources.wanted import Want, is_area_relation, want_node, want_relation
from clearance.sources.wanted_ways import NodePlaces, WantedWays
from clearance.sources.way_blocks import FIRST_DATE, packed, tags_of
from clearance.sources.way_readers import parts_of, read_in_parts

if TYPE_CHECKING:
    from clearance.sources.progress import Progress

__all__ = ["SUFFIXES", "read_osm"]

#: File name endings that can be read, with the format each stands for.
SUFFIXES = {".osm": "osm", ".osm.bz2": "osm.bz2", ".osm.gz": "osm.gz", ".osm.pbf": "pbf", ".pbf": "pbf"}

#: The start tag of the root must stand within this many bytes of an XML file.
_PROLOG_BYTES = 1 << 20
#: A PBF file of so many bytes or more is worth the start of processes to read its ways.
_LARGE_BYTES = 16 << 20
#: Bytes in a part of such a file. More parts than processes, so that none waits long for the last one.
_PART_BYTES = 4 << 20


@young_collector()
def read_osm(path: Path, progress: Progress | None = None, processes: int = 1) -> Extract:
    """The extract of a local .osm, .osm.bz2, .osm.gz or .osm.pbf file.

    The order of elements in the file does not matter. `progress` is told of two passes, of the second one
    by its parts where the file has some. The ways of a PBF file of 16 MiB or more are read by as many
    `processes`, if more than one; a script that asks for them must be guarded as `multiprocessing` wants.
    `info.source` is the file's name; `info.data_date` is the date in the file's header, else the newest
    date on a wanted element, empty where neither is there or both lie in the future.

    Raises InputError, naming the file and what to try, where the file is missing, empty, cut off, of
    another kind, or holds no roads. XML with a document type or entities is refused, not expanded.
    """
    kind = _format_of(path)
    tell = progress or (lambda _what, _done, _total: None)
    head = _checked_head(path, kind)
    frames = _checked_frames(path, kind, tell)
    import osmium

    try:
        header_date, elements, newest = _elements(path, kind, frames, processes, tell)
    except (RuntimeError, ValueError, OverflowError, OSError, osmium.InvalidLocationError) as error:
        raise InputError(f"{path}: {_reason(error, kind)}; download or export the file again") from error
    base = re.search(r'osm_base="([^"]*)"', head)
    date, warnings = _data_date([header_date, base[1] if base else ""], newest)
    info = ExtractInfo(
        source=path.name,
        data_date=date,
        read_date=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        warnings=tuple(f"{path.name}: {text}" for text in warnings),
    )
    extract = assemble(elements, info)
    if not any("highway" in way.tags for way in extract.ways):
        raise InputError(
            f"{path}: holds no roads (no way with a highway tag whose nodes have a place); "
            "choose an extract with streets"
        )
    return extract


def _format_of(path: Path) -> str:
    """The format that the file's ending stands for, once it is sure that there is such a file."""
    if not path.exists():
        raise InputError(f"{path}: no such file; check the name and the folder")
    if path.is_dir():
        raise InputError(f"{path}: is a folder; name one OpenStreetMap file in it")
    if not path.is_file():
        raise InputError(f"{path}: is not a plain file; save the data to a file first")
    name = path.name.lower()
    for suffix in sorted(SUFFIXES, key=len, reverse=True):
        if name.endswith(suffix):
            break
    else:
        raise InputError(
            f"{path}: the name ends in none of {', '.join(SUFFIXES)}; rename or convert the file"
        )
    try:
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except OSError as error:
        raise InputError(f"{path}: cannot be opened ({error.strerror}); check its permissions") from error
    if size == 0:
        raise InputError(f"{path}: is empty; download or export the file again")
    return SUFFIXES[suffix]


def _checked_head(path: Path, kind: str) -> str:
    """The first stretch of an XML file, past the start of its root; empty for PBF.

    Raises InputError where the file is no OSM XML, or declares a document type: entities are the way
    to make a small file unfold into an endless one, and no OSM file needs them.
    """
    if kind == "pbf":
        return ""
    try:
        with _opened(path, kind) as file:
            raw = file.read(_PROLOG_BYTES)
    except (OSError, EOFError, zlib.error) as error:
        raise InputError(
            f"{path}: {_reason(error, kind)}; check that the ending fits the content, or download it again"
        ) from error
    text = re.sub(r"<!--.*?(-->|\Z)", "", raw.decode("utf-8", errors="replace"), flags=re.DOTALL)
    root = re.search(r"<([A-Za-z][^\s>/]*)", text)
    before = text[: root.start()] if root else text
    if root and root[1].lower() == "html":
        raise InputError(f"{path}: is a web page, not map data; download the file itself")
    if re.search(r"<!(DOCTYPE|ENTITY)", before, re.IGNORECASE):
        raise InputError(f"{path}: declares a document type or entities, which OSM files never need; refused")
    start = before.lstrip("\ufeff \t\r\n")
    if root is None or (start and not start.startswith("<?")):
        raise InputError(f"{path}: is not XML in UTF-8; export it as OSM XML or use .osm.pbf")
    if root[1] != "osm":
        raise InputError(f"{path}: its root is <{root[1][:40]}>, not <osm>; export the area as OSM XML")
    return text


def _checked_frames(path: Path, kind: str, tell: Progress) -> Sequence[tuple[int, int]]:
    """The frames of a PBF file, empty where they do not make up all of it, or where the file is of XML.

    Raises InputError where the file unpacks to far more than map data does, or ends too early.
    """
    tell("checking the file", 0, 0)
    if kind == "pbf":
        frames = check_pbf(path)
        return frames if frames and frames[-1][1] == path.stat().st_size else []
    try:
        with _opened(path, kind) as stream:
            check_xml(path, stream, path.stat().st_size)
    except InputError:
        raise
    except (OSError, EOFError, zlib.error, ValueError) as error:
        raise InputError(f"{path}: {_reason(error, kind)}; download or export the file again") from error
    return []


def _opened(path: Path, kind: str) -> BinaryIO | gzip.GzipFile | bz2.BZ2File:
    """The file as a stream of XML bytes."""
    if kind == "osm.gz":
        return gzip.open(path, "rb")
    if kind == "osm.bz2":
        return bz2.open(path, "rb")
    return path.open("rb")


def _elements(
    path: Path, kind: str, frames: Sequence[tuple[int, int]], processes: int, tell: Progress
) -> tuple[str, Elements, datetime]:
    """The header's date, all elements that may be wanted, and the newest date on one of them.

    Two passes: nodes and relations, then ways. So the file may hold its elements in any order, and
    member ways of a multipolygon are known before the ways come.
    """
    import osmium
    from osmium.osm import NODE, RELATION, WAY, Node
    from osmium.osm import Relation as OsmRelation

    file = osmium.io.File(str(path), kind)
    index = osmium.index.create_map("flex_mem")
    places = osmium.NodeLocationsForWays(index)
    places.ignore_errors()
    newest = FIRST_DATE
    texts: dict[str, str] = {}
    node_tags: dict[int, dict[str, str]] = {}
    relations: list[Relation] = []

    tell("reading nodes and relations", 0, 0)
    first = osmium.FileProcessor(file, NODE | RELATION)
    header = first.header
    header_date = header.get("osmosis_replication_timestamp") or header.get("timestamp")
    for item in first.with_filter(places).with_filter(osmium.filter.EmptyTagFilter()):
        tags = tags_of(item.tags, texts)
        if isinstance(item, Node):
            if want_node(tags) and item.visible and item.location.valid():
                node_tags[item.id] = tags
                newest = max(newest, item.timestamp)
        elif isinstance(item, OsmRelation) and want_relation(tags) is not Want.NO and item.visible:
            members = tuple(Member(m.type, m.ref, m.role) for m in item.members)
            relations.append(Relation(item.id, members, tags))
            newest = max(newest, item.timestamp)

    # The library puts nodes that came in no order into one when a way first asks for them.
    deque(osmium.FileProcessor(osmium.io.FileBuffer(b"w1 Nn1\n", "opl")).with_filter(places), maxlen=0)

    outlines = frozenset(
        m.ref for r in relations if is_area_relation(r.tags) for m in r.members if m.kind == "w"
    )
    parts = parts_of(frames, _PART_BYTES)
    several = processes if path.stat().st_size >= _LARGE_BYTES else 1
    what = "reading ways" if several == 1 else f"reading ways with {several} processes"
    whole = max(1, len(parts))
    tell(what, 0, whole)
    found = WantedWays(NodePlaces(index), texts)
    if parts:
        for done, blocks in enumerate(read_in_parts(path, frames[0], parts, outlines, several), start=1):
            found.add(blocks)
            tell(what, done, whole)
    else:
        found.add(packed(osmium.FileProcessor(file, WAY), outlines))
        tell(what, whole, whole)
    tell("sorting elements", 0, 0)
    return header_date, found.elements(node_tags, relations), max(newest, found.newest)


def _reason(error: Exception, kind: str) -> str:
    """What went wrong, in a user's words, with the library's own text behind it."""
    what = {"pbf": "PBF", "osm": "OSM XML", "osm.gz": "gzipped OSM XML", "osm.bz2": "bzip2ed OSM XML"}[kind]
    return f"cannot be read as {what}: damaged, cut off or of another kind ({' '.join(str(error).split())})"


def _data_date(stated: list[str], newest: datetime) -> tuple[str, list[str]]:
    """The date of the data as ISO 8601, and what there is to say of dates that cannot be true."""
    warnings = []
    limit = datetime.now(UTC) + timedelta(days=1)
    for text in filter(None, stated):
        try:
            date = datetime.fromisoformat(text)
        except ValueError:
            warnings.append(f"the date in the header cannot be read: {text!r}")
            continue
        date = date if date.tzinfo else date.replace(tzinfo=UTC)
        if FIRST_DATE < date <= limit:
            return _iso(date), warnings
        warnings.append(f"the date in the header cannot be true and is not used: {text}")
    if FIRST_DATE < newest <= limit:
        return _iso(newest), warnings
    return "", [*warnings, "the date of the data is not known"]


def _iso(date: datetime) -> str:
    return date.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
