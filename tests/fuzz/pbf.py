"""The OSM PBF form, written by hand so that it can be written wrongly.

Source: wiki.openstreetmap.org/wiki/PBF_Format (field numbers and types from memory).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Sequence

__all__ = [
    "blob",
    "block",
    "dense",
    "field",
    "header",
    "packed",
    "relation",
    "signed",
    "strings",
    "varint",
    "way",
]


def varint(number: int) -> bytes:
    """A whole number, seven bits a byte; negative ones as 64 bits."""
    number &= (1 << 64) - 1
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes([*out, number])


def signed(number: int) -> int:
    """Zigzag: 0, -1, 1, -2, ... as 0, 1, 2, 3, ..."""
    return number << 1 if number >= 0 else (-number << 1) - 1


def field(number: int, value: int | bytes) -> bytes:
    """A field of a message: a whole number, or bytes with their length before them."""
    if isinstance(value, int):
        return varint(number << 3) + varint(value)
    return varint(number << 3 | 2) + varint(len(value)) + value


def packed(numbers: Iterable[int]) -> bytes:
    """Whole numbers one behind another."""
    return b"".join(varint(number) for number in numbers)


def _deltas(values: Sequence[int]) -> bytes:
    return packed(signed(b - a) for a, b in zip((0, *values), values, strict=False))


def blob(kind: bytes, content: bytes, *, claim: int | None = None, size: int | None = None) -> bytes:
    """A block in its frame; `claim` is the size it says to unpack to, `size` the size it says to have."""
    inner = field(2, len(content) if claim is None else claim) + field(3, zlib.compress(content))
    head = field(1, kind) + field(3, len(inner) if size is None else size)
    return struct.pack(">I", len(head)) + head + inner


def header(*features: bytes) -> bytes:
    """The block that every file begins with."""
    return blob(b"OSMHeader", b"".join(field(4, f) for f in (features or (b"OsmSchema-V0.6", b"DenseNodes"))))


def strings(table: Iterable[bytes]) -> bytes:
    """The string table of a block."""
    return field(1, b"".join(field(1, text) for text in table))


def dense(ids: Sequence[int], lats: Sequence[int], lons: Sequence[int], tags: Sequence[int] = ()) -> bytes:
    """A group of nodes; places in units of 100 nanodegrees; `tags` are keys, values and noughts."""
    told = field(10, packed(tags)) if tags else b""
    return field(
        2, field(2, field(1, _deltas(ids)) + field(8, _deltas(lats)) + field(9, _deltas(lons)) + told)
    )


def way(ref: int, nodes: Sequence[int], tags: Sequence[tuple[int, int]]) -> bytes:
    """A group of one way; tags by index into the string table."""
    keys, values = packed(k for k, _ in tags), packed(v for _, v in tags)
    return field(2, field(3, field(1, ref) + field(2, keys) + field(3, values) + field(8, _deltas(nodes))))


def relation(ref: int, members: Sequence[tuple[int, int, int]], tags: Sequence[tuple[int, int]]) -> bytes:
    """A group of one relation; members are role (index), id and type (0 node, 1 way, 2 relation)."""
    keys, values = packed(k for k, _ in tags), packed(v for _, v in tags)
    roles, types = packed(m[0] for m in members), packed(m[2] for m in members)
    told = field(8, roles) + field(9, _deltas([m[1] for m in members])) + field(10, types)
    return field(2, field(4, field(1, ref) + field(2, keys) + field(3, values) + told))


def block(table: Iterable[bytes], *groups: bytes, extra: bytes = b"") -> bytes:
    """A block of data, not yet in its frame; `extra` are fields such as the granularity (17)."""
    return strings(table) + b"".join(groups) + extra
