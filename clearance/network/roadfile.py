"""The road file: the prepared network of an area in one file on disk.

A ZIP container whose members are stored uncompressed. ``arrays/NAME.npy`` are the arrays of `Network`,
each begun at a multiple of 64 bytes, so that those of a large file are mapped into memory where they lie
and only what a drive touches is ever read. ``rows/`` holds the tables as JSON texts in one array of bytes
with the offsets of the rows; rows are decoded when asked for. ``tables/*.parquet`` hold ways and structures
once more, for other programs; this one never reads them, since opening Parquet costs about 0.2 s of imports
alone. ``manifest.json`` names format and schema version, source, dates, attribution, warnings, counts and,
for each member, where its data begin, its size, CRC-32 and word sum.

``kept/*.json`` are what adding heights to the file needs (see `network.kept`), in files made from a map.

The word sum (the sum of the member's 64-bit words, modulo 2**64) finds damage at the speed of memory:
opening checks every member by it, up to `CHECKED_BYTES`, the arrays that searches run on first.
`check_road_file` checks all of the file by CRC-32.
"""

from __future__ import annotations

import contextlib
import io
import json
import mmap
import os
import stat
import zipfile
import zlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, fields
from functools import partial
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from clearance.core.errors import RoadFileError
from clearance.core.extract import ExtractInfo
from clearance.core.profile import STATIONS_M
from clearance.core.whole_file import whole_file
from clearance.network.blocks import NODES_A_BLOCK
from clearance.network.kept import Kept, decode_kept, encode_kept
from clearance.network.network import Network
from clearance.network.rows import DECODERS, Rows, packed

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["CHECKED_BYTES", "SCHEMA", "check_road_file", "open_kept", "open_road_file", "write_road_file"]

_FORMAT = "clearance road file"
#: Raised whenever older programs could misread a file, or newer ones an older file.
SCHEMA = 7
#: Files up to this size are read at opening rather than mapped: whoever writes over one in place, instead of
#: replacing it, would change under a search what has been checked, or end it (SIGBUS).
_READ_BYTES = 32 * 2**20
#: What is checked at opening, in bytes, at about 10 GB a second; files of small states lie below it.
CHECKED_BYTES = 96 * 2**20

_ALIGNMENT = 64
#: A file larger than this is looked at on two threads, and what was looked at is let go again.
_LARGE_BYTES = 128 * 2**20
#: How many pointers are compared in one go.
_PART = 2**15
_MANIFEST = "manifest.json"
#: An extra field of the ZIP header that holds nothing but zeros, to move the data to a multiple of 64.
_PADDING_ID = 0xD935
_ZIP64_EXTRA = 20
_LOCAL_HEADER = 30
_TYPES: dict[str, type[np.generic]] = {
    "I8": np.uint8,
    "I32": np.int32,
    "I64": np.int64,
    "F64": np.float64,
    "Bool": np.bool_,
}
#: Arrays of Network by name, with the type it declares for them.
_ARRAYS = {f.name: np.dtype(_TYPES[str(f.type)]) for f in fields(Network) if str(f.type) in _TYPES}
_TWO_DIMENSIONS = frozenset(
    {
        "structure_low",
        "structure_verified",
        "area_links",
        "area_links_car",
        "profile_height",
        "block_box",
        "landmark_ms",
    }
)
#: Members are checked at opening in this order: what a wrong clearance or a crash could come from first.
_FIRST = (
    *(
        "structure_",
        "hit_",
        "nodehit_",
        "more_",
        "rule_",
        "noderule_",
        "profile_",
        "rows/structures",
        "rows/rules",
    ),
    *("turn_ptr", "turn_to", "state_arc", "node", "arc_"),
)


# --- writing -----------------------------------------------------------------------------------------


def write_road_file(network: Network, path: Path, kept: Kept | None = None) -> None:
    """Write `network` to `path`, whole or not at all; whatever stood there before stands until then.

    `kept` is what adding heights later needs; without it none can be added. Whoever changes a file that is
    there holds it by `core.whole_file.only_writer` meanwhile.

    The same network gives the same bytes. Raises OutputError where the file cannot be written.
    """
    with whole_file(path) as file:
        _write(network, file, kept)


