"""Many destinations screened for coaches from one home: a row for each destination and coach."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from clearance.core.coach import Coach
from clearance.core.drive import InOut, InOutAnswer, Obstacle, Unverified, Verdict
from clearance.core.extract import ExtractInfo
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Standing, Structure

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    import numpy.typing as npt

    from clearance.core.changes import Changes

__all__ = [
    "NO_WAY",
    "UNLIMITED",
    "Admitted",
    "Destination",
    "Flag",
    "Leg",
    "Problem",
    "RoadHeights",
    "Row",
    "Screening",
    "SortBy",
    "Totals",
    "Trip",
    "admitted",
    "sorted_rows",
    "totals",
]


class Leg(StrEnum):
    """One of the two drives of a destination."""

    THERE = "there"
    BACK = "back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Destination:
    """A place to screen, found on the map. `where` says where it was read, such as ``line 4``."""

    place: Place
    where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A structure on a drive as it stands for the coach, by the key of `Screening.structures`.

    `clearance` is the lowest figure that may hold in the direction driven, None where there is none.
    """

    key: str
    standing: Standing
    clearance: Length | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """The drive from home to a destination, or from it back, and a car's beside it.

    Metres and seconds; the car's are None where a car has no drive. `passed` are the structures on the way,
    each once as it stands at worst, in driving order. `ceiling` is the lowest known clearance, and
    `ceiling_key` the first structure that sets it; None and empty where no figure is known. `avoided` are
    those on the car's drive that the coach may not pass.
    """

    distance_m: float
    duration_s: float
    car_distance_m: float | None = None
    car_duration_s: float | None = None
    ceiling: Length | None = None
    ceiling_key: str = ""
    passed: tuple[Flag, ...] = ()
    avoided: tuple[Flag, ...] = ()

    @property
    def flags(self) -> tuple[Flag, ...]:
        """The structures passed that do not stand clear."""
        return tuple(f for f in self.passed if f.standing is not Standing.CLEAR)

    @property
    def extra_s(self) -> float | None:
        """The seconds that the coach takes beyond a car; None where a car has no drive."""
        return None if self.car_duration_s is None else self.duration_s - self.car_duration_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Admitted:
    """The greatest clearance that can be brought somewhere.

    `way` is False where no way leads there at all, whatever the height; `clearance` is None where there is
    no way, or where no known figure limits it. It is a clearance: the tallest coach that gets through
    measures its margin less.
    """

    way: bool
    clearance: Length | None = None

    def coach_height(self, margin: Length) -> Length | None:
        """The height of the tallest coach that keeps `margin`; None where `clearance` is."""
        return None if self.clearance is None else self.clearance - margin

    def least(self, other: Admitted) -> Admitted:
        """What both admit.

        >>> Admitted(way=True).least(Admitted(way=True, clearance=Length.from_feet(14))).clearance
        Length(tenths=42672)
        """
        if not (self.way and other.way):
            return Admitted(way=False)
        known = [a.clearance for a in (self, other) if a.clearance is not None]
        return Admitted(way=True, clearance=min(known, default=None))


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One destination for one coach: the day's drive from home there and back again.

    `number` counts the destinations from 1 in the order of their list, `coach` is an index into
    `Screening.coaches`. The way back begins in the direction of arrival unless turning round is better by
    more than it costs; `in_out` tells. `off_road_m` is how far the road lies from the place.

    A blocked row has neither trip; `blocked` says which of the two no drive fits, `in_the_way` the
    structures that close the best way there is, `gets_through` the greatest clearance that any way
    admits (None: no known figure limits it), and `obstacles` limits other than height.

    `tallest` is the greatest clearance that gets there and back at all with unverified structures passable,
    `tallest_verified` the same with them closed; the coach's limits other than height count in both.
    """

    number: int
    place: Place
    where: str
    coach: int
    verdict: Verdict
    off_road_m: float
    tallest: Admitted
    tallest_verified: Admitted
    there: Trip | None = None
    back: Trip | None = None
    in_out: InOut | None = None
    blocked: Leg | None = None
    gets_through: Length | None = None
    in_the_way: tuple[Flag, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def trips(self) -> tuple[Trip, ...]:
        """There and back; none where the row is blocked."""
        return tuple(t for t in (self.there, self.back) if t is not None)

    @property
    def distance_m(self) -> float:
        """Metres there and back."""
        return sum(t.distance_m for t in self.trips)

    @property
    def duration_s(self) -> float:
        """Seconds there and back."""
        return sum(t.duration_s for t in self.trips)

    @property
    def extra_s(self) -> float | None:
        """Seconds there and back beyond a car; None where a car has no drive or the row is blocked."""
        extras = [t.extra_s for t in self.trips]
        known = [e for e in extras if e is not None]
        return sum(known) if known and len(known) == len(extras) else None

    @property
    def avoided(self) -> tuple[Flag, ...]:
        """The structures on a car's way there or back that the coach may not pass, each once."""
        return tuple({f.key: f for t in self.trips for f in t.avoided}.values())

    @property
    def ceiling(self) -> Length | None:
        """The lowest known clearance there and back."""
        return min((t.ceiling for t in self.trips if t.ceiling is not None), default=None)

    @property
    def ceiling_key(self) -> str:
        """The first structure that sets the ceiling; empty where none is known."""
        return next((t.ceiling_key for t in self.trips if t.ceiling == self.ceiling), "")

    def keys(self, standing: Standing) -> tuple[str, ...]:
        """The structures of that standing there and back, each once, in driving order."""
        flags = (f for t in self.trips for f in t.flags)
        return tuple(dict.fromkeys(f.key for f in flags if f.standing is standing))

    @property
    def unverified(self) -> tuple[str, ...]:
        """The unverified structures there and back, each once, in driving order."""
        return self.keys(Standing.UNVERIFIED)

    @property
    def tight(self) -> tuple[str, ...]:
        """The tight structures there and back, each once, in driving order."""
        return self.keys(Standing.TIGHT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """A destination that could not be screened, and why; for one coach, or for all where `coach` is None."""

    where: str
    name: str
    text: str
    coach: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Screening:
    """All rows, sorted, with the structures of the area that stand over or across a road.

    `notes` are what is worth saying of home and of the lists read, `changes` what is other than in an
    earlier screening that it was compared with.
    """

    home: Place
    coaches: tuple[Coach, ...]
    unverified: Unverified
    info: ExtractInfo
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...] = ()
    structures: tuple[Structure, ...] = ()
    notes: tuple[str, ...] = ()
    changes: Changes | None = None

    def of_coach(self, coach: int) -> tuple[Row, ...]:
        """The rows of one coach, in their order."""
        return tuple(row for row in self.rows if row.coach == coach)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadHeights:
    """The greatest clearance that can be driven along each stretch of road, there and back from home.

    Columns of r stretches, each of one way: `way` the OSM id, `road` and `highway` its name and kind;
    `tallest` and `verified` (r,) int32 tenths of a millimetre, with unverified structures passable and
    closed, `NO_WAY` where no way leads there and back, `UNLIMITED` where no known figure limits it. The
    points of stretch i are ptr[i] : ptr[i + 1] of `lon`, `lat`, WGS84 degrees in the order of the way.

    A stretch counts driven from end to end, in whichever direction can be had, and back in either; who drives
    to it may turn round on it. `coach` is the one whose limits other than height count.
    """

    coach: Coach
    info: ExtractInfo
    way: npt.NDArray[np.int64]
    road: tuple[str, ...]
    highway: tuple[str, ...]
    tallest: npt.NDArray[np.int32]
    verified: npt.NDArray[np.int32]
    ptr: npt.NDArray[np.int64]
    lon: npt.NDArray[np.float64]
    lat: npt.NDArray[np.float64]


