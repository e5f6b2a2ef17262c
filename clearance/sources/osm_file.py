"""Local OpenStreetMap files, read through pyosmium."""

from __future__ import annotations

import bz2
import gzip
import re
import zlib
from array import array
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from clearance.core.collector import young_collector
from clearance.core.errors import InputError
from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way
from clearance.sources.assemble import Elements, assemble
from clearance.sources.osm_bounds import check_pbf, check_xml
from clearance.sources.put_off import WKB_HEAD, PutOff, places_of_lines
from clearance.sources.wanted import BUILDING_KEYS, Want, is_area_relation, want_node, want_relation, want_way

if TYPE_CHECKING:
    import numpy.typing as npt
    from osmium.osm import TagList
    from osmium.osm import Way as OsmWay

    from clearance.sources.progress import Progress

__all__ = ["SUFFIXES", "read_osm"]

#: File name endings that can be read, with the format each stands for.
SUFFIXES = {".osm": "osm", ".osm.bz2": "osm.bz2", ".osm.gz": "osm.gz", ".osm.pbf": "pbf", ".pbf": "pbf"}

#: The start tag of the root must stand within this many bytes of an XML file.
_PROLOG_BYTES = 1 << 20
#: Objects without a date are dated 1970 by the library; OpenStreetMap began in 2004.
_FIRST_DATE = datetime(2004, 1, 1, tzinfo=UTC)
#: So many places of ways wait as text before they become numbers.
_MANY_PLACES = 1 << 17
#: In a PBF file of so many bytes or more, buildings wait until its roads are known, for the memory they take.
_LARGE_BYTES = 16 << 20


@young_collector()
def read_osm(path: Path, progress: Progress | None = None) -> Extract:
    """The extract of a local .osm, .osm.bz2, .osm.gz or .osm.pbf file.

    The order of elements in the file does not matter. `progress` is told of each of two passes, or of three
    where the file is large.
    `info.source` is the file's name; `info.data_date` is the date in the file's header, else the newest
    date on a wanted element, empty where neither is there or both lie in the future.

    Raises InputError, naming the file and what to try, where the file is missing, empty, cut off, of
    another kind, or holds no roads. XML with a document type or entities is refused, not expanded.
    """
    kind = _format_of(path)
    tell = progress or (lambda _what, _done, _total: None)
    head = _checked_head(path, kind)
    _check_bounds(path, kind, tell)
    import osmium

    try:
        header_date, elements, newest = _elements(path, kind, tell)
    except (RuntimeError, ValueError, OverflowError, OSError, osmium.InvalidLocationError) as error:
        raise InputError(f"{path}: {_reason(error, kind)}; download or export the file again") from error
    tell("sorting elements", 0, 0)
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


def _check_bounds(path: Path, kind: str, tell: Progress) -> None:
    """Raise InputError where the file unpacks to far more than map data does, or ends too early."""
    tell("checking the file", 0, 0)
    if kind == "pbf":
        check_pbf(path)
        return
    try:
        with _opened(path, kind) as stream:
            check_xml(path, stream, path.stat().st_size)
    except InputError:
        raise
    except (OSError, EOFError, zlib.error, ValueError) as error:
        raise InputError(f"{path}: {_reason(error, kind)}; download or export the file again") from error


def _opened(path: Path, kind: str) -> BinaryIO | gzip.GzipFile | bz2.BZ2File:
    """The file as a stream of XML bytes."""
    if kind == "osm.gz":
        return gzip.open(path, "rb")
    if kind == "osm.bz2":
        return bz2.open(path, "rb")
    return path.open("rb")


def _elements(path: Path, kind: str, tell: Progress) -> tuple[str, Elements, datetime]:
    """The header's date, all elements that may be wanted, and the newest date on one of them.

    Two passes: nodes and relations, then ways. So the file may hold its elements in any order, and
    member ways of a multipolygon are known before the ways come. Of a large file a third one, for the
    buildings near a road (see `sources.put_off`).
    """
    import osmium
    from osmium.osm import NODE, RELATION, WAY, Node
    from osmium.osm import Relation as OsmRelation

    file = osmium.io.File(str(path), kind)
    places = osmium.NodeLocationsForWays(osmium.index.create_map("flex_mem"))
    places.ignore_errors()
    newest = _FIRST_DATE
    strings: dict[str, str] = {}
    node_tags: dict[int, dict[str, str]] = {}
    relations: list[Relation] = []
    found = _Places()

    passes = 3 if kind == "pbf" and path.stat().st_size >= _LARGE_BYTES else 2
    tell("reading nodes and relations", 0, passes)
    first = osmium.FileProcessor(file, NODE | RELATION)
    header = first.header
    header_date = header.get("osmosis_replication_timestamp") or header.get("timestamp")
    for item in first.with_filter(places).with_filter(osmium.filter.EmptyTagFilter()):
        tags = _tags(item.tags, strings)
        if isinstance(item, Node):
            if want_node(tags) and item.visible and item.location.valid():
                node_tags[item.id] = tags
                found.add(item.id, item.location.x, item.location.y)
                newest = max(newest, item.timestamp)
        elif isinstance(item, OsmRelation) and want_relation(tags) is not Want.NO and item.visible:
            members = tuple(Member(m.type, m.ref, m.role) for m in item.members)
            relations.append(Relation(item.id, members, tags))
            newest = max(newest, item.timestamp)

    tell("reading ways", 1, passes)
    outlines = {m.ref for r in relations if is_area_relation(r.tags) for m in r.members if m.kind == "w"}
    kept = _Ways(found, strings, frozenset(outlines))
    put_off = PutOff() if passes == 3 else None
    kept.read(osmium.FileProcessor(file, WAY).with_filter(places), put_off)
    if put_off is not None:
        tell("reading buildings", 2, passes)
        wanted = put_off.wanted(found.elements(ways=kept.ways))
        again = osmium.FileProcessor(file, WAY)
        if wanted.isdisjoint(way.id for way in kept.ways):
            again = again.with_filter(osmium.filter.KeyFilter(*BUILDING_KEYS))
        kept.read((way for way in again.with_filter(places) if way.id in wanted), None)
    tell("reading ways", passes, passes)
    elements = found.elements(ways=kept.ways, node_tags=node_tags, relations=relations)
    return header_date, elements, max(newest, kept.newest)


