"""The commands of the README on many places run as they stand there, one after another, on the sample."""

from __future__ import annotations

import csv
import re
import shlex
import shutil
from itertools import pairwise
from pathlib import Path

import click
import pytest

from clearance.cli.main import cli

ROOT = Path(__file__).resolve().parent.parent
#: What needs machines or packages that a test has not got; their options are read all the same.
_ELSEWHERE = ("--cluster", "--local")


def commands() -> list[list[str]]:
    """The arguments of every command of clearance from the list of a season to the glossary."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = text[text.index("## All the places of a season") : text.index("## What the words mean")]
    lines = re.sub(r" \\\n\s+", " ", part).splitlines()
    found = [shlex.split(line, comments=True) for line in lines if line.startswith("    ")]
    return [words[1:] for words in found if words[0] == "clearance"]


def filled_in(path: Path) -> None:
    """Write a height into the list of what to look at, as its reader does."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    rows[1] |= {"height": "4.4 m", "date": "2026-03-04", "who": "Ines"}
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, rows[0])
        table.writeheader()
        table.writerows(rows)


def test_every_command_on_many_places_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    shutil.copytree(ROOT / "data_samples", "data_samples")
    Path("out").mkdir()
    asked = [["get", "data_samples/pellowick.osm", "-o", "out/pellowick.roads"], *commands()]
    told = {}
    for words in asked:
        if words[:2] == ["record", "import"]:
            filled_in(Path(words[2]))
        if set(words) & set(_ELSEWHERE):
            command = cli.get_command(click.Context(cli), words[0])
            assert command is not None
            command.make_context(words[0], words[1:])
            continue
        assert cli.main(words, standalone_mode=False) in (0, None), words
        told[" ".join(words)] = capsys.readouterr().out
        for flag, name in pairwise(words):
            assert flag not in ("-o", "--tallest") or Path(name).exists(), words
    assert len(told) == 12
    first, *_, since = [out for words, out in told.items() if words.startswith("screen ")]
    for said in ("Heron", "Wren", "1 blocked", "2 not screened", "Lighthouse Camp"):
        assert said in first, said
    assert "Structures: 1 height known now." in " ".join(since.split())
