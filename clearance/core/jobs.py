"""Many homes screened in many regions: what is asked for, cut into tasks that need nothing of each other."""

from __future__ import annotations

import re
from dataclasses import dataclass

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.record import Record

__all__ = ["JobHome", "JobRegion", "Jobs", "Task", "is_name"]

#: Names stand in the paths of results, on any system and in any storage.
_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _.-]{0,78}[A-Za-z0-9_-])?", re.ASCII)


def is_name(text: str) -> bool:
    """Whether a text can be the name of a home or a region.

    >>> is_name("North Yard 2"), is_name("../x"), is_name("con.")
    (True, False, False)
    """
    return _NAME.fullmatch(text) is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobHome:
    """Where coaches stand: ``lat,lon`` or a name from the map data.

    `regions` are those to be screened from there; all of them where it is empty.
    """

    name: str
    place: str
    regions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRegion:
    """A road file and a list of destinations, each a path or an fsspec address that workers can read."""

    name: str
    roads: str
    places: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One home in one region, for all coaches: all that a worker must know."""

    home: JobHome
    region: JobRegion
    coaches: tuple[Coach, ...]
    unverified: Unverified
    records: tuple[Record, ...] = ()

    @property
    def name(self) -> str:
        """What to call it: the folder of its result."""
        return f"{self.region.name}/{self.home.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Jobs:
    """All homes, regions and coaches of a run."""

    homes: tuple[JobHome, ...]
    regions: tuple[JobRegion, ...]
    coaches: tuple[Coach, ...]
    unverified: Unverified = Unverified.AVOID

    def tasks(self, records: tuple[Record, ...] = ()) -> tuple[Task, ...]:
        """A task for each home and region; those of one region together, to open its road file once."""
        return tuple(
            Task(
                home=home,
                region=region,
                coaches=self.coaches,
                unverified=self.unverified,
                records=records,
            )
            for region in self.regions
            for home in self.homes
            if not home.regions or region.name in home.regions
        )
