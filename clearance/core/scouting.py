"""What to look at first: structures of unknown height, and what hangs on each of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from clearance.core.coach import Coach
from clearance.core.extract import ExtractInfo
from clearance.core.places import Place
from clearance.core.screening import Destination, Problem
from clearance.core.structure import Structure

__all__ = ["Scouted", "Scouting", "ranked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scouted:
    """An unverified structure, were it known to be high enough, and everything else as it is.

    Destinations are told by their number in `Scouting.destinations`, counted from 1. `opens` are those that
    can then be driven to and back past nothing unverified, and now cannot; `saves` those that can now, with
    the seconds that the quickest such drives there and back then take less. `passed_by` are those whose usual
    drive (unverified structures avoided, within reason) passes it, there or back. `with_others` are those of
    them that it would not open alone, with the number of unverified structures on their usual drives, its
    own counted: they open only once all of these are known.
    """

    number: int
    structure: Structure
    opens: tuple[int, ...] = ()
    saves: tuple[tuple[int, float], ...] = ()
    passed_by: tuple[int, ...] = ()
    with_others: tuple[tuple[int, int], ...] = ()

    @property
    def saves_s(self) -> float:
        """The seconds that it would save, all destinations together, each driven to and back once."""
        return sum(seconds for _, seconds in self.saves)

    @property
    def share(self) -> float:
        """Destinations that hang on it and others, each counted for the part of one of these structures."""
        return sum(1 / structures for _, structures in self.with_others)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scouting:
    """The structures on which something hangs, the most first.

    `open_now` are the destinations that can be driven to and back past nothing unverified, `shut` those that
    cannot, `blocked` those that no drive fits at all, so that looking will not help. `idle` counts unverified
    structures over the roads of the area on which nothing hangs.
    """

    home: Place
    coach: Coach
    info: ExtractInfo
    destinations: tuple[Destination, ...]
    items: tuple[Scouted, ...]
    open_now: tuple[int, ...] = ()
    shut: tuple[int, ...] = ()
    blocked: tuple[int, ...] = ()
    idle: int = 0
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()

    def name(self, number: int) -> str:
        """What to call a destination."""
        destination = self.destinations[number - 1]
        place = destination.place
        return place.name or destination.where or f"{place.lat:.5f},{place.lon:.5f}"


def ranked(items: Iterable[Scouted]) -> tuple[Scouted, ...]:
    """The structures numbered from 1: by destinations opened, then those opened with others, then time saved.

    Of structures alike, the one that more usual drives pass comes first, then by key.
    """
    order = sorted(
        items,
        key=lambda s: (
            -len(s.opens),
            -round(s.share, 6),
            -round(s.saves_s, 3),
            -len(s.passed_by),
            s.structure.key,
        ),
    )
    return tuple(replace(item, number=number) for number, item in enumerate(order, start=1))