#: In `RoadHeights`: no way at all, and no known figure on the way.
NO_WAY = -1
UNLIMITED = 2**31 - 1


def admitted(width: int) -> Admitted:
    """A clearance as the searches tell it: tenths of a millimetre, `NO_WAY` or `UNLIMITED`."""
    if width == NO_WAY:
        return Admitted(way=False)
    return Admitted(way=True, clearance=None if width == UNLIMITED else Length(width))


# --- order and sums -----------------------------------------------------------------------------------


class SortBy(StrEnum):
    """What rows are sorted by: the worst verdict, the longest time, the most extra time, name, list."""

    VERDICT = "verdict"
    TIME = "time"
    EXTRA = "extra"
    NAME = "name"
    LIST = "list"


_WORST_FIRST = (Verdict.BLOCKED, Verdict.CARE, Verdict.CLEAR)


def sorted_rows(rows: Iterable[Row], by: SortBy = SortBy.VERDICT) -> tuple[Row, ...]:
    """The rows of each coach together, sorted; those alike in the order of the list.

    By verdict: blocked first, then care, and within each the most unverified structures and the longest
    time first.
    """
    keys: dict[SortBy, Callable[[Row], tuple[object, ...]]] = {
        SortBy.VERDICT: lambda r: (_WORST_FIRST.index(r.verdict), -len(r.unverified), -r.duration_s),
        SortBy.TIME: lambda r: (-r.duration_s,),
        SortBy.EXTRA: lambda r: (-(r.extra_s or 0.0),),
        SortBy.NAME: lambda r: (r.place.name.casefold(),),
        SortBy.LIST: lambda _: (),
    }
    return tuple(sorted(rows, key=lambda r: (r.coach, *keys[by](r), r.number)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """The sums of one coach's rows. Metres and seconds are there and back, of all rows that are driven.

    `extra_s` adds up rows where a car has a drive. `unverified` counts different structures passed, and
    `not_through` the destinations that cannot be driven in and out of forward.
    """

    coach: int
    clear: int
    care: int
    blocked: int
    problems: int
    distance_m: float
    duration_s: float
    extra_s: float
    unverified: int
    not_through: int

    @property
    def rows(self) -> int:
        """The destinations screened."""
        return self.clear + self.care + self.blocked


def totals(screening: Screening) -> tuple[Totals, ...]:
    """The sums of each coach, in the order of the coaches."""
    return tuple(_totals(screening, coach) for coach in range(len(screening.coaches)))


def _totals(screening: Screening, coach: int) -> Totals:
    rows = screening.of_coach(coach)
    return Totals(
        coach=coach,
        clear=_count(rows, Verdict.CLEAR),
        care=_count(rows, Verdict.CARE),
        blocked=_count(rows, Verdict.BLOCKED),
        problems=sum(p.coach in {None, coach} for p in screening.problems),
        distance_m=sum(r.distance_m for r in rows),
        duration_s=sum(r.duration_s for r in rows),
        extra_s=sum(r.extra_s or 0.0 for r in rows),
        unverified=len({key for r in rows for key in r.unverified}),
        not_through=sum(
            r.in_out is not None and r.in_out.answer is not InOutAnswer.DRIVES_THROUGH for r in rows
        ),
    )


def _count(rows: Sequence[Row], verdict: Verdict) -> int:
    return sum(row.verdict is verdict for row in rows)
