"""A few inputs for every target, the same on each run; `scripts/fuzz` tries many, and other ones."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.target import run
from tests.fuzz.targets import TARGETS


@pytest.mark.parametrize("name", TARGETS)
def test_no_input_breaks_a_reader(name: str, tmp_path: Path) -> None:
    target = TARGETS[name]

    @settings(max_examples=target.few, suppress_health_check=list(HealthCheck))
    @given(st.data())
    def tried(data: st.DataObject) -> None:
        run(target, data.draw(target.inputs()), tmp_path)

    tried()
