"""The file of a run over many homes and regions, in TOML; every problem of it is told at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.errors import InputError
from clearance.core.jobs import JobHome, JobRegion, Jobs, is_name
from clearance.sources.coach_file import read_coach
from clearance.sources.plain_text import read_text
from clearance.sources.toml_text import parse_toml

__all__ = ["read_jobs"]

T = TypeVar("T")
_MOST_BYTES = 16 << 20
_MOST_PROBLEMS = 100
_TOP = {"unverified", "coach", "home", "region"}
_KEYS = {"coach": {"file"}, "home": {"name", "place", "regions"}, "region": {"name", "roads", "places"}}
_NAMES = "letters, digits, spaces, - _ and . make a name, at most 80 of them"


def read_jobs(path: Path) -> Jobs:
    """The homes, regions and coaches of a TOML file.

    ``[[coach]]`` tables name a coach ``file``; ``[[home]]`` tables have ``name``, ``place`` (``lat,lon`` or a
    name from the map data) and if wished ``regions``; ``[[region]]`` tables have ``name``, ``roads`` and
    ``places``, each a path or an fsspec address. Paths are taken from the folder of the file. At the top may
    stand ``unverified``: avoid, accept or refuse.

    Raises InputError listing every problem with its table.
    """
    text = read_text(path, most_bytes=_MOST_BYTES, what="a file of jobs")
    try:
        whole = parse_toml(text)
    except ValueError as error:
        raise InputError(f"{path}: is not TOML: {' '.join(str(error).split())[:200]}") from error
    return _Reading(path, whole).jobs()


class _Reading:
    """A file of jobs while it is being read: problems are gathered."""

    def __init__(self, path: Path, whole: Mapping[str, Any]) -> None:
        self._path, self._whole = path, whole
        self._problems: list[str] = []

    def jobs(self) -> Jobs:
        """All of it. Raises InputError where there was any problem."""
        for key in sorted(self._whole.keys() - _TOP):
            self._problems.append(f"{key[:40]}: no such entry; known are {', '.join(sorted(_TOP))}")
        regions = self._tables("region", self._region)
        homes = self._tables("home", self._home)
        coaches = self._tables("coach", self._coach)
        self._named_twice("home", [home.name for home in homes])
        self._named_twice("region", [region.name for region in regions])
        known = {region.name for region in regions}
        for home in homes:
            for name in home.regions:
                if name not in known:
                    self._problems.append(f"home {home.name}: there is no region {name!r}")
        policy = self._whole.get("unverified", Unverified.AVOID.value)
        if policy not in list(Unverified):
            known_policies = ", ".join(Unverified)
            self._problems.append(f"unverified: {str(policy)[:40]!r} is none of {known_policies}")
        if self._problems:
            more = len(self._problems) - _MOST_PROBLEMS
            told = [*self._problems[:_MOST_PROBLEMS], *([f"and {more:,} more"] if more > 0 else [])]
            raise InputError("; ".join([f"{self._path}: cannot be used", *told]))
        return Jobs(
            homes=tuple(homes),
            regions=tuple(regions),
            coaches=tuple(coaches),
            unverified=Unverified(policy),
        )

    def _tables(self, kind: str, read: Callable[[Mapping[str, Any], str], T | None]) -> list[T]:
        tables = self._whole.get(kind, [])
        if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
            self._problems.append(f"{kind}: at least one [[{kind}]] table is needed")
            return []
        found = []
        for number, table in enumerate(tables, start=1):
            where = f"{kind} {number}"
            for key in sorted(table.keys() - _KEYS[kind]):
                known = ", ".join(sorted(_KEYS[kind]))
                self._problems.append(f"{where}: {str(key)[:40]!r} is no entry of it; known are {known}")
            one = read(table, where)
            if one is not None:
                found.append(one)
        return found

    def _text(self, table: Mapping[str, Any], key: str, where: str) -> str:
        """A text that must be there; empty where it is not."""
        value = table.get(key)
        if isinstance(value, str) and value.strip():
            return value.strip()
        told = "is missing" if value is None else f"must be a text, not {str(value)[:40]!r}"
        self._problems.append(f"{where}: {key} {told}")
        return ""

    def _name(self, table: Mapping[str, Any], where: str) -> str:
        name = self._text(table, "name", where)
        if name and not is_name(name):
            self._problems.append(f"{where}: name {name[:90]!r} cannot be one; {_NAMES}")
        return name

    def _place(self, text: str) -> str:
        """A path from the folder of the file, or an address as it stands."""
        if not text or "://" in text or "::" in text:
            return text
        return str(self._path.parent.absolute() / text)

    def _home(self, table: Mapping[str, Any], where: str) -> JobHome | None:
        name, place = self._name(table, where), self._text(table, "place", where)
        regions = table.get("regions", [])
        if not isinstance(regions, list) or not all(isinstance(r, str) for r in regions):
            self._problems.append(f"{where}: regions must be a list of names of regions")
            return None
        return JobHome(name=name, place=place, regions=tuple(dict.fromkeys(regions)))

    def _region(self, table: Mapping[str, Any], where: str) -> JobRegion | None:
        roads, places = (self._place(self._text(table, key, where)) for key in ("roads", "places"))
        return JobRegion(name=self._name(table, where), roads=roads, places=places)

    def _coach(self, table: Mapping[str, Any], where: str) -> Coach | None:
        file = self._text(table, "file", where)
        if not file:
            return None
        try:
            return read_coach(self._path.parent / file)
        except InputError as error:
            self._problems.append(f"{where}: {error}")
            return None

    def _named_twice(self, kind: str, names: list[str]) -> None:
        # Results lie in folders, which some systems do not tell apart by case.
        counts = Counter(name.casefold() for name in names if name)
        for name, count in counts.items():
            if count > 1:
                self._problems.append(f"{kind} {name}: {count} of them have this name")
