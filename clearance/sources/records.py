"""The owner's records in a local SQLite file: what was seen, by whom, and what no longer counts.

A record is never changed and never deleted, which the file itself refuses; one that no longer counts gets a
removal beside it. Every change is one transaction in a write-ahead log, so that two programs may write at
once and one that is killed leaves either all of its change or none.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import sqlite3
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from clearance.core.errors import InputError, OutputError, UsageError
from clearance.core.lengths import HIGHEST_HEIGHT, LOWEST_HEIGHT, Length
from clearance.core.record import Record, Removal, parse_seen_height
from clearance.sources.coordinates import lon_lat

__all__ = ["RECORDS_SCHEMA", "default_records_file", "read_records", "record_file"]

#: "clro" in ASCII: tells this file from any other SQLite file.
_APPLICATION = 0x636C726F
#: Raised whenever older programs could misread the file.
RECORDS_SCHEMA = 1
#: How long another program may hold the file before we give up, in seconds.
_PATIENCE_S = 15.0

_TABLES = """
CREATE TABLE record (
  number INTEGER PRIMARY KEY AUTOINCREMENT,
  uid TEXT NOT NULL UNIQUE CHECK (length(uid) = 32),
  height_tenths INTEGER NOT NULL CHECK (typeof(height_tenths) = 'integer' AND height_tenths > 0),
  raw TEXT NOT NULL,
  date TEXT NOT NULL,
  who TEXT NOT NULL CHECK (who <> ''),
  lon REAL NOT NULL CHECK (lon BETWEEN -180 AND 180),
  lat REAL NOT NULL CHECK (lat BETWEEN -90 AND 90),
  key TEXT NOT NULL,
  kind TEXT NOT NULL,
  name TEXT NOT NULL,
  road TEXT NOT NULL,
  elements TEXT NOT NULL,
  photo TEXT NOT NULL,
  note TEXT NOT NULL,
  added TEXT NOT NULL
);
CREATE TABLE removal (
  uid TEXT NOT NULL PRIMARY KEY REFERENCES record (uid),
  removed TEXT NOT NULL,
  who TEXT NOT NULL CHECK (who <> ''),
  why TEXT NOT NULL CHECK (why <> '')
);
CREATE TRIGGER record_stays BEFORE UPDATE ON record
  BEGIN SELECT raise(ABORT, 'a record is never changed'); END;
CREATE TRIGGER record_kept BEFORE DELETE ON record
  BEGIN SELECT raise(ABORT, 'a record is never deleted'); END;
CREATE TRIGGER removal_stays BEFORE UPDATE ON removal
  BEGIN SELECT raise(ABORT, 'a removal is never changed'); END;
CREATE TRIGGER removal_kept BEFORE DELETE ON removal
  BEGIN SELECT raise(ABORT, 'a removal is never deleted'); END;
"""
_FIELDS = (
    *("uid", "height_tenths", "raw", "date", "who", "lon", "lat"),
    *("key", "kind", "name", "road", "elements", "photo", "note", "added"),
)
_NO_TEXTS = ("height_tenths", "lon", "lat", "elements")
#: The columns of a record with its removal, in the order in which they are read.
_COLUMNS = ("number", *_FIELDS, "removed", "removed_by", "removed_why")
_INSERT = (
    f"INSERT INTO record ({', '.join(_FIELDS)}) VALUES ({', '.join(f':{name}' for name in _FIELDS)}) "
    "ON CONFLICT (uid) DO NOTHING"
)


def default_records_file() -> Path:
    """The file where a user's records belong on this system, whether or not there is one."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA")
        folder = Path(base) if base else Path.home() / "AppData" / "Local"
    elif sys.platform == "darwin":
        folder = Path.home() / "Library" / "Application Support"
    else:
        given = os.environ.get("XDG_DATA_HOME", "")
        # a relative path there is to be ignored (XDG Base Directory Specification; from memory)
        folder = Path(given) if Path(given).is_absolute() else Path.home() / ".local" / "share"
    return folder / "clearance" / "records.sqlite"


