"""Answers of servers kept on disk: whole and checked, or not at all."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import sys
import tempfile
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

__all__ = ["AnswerCache", "CachedAnswer", "default_cache_dir"]

#: Part of every key: entries of another layout are never read.
_LAYOUT = 1
_PART = ".part"
#: A part left by a run that was killed is removed once it is this old: no run lasts so long.
_STALE_PART_S = 86_400


@dataclass(frozen=True, slots=True)
class CachedAnswer:
    """An answer and the moment it was fetched (UTC)."""

    answer: object
    fetched: datetime


def default_cache_dir() -> Path:
    """The folder where a user's cache belongs on this system."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA")
        return (Path(base) if base else Path.home() / "AppData" / "Local") / "clearance" / "Cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "clearance"
    base = os.environ.get("XDG_CACHE_HOME", "")
    # a relative path there is to be ignored (XDG Base Directory Specification; from memory)
    return (Path(base) if Path(base).is_absolute() else Path.home() / ".cache") / "clearance"


class AnswerCache:
    """A folder of answers, one gzipped JSON file for each question.

    A file appears under its name only when it is whole; a damaged one counts as absent.
    """

    def __init__(self, folder: Path) -> None:
        """Use this folder; it is made when first written to."""
        self.folder = folder

    def get(self, server: str, question: str) -> CachedAnswer | None:
        """The answer kept for this question to this server; None where there is none that is sound."""
        try:
            entry = json.loads(gzip.decompress(self._path(server, question).read_bytes()))
            if (entry["layout"], entry["server"], entry["question"]) != (_LAYOUT, server, question):
                return None
            return CachedAnswer(entry["answer"], datetime.fromisoformat(entry["fetched"]))
        except (OSError, EOFError, ValueError, KeyError, TypeError, RecursionError, zlib.error):
            return None

    def put(self, server: str, question: str, answer: object) -> CachedAnswer:
        """Keep an answer that was checked; whatever was kept before is replaced whole.

        Raises OSError where the folder or file cannot be written; then nothing has changed.
        """
        fetched = datetime.now(UTC).replace(microsecond=0)
        entry = {
            "layout": _LAYOUT,
            "server": server,
            "question": question,
            "fetched": fetched.isoformat(),
            "answer": answer,
        }
        packed = gzip.compress(json.dumps(entry, ensure_ascii=False).encode(), compresslevel=5)
        self.folder.mkdir(parents=True, exist_ok=True)
        self._sweep(fetched)
        handle, name = tempfile.mkstemp(dir=self.folder, suffix=_PART)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(packed)
                file.flush()
                os.fsync(file.fileno())
            part.replace(self._path(server, question))
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        return CachedAnswer(answer, fetched)

    def _path(self, server: str, question: str) -> Path:
        digest = hashlib.sha256(f"{_LAYOUT}\n{server}\n{question}".encode()).hexdigest()
        return self.folder / f"{digest}.json.gz"

    def _sweep(self, now: datetime) -> None:
        """Remove parts that a killed run left long ago."""
        for part in self.folder.glob(f"*{_PART}"):
            try:
                if now.timestamp() - part.stat().st_mtime > _STALE_PART_S:
                    part.unlink(missing_ok=True)
            except OSError:
                continue