def _write(network: Network, file: BinaryIO, kept: Kept | None) -> None:
    members: dict[str, dict[str, Any]] = {}
    with _container_in(file) as container:
        for name in _ARRAYS:
            _add_array(container, members, f"arrays/{name}.npy", getattr(network, name))
        for table in DECODERS:
            blob, begins = packed(getattr(network, table))
            _add_array(container, members, f"rows/{table}.npy", blob)
            _add_array(container, members, f"rows/{table}.begins.npy", begins)
        for table, content in (("ways", _ways_table(network)), ("structures", _structures_table(network))):
            _add(container, members, f"tables/{table}.parquet", [content])
        for part, content in (encode_kept(kept) if kept is not None else {}).items():
            _add(container, members, f"kept/{part}.json", [content])
        manifest = {
            "format": _FORMAT,
            "schema": SCHEMA,
            "info": asdict(network.info),
            "counts": {table: len(getattr(network, table)) for table in DECODERS}
            | {
                "nodes": network.node_osm.size,
                "arcs": network.arc_tail.size,
                "states": network.state_arc.size,
            },
            "members": members,
        }
        text = json.dumps(manifest, ensure_ascii=False, indent=1).encode()
        _add(container, {}, _MANIFEST, [text])


@contextlib.contextmanager
def _container_in(file: BinaryIO) -> Iterator[zipfile.ZipFile]:
    """A container that gets its end where all goes well."""
    container = zipfile.ZipFile(file, "w", zipfile.ZIP_STORED)
    try:
        yield container
        container.close()
    except BaseException:
        # What is thrown away needs no end; else it would be written when nobody holds the container any more.
        container.fp = None
        raise


def _add_array(
    container: zipfile.ZipFile, members: dict[str, dict[str, Any]], name: str, array: npt.NDArray[Any]
) -> None:
    head = io.BytesIO()
    array = np.ascontiguousarray(array)
    np.lib.format.write_array_header_1_0(head, np.lib.format.header_data_from_array_1_0(array))
    _add(container, members, name, [head.getvalue(), array.reshape(-1).view(np.uint8).data])


def _add(
    container: zipfile.ZipFile,
    members: dict[str, dict[str, Any]],
    name: str,
    parts: Sequence[bytes | memoryview],
) -> None:
    """Store a member from its parts, its data at a multiple of 64 bytes."""
    entry = zipfile.ZipInfo(name)  # dated 1980, so that equal networks give equal files
    entry.external_attr = 0o644 << 16
    assert container.fp is not None
    begin = container.fp.tell() + _LOCAL_HEADER + len(name.encode()) + _ZIP64_EXTRA + 4
    padding = -begin % _ALIGNMENT
    entry.extra = _PADDING_ID.to_bytes(2, "little") + padding.to_bytes(2, "little") + bytes(padding)
    size = crc = total = 0
    with container.open(entry, "w", force_zip64=True) as member:
        for part in parts:
            member.write(part)
            size, crc = size + len(part), zlib.crc32(part, crc)
            # All parts but the last are whole words, as headers of arrays are.
            total = (total + _word_sum(np.frombuffer(part, np.uint8))) % 2**64
    members[name] = {"begin": begin + padding, "size": size, "crc32": crc, "word_sum": total}


def _word_sum(content: npt.NDArray[np.uint8]) -> int:
    """The sum of little-endian 64-bit words modulo 2**64, the last filled up with zeros."""
    whole = content.size // 8 * 8
    words = content[:whole].view("<u8")
    rest = int.from_bytes(content[whole:].tobytes(), "little")
    return (int(np.add.reduce(words, dtype=np.uint64)) + rest) % 2**64


def _ways_table(network: Network) -> bytes:
    import pyarrow as pa

    rows = list(network.ways)
    return _parquet(
        {
            "id": pa.array([w.id for w in rows], pa.int64()),
            "name": pa.array([w.name for w in rows], pa.string()),
            "ref": pa.array([w.ref for w in rows], pa.string()),
            "highway": pa.array([w.highway for w in rows], pa.string()),
            "tags": pa.array([list(w.tags.items()) for w in rows], pa.map_(pa.string(), pa.string())),
        }
    )