class _Records:
    """An open file of records."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self._path, self._connection = path, connection

    def all(self, *, removed: bool = False) -> tuple[Record, ...]:
        """The records that count, oldest first; with `removed`, those that do not as well."""
        rows = self._connection.execute(
            f"SELECT r.number, {', '.join(f'r.{name}' for name in _FIELDS)}, m.removed, m.who, m.why "
            "FROM record r LEFT JOIN removal m USING (uid) ORDER BY number"
        )
        found = [self._record(row) for row in rows]
        return tuple(record for record in found if removed or record.removal is None)

    def _record(self, row: tuple[Any, ...]) -> Record:
        told = dict(zip(_COLUMNS, row, strict=True))
        try:
            when, who, why = (told.pop(name) for name in ("removed", "removed_by", "removed_why"))
            found = Record(
                height=Length(told.pop("height_tenths")),
                elements=tuple(json.loads(told.pop("elements"))),
                removal=None if when is None else Removal(when=when, who=who, why=why),
                **told,
            )
            _check(found)
            # SQLite keeps no sums: the height stands there twice, and a flipped bit makes them differ.
            if parse_seen_height(found.raw) != found.height:
                raise ValueError(found.raw)  # noqa: TRY301, told as any other damage
            return found  # noqa: TRY300
        except (ValueError, TypeError, RecursionError) as error:
            raise InputError(
                f"{self._path}: record {told['number']} is damaged; import your last export into a new file"
            ) from error

    def add(self, records: Sequence[Record]) -> tuple[Record, ...]:
        """Write down records, all or none; returned are those that were new, with their numbers.

        A record whose uid is there already is left alone, its removal too.
        """
        fresh: list[Record] = []
        with self._writing():
            for record in records:
                values = {name: getattr(record, name, "") for name in _FIELDS}
                values["height_tenths"] = record.height.tenths
                values["elements"] = json.dumps(list(record.elements))
                done = self._connection.execute(_INSERT, values)
                if not done.rowcount:
                    continue
                number = done.lastrowid
                assert number is not None, "a row was put in"
                fresh.append(replace(record, number=number))
                if record.removal is not None:
                    self._remove(record.uid, record.removal)
        return tuple(fresh)

    def remove(self, number: int, removal: Removal) -> Record:
        """Let a record no longer count; returned is the record.

        Raises UsageError where there is no record of that number, or it has been removed before.
        """
        with self._writing():
            found = {record.number: record for record in self.all(removed=True)}.get(number)
            if found is None:
                raise UsageError(f"{self._path} holds no record {number}; `clearance record list` shows them")
            if found.removal is not None:
                raise UsageError(
                    f"{found.label} was removed on {found.removal.when[:10]} by {found.removal.who}: "
                    f"{found.removal.why}"
                )
            self._remove(found.uid, removal)
        return replace(found, removal=removal)

    def _remove(self, uid: str, removal: Removal) -> None:
        self._connection.execute(
            "INSERT INTO removal VALUES (?, ?, ?, ?)", (uid, removal.when, removal.who, removal.why)
        )

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        """One change: all of it or nothing. Nobody else writes meanwhile."""
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise
        self._connection.execute("COMMIT")


def _check(record: Record) -> None:
    """Raise ValueError or TypeError where a record is none that was ever written: damage knows no types."""
    removal = record.removal
    texts = [getattr(record, name) for name in _FIELDS if name not in _NO_TEXTS]
    texts += [*record.elements, *((removal.when, removal.who, removal.why) if removal else ())]
    if not all(isinstance(text, str) for text in texts) or not record.who:
        raise ValueError("a text is none")
    if type(record.height.tenths) is not int or not LOWEST_HEIGHT <= record.height <= HIGHEST_HEIGHT:
        raise ValueError("the height is none")
    if type(record.lon) is not float or type(record.lat) is not float:
        raise TypeError("the place is none")
    lon_lat(record.lon, record.lat)
    datetime.date.fromisoformat(record.date)


@contextlib.contextmanager
def record_file(path: Path) -> Iterator[_Records]:
    """The records in a file, to be read and written; the file is made where there is none.

    Raises InputError where it is something else, OutputError where it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{path}: its folder cannot be made ({error.strerror}); choose another") from error
    with _opened(path, f"{path.resolve().as_uri()}?mode=rwc") as connection:
        _prepare(path, connection)
        yield _Records(path, connection)


