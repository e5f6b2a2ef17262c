"""Text files as they come from other people's programs: size, kind and encoding checked first."""

from __future__ import annotations

from pathlib import Path

from clearance.core.errors import InputError

__all__ = ["checked_file", "read_bytes", "read_text"]


def checked_file(path: Path, *, most_bytes: int, what: str) -> int:
    """The size of a file in bytes, once it is sure to be a plain file that can be opened.

    Raises InputError, naming the file and what to try, where there is no such file, it is no plain
    file, may not be read, is empty or larger than `most_bytes`. `what` says what it should be.
    """
    try:
        if fault := _kind_fault(path):
            raise InputError(f"{path}: {fault}")
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except OSError as error:
        reason = error.strerror or "unknown reason"
        raise InputError(f"{path}: cannot be opened ({reason}); check its name and permissions") from error
    if size == 0:
        raise InputError(f"{path}: is empty; export it again")
    if size > most_bytes:
        raise InputError(
            f"{path}: has {size:,} bytes, more than the {most_bytes:,} that {what} may have; "
            "is it the right file?"
        )
    return size


def _kind_fault(path: Path) -> str:
    """What is wrong with the path before its content is looked at; empty where nothing is."""
    try:
        if path.is_dir():
            return "is a folder; name one file in it"
        if not path.exists():
            return "no such file; check the name and the folder"
    # A name with a NUL in it.
    except ValueError:
        return "is no name of a file; check it"
    return "" if path.is_file() else "is not a plain file; save the data to a file first"


def read_bytes(path: Path, *, most_bytes: int, what: str) -> bytes:
    """The content of a file, checked as `checked_file` does, and never more than `most_bytes`."""
    checked_file(path, most_bytes=most_bytes, what=what)
    try:
        with path.open("rb") as file:
            return file.read(most_bytes)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be read ({error.strerror}); copy it to this machine first"
        ) from error


def read_text(path: Path, *, most_bytes: int, what: str) -> str:
    """The text of a file in UTF-8, or in UTF-16 with its mark; a mark at the start is dropped.

    Raises InputError as `checked_file` does, and where the bytes are no such text, with the line.
    """
    raw = read_bytes(path, most_bytes=most_bytes, what=what)
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            f"{path}, line {line}: is not text in UTF-8 (byte {raw[error.start]:#04x}); save it as UTF-8"
        ) from error
