"""The structures passed on a route, as they stand for the coach."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from clearance.assess.pieces import road_of
from clearance.core.drive import Finding, Verdict
from clearance.core.lengths import Length
from clearance.core.profile import with_sag
from clearance.core.structure import Standing
from clearance.network.geometry import arc_points
from clearance.routing.route import hits_on

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.structure import Structure
    from clearance.routing.route import Passage, Route

__all__ = ["ceiling_of", "findings_of", "numbered", "passages_of", "verdict_of"]


def passages_of(case: Case, route: Route) -> tuple[Passage, ...]:
    """The structures that a drive on `route` passes, or that a figure of the way puts in its way.

    A figure of a whole way that is high enough says nothing of a drive that turns off before the structure.
    """
    return tuple(
        p
        for p in hits_on(case.network, case.costs, route)
        if p.passed or p.standing(case.costs) is Standing.TOO_LOW
    )


def findings_of(
    case: Case, route: Route, *, distance_m: float = 0.0, seconds: float = 0.0
) -> tuple[Finding, ...]:
    """A finding for each structure passed, in driving order and numbered from 1.

    The route begins `distance_m` and `seconds` after the start of the day.
    """
    network, costs = case.network, case.costs
    found: list[Finding] = []
    for passage in passages_of(case, route):
        arc = route.arcs[passage.leg]
        clearance = passage.clearance(costs)
        lon, lat = arc_points(network, arc, passage.fraction, passage.fraction)
        found.append(
            Finding(
                number=len(found) + 1,
                structure=_as_met(case, passage.structure, clearance),
                standing=passage.standing(costs),
                direction=passage.direction,
                distance_m=distance_m + passage.distance_m,
                seconds=seconds + passage.seconds,
                lon=float(lon[0]),
                lat=float(lat[0]),
                road=road_of(network, arc),
                clearance=clearance,
                headroom=None if clearance is None else clearance - case.coach.height,
            )
        )
    return tuple(found)


def _as_met(case: Case, index: int, clearance: Length | None) -> Structure:
    """A structure with what the coach loses to a dip or a hump beneath it, where that is known."""
    structure, lost = case.network.structures[index], Length(int(case.costs.lost[index]))
    if case.coach.wheelbase is None:
        return structure
    told = None if clearance is None else clearance + lost
    return with_sag(structure, lost, wheelbase_m=float(case.coach.wheelbase.metres), lowest=told)


def numbered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The same findings numbered from 1 in their order."""
    return tuple(replace(f, number=n) for n, f in enumerate(findings, start=1))


def ceiling_of(findings: Iterable[Finding]) -> Length | None:
    """The lowest known clearance among the findings; None where no figure is known."""
    return min((f.clearance for f in findings if f.clearance is not None), default=None)


def verdict_of(findings: Iterable[Finding]) -> Verdict:
    """Blocked by anything too low, care by anything tight or unverified, else clear."""
    standings = {f.standing for f in findings}
    if Standing.TOO_LOW in standings:
        return Verdict.BLOCKED
    return Verdict.CLEAR if standings <= {Standing.CLEAR} else Verdict.CARE
