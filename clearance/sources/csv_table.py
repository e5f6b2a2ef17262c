"""Tables of text with a header, as spreadsheets write them: any usual separator, any order of columns."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from clearance.core.errors import InputError
from clearance.sources.plain_text import checked_file

__all__ = ["Row", "folded_name", "read_rows"]

_SEPARATORS = ",;\t|"
#: A header longer than this is no header but a file without lines.
_LONGEST_HEADER = 10_000


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line it begins in, counted from 1, and its cells by column, stripped.

    Only columns asked for are there. `problem` says what is wrong with the row as a whole, else empty.
    """

    line: int
    cells: Mapping[str, str]
    problem: str = ""


def folded_name(name: str) -> str:
    """The name of a column or property as it is compared: lower case, words parted by single spaces."""
    return " ".join(re.sub(r"[^\w]|_", " ", name.casefold()).split())


def read_rows(
    path: Path, names: Mapping[str, tuple[str, ...]], *, most_bytes: int, what: str
) -> Iterator[Row]:
    """The rows below the header, read one after another; blank ones are left out.

    `names` gives for each column asked for the names it may have, folded; the header tells which of
    them are there and what parts the cells: comma, semicolon, tab or bar.

    Raises InputError, with the line, where there is no such header, a column stands twice, the text is
    not in UTF-8 (or UTF-16 with its mark), or quotes do not match.
    """
    checked_file(path, most_bytes=most_bytes, what=what)
    with path.open("rb") as raw:
        mark = raw.read(2)
    encoding = "utf-16" if mark in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    done = 0
    try:
        with path.open(encoding=encoding, newline="") as file:
            columns, width, separator, start = _header(path, file, names, what)
            reader = csv.reader(file, delimiter=separator, strict=True)
            for cells in reader:
                line, done = start + done + 1, reader.line_num
                if any(cell.strip() for cell in cells):
                    yield _row(line, cells, columns, width, separator)
    except UnicodeError as error:
        raise InputError(
            f"{path}: is not text in UTF-8, after line {max(done, 1)} or so; save it as CSV in UTF-8"
        ) from error
    except csv.Error as error:
        raise InputError(
            f"{path}, line {done + 2}: the cells cannot be told apart ({error}); check the quotes in it"
        ) from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); copy it to a local disk") from error


def _header(
    path: Path, file: TextIO, names: Mapping[str, tuple[str, ...]], what: str
) -> tuple[dict[str, int], int, str, int]:
    """Where each column stands, how many there are, what parts them, and the line of the header."""
    line, text = 0, ""
    while not text.strip():
        text = file.readline(_LONGEST_HEADER)
        line += 1
        if not text:
            raise InputError(f"{path}: holds no text but blank lines; export it again")
    best: dict[str, int] = {}
    width, separator = 0, ","
    for candidate in _SEPARATORS:
        heads = [folded_name(head.strip().strip('"')) for head in text.split(candidate)]
        columns: dict[str, int] = {}
        for position, head in enumerate(heads):
            for column, spellings in names.items():
                if head in spellings:
                    if column in columns:
                        raise InputError(
                            f"{path}, line {line}: two columns stand for {column}; keep one of them"
                        )
                    columns[column] = position
        if len(columns) > len(best):
            best, width, separator = columns, len(heads), candidate
    if not best:
        raise InputError(
            f"{path}, line {line}: the first line must name the columns of {what}: {', '.join(names)}; "
            f"it is {text.strip()[:80]!r}"
        )
    return best, width, separator, line


def _row(line: int, cells: list[str], columns: Mapping[str, int], width: int, separator: str) -> Row:
    if len(cells) > width and any(cell.strip() for cell in cells[width:]):
        hint = "; is a decimal comma in it? Write points" if separator == "," else ""
        return Row(line, {}, f"has {len(cells)} cells, but the header names {width}{hint}")
    return Row(line, {name: cells[at].strip() if at < len(cells) else "" for name, at in columns.items()})
