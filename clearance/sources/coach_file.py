"""The coach file: one coach in TOML, every problem of it told at once with its line."""

from __future__ import annotations

import difflib
import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from clearance.core.coach import Coach, Fuel
from clearance.core.coach_items import (
    ITEMS,
    Item,
    ItemKind,
    Value,
    coach_of,
    item_value,
    measure_text,
    values_of,
)
from clearance.core.errors import InputError, UsageError
from clearance.core.lengths import Length
from clearance.sources.plain_text import read_text
from clearance.sources.toml_text import parse_toml

__all__ = ["coach_text", "read_coach"]

#: The documented file has about 80 lines of 100 characters.
_MOST_BYTES = 65_536
_MOST_PROBLEMS = 40
_TABLE = "towed"
_ITEMS = {item.key: item for item in ITEMS}


def read_coach(path: Path) -> Coach:
    """The coach that a TOML file describes.

    Lengths and weights are texts with a unit; a bare number is refused, since 4 may be metres or
    anything. The height must be there. A table ``[towed]`` means that something is towed.

    Raises InputError, listing every problem with its line: what cannot be read, unknown keys with
    the nearest known one, values that cannot be meant, what is missing.
    """
    text = read_text(path, most_bytes=_MOST_BYTES, what="a coach file")
    found = _entries(text)
    problems = list(found.problems)
    values: dict[str, Value] = {}
    for key, raw in found.entries.items():
        line = found.lines.get(key, 0)
        item = _ITEMS.get(key)
        if item is None:
            problems.append((line, _unknown(key)))
            continue
        try:
            values[key] = item_value(item, raw)
        except UsageError as error:
            problems.append((line, str(error)))
    # What could not be read is not missing as well.
    told = found.entries.keys() | found.spoilt
    if all(item.key in values or item.key not in told for item in ITEMS) or "height" not in told:
        try:
            coach = coach_of(values, towing=found.towing)
        except UsageError as error:
            problems.append((found.lines.get(_TABLE, 0) if "height" in told else 0, str(error)))
        else:
            if not problems:
                return coach
    raise InputError(_message(path, problems))


@dataclass(slots=True)
class _Found:
    """What a file holds: entries by key (``towed.`` before those of the table), lines, problems."""

    entries: dict[str, object] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)
    problems: list[tuple[int, str]] = field(default_factory=list)
    spoilt: set[str] = field(default_factory=set)
    towing: bool = False


def _entries(text: str) -> _Found:
    """The entries of the text, read as a whole where it is TOML, else line by line."""
    lines = text.replace("\r\n", "\n").split("\n")
    by_line = _line_by_line(lines)
    try:
        whole = parse_toml(text)
    # Besides its own error the library lets through what int() raises.
    except ValueError as error:
        if not by_line.problems or '"""' in text or "'''" in text:
            by_line.problems = [(_line_in(str(error)), f"is not TOML: {_plain(error)}")]
        return by_line
    return _Found(
        entries=_flat(whole),
        lines=by_line.lines,
        towing=_TABLE in whole,
    )


def _line_by_line(lines: list[str]) -> _Found:
    """Each line read for itself. Not all that TOML allows, but every entry of the documented form."""
    found = _Found()
    table = ""
    for number, line in enumerate(lines, 1):
        if header := re.fullmatch(r"\s*\[\s*([\w.\"' -]+?)\s*\]\s*(#.*)?", line):
            table = f"{header[1]}."
            found.towing |= header[1] == _TABLE
            if header[1] in found.lines:
                found.problems.append((number, f"[{header[1]}] stands in line {found.lines[header[1]]} too"))
            found.lines.setdefault(header[1], number)
            continue
        try:
            entries = _flat(parse_toml(line))
        except ValueError as error:
            key = re.match(r"\s*([\w-]+)\s*=", line)
            if key:
                found.spoilt.add(table + key[1])
                found.lines.setdefault(table + key[1], number)
            found.problems.append((number, _why_not(line, key[1] if key else "", error)))
            continue
        for key_text, value in entries.items():
            name = table + key_text
            if name in found.entries:
                found.problems.append((number, f"{name} stands in line {found.lines[name]} too; keep one"))
                continue
            found.entries[name] = value
            found.lines[name] = number
            found.towing |= name.startswith(f"{_TABLE}.")
    return found