def _structures_table(network: Network) -> bytes:
    import pyarrow as pa

    rows = list(network.structures)
    lowest = [s.lowest() for s in rows]
    return _parquet(
        {
            "key": pa.array([s.key for s in rows], pa.string()),
            "kind": pa.array([str(s.kind) for s in rows], pa.string()),
            "lon": pa.array([s.lon for s in rows], pa.float64()),
            "lat": pa.array([s.lat for s in rows], pa.float64()),
            "name": pa.array([s.name for s in rows], pa.string()),
            "road": pa.array([s.road for s in rows], pa.string()),
            "lowest_m": pa.array([low and low.metres for low in lowest], pa.decimal128(10, 4)),
            "verified": pa.array([s.verified() for s in rows], pa.bool_()),
            "ways": pa.array([[span.way for span in s.spans] for s in rows], pa.list_(pa.int64())),
            "nodes": pa.array([list(s.nodes) for s in rows], pa.list_(pa.int64())),
            "upper": pa.array([s.upper for s in rows], pa.string()),
            "warnings": pa.array([list(s.warnings) for s in rows], pa.list_(pa.string())),
        }
    )


def _parquet(columns: Mapping[str, Any]) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = pa.BufferOutputStream()
    pq.write_table(pa.table(dict(columns)), sink, compression="zstd")
    content: bytes = sink.getvalue().to_pybytes()
    return content


# --- reading -----------------------------------------------------------------------------------------


def open_road_file(path: Path) -> Network:
    """The network in a road file; its arrays are mapped, not read, and cannot be written to.

    Raises RoadFileError where it is no road file, of another version or damaged, with what to try.
    """
    with _Container(Path(path)) as container:
        manifest = container.manifest()
        content = container.members(manifest)
        budget = CHECKED_BYTES
        sums: list[Callable[[], bool]] = []
        for name in sorted(content, key=_importance):
            # What is kept for later is checked when it is asked for.
            if not name.startswith("kept/") and content[name].size <= budget:
                budget -= content[name].size
                sums.append(partial(container.sum_holds, name, content[name], manifest))
        if not container.large:
            all(holds() for holds in sums)
            sums.clear()
        arrays = {
            name: container.array(f"arrays/{name}.npy", content, kind, 2 if name in _TWO_DIMENSIONS else 1)
            for name, kind in _ARRAYS.items()
        }
        tables = {
            table: Rows[Any](
                table,
                container.array(f"rows/{table}.npy", content, np.dtype(np.uint8), 1),
                container.array(f"rows/{table}.begins.npy", content, np.dtype(np.int64), 1),
            )
            for table in DECODERS
        }
        info = container.info(manifest)
        network = Network(info=info, **arrays, **tables)  # type: ignore[arg-type]
        container.consistent(network, manifest, sums)
    return network


def open_kept(path: Path) -> Kept:
    """What a road file keeps so that heights can be added to it.

    Raises RoadFileError where it keeps nothing, is no road file, of another version or damaged.
    """
    with _Container(Path(path)) as container:
        manifest = container.manifest()
        content = container.members(manifest)
        names = [name for name in content if name.startswith("kept/")]
        if not names:
            raise RoadFileError(
                f"{path} does not hold what adding heights needs; make it anew with `clearance get`"
            )
        for name in names:
            container.sum_holds(name, content[name], manifest)
        try:
            return decode_kept({Path(name).stem: content[name].tobytes() for name in names})
        except (ValueError, LookupError, TypeError, AttributeError, OverflowError, RecursionError) as error:
            raise container.damaged("what it keeps of the map cannot be read") from error


def check_road_file(path: Path) -> None:
    """Read all of a road file and compare each member with its CRC-32.

    Raises RoadFileError where anything differs.
    """
    with _Container(Path(path)) as container:
        manifest = container.manifest()
        for name, content in container.members(manifest).items():
            if zlib.crc32(content.data) != manifest["members"][name]["crc32"]:
                raise container.damaged(f"its part {name} has changed")


def _importance(name: str) -> tuple[int, str]:
    array = name.removeprefix("arrays/")
    return next((i for i, prefix in enumerate(_FIRST) if array.startswith(prefix)), len(_FIRST)), name


