"""Copies of an OpenStreetMap file in one PBF file, block by block.

A block of the format holds differences: of all ids of a dense block the first alone must change for a copy,
of each way and relation the number and the first reference, and a block says where its coordinates begin
(wiki.openstreetmap.org/wiki/PBF_Format; from memory). So a copy takes a tenth of the time that it would
element by element. What is not named below goes along as it is.
"""

from __future__ import annotations

import struct
import tempfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO

__all__ = ["write_copies"]

#: Messages with the fields that change: name, number, type. A type in capitals is another message.
_MESSAGES = {
    "BlobHeader": (("type", 1, "string"), ("datasize", 3, "int32")),
    "Blob": (("raw", 1, "bytes"), ("raw_size", 2, "int32"), ("zlib_data", 3, "bytes")),
    "Block": (("groups", 2, "Group*"), ("lat_offset", 19, "int64"), ("lon_offset", 20, "int64")),
    "Group": (
        ("nodes", 1, "Node*"),
        ("dense", 2, "Dense"),
        ("ways", 3, "Way*"),
        ("relations", 4, "Relation*"),
    ),
    "Node": (),
    "Dense": (("id", 1, "sint64*"),),
    "Way": (("id", 1, "int64"), ("refs", 8, "sint64*")),
    "Relation": (("id", 1, "int64"), ("memids", 9, "sint64*")),
}
#: Coordinates of a block begin at so many 1e-9 degrees, those of a file are whole 1e-7.
_NANO = 100


def write_copies(source: Path, target: Path, id_step: int, shifts: list[tuple[int, int]]) -> None:
    """Write one copy of everything in `source` for each of `shifts`, moved by x and y in 1e-7 degrees.

    Ids of copy k are `k * id_step` higher. All nodes come first, then all ways, then all relations, each in
    the order of ids, as such files have them. Raises OSError or RuntimeError from the libraries.
    """
    import osmium

    messages = _messages()
    with tempfile.TemporaryDirectory() as folder:
        # Written anew, so that each block has elements of one kind, and nodes are dense ones.
        plain = Path(folder) / "one.osm.pbf"
        with osmium.SimpleWriter(str(plain)) as writer:
            for kind in (osmium.osm.NODE, osmium.osm.WAY, osmium.osm.RELATION):
                for thing in osmium.FileProcessor(str(source), kind):
                    writer.add(thing)
        with plain.open("rb") as file:
            (_, header), *blobs = _blobs(file, messages)
    blocks = []
    for _, data in blobs:
        block = messages["Block"]()
        block.ParseFromString(data)
        blocks.append(block)
    with target.open("wb") as file:
        _write(file, messages, "OSMHeader", header)
        for kind in ("dense", "ways", "relations"):
            chosen = [b for b in blocks if any(_has(group, kind) for group in b.groups)]
            for k, (x, y) in enumerate(shifts):
                for block in chosen:
                    moved = messages["Block"]()
                    moved.CopyFrom(block)
                    moved.lon_offset += x * _NANO
                    moved.lat_offset += y * _NANO
                    _renumber(moved, k * id_step)
                    _write(file, messages, "OSMData", moved.SerializeToString())


def _has(group: Any, kind: str) -> bool:
    return group.HasField(kind) if kind == "dense" else len(getattr(group, kind)) > 0


def _renumber(block: Any, more: int) -> None:
    """Raise every id and reference by `more`."""
    for group in block.groups:
        if group.HasField("dense"):
            group.dense.id[0] += more
        for way in group.ways:
            way.id += more
            if way.refs:
                way.refs[0] += more
        for relation in group.relations:
            relation.id += more
            if relation.memids:
                relation.memids[0] += more


def _blobs(file: BinaryIO, messages: dict[str, Callable[[], Any]]) -> Iterator[tuple[str, bytes]]:
    """The kind and the unpacked content of each frame."""
    while length := file.read(4):
        head, blob = messages["BlobHeader"](), messages["Blob"]()
        head.ParseFromString(file.read(struct.unpack(">I", length)[0]))
        blob.ParseFromString(file.read(head.datasize))
        yield head.type, blob.raw or zlib.decompress(blob.zlib_data)


def _write(file: BinaryIO, messages: dict[str, Callable[[], Any]], kind: str, data: bytes) -> None:
    blob = messages["Blob"](raw_size=len(data), zlib_data=zlib.compress(data)).SerializeToString()
    head = messages["BlobHeader"](type=kind, datasize=len(blob)).SerializeToString()
    file.write(struct.pack(">I", len(head)) + head + blob)


def _messages() -> dict[str, Callable[[], Any]]:
    """The classes of `_MESSAGES`; fields they do not know are kept."""
    from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

    file = descriptor_pb2.FileDescriptorProto(name="blocks.proto", package="blocks", syntax="proto2")
    for name, fields in _MESSAGES.items():
        made = file.message_type.add(name=name)
        for told, number, kind in fields:
            field = made.field.add(name=told, number=number)
            many, of = kind.endswith("*"), kind.rstrip("*")
            field.label = field.LABEL_REPEATED if many else field.LABEL_OPTIONAL
            if of in _MESSAGES:
                field.type, field.type_name = field.TYPE_MESSAGE, f".blocks.{of}"
            else:
                field.type = getattr(field, f"TYPE_{of.upper()}")
                field.options.packed = many
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return {
        name: message_factory.GetMessageClass(pool.FindMessageTypeByName(f"blocks.{name}"))
        for name in _MESSAGES
    }
