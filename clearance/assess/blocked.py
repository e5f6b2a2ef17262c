"""Why no drive fits the coach: what stands in the way, and the height that would get through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.assess.findings import findings_of, numbered
from clearance.assess.pieces import road_of
from clearance.core.drive import Finding, Obstacle, Unverified
from clearance.core.structure import Standing
from clearance.network.geometry import arc_points
from clearance.routing.obstacles import closures_on
from clearance.routing.plan import greatest_height
from clearance.routing.rules import LIMIT_KINDS

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.lengths import Length
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap

__all__ = ["Explanation", "explain"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """Why a leg is blocked. `connected` is False where not even the other limits lifted make a way.

    `gets_through` is the greatest clearance that any way admits, None where no figure limits it.
    """

    connected: bool
    in_the_way: tuple[Finding, ...] = ()
    gets_through: Length | None = None
    obstacles: tuple[Obstacle, ...] = ()


def explain(case: Case, start: Sequence[Snap], end: Sequence[Snap]) -> Explanation:
    """Why the coach gets no drive from `start` to `end`.

    Where heights alone close every way, the way taken is the one that lets the tallest coach through.
    Otherwise as few kinds of other limits as possible are lifted, one kind if that is enough, all of them
    if it is not, and what closes the way so found is told.
    """
    ends = ([s.arc for s in start], [s.arc for s in end])
    refuses = case.unverified is Unverified.REFUSE
    for lifted in [frozenset[str](), *(frozenset({kind}) for kind in sorted(LIMIT_KINDS)), LIMIT_KINDS]:
        free = case.lifting(lifted | {"height"}).opened(*ends)
        best = greatest_height(case.network, free.costs, start, end, unverified_passable=not refuses)
        if best.route is None and refuses:
            # Every way passes something unverified: the height is not what closes it.
            best = greatest_height(case.network, free.costs, start, end, unverified_passable=True)
        if best.route is not None:
            return Explanation(
                connected=True,
                in_the_way=_in_the_way(free, best.route),
                gets_through=best.height,
                obstacles=_obstacles(case, best.route) if lifted else (),
            )
    return Explanation(connected=False)


def _in_the_way(case: Case, route: Route) -> tuple[Finding, ...]:
    closing = {Standing.TOO_LOW}
    if case.unverified is Unverified.REFUSE:
        closing.add(Standing.UNVERIFIED)
    return numbered(f for f in findings_of(case, route) if f.standing in closing)


def _obstacles(case: Case, route: Route) -> tuple[Obstacle, ...]:
    network = case.network
    told = []
    for closure in closures_on(network, case.coach, case.window, route):
        if closure.ends_only and closure.leg in {0, len(route.arcs) - 1}:
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