class _Container:
    """An open road file, and its errors."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> _Container:
        try:
            mode = self.path.stat().st_mode
            if stat.S_ISDIR(mode):
                raise RoadFileError(f"{self.path} is a folder; give a road file made by `clearance get`")
            if not stat.S_ISREG(mode):
                raise RoadFileError(f"{self.path} is a pipe or a device; give a road file")
            file = self.path.open("rb")
        except FileNotFoundError:
            raise RoadFileError(
                f"{self.path}: there is no such file; make a road file with `clearance get`"
            ) from None
        except OSError as error:
            raise RoadFileError(
                f"{self.path} cannot be read: {error.strerror}; check its name and permissions"
            ) from None
        with file:
            size = os.fstat(file.fileno()).st_size
            if size == 0:
                raise RoadFileError(f"{self.path} is empty; make it anew with `clearance get`")
            try:
                # The mapping lives as long as an array of it does, also when the file is replaced.
                if size > _READ_BYTES:
                    self.map = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
                else:
                    self.map = mmap.mmap(-1, size)
                    if file.readinto(self.map) != size:
                        raise self.damaged("it is being written over")
            except RoadFileError:
                raise
            except (OSError, ValueError) as error:
                raise RoadFileError(f"{self.path} cannot be mapped into memory: {error}") from None
        self.bytes = np.frombuffer(self.map, np.uint8)
        self.bytes.flags.writeable = False
        try:
            self.zip = zipfile.ZipFile(_MapFile(self.map))
        except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
            raise self._no_container() from error
        return self

    def __exit__(self, *_: object) -> None:
        self.zip.close()

    def damaged(self, what: str) -> RoadFileError:
        """The error for a road file that is not as it was written."""
        return RoadFileError(f"{self.path} is damaged: {what}; make it anew with `clearance get`")

    def _foreign(self, what: str) -> RoadFileError:
        return RoadFileError(
            f"{self.path} is {what}, not a road file; "
            f"make one from it with `clearance get {self.path} -o ROADS`"
        )

    def _no_container(self) -> RoadFileError:
        head = self.map[:512]
        if head[:4] == b"PK\x03\x04":
            return self.damaged("it ends too early or its directory is broken")
        if b"OSMHeader" in head[:64]:
            return self._foreign("OpenStreetMap data (PBF)")
        if b"<osm" in head:
            return self._foreign("OpenStreetMap data (XML)")
        if head[:3] == b"BZh" or head[:2] == b"\x1f\x8b":
            return self._foreign("a compressed file, perhaps OpenStreetMap data")
        return RoadFileError(f"{self.path} is not a road file; make one with `clearance get`")

    def manifest(self) -> dict[str, Any]:
        """The manifest, its format and version checked."""
        try:
            if self.zip.getinfo(_MANIFEST).compress_type != zipfile.ZIP_STORED:
                # Packed by somebody else, it may unfold without end.
                raise self.damaged("its manifest is packed")
            text = self.zip.read(_MANIFEST)
        except KeyError:
            raise RoadFileError(
                f"{self.path} is a ZIP file but not a road file; make one with `clearance get`"
            ) from None
        except (zipfile.BadZipFile, OSError, ValueError, RuntimeError, EOFError, zlib.error) as error:
            raise self.damaged(f"its manifest cannot be read ({error})") from error
        try:
            manifest: dict[str, Any] = json.loads(text)
            known, schema = manifest["format"], manifest["schema"]
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            raise self.damaged("its manifest is unreadable") from error
        if known != _FORMAT:
            raise RoadFileError(
                f"{self.path} is a ZIP file but not a road file; make one with `clearance get`"
            )
        if schema != SCHEMA:
            age = "an older" if isinstance(schema, int) and schema < SCHEMA else "another"
            raise RoadFileError(
                f"{self.path} was made by {age} version of this program "
                f"(schema {schema!r}, wanted {SCHEMA}); make it anew with `clearance get`"
            )
        return manifest

    def members(self, manifest: Mapping[str, Any]) -> dict[str, npt.NDArray[np.uint8]]:
        """The bytes of every member, where they lie in the file."""
        listed = manifest.get("members")
        if not isinstance(listed, dict) or set(listed) | {_MANIFEST} != set(self.zip.namelist()):
            raise self.damaged("its parts are not those of its manifest")
        content = {}
        for name, told in listed.items():
            # The manifest is covered by its CRC, the directory of the container is not.
            begin, size = (told.get("begin"), told.get("size")) if isinstance(told, dict) else (None, None)
            if not isinstance(begin, int) or not isinstance(size, int) or begin % _ALIGNMENT:
                raise self.damaged("its manifest does not tell where its parts are")
            if not 0 <= begin <= begin + size <= self.bytes.size:
                raise self.damaged(f"its part {name} is cut off")
            content[name] = self.bytes[begin : begin + size]
        return content

    @property
    def large(self) -> bool:
        """Whether it is looked at on two threads."""
        return self.bytes.size > _LARGE_BYTES

    def sum_holds(self, name: str, content: npt.NDArray[np.uint8], manifest: Mapping[str, Any]) -> bool:
        """Whether a member has its word sum: True, or RoadFileError."""
        if _word_sum(content) != manifest["members"][name].get("word_sum"):
            raise self.damaged(f"its part {name} has changed")
        return True

    def array(
        self, name: str, content: Mapping[str, npt.NDArray[np.uint8]], kind: np.dtype[Any], columns: int
    ) -> npt.NDArray[Any]:
        """An array of the type it should have, where it lies."""
        if name not in content:
            raise self.damaged(f"its part {name} is missing")
        member = content[name]
        head = io.BytesIO(member[:1024].tobytes())
        try:
            version = np.lib.format.read_magic(head)
            shape, fortran, found = np.lib.format.read_array_header_1_0(head)
        except (ValueError, SyntaxError, TypeError) as error:
            raise self.damaged(f"its part {name} is unreadable") from error
        data = member[head.tell() :]
        count = int(np.prod(shape, dtype=np.int64)) if all(size >= 0 for size in shape) else -1
        if (
            version != (1, 0)
            or fortran
            or found != kind
            or len(shape) != columns
            or count * kind.itemsize != data.size
        ):
            raise self.damaged(f"its part {name} is not of the kind it should be")
        return data.view(kind).reshape(shape)

    def info(self, manifest: Mapping[str, Any]) -> ExtractInfo:
        """Where the data came from."""
        try:
            told = dict(manifest["info"])
            return ExtractInfo(**{**told, "warnings": tuple(told["warnings"])})
        except (KeyError, TypeError, ValueError) as error:
            raise self.damaged("its manifest does not tell its source") from error

    def consistent(
        self, network: Network, manifest: Mapping[str, Any], sums: Sequence[Callable[[], bool]]
    ) -> None:
        """What compiled searches rely on: sizes that fit, turns that lead to states, and `sums` that hold."""
        states, arcs = network.state_arc.size, network.arc_tail.size
        for kind, of_kind in _by_kind().items():
            sizes = {len(getattr(network, name)) for name in of_kind}
            if len(sizes) > 1:
                raise self.damaged(f"its arrays of {kind} differ in size")
        pointers = network.turn_ptr
        fits = (
            pointers.size == states + 1
            and int(pointers[0]) == 0
            and int(pointers[-1]) == network.turn_to.size
            and _within(network.hit_arc, arcs)
            and _within(network.hit_structure, len(network.structures))
            and len(network.structures) == network.structure_low.shape[0]
            and network.structure_low.shape[1] == 2
            and _within(network.profile_structure, len(network.structures))
            and network.profile_height.shape[1] == STATIONS_M.size
            and network.geom_ptr.size > 0
            and network.into_ptr.size == network.node_osm.size + 1
            and network.into_arc.size == arcs
            and int(network.into_ptr[0]) == 0
            and int(network.into_ptr[-1]) == arcs
            and network.block_box.shape == (-(-network.node_osm.size // NODES_A_BLOCK), 4)
            and network.landmark_ms.shape[0] == network.node_osm.size
            and network.landmark_ms.shape[1] % 2 == 0
            and self._leads_within(network, sums)
            and _tells_within(network, all_of_it=not self.large)
        )
        if not fits or manifest.get("counts", {}).get("arcs") != arcs:
            raise self.damaged("its arrays do not fit together")

    def _leads_within(self, network: Network, sums: Sequence[Callable[[], bool]]) -> bool:
        """Whether `sums` hold and all that compiled searches follow leads somewhere.

        Of a large file, on two threads: whichever is free takes what is next.
        """
        states, arcs, nodes = network.state_arc.size, network.arc_tail.size, network.node_osm.size
        looks = deque[Callable[[], bool]](
            (
                lambda: _within(network.turn_to, states),
                lambda: _rising(network.turn_ptr),
                lambda: _within(network.arc_head, nodes),
                lambda: _within(network.into_arc, arcs),
                lambda: _within(network.state_arc, arcs),
                lambda: _within(network.arc_tail, nodes),
                lambda: _rising(network.into_ptr),
                *sums,
            )
        )
        if not self.large:
            return all(look() for look in looks)
        all_of_them = len(looks)
        found: list[bool] = []
        damage: list[RoadFileError] = []

        def take() -> None:
            while True:
                try:
                    look = looks.popleft()
                except IndexError:
                    return
                try:
                    found.append(look())
                except RoadFileError as error:
                    damage.append(error)

        other = Thread(target=take)
        other.start()
        take()
        other.join()
        # Looked at once, these pages are counted as this process's own until it lets them go.
        if hasattr(mmap, "MADV_DONTNEED"):
            self.map.madvise(mmap.MADV_DONTNEED)
        if damage:
            raise damage[0]
        return len(found) == all_of_them and all(found)


def _within(indices: npt.NDArray[np.int32], count: int) -> bool:
    # Read as unsigned, what is negative is too high as well: one look at each.
    return not indices.size or int(indices.view(np.uint32).max()) < count


def _within_or_none(indices: npt.NDArray[np.int32], count: int) -> bool:
    # -1 for none, read as unsigned and moved on by one, is 0.
    return not indices.size or int((indices.view(np.uint32) + np.uint32(1)).max()) <= count


def _tells_within(network: Network, *, all_of_it: bool) -> bool:
    """Whether what is looked up along a drive is there.

    Of a large file only the arrays that are short: nothing that is compiled follows the others, so that a
    false one costs an error without kind words and no more.
    """
    n = network
    arcs, nodes, rules, structures = n.arc_tail.size, n.node_osm.size, len(n.rules), len(n.structures)
    sound = (
        _within(n.rule_arc, arcs)
        and _within(n.rule_index, rules)
        and _within(n.noderule_node, nodes)
        and _within(n.noderule_index, rules)
        and _within(n.more_rule, rules)
        and _within(n.nodehit_node, nodes)
        and _within(n.nodehit_structure, structures)
        and (not n.hit_side.size or int(n.hit_side.max()) <= 1)
        # Rounding may leave a share a hair above 1.
        and all(
            bool(((a >= 0) & (a < 2)).all()) for a in (n.hit_position, n.hit_start, n.hit_end, n.hit_share)
        )
    )
    if not sound or not all_of_it:
        return sound
    return (
        _within_or_none(n.turn_rule, rules)
        and _within_or_none(n.arc_reverse, arcs)
        and _within(n.arc_way, len(n.ways))
        and _within(n.arc_geom, n.geom_ptr.size - 1)
        and int(n.geom_ptr[0]) == 0
        and int(n.geom_ptr[-1]) == n.geom_lon.size
        and _rising(n.geom_ptr)
        and bool((n.arc_length >= 0).all() and np.isfinite(n.arc_length).all())
        and bool((n.arc_seconds >= 0).all() and np.isfinite(n.arc_seconds).all())
        # The greatest of values with a NaN among them is NaN, which is within nothing.
        and all(float(np.abs(lon).max(initial=0.0)) <= 180 for lon in (n.node_lon, n.geom_lon))
        and all(float(np.abs(lat).max(initial=0.0)) <= 90 for lat in (n.node_lat, n.geom_lat))
    )


def _rising(pointers: npt.NDArray[np.int64] | npt.NDArray[np.int32]) -> bool:
    """Whether none is less than the one before; by parts that a processor's cache holds."""
    steps = pointers.size - 1
    return all(
        bool((pointers[begin + 1 : end + 1] >= pointers[begin:end]).all())
        for begin in range(0, steps, _PART)
        for end in (min(begin + _PART, steps),)
    )


