"""Why no drive fits the coach: what stands in the way, and the height that would get through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from clearance.assess.findings import findings_of, numbered
from clearance.assess.pieces import road_of
from clearance.core.drive import Finding, Obstacle, Unverified
from clearance.core.structure import Standing
from clearance.network.geometry import arc_points
from clearance.routing.obstacles import closures_on
from clearance.routing.plan import find_drive, greatest_height
from clearance.routing.rules import LIMIT_KINDS

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.lengths import Length
    from clearance.routing.mask import Costs
    from clearance.routing.plan import Tallest
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap

__all__ = ["Explanation", "Finder", "SearchEach", "explain", "obstacles_on"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """Why a leg is blocked. `connected` is False where not even the other limits lifted make a way.

    `gets_through` is the greatest clearance that any way admits, None where no figure limits it.
    """

    connected: bool
    in_the_way: tuple[Finding, ...] = ()
    gets_through: Length | None = None
    obstacles: tuple[Obstacle, ...] = ()


class Finder(Protocol):
    """What finds ways between two places with some limits of the coach lifted."""

    def drive(self, lifted: frozenset[str]) -> Route | None:
        """The cheapest drive; None where there is none."""

    def tallest(self, lifted: frozenset[str], *, passable: bool) -> Tallest:
        """The way for the tallest coach, unverified structures passable or closed; heights are lifted."""


@dataclass(frozen=True, slots=True)
class SearchEach:
    """Finds ways by a search for each question."""

    case: Case
    start: Sequence[Snap]
    end: Sequence[Snap]

    def _free(self, lifted: frozenset[str]) -> Costs:
        ends = ([s.arc for s in self.start], [s.arc for s in self.end])
        return self.case.lifting(lifted).opened(*ends).costs

    def drive(self, lifted: frozenset[str]) -> Route | None:
        """The cheapest drive; None where there is none."""
        return find_drive(self.case.network, self._free(lifted), self.start, self.end)

    def tallest(self, lifted: frozenset[str], *, passable: bool) -> Tallest:
        """The way for the tallest coach, unverified structures passable or closed; heights are lifted."""
        free = self._free(lifted | {"height"})
        return greatest_height(self.case.network, free, self.start, self.end, unverified_passable=passable)


def explain(case: Case, ways: Finder) -> Explanation:
    """Why the coach gets no drive between the two places of `ways`.

    Told are the structures on the way that lets the tallest coach through, were heights all that mattered,
    and the other limits on a way that is high enough: as few kinds of them as possible, one if lifting one
    makes a way, else all. Where only both together make a way, both are told of that one.
    """
    # To lift a limit that closes nothing to this coach makes no way.
    minded = [kind for kind in sorted(LIMIT_KINDS) if case.costs.vehicle.minds(kind)]
    kinds = [*(frozenset({kind}) for kind in minded), frozenset(minded)]
    by_height = _tallest(case, ways, frozenset())
    otherwise = next((route for lifted in kinds if (route := ways.drive(lifted)) is not None), None)
    if by_height is None and otherwise is None:
        by_height = next((best for lifted in kinds if (best := _tallest(case, ways, lifted))), None)
        if by_height is None:
            return Explanation(connected=False)
        otherwise, _ = by_height
    tallest, gets_through = by_height or (None, None)
    return Explanation(
        connected=True,
        in_the_way=() if tallest is None else _in_the_way(case, tallest),
        gets_through=gets_through,
        obstacles=() if otherwise is None else obstacles_on(case, otherwise),
    )


def _tallest(case: Case, ways: Finder, lifted: frozenset[str]) -> tuple[Route, Length | None] | None:
    """The way for the tallest coach and its height; where refused, without unverified structures first."""
    for passable in (False, True) if case.unverified is Unverified.REFUSE else (True,):
        best = ways.tallest(lifted, passable=passable)
        if best.route is not None:
            return best.route, best.height
    return None


def _in_the_way(case: Case, route: Route) -> tuple[Finding, ...]:
    closing = {Standing.TOO_LOW}
    if case.unverified is Unverified.REFUSE:
        closing.add(Standing.UNVERIFIED)
    return numbered(f for f in findings_of(case, route) if f.standing in closing)


def obstacles_on(case: Case, route: Route) -> tuple[Obstacle, ...]:
    """What closes a route to the coach other than height, in driving order.

    Roads for the ends of a drive only are no obstacle in the run of them that holds an end.
    """
    network = case.network
    ends = case.costs.ends[list(route.arcs)]
    at_start = int(np.argmin(ends)) if not ends.all() else len(ends)
    at_end = int(np.argmin(ends[::-1])) if not ends.all() else len(ends)
    told = []
    for closure in closures_on(network, case.coach, case.window, route):
        if closure.ends_only and not at_start <= closure.leg < len(route.arcs) - at_end - closure.at_node:
            continue
        arc = route.arcs[closure.leg]
        at = 1.0 if closure.at_node else 0.5
        lon, lat = arc_points(network, arc, at, at)
        told.append(
            Obstacle(
                kind=closure.kind,
                element=closure.element,
                raw=closure.raw,
                road=road_of(network, arc),
                lon=float(lon[0]),
                lat=float(lat[0]),
            )
        )
    return tuple(told)
