"""The plain fastest drive of a car beside that of the coach, and where the two differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from clearance.assess.findings import findings_of, numbered
from clearance.core.drive import CarDrive, Finding
from clearance.core.structure import Standing
from clearance.routing.plan import find_drive
from clearance.routing.route import route_points

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.routing.snap import Snap

__all__ = ["CarBeside"]


@dataclass(frozen=True, slots=True)
class _Leg:
    """What a car passes from one stop to the next; distances and times of the findings are from its start."""

    points: list[tuple[float, float]]
    findings: tuple[Finding, ...]
    length_m: float
    seconds: float


class CarBeside:
    """The drives of a car between the stops of a coach, each looked for once."""

    def __init__(self, case: Case) -> None:
        """Nothing yet; `case` is the coach's."""
        self._case = case
        self._car: Case | None = None
        self._legs: dict[tuple[tuple[tuple[int, float], ...], ...], _Leg | None] = {}

    def reaches(self, start: Sequence[Snap], end: Sequence[Snap]) -> bool:
        """Whether a car gets from any of `start` to any of `end`."""
        return self._leg(start, end) is not None

    def forget_costs(self) -> None:
        """Give up the memory of what arcs cost a car; the drives that were looked for are kept."""
        self._car = None

    def drive(self, stops: Sequence[Sequence[Snap]], passed: set[str]) -> CarDrive | None:
        """A car's drive through `stops`; None where it has none, as with a road for motorhomes only.

        Told are the structures on it that are too low for the coach, and such as are not clear and not among
        `passed`, the keys of those that the coach passes.
        """
        legs = [self._leg(start, end) for start, end in pairwise(stops)]
        self.forget_costs()
        points: list[tuple[float, float]] = []
        differences: list[Finding] = []
        distance = seconds = 0.0
        for leg in legs:
            if leg is None:
                return None
            points += leg.points
            differences += [
                replace(f, distance_m=distance + f.distance_m, seconds=seconds + f.seconds)
                for f in leg.findings
                if f.standing is Standing.TOO_LOW
                or (f.standing is not Standing.CLEAR and f.structure.key not in passed)
            ]
            distance += leg.length_m
            seconds += leg.seconds
        return CarDrive(
            distance_m=distance, duration_s=seconds, points=tuple(points), differences=numbered(differences)
        )

    def _leg(self, start: Sequence[Snap], end: Sequence[Snap]) -> _Leg | None:
        key = tuple(tuple((s.arc, s.fraction) for s in snaps) for snaps in (start, end))
        if key not in self._legs:
            self._legs[key] = self._found(start, end)
        return self._legs[key]

    def _found(self, start: Sequence[Snap], end: Sequence[Snap]) -> _Leg | None:
        if self._car is None:
            self._car = self._case.as_car()
        car = self._car
        opened = car.opened([s.arc for s in start], [s.arc for s in end])
        route = find_drive(car.network, opened.costs, start, end)
        if route is None:
            return None
        lon, lat = route_points(car.network, route)
        return _Leg(
            points=list(zip(lon.tolist(), lat.tolist(), strict=True)),
            findings=findings_of(car, route),
            length_m=route.length_m,
            seconds=route.seconds,
        )