def read_records(path: Path, *, removed: bool = False) -> tuple[Record, ...]:
    """The records of a file that count, oldest first; with `removed`, those that do not as well.

    Raises InputError where there is no such file, or it holds something else.
    """
    if not path.exists():
        raise InputError(f"{path}: there is no such file of records; `clearance record add` makes one")
    with _opened(path, f"{path.resolve().as_uri()}?{_to_read(path.resolve())}") as connection:
        if _told(path, connection) == 0:
            return ()
        return _Records(path, connection).all(removed=removed)


def _to_read(path: Path) -> str:
    """How to open a file of records for reading.

    SQLite keeps its log beside the file, for readers too. Where none may be made and none is left, nobody
    writes.
    """
    log = path.with_name(f"{path.name}-wal")
    return "mode=rw" if os.access(path.parent, os.W_OK) or log.exists() else "mode=ro&immutable=1"


@contextlib.contextmanager
def _opened(path: Path, uri: str) -> Iterator[sqlite3.Connection]:
    if path.is_dir():
        raise InputError(f"{path} is a folder; give the name of a file of records")
    try:
        connection = sqlite3.connect(uri, uri=True, timeout=_PATIENCE_S, isolation_level=None)
        try:
            # A file from elsewhere must not run anything of its own.
            connection.execute("PRAGMA trusted_schema = OFF")
            # What was told to be written down survives a power cut too.
            connection.execute("PRAGMA synchronous = FULL")
            yield connection
        finally:
            connection.close()
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            raise OutputError(f"{path}: another program holds it; try again when that is done") from error
        if "decode" in str(error):
            raise InputError(
                f"{path}: is damaged, a text in it is none; import your last export into a new file"
            ) from error
        raise OutputError(
            f"{path}: cannot be opened or written ({error}); is its folder writable and the disk not full?"
        ) from error
    except sqlite3.IntegrityError:
        raise  # what the tables refuse was to be refused before: a fault of ours, not of the file
    # Where a name in the file is no text, the library stumbles over its own message.
    except (sqlite3.DatabaseError, UnicodeError) as error:
        raise InputError(
            f"{path}: is no file of records, or damaged ({error}); import your last export into a new file"
        ) from error


def _told(path: Path, connection: sqlite3.Connection) -> int:
    """The schema version of a file, 0 where it is empty. Raises InputError where it is another's file."""
    alone = not connection.in_transaction
    if alone:
        # All three as of one moment: another program may be making the tables.
        connection.execute("BEGIN")
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if alone:
        connection.execute("COMMIT")
    if application == 0 and version == 0 and tables == 0:
        return 0
    if application != _APPLICATION:
        raise InputError(f"{path}: is a database of another program; choose another file for the records")
    if version != RECORDS_SCHEMA:
        raise InputError(
            f"{path}: was written by another version of this program (records {version}, wanted "
            f"{RECORDS_SCHEMA}); use that one to export it"
        )
    # A view of that name could reckon for ever.
    kinds = connection.execute(
        "SELECT type FROM sqlite_master WHERE name IN ('record', 'removal')"
    ).fetchall()
    if kinds != [("table",)] * 2:
        raise InputError(
            f"{path}: its tables are not as they were made; import your last export into a new file"
        )
    return int(version)


def _prepare(path: Path, connection: sqlite3.Connection) -> None:
    """Make the tables of an empty file; of two programs that come at once, one makes them."""
    if _told(path, connection):
        return
    until = time.monotonic() + _PATIENCE_S
    while True:
        try:
            # Not under the patience of the connection: to change the log, SQLite asks once.
            connection.execute("PRAGMA journal_mode = WAL")
            break
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)
    connection.execute("BEGIN IMMEDIATE")
    try:
        if not _told(path, connection):
            for statement in _statements(_TABLES):
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {_APPLICATION}")
            connection.execute(f"PRAGMA user_version = {RECORDS_SCHEMA}")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _statements(script: str) -> Iterator[str]:
    """The statements of a script: `executescript` would end the transaction that they are to be part of."""
    statement = ""
    for line in script.splitlines():
        statement += line + "\n"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
