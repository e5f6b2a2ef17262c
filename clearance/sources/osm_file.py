"""Local OpenStreetMap files, read through pyosmium."""

from __future__ import annotations

import bz2
import gzip
import re
import zlib
from array import array
from collections import deque
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from clearance.core.collector import young_collector
from clearance.core.errors import InputError
from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way
from clearance.sources.assemble import Elements, assemble, boxes_met, on_earth
from clearance.sources.osm_bounds import check_pbf, check_xml
from clearance.sources.wanted import Want, is_area_relation, want_node, want_relation
from clearance.sources.way_blocks import FIRST_DATE, WayBlock, packed, tags_of, unpacked
from clearance.sources.way_readers import parts_of, read_in_parts

if TYPE_CHECKING:
    import numpy.typing as npt
    from osmium.index import LocationTable

    from clearance.sources.progress import Progress

    Bool = npt.NDArray[np.bool_]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["SUFFIXES", "read_osm"]

#: File name endings that can be read, with the format each stands for.
SUFFIXES = {".osm": "osm", ".osm.bz2": "osm.bz2", ".osm.gz": "osm.gz", ".osm.pbf": "pbf", ".pbf": "pbf"}

#: The start tag of the root must stand within this many bytes of an XML file.
_PROLOG_BYTES = 1 << 20
#: A PBF file of so many bytes or more is worth the start of processes to read its ways.
_LARGE_BYTES = 16 << 20
#: Bytes in a part of such a file. More parts than processes, so that none waits long for the last one.
_PART_BYTES = 4 << 20
#: Where a node has no place: beyond every longitude and latitude, in whole 1e-7 degrees.
_NOWHERE = 2**31 - 1


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
    found = _Ways(_Places(index), texts)
    if parts:
        for done, blocks in enumerate(read_in_parts(path, frames[0], parts, outlines, several), start=1):
            found.add(blocks)
            tell(what, done, whole)
    else:
        found.add(packed(osmium.FileProcessor(file, WAY), outlines))
        tell(what, whole, whole)
    tell("sorting elements", 0, 0)
    return header_date, found.elements(node_tags, relations), max(newest, found.newest)


class _Places:
    """Where nodes are, in whole 1e-7 degrees."""

    def __init__(self, index: LocationTable) -> None:
        self._get = index.get

    def of(self, refs: I64) -> I32:
        """The places (n, 2), x and y, of nodes (n,); `_NOWHERE` for one that has none."""
        x, y, get = array("i"), array("i"), self._get
        for ref in refs.tolist():
            try:
                place = get(ref)
            except (KeyError, TypeError):  # TypeError: a number below 0, as editors give to what is new
                x.append(_NOWHERE)
                y.append(_NOWHERE)
                continue
            x.append(place.x)
            y.append(place.y)
        return np.stack((np.array(x, np.int32), np.array(y, np.int32)), axis=1)


class _Ways:
    """The ways of a file that may be wanted, packed until it is known which buildings stand by a road.

    A way may be in a file more than once, and the last one counts. So all of them stay in the order of the
    file, and a building waits for a road only if no other way of its number is wanted.
    """

    def __init__(self, places: _Places, texts: dict[str, str]) -> None:
        self.newest = FIRST_DATE
        self._places, self._texts = places, texts
        #: Each block, and which of its ways wait for a road.
        self._blocks: list[tuple[WayBlock, Bool]] = []
        self._boxes: list[I32] = []
        self._pieces: list[I32] = []
        self._node_ids: list[I64] = []
        self._xy: list[I32] = []

    def add(self, blocks: Iterable[WayBlock]) -> None:
        """Take up the ways of blocks, in the order of the file."""
        for block in blocks:
            self.newest = max(self.newest, block.newest)
            refs, row = np.unique(block.refs, return_inverse=True)
            places = self._places.of(refs)
            xy = places[row]
            placed = on_earth(*xy.T)
            waits = block.near_road & _whole(block, placed)
            of_waiting = np.repeat(waits, block.nodes)
            self._blocks.append((block, waits))
            self._boxes.append(_boxes(xy[of_waiting], block.nodes[waits]))
            self._pieces.append(_road_pieces(block, xy, placed))
            needed = np.unique(row[~of_waiting])
            self._node_ids.append(refs[needed])
            self._xy.append(places[needed])

    def elements(self, node_tags: dict[int, dict[str, str]], relations: list[Relation]) -> Elements:
        """All that may be wanted; of the buildings that wait, those that a road or path runs by."""
        met = boxes_met(np.concatenate(self._boxes), np.concatenate(self._pieces))
        self._boxes, self._pieces = [], []
        waiting = np.concatenate([block.ids[waits] for block, waits in self._blocks])
        others = np.concatenate([block.ids[~waits] for block, waits in self._blocks])
        # All at once: to look the ids of each block up among those of all would take them squared.
        near = np.isin(waiting, np.union1d(waiting[met], others))
        chosen: list[Bool] = []
        for _, waits in self._blocks:
            rows = waits.copy()
            rows[waits], near = np.split(near, [np.count_nonzero(waits)])
            chosen.append(rows)
        tagged = np.fromiter(node_tags, np.int64, len(node_tags))
        late = [
            block.refs[np.repeat(rows, block.nodes)]
            for (block, _), rows in zip(self._blocks, chosen, strict=True)
        ]
        more = np.unique(np.concatenate((tagged, *late)))
        ids, xy = (*self._node_ids, more), (*self._xy, self._places.of(more))
        self._node_ids, self._xy, late = [], [], []
        ways: list[Way] = []
        self._blocks.reverse()
        chosen.reverse()
        while self._blocks:
            # Popped, so that what was packed goes away as the objects come.
            block, waits = self._blocks.pop()
            ways += unpacked(block, ~waits | chosen.pop(), self._texts)
        at = np.concatenate(xy)
        return Elements(
            node_ids=np.concatenate(ids),
            x=at[:, 0],
            y=at[:, 1],
            node_tags=node_tags,
            ways=ways,
            relations=relations,
        )


def _whole(block: WayBlock, placed: Bool) -> Bool:
    """Which ways (n,) have nodes, each with a place; `placed` (m,) tells which of `block.refs` have one."""
    missing = np.repeat(np.arange(len(block.ids)), block.nodes)[~placed]
    whole = block.nodes > 0
    whole[missing] = False
    return whole


def _boxes(xy: I32, counts: I32) -> I32:
    """The boxes (n, 4) of ways: west, south, east, north; each has the next `counts` of the places `xy`."""
    begin = np.cumsum(counts) - counts
    if not len(counts):
        return np.zeros((0, 4), np.int32)
    low, high = (of.reduceat(xy, begin, axis=0) for of in (np.minimum, np.maximum))
    return np.concatenate((low, high), axis=1)


def _road_pieces(block: WayBlock, xy: I32, placed: Bool) -> I32:
    """The straight pieces (m, 2, 2) of roads and paths; `xy` are the places of `block.refs` if `placed`."""
    way = np.repeat(np.arange(len(block.ids)), block.nodes)
    of_tags = np.repeat(np.arange(len(block.ids)), block.tags)
    road = np.zeros(len(block.ids), np.bool_)
    if "highway" in block.strings:
        road[of_tags[block.keys == block.strings.index("highway")]] = True
    here = np.flatnonzero((way[:-1] == way[1:]) & road[way[:-1]] & placed[:-1] & placed[1:])
    return xy[np.stack((here, here + 1), axis=1)]


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
