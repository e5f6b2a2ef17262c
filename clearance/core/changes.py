"""What changed since an earlier screening: structures, and verdicts that moved, with their causes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from clearance.core.drive import Verdict
from clearance.core.lengths import Length

if TYPE_CHECKING:
    from clearance.core.coach import Coach

__all__ = [
    "Cause",
    "CauseKind",
    "Changes",
    "Earlier",
    "EarlierRow",
    "EarlierStructure",
    "Known",
    "Moved",
    "StructureChange",
    "StructureChanged",
]


# --- the earlier screening, as far as it is compared --------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of a structure in one direction: the lowest figure, and whether it may clear it."""

    clearance: Length | None = None
    verified: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierStructure:
    """A structure as it was; `text` are its kind, name and road in words. Degrees, longitude first."""

    key: str
    kind: str
    text: str
    lon: float
    lat: float
    forward: Known
    backward: Known


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierRow:
    """A destination for a coach (an index into `Earlier.coaches`) as it was.

    `keys` are the structures that bore on it: passed, avoided, in the way.
    """

    name: str
    lon: float
    lat: float
    coach: int
    verdict: Verdict
    keys: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """An earlier screening. `labels` are what its coaches were called in it, `unverified` its policy."""

    labels: tuple[str, ...]
    coaches: tuple[Coach, ...]
    home: tuple[float, float]
    unverified: str
    source: str
    data_date: str
    rows: tuple[EarlierRow, ...]
    structures: tuple[EarlierStructure, ...]


# --- what changed -------------------------------------------------------------------------------------


class StructureChanged(StrEnum):
    """How the knowledge of a structure changed; the worst of its two directions counts."""

    NEW = "new"
    GONE = "gone"
    LOWERED = "lowered"
    RAISED = "raised"
    #: A figure, or one to be relied on, where there was none.
    KNOWN = "height known now"
    #: No figure, or none to be relied on, where there was one.
    UNKNOWN = "height not known any more"


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureChange:
    """A structure that changed. `before` and `now` are the lowest clearances, None where there is none.

    `text` describes it as it was, empty where it is new. `keys` are its keys then and now.
    """

    changed: StructureChanged
    text: str
    lon: float
    lat: float
    keys: frozenset[str]
    before: Length | None = None
    now: Length | None = None


class CauseKind(StrEnum):
    """What can move a verdict."""

    STRUCTURE = "structure"
    COACH = "coach"
    POLICY = "policy"
    HOME = "home"
    #: Nothing of the above: roads, their limits other than height, or times of driving.
    ROADS = "roads"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One reason for a verdict that moved; `change` where the kind is a structure, else `text` in words."""

    kind: CauseKind
    change: StructureChange | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A destination whose verdict for a coach is not what it was.

    `before` is None where it was not screened then, `now` where it is not screened any more. `label` is what
    the coach is called, `number` counts the destination in the list of now, None where it is not in it.
    """

    name: str
    label: str
    before: Verdict | None
    now: Verdict | None
    number: int | None = None
    coach: int | None = None
    causes: tuple[Cause, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """All that changed since the data of `data_date` from `source`.

    `same` counts rows whose verdict is what it was. `new_coaches` are what coaches are called that were not
    screened then; their rows are left out.
    """

    source: str
    data_date: str
    structures: tuple[StructureChange, ...]
    moved: tuple[Moved, ...]
    same: int
    new_coaches: tuple[str, ...] = ()

    def by_row(self) -> Mapping[tuple[int, int], Moved]:
        """The rows that moved by their number and coach."""
        return {(m.number, m.coach): m for m in self.moved if m.number is not None and m.coach is not None}