class _Ways:
    """The ways of a file that may be wanted, with the newest date on one of them."""

    def __init__(self, found: _Places, strings: dict[str, str], outlines: frozenset[int]) -> None:
        """Places go to `found`; `outlines` are wanted whatever their tags."""
        self.ways: list[Way] = []
        self.newest = _FIRST_DATE
        self._found, self._strings, self._outlines = found, strings, outlines

    def read(self, items: Iterable[object], put_off: PutOff | None) -> None:
        """Take up the ways among `items`; with `put_off`, those wanted only near a road go there."""
        from osmium.osm import Way as OsmWay

        for way in items:
            if not isinstance(way, OsmWay):
                continue
            tags = _tags(way.tags, self._strings)
            want = Want.YES if way.id in self._outlines else want_way(tags)
            if want is Want.NO or not way.visible:
                continue
            self.newest = max(self.newest, way.timestamp)
            line = self._found.line(way)
            if want is Want.NEAR_ROAD and put_off is not None and line is not None:
                put_off.add(way.id, line)
                continue
            refs = tuple([node.ref for node in way.nodes])
            self._found.add_way(refs, line, way)
            self.ways.append(Way(way.id, refs, tags))


def _tags(told: TagList, strings: dict[str, str]) -> dict[str, str]:
    """Tags as a mapping. Values of a key that stands twice become a list, so that none is lost.

    OpenStreetMap refuses such elements, other programs may write them: of two heights the lower must count.
    Texts are those of `strings` where it has them, for most come a thousand times.
    """
    same = strings.setdefault
    tags = {same(k, k): same(v, v) for k, v in told}
    if len(tags) == len(told):
        return tags
    values: dict[str, dict[str, None]] = {}
    for tag in told:
        values.setdefault(tag.k, {})[tag.v] = None
    return {key: ";".join(each) for key, each in values.items()}


class _Places:
    """Nodes and their places, gathered in little memory; what repeats is kept again."""

    def __init__(self) -> None:
        import osmium

        self._factory = osmium.geom.WKBFactory()
        self._all = osmium.geom.use_nodes.ALL
        self._unplaced = (RuntimeError, osmium.InvalidLocationError)
        self._ids = array("q")
        self._x, self._y = array("i"), array("i")
        # Places of whole ways come from the library as text, in one call where a call for each node takes
        # several times as long. They belong to the ids in `_way_ids`.
        self._way_ids = array("q")
        self._texts: list[str] = []
        self._length = 0
        self._parts: list[npt.NDArray[np.int32]] = []

    def add(self, ref: int, x: int, y: int) -> None:
        """One node, at whole 1e-7 degrees."""
        self._ids.append(ref)
        self._x.append(x)
        self._y.append(y)

    def line(self, way: OsmWay) -> str | None:
        """The places of a way's nodes as hexadecimal WKB without its head; None where one has no place."""
        try:
            return self._factory.create_linestring(way, self._all)[WKB_HEAD:]
        except self._unplaced:
            return None

    def add_way(self, refs: tuple[int, ...], line: str | None, way: OsmWay) -> None:
        """The nodes of a way, `refs`, by its `line`; without one, as the library tells each of them."""
        if line is None:
            for node in way.nodes:
                self.add(node.ref, node.x, node.y)
            return
        self._way_ids.extend(refs)
        self._texts.append(line)
        self._length += len(refs)
        if self._length >= _MANY_PLACES:
            self._flush()

    def _flush(self) -> None:
        self._parts.append(places_of_lines(self._texts))
        self._texts, self._length = [], 0

    def elements(self, **others: Any) -> Elements:
        """The nodes so far, those of ways last, with the other fields of `Elements`."""
        self._flush()
        places = np.concatenate(self._parts)
        return Elements(
            node_ids=np.concatenate((np.array(self._ids, np.int64), np.array(self._way_ids, np.int64))),
            x=np.concatenate((np.array(self._x, np.int32), places[:, 0])),
            y=np.concatenate((np.array(self._y, np.int32), places[:, 1])),
            **others,
        )


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
        if _FIRST_DATE < date <= limit:
            return _iso(date), warnings
        warnings.append(f"the date in the header cannot be true and is not used: {text}")
    if _FIRST_DATE < newest <= limit:
        return _iso(newest), warnings
    return "", [*warnings, "the date of the data is not known"]


def _iso(date: datetime) -> str:
    return date.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
