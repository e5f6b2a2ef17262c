"""Where places meet the roads: on the nearest that the coach may use, off an island of the map data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.core.errors import PlaceError
from clearance.routing.snap import LIMIT_M, Snap, snap

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.places import Place
    from clearance.network.network import Bool
    from clearance.routing.snap import SegmentIndex

__all__ = ["POINT_LIMIT_M", "Met", "meet", "on_road"]

#: A point is meant as it stands: farther than this from a road it is on a footpath or in a field, and nobody
#: moves it in silence. An area or a town is larger than the point that marks it. Judgement.
POINT_LIMIT_M = 150.0
_SETTLEMENTS = frozenset(
    {"city", "town", "village", "hamlet", "suburb", "quarter", "neighbourhood", "isolated dwelling", "farm"}
)


@dataclass(frozen=True, slots=True)
class Met:
    """Where the day's places meet the roads, one list of snaps each; `notes` say what was done for it."""

    snaps: list[list[Snap]]
    notes: tuple[str, ...]


def meet(
    case: Case,
    snaps: Sequence[list[Snap]],
    places: Sequence[Place],
    *,
    reaches: Callable[[Sequence[Snap], Sequence[Snap]], bool],
    index: SegmentIndex | None = None,
) -> Met:
    """The places of a day in order, each moved off an island of the data if that cuts it off.

    `snaps` are those of `on_road`. `reaches` tells whether a car gets from the snaps of one place to those
    of the next.
    """
    snaps = list(snaps)
    notes: list[str] = []
    main = case.costs.usable & (case.network.arc_area == 0)
    for leg in range(len(places) - 1):
        if reaches(snaps[leg], snaps[leg + 1]):
            continue
        for i in (leg, leg + 1):
            if any(main[s.arc] for s in snaps[i]):
                continue
            place = places[i]
            try:
                moved = on_road(case, place, main, index)
            except PlaceError:
                continue
            notes.append(
                f"{place.name or f'{place.lat:.5f},{place.lon:.5f}'}: the nearest road is cut off in the map "
                "data; the drive uses another, farther from the place"
            )
            snaps[i] = moved
    return Met(snaps, tuple(notes))


def on_road(case: Case, place: Place, usable: Bool, index: SegmentIndex | None = None) -> list[Snap]:
    """The snaps of a place on the nearest of the `usable` arcs. Raises PlaceError where none is near."""
    wide = place.osm.startswith(("way/", "relation/")) or place.kind in _SETTLEMENTS
    limit = LIMIT_M if wide else POINT_LIMIT_M
    return snap(case.network, place.lon, place.lat, usable, limit, index=index)
