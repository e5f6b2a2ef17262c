"""Reports of screenings, as this program writes them, read back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from clearance.core.errors import InputError
from clearance.outputs.screen_json import screen_json
from clearance.sources.screen_report import read_report
from tests.outputs.screen_samples import HERON, LOW, SCREENING, TIGHT, UNKNOWN


@pytest.fixture
def content() -> dict[str, Any]:
    made: dict[str, Any] = json.loads(json.dumps(screen_json(SCREENING)))
    return made


def written(tmp_path: Path, content: object) -> Path:
    path = tmp_path / "old.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def test_a_report_tells_what_was(tmp_path: Path, content: dict[str, Any]) -> None:
    found = read_report(written(tmp_path, content))
    assert found.labels == ("Heron", "Wren")
    assert found.coaches[0].need == HERON.need
    assert found.coaches[0].towing is True
    assert found.home == (SCREENING.home.lon, SCREENING.home.lat)
    assert [row.verdict for row in found.rows] == [row.verdict for row in SCREENING.rows]
    assert found.rows[0].keys == {LOW.key}
    assert found.rows[1].keys == {UNKNOWN.key, TIGHT.key}
    heights = {s.key: s.forward for s in found.structures}
    assert (heights[LOW.key].clearance, heights[LOW.key].verified) == (LOW.lowest(), True)
    assert (heights[UNKNOWN.key].clearance, heights[UNKNOWN.key].verified) == (None, False)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda _: "{", "is not JSON"),
        (lambda _: [], "is no report"),
        (lambda _: {"format": "clearance drive", "format_version": 1}, "is no report"),
        (lambda c: c | {"format_version": 99}, "update it"),
        (lambda c: c | {"rows": [c["rows"][0] | {"coach": 7}]}, "row 1 cannot be read (there is no coach 7"),
        (lambda c: c | {"rows": [c["rows"][0] | {"verdict": "fine"}]}, "row 1"),
        (lambda c: c | {"structures": [{"key": "a"}]}, "structure 1"),
        (lambda c: c | {"coaches": [c["coaches"][0] | {"height": None}]}, "coach 1"),
        (lambda c: c | {"home": {"lon": 500, "lat": 0}}, "outside"),
        (lambda c: {k: v for k, v in c.items() if k != "data"}, "no 'data'"),
        (lambda c: c | {"rows": None}, "cannot be read"),
    ],
)
def test_what_is_no_report_is_told(tmp_path: Path, content: dict[str, Any], change: Any, said: str) -> None:
    with pytest.raises(InputError) as error:
        read_report(written(tmp_path, change(content)))
    assert said in str(error.value)
    assert "old.json" in str(error.value)


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("coaches", 0, "weight_kg"), float("inf"), "coach 1"),
        (("coaches", 0, "towing"), "false", "coach 1 cannot be read ('false' is neither true nor false"),
        (("structures", 0, "forward", "verified"), 1, "structure 1"),
        (("structures", 0, "forward", "clearance"), {"tenths_of_mm": -(2**70)}, "no measure"),
        (("structures", 0, "forward", "clearance"), {"tenths_of_mm": 2**31}, "no measure"),
        (("structures", 0, "lon"), 10**400, "structure 1"),
        (("home", "lat"), float("nan"), "not a number"),
    ],
)
def test_values_that_cannot_be_meant_are_refused(
    tmp_path: Path, content: dict[str, Any], path: tuple[Any, ...], value: object, said: str
) -> None:
    inside: Any = content
    for key in path[:-1]:
        inside = inside[key]
    inside[path[-1]] = value
    with pytest.raises(InputError) as caught:
        read_report(written(tmp_path, content))
    assert said in str(caught.value)
