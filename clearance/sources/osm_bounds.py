"""Map files that unfold into far more than they are, found before the library reads them.

The library reads whatever a file unpacks to. A few hundred kilobytes of gzip, bzip2 or PBF can hold
gigabytes, and a single element or comment of XML is gathered in memory before anything is told of it.
"""

from __future__ import annotations

import bz2
import gzip
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from clearance.core.errors import InputError

__all__ = ["check_pbf", "check_xml"]

_MIB = 1 << 20
_CHUNK = _MIB
#: Map data as XML packs 9 to 16 times with gzip and bzip2 (measured on four extracts and the sample town).
_MOST_TIMES_XML, _ALWAYS_XML = 100, 64 * _MIB
#: Blocks pack 1.5 to 2.4 times (measured on seven extracts): their numbers are differences already.
_MOST_TIMES_PBF, _ALWAYS_PBF = 20, 8 * _MIB
#: The longest element or comment: a relation of 32,000 members, the most that OpenStreetMap allows (from
#: memory), has about 2 MiB.
_LONGEST_PIECE = 16 * _MIB
_STARTS = (b"<node", b"<way", b"<relation")
_LONGEST_REMARK = 2 * _MIB
#: What begins so ends by the other; all between is one piece to the parser.
_OPENED = re.compile(rb"<!--|<!\[CDATA\[|<\?")
_CLOSED = {b"<!--": b"-->", b"<![CDATA[": b"]]>", b"<?": b"?>"}
#: The largest block that the library takes, packed or not.
_LARGEST_BLOCK = 32 * _MIB
#: The wiki allows a frame's head 64 KiB (wiki.openstreetmap.org/wiki/PBF_Format; from memory).
_LONGEST_HEAD = 64 << 10


def check_xml(path: Path, stream: BinaryIO | gzip.GzipFile | bz2.BZ2File, size: int) -> None:
    """Read all of an XML file, unpacked by `stream`; `size` is that of the file in bytes.

    Raises InputError where it unpacks to far more than map data does, or a single element or comment is
    longer than any of map data. What `stream` raises is let through.
    """
    most = max(_ALWAYS_XML, _MOST_TIMES_XML * size)
    done, barren, remarks = 0, 0, _Remarks()
    while chunk := stream.read(_CHUNK):
        done += len(chunk)
        if done > most:
            raise InputError(
                f"{path}: unpacks to more than {most // _MIB} MiB, which no map data of {size:,} bytes does; "
                "refused"
            )
        # One that lies across two chunks is missed, which at worst counts a chunk too much.
        barren = 0 if any(start in chunk for start in _STARTS) else barren + len(chunk)
        if barren > _LONGEST_PIECE or remarks.longest(chunk) > _LONGEST_REMARK:
            raise InputError(f"{path}: holds an element or comment as long as none of map data; refused")


class _Remarks:
    """Comments and the like, followed through the chunks of a file."""

    def __init__(self) -> None:
        self._end = b""
        self._rest = b""
        self._length = 0

    def longest(self, chunk: bytes) -> int:
        """How long the one that is still open after this chunk is so far, in bytes; 0 where none is."""
        text, at = self._rest + chunk, 0
        while True:
            if self._end:
                end = text.find(self._end, at)
                if end < 0:
                    self._length += len(chunk)
                    break
                at, self._end, self._length = end + len(self._end), b"", 0
            opened = _OPENED.search(text, at)
            if opened is None:
                break
            at, self._end = opened.end(), _CLOSED[opened[0]]
        # An end or a beginning may lie across two chunks.
        self._rest = text[max(at, len(text) - 8) :]
        return self._length


def check_pbf(path: Path) -> list[tuple[int, int]]:
    """Look at the frame of every block of a PBF file; where each begins and ends, in bytes.

    Raises InputError where the blocks say to unpack to far more than map data does. Frames that cannot be
    read are left to the library, which refuses them, as it does a block that unpacks to more than it says;
    the list ends before the first of them.
    """
    size = path.stat().st_size
    most = max(_ALWAYS_PBF, _MOST_TIMES_PBF * size)
    frames: list[tuple[int, int]] = []
    done = 0
    with path.open("rb") as file:
        for end, claim in _claims(file):
            frames.append((frames[-1][1] if frames else 0, end))
            done += claim
            if done > most:
                raise InputError(
                    f"{path}: unpacks to more than {most // _MIB} MiB, which no map data of {size:,} bytes "
                    "does; refused"
                )
    return frames


def _claims(file: BinaryIO) -> Iterator[tuple[int, int]]:
    """Where each block ends, and the size that it says to unpack to."""
    while len(length := file.read(4)) == 4:
        (long,) = struct.unpack(">I", length)
        if long > _LONGEST_HEAD:
            return
        size = _number(file.read(long), 3)
        if size is None or size > _LARGEST_BLOCK:
            return
        begin = file.tell()
        claim = _number(file.read(size), 2)
        yield begin + size, size if claim is None else claim
        file.seek(begin + size)


def _number(message: bytes, wanted: int) -> int | None:
    """The whole number in field `wanted` of a message, the last one; None where there is none."""
    found, at = None, 0
    while at < len(message):
        key, at = _varint(message, at)
        if key & 7 == 0:
            value, at = _varint(message, at)
            if key >> 3 == wanted:
                found = value
        elif key & 7 == 2:
            length, at = _varint(message, at)
            at += length
        else:
            return found
    return found


def _varint(message: bytes, at: int) -> tuple[int, int]:
    """A whole number and where it ends; past the end of the message where it is cut off or too long."""
    value = shift = 0
    for place in range(at, min(at + 10, len(message))):
        value |= (message[place] & 127) << shift
        if message[place] < 128:
            return value, place + 1
        shift += 7
    return value, len(message) + 1
