"""Many destinations from one home for several coaches: each the day's drive there and back again.

A row says what `assess.day.plan_day` says of the drive home, destination, home, at a time not known: every
condition of the map is assumed to hold. The searches are made once for all destinations (`assess.reach`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.blocked import explain
from clearance.assess.case import Case
from clearance.assess.findings import passages_of
from clearance.assess.in_out import in_out_of, no_entry
from clearance.assess.legs import dead_end_cost, turn_cost
from clearance.assess.meeting import meet, on_road
from clearance.assess.reach import Both, Ground, Lifted, LiftedFinder, Reach
from clearance.assess.turning import PlacesToTurn
from clearance.core.drive import Unverified, Verdict
from clearance.core.errors import PlaceError
from clearance.core.screening import (
    Admitted,
    Destination,
    Flag,
    Leg,
    Problem,
    Row,
    Screening,
    SortBy,
    Trip,
    admitted,
    sorted_rows,
)
from clearance.core.structure import Standing
from clearance.network.network import NO_LIMIT
from clearance.routing.fan import Weights
from clearance.routing.ran import stage
from clearance.routing.route import hits_on
from clearance.routing.snap import SegmentIndex

if TYPE_CHECKING:
    from clearance.assess.blocked import Explanation
    from clearance.core.coach import Coach
    from clearance.core.drive import Finding, InOut
    from clearance.core.places import Place
    from clearance.network.network import Network
    from clearance.routing.fan import Fan
    from clearance.routing.route import Passage, Route
    from clearance.routing.snap import Snap

__all__ = ["screen"]

_NOTHING_LIFTED: frozenset[str] = frozenset()
#: Sums of the same seconds in another order differ by less than this.
_SAME_S = 1e-6


def screen(
    network: Network,
    coaches: Sequence[Coach],
    home: Place,
    destinations: Sequence[Destination],
    *,
    unverified: Unverified,
    sort_by: SortBy = SortBy.VERDICT,
    tell: Callable[[int, int], None] | None = None,
) -> Screening:
    """Every destination for every coach, there and back from `home`.

    `tell` is called with the rows finished and those in all, each time that one is.

    A destination far from any road that the coach may use, or that no way leads to and from whatever the
    vehicle, is a problem and no row.

    Raises PlaceError where home itself is far from any road.
    """
    with stage("turns and places"):
        ground = Ground(network)
        index = SegmentIndex(network)
    rows: list[Row] = []
    problems: list[Problem] = []
    car: _Car | None = None
    for number, coach in enumerate(coaches):
        case = Case.of(network, coach, unverified, None)
        # To a car all coaches are the same.
        car = car or _Car(Reach(ground, Weights.of_costs(network, case.as_car().costs)))
        one = _OneCoach(ground, index, case, car, number=number, home=home)
        found: dict[int, Row | Problem] = {}
        for n, told in one.told(destinations):
            found[n] = told
            if tell is not None:
                tell(number * len(destinations) + len(found), len(coaches) * len(destinations))
        for _, told in sorted(found.items()):
            if isinstance(told, Row):
                rows.append(told)
            else:
                problems.append(told)
    # What the owner recorded may stand on a road by itself, as no element of the map.
    on_roads = {*np.unique(network.hit_structure).tolist(), *network.nodehit_structure.tolist()}
    return Screening(
        home=home,
        coaches=tuple(coaches),
        unverified=unverified,
        info=network.info,
        rows=sorted_rows(rows, sort_by),
        problems=_joined(problems, len(coaches)),
        structures=tuple(s for k, s in enumerate(network.structures) if s.spans or s.nodes or k in on_roads),
    )


def _joined(problems: Sequence[Problem], coaches: int) -> tuple[Problem, ...]:
    """The problems, those that all coaches have told once."""
    same: dict[tuple[str, str, str], list[Problem]] = {}
    for problem in problems:
        same.setdefault((problem.where, problem.name, problem.text), []).append(problem)
    found: list[Problem] = []
    for (where, name, text), alike in same.items():
        found += [Problem(where=where, name=name, text=text)] if len(alike) == coaches else alike
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _CarTrip:
    """The fastest drive of a car, and the structures on it."""

    distance_m: float
    duration_s: float
    passages: tuple[Passage, ...]


class _Car:
    """What a car drives, kept: several coaches ask for the same."""

    def __init__(self, reach: Reach) -> None:
        self._reach = reach
        self._driven: dict[Both, _CarTrip | None] = {}

    def connects(self, ends: Both) -> bool:
        """Whether a car gets between home and the destination."""
        fan = self._reach.fan(ends)
        return any(np.isfinite(fan.weigh(goal)) for goal in ends.goals)

    def drive(self, ends: Both) -> _CarTrip | None:
        """The fastest drive; None where there is none."""
        if ends not in self._driven:
            fan, reach = self._reach.fan(ends), self._reach
            route = reach.line(ends.leg, fan, min(ends.goals, key=fan.weigh))
            self._driven[ends] = (
                None
                if route is None
                else _CarTrip(
                    route.length_m, route.seconds, hits_on(reach.ground.network, reach.costs, route)
                )
            )
        return self._driven[ends]


@dataclass(frozen=True, slots=True)
class _Choice:
    """The best way there and back: by which snap it arrives, and by which it leaves."""

    cost: float
    there: float
    arrives: Snap
    leaves: Snap

    @property
    def forward(self) -> bool:
        return self.arrives is self.leaves


@dataclass(frozen=True, slots=True)
class _Stuck:
    """A row whose drive is blocked on one leg; why is still to be told."""

    row: Row
    destination: Destination
    ends: Both


class _OneCoach:
    """The rows of one coach."""

    def __init__(
        self, ground: Ground, index: SegmentIndex, case: Case, car: _Car, *, number: int, home: Place
    ) -> None:
        network = ground.network
        self._ground, self._index, self._case, self._car, self._number = ground, index, case, car, number
        self._home = home
        self._home_snaps = on_road(case, home, case.costs.usable, index)
        self._reach = Reach(ground, Weights.of_costs(network, case.costs))
        self._lifted = Lifted(ground, case)
        self._turning = PlacesToTurn(network, case.costs, ground.backward)
        self._turn_cost = turn_cost(case.coach)
        self._dead_ends: dict[tuple[object, ...], tuple[float, ...]] = {}
        self._keys: dict[int, str] = {}

    def told(self, destinations: Sequence[Destination]) -> Iterator[tuple[int, Row | Problem]]:
        """The number of each destination with its row, or why there is none, in no order.

        What is blocked is explained last, when the searches for drives are done with; leg by leg and by
        height, so that no search is made twice and few are held at a time.
        """
        stuck: dict[Leg, list[_Stuck]] = {leg: [] for leg in Leg}
        for number, destination in enumerate(destinations, start=1):
            found = self._row(number, destination)
            if isinstance(found, _Stuck):
                stuck[found.ends.leg].append(found)
            else:
                yield number, found
        self._reach.forget()
        for alike in stuck.values():
            for one in sorted(alike, key=self._heights):
                yield one.row.number, self._explained(one)
            self._lifted.forget_drives()

    def _heights(self, stuck: _Stuck) -> tuple[int, ...]:
        """The greatest clearances on the leg, which the searches that explain it are made for."""
        return tuple(
            self._lifted.widths(_NOTHING_LIFTED, passable=passable).width(stuck.ends)
            for passable in (True, False)
        )

    def _explained(self, stuck: _Stuck) -> Row | Problem:
        why = explain(self._case, LiftedFinder(self._lifted, stuck.ends))
        leg, place = stuck.ends.leg, stuck.row.place
        if not why.connected:
            return self._problem(stuck.destination, _no_way(leg, place, self._home))
        return _blocked(stuck.row, leg, why)

    def _row(self, number: int, destination: Destination) -> Row | Problem | _Stuck:
        """The row of one destination, or why there is none."""
        place = destination.place
        try:
            snaps = on_road(self._case, place, self._case.costs.usable, self._index)
        except PlaceError as error:
            return self._problem(destination, str(error))
        legs = iter((Leg.THERE, Leg.BACK))

        def reaches(start: Sequence[Snap], end: Sequence[Snap]) -> bool:
            return self._car.connects(_both(next(legs), start, end))

        met = meet(
            self._case,
            [self._home_snaps, snaps, self._home_snaps],
            [self._home, place, self._home],
            reaches=reaches,
            index=self._index,
        )
        begin, goals, end = met.snaps
        there, back = _both(Leg.THERE, begin, goals), _both(Leg.BACK, goals, end)
        fan_there, fan_back = self._reach.fan(there), self._reach.fan(back, self._added(end, begin))
        choice = self._choice(fan_there, fan_back, goals)
        tallest = [self._admitted(there, back, passable=passable) for passable in (True, False)]
        row = Row(
            number=number,
            place=place,
            where=destination.where,
            coach=self._number,
            verdict=Verdict.BLOCKED,
            off_road_m=goals[0].distance_m,
            tallest=tallest[0],
            tallest_verified=tallest[1],
            notes=met.notes,
        )
        if isinstance(choice, Leg):
            return _Stuck(row, destination, there if choice is Leg.THERE else back)
        route = self._reach.line(Leg.THERE, fan_there, choice.arrives)
        home = self._reach.line(Leg.BACK, fan_back, choice.leaves)
        assert route is not None
        assert home is not None, "what has a cost has a way"
        trips = (self._trip(route, there), self._trip(home, back))
        standings = {f.standing for trip in trips for f in trip.flags}
        row = replace(row, off_road_m=choice.arrives.distance_m)
        return _driven(row, trips, standings, self._in_out(place, route, choice))

    def _problem(self, destination: Destination, text: str) -> Problem:
        return Problem(where=destination.where, name=destination.place.name, text=text, coach=self._number)

    # --- the way there and the way back

    def _added(self, end: Sequence[Snap], begin: Sequence[Snap]) -> tuple[float, ...]:
        """What coming home costs that cannot be left forward again, by the snap of home."""
        key = tuple((s.arc, s.fraction) for snaps in (end, begin) for s in snaps)
        if key not in self._dead_ends:
            self._dead_ends[key] = tuple(dead_end_cost(self._case, snap, begin) for snap in end)
        return self._dead_ends[key]

    def _choice(self, there: Fan, back: Fan, goals: Sequence[Snap]) -> _Choice | Leg:
        """The best of the ways to come to and leave the destination, or the leg that has none."""
        costs = [there.weigh(goal) for goal in goals]
        if not np.isfinite(costs).any():
            return Leg.THERE
        home = [back.weigh(goal) for goal in goals]
        best: _Choice | None = None
        for goal, cost, on in zip(goals, costs, home, strict=True):
            # Another way out of the place has to be turned round to.
            ways = [(on, goal)]
            ways += [
                (h + self._turn_cost, other)
                for other, h in zip(goals, home, strict=True)
                if other.arc != goal.arc
            ]
            least, leaves = min(ways, key=lambda way: way[0])
            total = cost + least
            # Round a block both ways about cost the same but for rounding: the quicker way there then counts.
            if (
                best is None
                or total < best.cost - _SAME_S
                or (total <= best.cost + _SAME_S and cost < best.there)
            ):
                best = _Choice(total, cost, goal, leaves) if np.isfinite(total) else best
        return Leg.BACK if best is None else best

    def _admitted(self, there: Both, back: Both, *, passable: bool) -> Admitted:
        reach = self._lifted.widths(_NOTHING_LIFTED, passable=passable)
        return admitted(reach.width(there)).least(admitted(reach.width(back)))

    # --- what is told of them

    def _trip(self, route: Route, ends: Both) -> Trip:
        passages = passages_of(self._case, route)
        known = [(c, p) for p in passages if (c := p.clearance(self._case.costs)) is not None]
        ceiling, first = min(known, key=lambda k: k[0], default=(None, None))
        car = self._car.drive(ends)
        return Trip(
            distance_m=route.length_m,
            duration_s=route.seconds,
            car_distance_m=None if car is None else car.distance_m,
            car_duration_s=None if car is None else car.duration_s,
            ceiling=ceiling,
            ceiling_key="" if first is None else self._key(first.structure),
            passed=self._flags(passages),
            avoided=() if car is None else self._flags(p for p in car.passages if self._shut(p)),
        )

    def _shut(self, passage: Passage) -> bool:
        """Whether the coach may not pass there."""
        standing = passage.standing(self._case.costs)
        return standing is Standing.TOO_LOW or (
            self._case.unverified is Unverified.REFUSE and standing is Standing.UNVERIFIED and passage.passed
        )

    def _flags(self, passages: Iterable[Passage]) -> tuple[Flag, ...]:
        """The structures passed, each once as it stands at worst."""
        costs = self._case.costs
        flags: dict[int, Flag] = {}
        for passage in passages:
            flag = Flag(
                key=self._key(passage.structure),
                standing=passage.standing(costs),
                clearance=passage.clearance(costs),
            )
            flags[passage.structure] = min(flags.get(passage.structure, flag), flag, key=_rank)
        return tuple(flags.values())

    def _key(self, structure: int) -> str:
        if structure not in self._keys:
            self._keys[structure] = self._ground.network.structures[structure].key
        return self._keys[structure]

    def _in_out(self, place: Place, route: Route, choice: _Choice) -> InOut:
        return no_entry(self._case, place, choice.arrives, self._index) or in_out_of(
            self._case, route, choice.arrives, forward=choice.forward, turning=self._turning
        )


def _both(leg: Leg, start: Sequence[Snap], end: Sequence[Snap]) -> Both:
    home, goals = (start, end) if leg is Leg.THERE else (end, start)
    return Both(leg, tuple(home), tuple(goals))


def _rank(flag: Flag) -> tuple[int, int]:
    """Lower for what is worse: by its standing, then by its clearance."""
    tenths = NO_LIMIT if flag.clearance is None else flag.clearance.tenths
    return list(Standing).index(flag.standing), int(tenths)


def _no_way(leg: Leg, place: Place, home: Place) -> str:
    names = [p.name or f"{p.lat:.5f},{p.lon:.5f}" for p in (home, place)]
    start, end = names if leg is Leg.THERE else names[::-1]
    return (
        f"no way leads from {start} to {end} in the map data, whatever the vehicle; check the place, or get "
        "a larger area"
    )


def _flag(finding: Finding) -> Flag:
    return Flag(key=finding.structure.key, standing=finding.standing, clearance=finding.clearance)


def _blocked(row: Row, leg: Leg, why: Explanation) -> Row:
    return replace(
        row,
        blocked=leg,
        gets_through=why.gets_through,
        in_the_way=tuple(dict.fromkeys(map(_flag, why.in_the_way))),
        obstacles=why.obstacles,
    )


def _driven(row: Row, trips: tuple[Trip, Trip], standings: set[Standing], in_out: InOut) -> Row:
    return replace(
        row,
        verdict=Verdict.CARE if standings else Verdict.CLEAR,
        there=trips[0],
        back=trips[1],
        in_out=in_out,
    )
