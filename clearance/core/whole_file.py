"""Files written whole or not at all, by one writer at a time: all that `core` does on a disk."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from clearance.core.errors import OutputError

try:
    import fcntl
except ImportError:  # Windows has none
    fcntl = None  # type: ignore[assignment]

__all__ = ["PART_GLOB", "not_written", "only_writer", "whole_file"]

#: Names of files that are not whole yet. A run that is killed leaves one; see `whole_file`.
PART_GLOB = ".clearance-*.part"
#: So old a part may be its writer's to lock yet, in seconds.
_YOUNG_S = 2.0
#: Where nothing can be locked, a part of this age is nobody's: no run lasts so long.
_STALE_S = 86_400.0
#: How often a file that another program is changing is asked for, in seconds.
_LOOK_S = 0.05

_TRY = {
    errno.ENOENT: "its folder does not exist; make the folder or choose another",
    errno.ENOTDIR: "a part of the path is a file, not a folder; choose another",
    errno.EACCES: "you may not write there; choose another folder",
    errno.EPERM: "you may not write there; choose another folder",
    errno.EROFS: "the disk is read-only; choose a folder on another",
    errno.ENOSPC: "the disk is full; free some space or choose another",
    errno.EDQUOT: "your share of the disk is used up; free some space or choose another",
    errno.EFBIG: "it is larger than the system lets a file be; choose another disk",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
    errno.EISDIR: "it is a folder; add a file name",
    errno.ELOOP: "its link leads back to itself; choose another",
}


def not_written(path: str | Path, error: OSError) -> OutputError:
    """What to raise where `path` could not be written: it names the file, the reason and what to try."""
    return OutputError(f"cannot write {path}: {_TRY.get(error.errno or 0, error.strerror or str(error))}")


@contextlib.contextmanager
def whole_file(path: str | Path) -> Iterator[BinaryIO]:
    """A file to write to, which takes the place of `path` when the block ends well.

    It is a new file in the same folder, brought onto the disk before it takes the name: a reader sees the old
    content or the new, and a failure leaves the old one alone. A link is followed, the permissions of a
    file that was there are kept.

    A process that is killed leaves ``.clearance-*.part`` behind, which whoever next writes into that folder
    removes: a part that is being written is locked.

    Raises OutputError, naming the file and what to try; also where it is a pipe or a device.
    """
    target = Path(os.path.realpath(path))
    try:
        mode = _mode(target)
        part = target.with_name(f".clearance-{secrets.token_hex(8)}.part")
        _sweep(target.parent)
        # O_EXCL with 0o666 rather than a module for temporary files: the umask then decides, as for any file.
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        try:
            with os.fdopen(handle, "wb") as file:
                _lock(handle)
                if mode is not None:
                    os.fchmod(handle, stat.S_IMODE(mode))
                yield file
                file.flush()
                os.fsync(handle)
            part.replace(target)
        except BaseException:
            with contextlib.suppress(OSError):
                part.unlink()
            raise
        _sync_folder(target.parent)
    except OutputError:
        raise
    except OSError as error:
        raise not_written(path, error) from error


def _mode(target: Path) -> int | None:
    """The mode of the file that stands there, None where there is none."""
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, "it is a pipe or a device, not a file; choose another name")
    if not os.access(target, os.W_OK):
        # Replacing needs leave for the folder only; a file made read-only was meant to stay.
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    return mode


def _sync_folder(folder: Path) -> None:
    """Put the new name itself onto the disk; some file systems cannot, and the file is whole all the same."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _lock(handle: int) -> bool | None:
    """Lock an open file for its process: True where that is done, False where another holds it.

    None where files cannot be locked here. The lock ends with the process, however that ends.
    """
    if fcntl is None:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _sweep(folder: Path) -> None:
    """Remove parts that nobody writes any more."""
    for part in folder.glob(PART_GLOB):
        with contextlib.suppress(OSError):
            age = time.time() - part.stat().st_mtime
            if age < _YOUNG_S:
                continue
            handle = os.open(part, os.O_RDWR)
            try:
                free = _lock(handle)
                if free or (free is None and age > _STALE_S):
                    part.unlink()
            finally:
                os.close(handle)


@contextlib.contextmanager
def only_writer(
    path: str | Path, *, patience_s: float = 600.0, waiting: Callable[[], None] = lambda: None
) -> Iterator[None]:
    """Nobody else changes the file at `path` within such a block; whoever comes later waits for its end.

    For changes that start from what is there, so that of two at once none is lost. Readers need no lock.
    Where there is no file, or the system cannot lock one, the block runs all the same. Blocks on one file
    must not be nested. `waiting` is told once where another holds the file.

    Raises OutputError where it is still held after `patience_s` seconds.
    """
    handle = _held(path, patience_s, waiting)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _held(path: str | Path, patience_s: float, waiting: Callable[[], None]) -> int | None:
    """A locked handle of the file that has this name now."""
    until = time.monotonic() + patience_s
    told = False
    while True:
        try:
            handle = os.open(path, os.O_RDWR | getattr(os, "O_NONBLOCK", 0))
        except OSError:
            return None  # whether it may be written is for the writer to say
        try:
            free = _lock(handle)
            if free is None or (free and _is_named(handle, path)):
                handle, kept = -1, handle
                return kept
        finally:
            if handle >= 0:
                os.close(handle)
        if not free:
            if time.monotonic() >= until:
                raise OutputError(f"{path}: another program is changing it; try again when that is done")
            if not told:
                waiting()
                told = True
            time.sleep(_LOOK_S)


def _is_named(handle: int, path: str | Path) -> bool:
    """Whether the open file is still the one at `path`, not one that has been replaced meanwhile."""
    try:
        return os.path.samestat(os.fstat(handle), Path(path).stat())
    except OSError:
        return False
