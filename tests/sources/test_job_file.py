"""The file of a run over many homes and regions."""

from __future__ import annotations

from pathlib import Path

import pytest

from clearance.core.drive import Unverified
from clearance.core.errors import InputError
from clearance.core.jobs import JobHome, JobRegion, Jobs
from clearance.sources.job_file import read_jobs

GOOD = """
unverified = "refuse"
[[coach]]
file = "tall.toml"
[[home]]
name = "North Yard"
place = "45.0,-40.0"
[[home]]
name = "South Yard"
place = "Mill Street"
regions = ["south"]
[[region]]
name = "north"
roads = "s3://bucket/north.roads"
places = "lists/north.csv"
[[region]]
name = "south"
roads = "/shared/south.roads"
places = "simplecache::s3://bucket/south.csv"
"""


def read(folder: Path, text: str) -> Jobs:
    (folder / "tall.toml").write_text('name = "tall"\nheight = "13ft"\n', encoding="utf-8")
    path = folder / "jobs.toml"
    path.write_text(text, encoding="utf-8")
    return read_jobs(path)


def test_what_a_file_says(tmp_path: Path) -> None:
    jobs = read(tmp_path, GOOD)
    assert jobs.unverified is Unverified.REFUSE
    assert jobs.homes == (
        JobHome(name="North Yard", place="45.0,-40.0"),
        JobHome(name="South Yard", place="Mill Street", regions=("south",)),
    )
    assert jobs.regions == (
        JobRegion(name="north", roads="s3://bucket/north.roads", places=str(tmp_path / "lists/north.csv")),
        JobRegion(name="south", roads="/shared/south.roads", places="simplecache::s3://bucket/south.csv"),
    )
    assert [coach.name for coach in jobs.coaches] == ["tall"]


CHANGES = {
    ('name = "north"', 'name = "../north"'): "region 1: name '../north' cannot be one",
    ('name = "south"', 'name = "North"'): "region north: 2 of them have this name",
    ('name = "South Yard"\n', ""): "home 2: name is missing",
    ('regions = ["south"]', 'regions = ["west"]'): "home South Yard: there is no region 'west'",
    ('regions = ["south"]', "regions = 3"): "home 2: regions must be a list",
    ('place = "Mill Street"', "place = 45.0"): "home 2: place must be a text",
    ('unverified = "refuse"', 'unverified = "maybe"'): "unverified: 'maybe' is none of",
    ('file = "tall.toml"', 'file = "none.toml"'): "coach 1: ",
    ("[[coach]]", "[[vehicle]]"): "vehicle: no such entry",
    ('roads = "/shared/south.roads"', 'road = "x"'): "region 2: 'road' is no entry of it",
    ("[[home]]", "[home]"): "is not TOML",
}


@pytest.mark.parametrize(("change", "said"), CHANGES.items())
def test_what_is_wrong_is_told_with_its_table(tmp_path: Path, change: tuple[str, str], said: str) -> None:
    assert change[0] in GOOD
    with pytest.raises(InputError) as told:
        read(tmp_path, GOOD.replace(*change))
    assert said in str(told.value)


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as told:
        read(tmp_path, "[[home]]\nname = 3\n")
    for said in ("home 1: name", "home 1: place", "at least one [[region]]", "at least one [[coach]]"):
        assert said in str(told.value)
