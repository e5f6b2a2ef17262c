"""Files in shared storage: a path that every machine sees, or an fsspec address that is copied here first."""

from __future__ import annotations

import contextlib
import hashlib
import json
import secrets
import time
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import unquote, urlsplit

from clearance.core.errors import DataUnavailableError, InputError, UsageError
from clearance.sources.cache import default_cache_dir

__all__ = ["identity_of", "is_address", "local_file"]

_PART = ".part"
#: A part left by a run that was killed is removed once it is this old.
_STALE_PART_S = 86_400
#: What storages call the size, date, version and sum of a file (fsspec, s3fs, gcsfs, adlfs; from memory).
_TELLING = frozenset(
    {
        *("size", "mtime", "created", "modified", "LastModified", "last_modified", "updated", "date_time"),
        *("ETag", "etag", "CRC", "crc32c", "md5Hash", "content_md5", "VersionId", "version_id", "generation"),
    }
)


def is_address(place: str) -> bool:
    """Whether a text is an fsspec address, such as ``s3://bucket/north.roads``, and no path."""
    return "://" in place or "::" in place


def local_file(place: str, *, cache: Path | None = None) -> Path:
    """The file at a path or an fsspec address, as a path on this machine.

    What is not on a disk here is copied into `cache` (by default the user's cache folder) once for each
    state of it, whole or not at all, however many processes ask for it at once.

    Raises UsageError where the address needs a package that is not installed, InputError where nothing is
    there, DataUnavailableError where it cannot be had.
    """
    path = _own_path(place)
    if path is not None:
        return path
    folder = cache or default_cache_dir() / "shared"
    try:
        storage, inside = _storage(place)
        info = storage.info(inside)
        state = json.dumps([place, _state(info)])
        suffix = PurePosixPath(inside).suffix[:20]
        target = folder / f"{hashlib.sha256(state.encode()).hexdigest()[:40]}{suffix}"
        if target.exists():
            return target
        folder.mkdir(parents=True, exist_ok=True)
        _sweep(folder)
        part = folder / f".{secrets.token_hex(8)}{_PART}"
        try:
            storage.get_file(inside, str(part))
            if isinstance(info.get("size"), int) and part.stat().st_size != info["size"]:
                raise OSError(f"{part.stat().st_size} bytes came of {info['size']}")
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
    except UsageError:
        raise
    except FileNotFoundError:
        raise InputError(f"{place}: there is no such file in the storage; check the address") from None
    # Storages have errors of their own kinds, without a common parent.
    except Exception as error:
        raise DataUnavailableError(
            f"{place}: cannot be had from the storage ({type(error).__name__}: "
            f"{' '.join(str(error).split())[:200]}); check address, network and rights"
        ) from error
    return target


def identity_of(place: str) -> str:
    """A text that changes when the file at a path or address does, as far as its storage tells.

    Raises as `local_file` does.
    """
    path = _own_path(place)
    try:
        if path is not None:
            found = path.stat()
            return f"{found.st_size} {found.st_mtime_ns}"
        storage, inside = _storage(place)
        return json.dumps(_state(storage.info(inside)))
    except FileNotFoundError:
        raise InputError(f"{place}: there is no such file; check its name") from None
    except OSError as error:
        raise InputError(f"{place}: cannot be read ({error.strerror or error})") from error


def _own_path(place: str) -> Path | None:
    """The path of a file on a disk of this machine; None for an address elsewhere."""
    if not is_address(place):
        return Path(place)
    parts = urlsplit(place)
    if parts.scheme == "file" and "::" not in place:
        return Path(unquote(parts.path))
    return None


def _storage(place: str) -> tuple[Any, str]:
    """The fsspec file system of an address, and the path in it."""
    try:
        import fsspec
    except ImportError:
        raise UsageError(
            f"{place}: addresses in shared storage need more packages; install clearance[cluster]"
        ) from None
    try:
        storage, inside = fsspec.core.url_to_fs(place)
    except ImportError as error:
        raise UsageError(f"{place}: this storage needs a package that is not installed ({error})") from None
    except ValueError as error:
        raise UsageError(
            f"{place}: no such kind of storage ({error}); write s3://..., gs://... or a path"
        ) from None
    return storage, str(inside)


def _state(info: Mapping[str, Any]) -> list[str]:
    """What tells one state of a file from another, as far as its storage knows."""
    return [f"{key} {info[key]}" for key in sorted(info.keys() & _TELLING)]


def _sweep(folder: Path) -> None:
    """Remove parts that a killed run left long ago."""
    for part in folder.glob(f".*{_PART}"):
        with contextlib.suppress(OSError):
            if time.time() - part.stat().st_mtime > _STALE_PART_S:
                part.unlink(missing_ok=True)
