"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
from pathlib import Path

from clearance.core.errors import OutputError

__all__ = ["write_whole"]

_TRY = {
    errno.ENOENT: "its folder does not exist; make the folder or choose another",
    errno.ENOTDIR: "a part of the path is a file, not a folder; choose another",
    errno.EACCES: "you may not write there; choose another folder",
    errno.EPERM: "you may not write there; choose another folder",
    errno.EROFS: "the disk is read-only; choose a folder on another",
    errno.ENOSPC: "the disk is full; free some space or choose another",
    errno.EDQUOT: "your share of the disk is used up; free some space or choose another",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
    errno.EISDIR: "it is a folder; add a file name",
    errno.ELOOP: "its link leads back to itself; choose another",
}


def write_whole(path: str | Path, data: bytes | str) -> None:
    """Write `data` (text as UTF-8, line ends kept) to `path`, replacing what stands there only when whole.

    The bytes go to a new file in the same folder, onto the disk, and only then take the name; a reader sees
    the old content or the new, and a failure leaves the old one alone. A link is followed, the
    permissions of an existing file are kept. What is no ordinary file (a pipe, a device) is written to
    directly.

    Raises OutputError, naming the file and what to try.
    """
    content = data.encode("utf-8") if isinstance(data, str) else data
    try:
        _write(Path(os.path.realpath(path)), content)
    except OSError as error:
        hint = _TRY.get(error.errno or 0, error.strerror or str(error))
        raise OutputError(f"cannot write {path}: {hint}") from error
    except ValueError as error:  # a NUL in the name
        raise OutputError(f"cannot write {str(path)!r}: {error}") from error


def _write(target: Path, content: bytes) -> None:
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        mode = None
    if mode is not None and stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if mode is not None and not stat.S_ISREG(mode):
        target.write_bytes(content)
        return
    if mode is not None and not os.access(target, os.W_OK):
        # Replacing needs leave for the folder only; a file made read-only was meant to stay.
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    part = target.with_name(f".clearance-{secrets.token_hex(8)}.part")
    try:
        # O_EXCL with 0o666 rather than a module for temporary files: the umask then decides, as for any file.
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), "wb") as file:
            if mode is not None:
                os.fchmod(file.fileno(), stat.S_IMODE(mode))
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    _sync_folder(target.parent)


def _sync_folder(folder: Path) -> None:
    """Put the new name itself onto the disk; some file systems cannot, and the file is whole all the same."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
