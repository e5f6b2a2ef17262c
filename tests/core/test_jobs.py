"""Runs cut into tasks."""

from __future__ import annotations

import pytest

from clearance.core.coach import Coach
from clearance.core.jobs import JobHome, JobRegion, Jobs, is_name
from clearance.core.lengths import Length


@pytest.mark.parametrize("text", ["a", "North Yard 2", "x" * 80, "A-1_b.c", "7"])
def test_names(text: str) -> None:
    assert is_name(text)


@pytest.mark.parametrize(
    "text",
    ["", " a", "a ", "../x", "a/b", "a\\b", "con.", ".hidden", "x" * 81, "é", "a\nb", "a:b", "-a", "a\n"],
)
def test_what_would_be_no_folder_everywhere_is_no_name(text: str) -> None:
    assert not is_name(text)


def test_a_task_for_each_home_in_each_of_its_regions() -> None:
    regions = tuple(JobRegion(name=name, roads="r", places="p") for name in ("north", "south"))
    homes = (JobHome(name="A", place="a"), JobHome(name="B", place="b", regions=("south",)))
    jobs = Jobs(homes=homes, regions=regions, coaches=(Coach(height=Length.from_feet(13)),))
    assert [task.name for task in jobs.tasks()] == ["north/A", "south/A", "south/B"]