def _by_kind() -> dict[str, list[str]]:
    """The arrays that run in step: same first word, one entry per thing."""
    kinds: dict[str, list[str]] = {}
    for name in _ARRAYS:
        kind, _, rest = name.partition("_")
        if kind in ("node", "arc", "hit", "nodehit", "rule", "noderule", "structure", "more", "profile"):
            kinds.setdefault(kind, []).append(name)
        elif rest in ("to", "rule", "lon", "lat"):
            kinds.setdefault(f"{kind} {'points' if kind == 'geom' else 'ends'}", []).append(name)
    return kinds


class _MapFile(io.RawIOBase):
    """A mapped file as the ZIP reader wants it; closing it leaves the mapping alone."""

    def __init__(self, mapping: mmap.mmap) -> None:
        super().__init__()
        self._map = mapping
        self._at = 0

    def seekable(self) -> bool:
        return True

    def readable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = 0) -> int:
        base = {0: 0, 1: self._at, 2: len(self._map)}[whence]
        if base + offset < 0:
            raise OSError("before the start of the file")
        self._at = base + offset
        return self._at

    def read(self, size: int = -1) -> bytes:
        stop = len(self._map) if size is None or size < 0 else self._at + size
        part = self._map[self._at : stop]
        self._at += len(part)
        return part