def _flat(table: dict[str, Any]) -> dict[str, object]:
    """Entries with the names of their tables before theirs; what lies deeper than one table stays whole."""
    flat: dict[str, object] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            flat |= {f"{key}.{inner}": inner_value for inner, inner_value in value.items()}
            if not value and key != _TABLE:
                flat[key] = value
        else:
            flat[key] = value
    return flat


def _why_not(line: str, key: str, error: Exception) -> str:
    """What is wrong with a line that is not TOML, in terms of what people write."""
    if key:
        value = line.split("=", 1)[1].strip()
        item = _ITEMS.get(key) or _ITEMS.get(f"{_TABLE}.{key}")
        example = "it in quotes" if item is None else f"{key} = {_example(item)}"
        if value.count('"') > 2:
            return (
                f'{key}: an inch mark ends the text too early; write inches as in, such as "12ft 10in", '
                f'or put a backslash before the mark: "12\'10\\""'
            )
        if value[:1] not in ("'", '"'):
            return f"{key}: {value[:60]!r} cannot be read; write {example}"
    return f"{line.strip()[:60]!r} is not TOML: {_plain(error)}"


def _plain(error: Exception) -> str:
    """The library's words, with the place where it has one."""
    return " ".join(str(error).split())[:200]


def _line_in(message: str) -> int:
    found = re.search(r"at line (\d+)", message)
    return int(found[1]) if found else 0


def _unknown(key: str) -> str:
    """What to say of an unknown key: the nearest known one, or all of them."""
    inner = key.removeprefix(f"{_TABLE}.")
    if inner in ("towing", "towed", "tow"):
        return f"{key} is no key of a coach file; what is towed stands in a table of its own, [{_TABLE}]"
    for name in (key, f"{_TABLE}.{inner}", inner):
        if near := difflib.get_close_matches(name, _ITEMS, n=1, cutoff=0.6):
            return f"unknown key {key[:60]}; did you mean {near[0]}?"
    return f"unknown key {key[:60]}; known are {', '.join(_ITEMS)}"


def _message(path: Path, problems: list[tuple[int, str]]) -> str:
    """One problem on one line; several below one another, in the order of their lines, up to a screenful."""
    texts = [f"line {line}: {text}" if line else text for line, text in sorted(problems)]
    if len(texts) > _MOST_PROBLEMS:
        texts[_MOST_PROBLEMS:] = [f"and {len(texts) - _MOST_PROBLEMS:,} more"]
        return "\n  ".join([f"{path}: {len(problems):,} problems", *texts])
    if len(texts) == 1:
        return f"{path}: {texts[0]}"
    return "\n  ".join([f"{path}: {len(texts)} problems", *texts])


# --- the other way ---------------------------------------------------------------------------------

_HEAD = """\
# A coach, for `clearance ... --coach FILE`.
#
# Lengths and weights are texts in quotes with a unit: "12ft 10in", "154in", "3.91m", "391cm"; "26000lbs",
# "11800kg", "12t". An inch mark needs a backslash before it: "12'10\\"". A line that starts with # says
# nothing to the program. Only the height must be there.
"""


def coach_text(coach: Coach) -> str:
    """The coach as a TOML text that `read_coach` reads back to the same values, explained line by line.

    Items not told stand as comments, with an example.
    """
    values = values_of(coach)
    blocks = [_HEAD]
    blocks += [_block(item, values, "") for item in ITEMS if "." not in item.key]
    towed = [item for item in ITEMS if "." in item.key]
    off = "" if coach.towing else "# "
    head = ["# This table says that something is towed. Leave it out, or put # before it, where nothing is."]
    blocks.append("\n".join([*head, f"{off}[{_TABLE}]", ""]))
    blocks += [_block(item, values, off) for item in towed]
    return "\n".join(blocks)


def _block(item: Item, values: dict[str, Value], off: str) -> str:
    key = item.key.removeprefix(f"{_TABLE}.")
    told = item.key in values
    entry = f"{off}{key} = {_toml(values[item.key])}" if told else f"# {key} = {_example(item)}"
    return "\n".join([*(f"# {line}" for line in item.how), entry, ""])


def _example(item: Item) -> str:
    """The item's example as TOML."""
    return item.example if item.kind is ItemKind.YES_NO else _toml(item.example)


def _toml(value: Value) -> str:
    """The value as TOML: basic strings have the escapes of JSON, and one character more to escape."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Length):
        return f'"{measure_text(value)}"'
    if isinstance(value, int):
        return f'"{value}kg"'
    text = value.value if isinstance(value, Fuel) else value
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
