"""TOML that is nested as no file of ours is: an error, and not a hang or a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from clearance.core.errors import InputError
from clearance.sources.coach_file import read_coach
from clearance.sources.job_file import read_jobs
from clearance.sources.toml_text import parse_toml

DEEP = (
    "[towed.name." + "a." * 8000 + "a]\n",
    "[towed]\nname." + "a . " * 8000 + "a = 1\n",
    'name."x"' + ".'y'" * 8000 + " = 1\n",
    "name = " + "[" * 5000 + "]" * 5000 + "\n",
    "name = " + "{a = " * 40 + "1" + "}" * 40 + "\n",
    "name = " + "[" * 40 + "]" * 40 + "\n",
)


@pytest.mark.parametrize("text", DEEP)
def test_deep_nesting_is_told(tmp_path: Path, text: str) -> None:
    with pytest.raises(ValueError, match="nested too deeply"):
        parse_toml(text)
    for read in (read_coach, read_jobs):
        path = tmp_path / "heron.toml"
        path.write_text(f'height = "12ft"\n{text}', encoding="utf-8")
        with pytest.raises(InputError, match=r"heron\.toml") as caught:
            read(path)
        assert len(str(caught.value)) < 2000


def test_what_is_not_deep_is_read() -> None:
    assert parse_toml("a.b.c = 1\n[d.e]\nf = [[1], {g = 2}]\n")["d"]["e"]["f"] == [[1], {"g": 2}]
    sentence = "Mind the gap. " * 40
    assert parse_toml(f'a = "{sentence}"') == {"a": sentence}
    # A long word and many quotes take no longer than they are long.
    assert parse_toml("x" * 60_000 + " = 1") == {"x" * 60_000: 1}
    with pytest.raises(ValueError, match="at line 1"):
        parse_toml('"' * 60_000)


def test_thousands_of_problems_do_not_fill_the_screen(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    path.write_text('height = "12ft"\n' + "x\n" * 5000, encoding="utf-8")
    with pytest.raises(InputError, match=r"5,000 problems(?s:.*)and 4,960 more"):
        read_coach(path)
    path.write_text("\n".join(f"x{i} = 1" for i in range(5000)), encoding="utf-8")
    with pytest.raises(InputError, match="more") as caught:
        read_jobs(path)
    assert len(str(caught.value)) < 20_000
