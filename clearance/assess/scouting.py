"""Which structures of unknown height to look at first: what each would open or save for many destinations."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.case import Case
from clearance.assess.findings import passages_of
from clearance.assess.meeting import meet, on_road
from clearance.assess.reach import Both, Ground, Reach
from clearance.core.drive import Unverified
from clearance.core.errors import PlaceError
from clearance.core.scouting import Scouted, Scouting, ranked
from clearance.core.screening import Leg, Problem
from clearance.core.structure import Standing
from clearance.routing.fan import End, Openings, Weights
from clearance.routing.fan_lift import LiftFan, Shut
from clearance.routing.snap import SegmentIndex

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.coach import Coach
    from clearance.core.places import Place
    from clearance.core.screening import Destination
    from clearance.network.network import Network
    from clearance.routing.fan_lift import Unlocked
    from clearance.routing.snap import Snap

    I64 = npt.NDArray[np.int64]

__all__ = ["scout"]

#: A saving there and back of less than this is none that anybody would go and look for.
_LEAST_S = 0.01


def scout(network: Network, coach: Coach, home: Place, destinations: Sequence[Destination]) -> Scouting:
    """The unverified structures of a network, ranked by what hangs on them for one coach.

    For each it is worked out what counting it as clear, and nothing else, changes for the quickest drives
    there and back on which nothing is unverified or too low: exactly, by going on with the searches from
    what opens. Conditions of the map are assumed to hold.

    Raises PlaceError where home is far from any road.
    """
    work = _Work(network, coach, home)
    problems: list[Problem] = []
    for number, destination in enumerate(destinations, start=1):
        try:
            work.add(number, destination.place)
        except PlaceError as error:
            name = destination.place.name
            problems.append(Problem(where=destination.where, name=name, text=str(error)))
    times = _Times(work.groups)
    effects = {
        unlocked.structure: times.effect(unlocked, work.shut) for unlocked in work.shut.unlocked.values()
    }
    return work.told(destinations, times, effects, problems)


class _Work:
    """The drives of one coach between home and its destinations."""

    def __init__(self, network: Network, coach: Coach, home: Place) -> None:
        self._network, self._home = network, home
        self._ground, self._index = Ground(network), SegmentIndex(network)
        self._usual = Case.of(network, coach, Unverified.AVOID, None)
        self._usual_reach = Reach(self._ground, Weights.of_costs(network, self._usual.costs))
        self._car = Reach(self._ground, Weights.of_costs(network, self._usual.as_car().costs))
        self._at_home = on_road(self._usual, home, self._usual.costs.usable, self._index)
        refused, accepted = (
            Case.of(network, coach, policy, None).costs for policy in (Unverified.REFUSE, Unverified.ACCEPT)
        )
        self.shut = Shut(network, refused, accepted)
        self._openings = Openings(network, self.shut.costs)
        self.groups: dict[tuple[object, ...], _Group] = {}
        self._passed: dict[int, set[int]] = {}
        self._blocked: list[int] = []
        self._notes: list[str] = []

    def add(self, number: int, place: Place) -> None:
        """Take up a destination. Raises PlaceError where it is far from any road, or no way leads there."""
        there, back = self._ends(place)
        routes = [self._usual_reach.drive(ends) for ends in (there, back)]
        if None in routes and np.inf in [_weight(self._car, ends) for ends in (there, back)]:
            raise PlaceError(
                "no way leads there and back in the map data, whatever the vehicle; check the place, or get "
                "a larger area"
            )
        if None in routes:
            self._blocked.append(number)
        self._passed[number] = {
            passage.structure
            for route in routes
            if route is not None and None not in routes
            for passage in passages_of(self._usual, route)
            if passage.standing(self._usual.costs) is Standing.UNVERIFIED
        }
        for ends in (there, back):
            own, others = self._ground.zones(self.shut.costs, ends)
            key = (ends.leg, own, *((s.arc, s.fraction) for s in ends.home))
            if key not in self.groups:
                fan = LiftFan(
                    self._network,
                    self.shut.weights,
                    self._ground.turns(ends.leg),
                    self._openings,
                    home=[End(snap=s) for s in ends.home],
                    zones=own,
                )
                self.groups[key] = _Group(ends.leg, fan)
            self.groups[key].add(number, ends.goals, others)

    def _ends(self, place: Place) -> tuple[Both, Both]:
        """The snaps of the drive there and of the drive back."""
        snaps = on_road(self._usual, place, self._usual.costs.usable, self._index)
        legs = iter((Leg.THERE, Leg.BACK))

        def reaches(start: Sequence[Snap], end: Sequence[Snap]) -> bool:
            return _weight(self._car, _both(next(legs), start, end)) < np.inf

        met = meet(
            self._usual,
            [self._at_home, snaps, self._at_home],
            [self._home, place, self._home],
            reaches=reaches,
            index=self._index,
        )
        self._notes += met.notes
        begin, goals, end = met.snaps
        return _both(Leg.THERE, begin, goals), _both(Leg.BACK, goals, end)

    def told(
        self,
        destinations: Sequence[Destination],
        times: _Times,
        effects: dict[int, dict[int, float]],
        problems: Sequence[Problem],
    ) -> Scouting:
        """The structures on which something hangs, by what they open and save."""
        now = times.now
        passed_by: dict[int, list[int]] = defaultdict(list)
        for number, structures in self._passed.items():
            for structure in structures:
                passed_by[structure].append(number)
        items = []
        for structure, after in effects.items():
            opens = tuple(n for n in after if now[n] == np.inf)
            alone = set(opens)
            item = Scouted(
                number=0,
                structure=self._network.structures[structure],
                opens=opens,
                saves=tuple((n, now[n] - seconds) for n, seconds in after.items() if n not in alone),
                passed_by=tuple(passed_by[structure]),
                with_others=tuple(
                    (n, len(self._passed[n]))
                    for n in passed_by[structure]
                    if now[n] == np.inf and n not in alone and len(self._passed[n]) > 1
                ),
            )
            if item.opens or item.saves or item.passed_by:
                items.append(item)
        blocked = set(self._blocked)
        return Scouting(
            home=self._home,
            coach=self._usual.coach,
            info=self._network.info,
            destinations=tuple(destinations),
            items=ranked(items),
            open_now=tuple(n for n, seconds in now.items() if seconds < np.inf),
            shut=tuple(n for n, seconds in now.items() if seconds == np.inf and n not in blocked),
            blocked=tuple(self._blocked),
            idle=len(effects) - len(items),
            problems=tuple(problems),
            notes=tuple(dict.fromkeys(self._notes)),
        )


class _Group:
    """The destinations that share a fan, and the states that their times hang on."""

    def __init__(self, leg: Leg, fan: LiftFan) -> None:
        self.leg, self.fan = leg, fan
        self.numbers: list[int] = []
        self.seconds: list[float] = []
        self._goals: list[tuple[tuple[Snap, ...], frozenset[int]]] = []
        self._watched: list[I64] = []
        self._through: list[int] = []
        self._flat: tuple[I64, I64] | None = None
        self._mark = np.zeros(fan.labels.size, np.bool_)

    def add(self, number: int, goals: tuple[Snap, ...], zones: frozenset[int]) -> None:
        """Take up a destination with the ends-only zones that it opens beside those of home."""
        at = len(self.numbers)
        self.numbers.append(number)
        self._goals.append((goals, zones))
        self.seconds.append(self._time(at))
        watched, through = self.fan.watched(zones, [s.arc for s in goals])
        self._watched.append(watched)
        if through:
            self._through.append(at)
        self._flat = None

    def _time(self, at: int) -> float:
        """Seconds between home and a destination as the fan is now."""
        goals, zones = self._goals[at]
        self.fan.attach(zones, [s.arc for s in goals])
        return min(self.fan.weigh(goal) for goal in goals)

    def changed(self, unlocked: Unlocked) -> dict[int, float]:
        """The destinations that may be come to sooner with a structure let go, and the seconds then."""
        if self._flat is None:
            sizes = [w.size for w in self._watched]
            self._flat = np.concatenate(self._watched), np.repeat(np.arange(len(sizes)), sizes)
        states, owner = self._flat
        touched = (self.fan.lift(unlocked), self.fan.kept_shut(unlocked))
        for some in touched:
            self._mark[some] = True
        concerned = {*np.unique(owner[self._mark[states]]).tolist(), *self._through}
        for some in touched:
            self._mark[some] = False
        times = {self.numbers[at]: self._time(at) for at in concerned}
        self.fan.lower()
        return times


class _Times:
    """Seconds there and back for all destinations, now and with a structure let go."""

    def __init__(self, groups: dict[tuple[object, ...], _Group]) -> None:
        self._groups = tuple(groups.values())
        self._legs: dict[Leg, dict[int, float]] = {leg: {} for leg in Leg}
        for group in self._groups:
            self._legs[group.leg].update(zip(group.numbers, group.seconds, strict=True))
        there, back = (self._legs[leg] for leg in Leg)
        self.now = {number: there[number] + back[number] for number in sorted(there)}

    def effect(self, unlocked: Unlocked, shut: Shut) -> dict[int, float]:
        """By destination that gains by it, in order, the seconds there and back with a structure let go."""
        shut.let_go(unlocked)
        after = {leg: dict(known) for leg, known in self._legs.items()}
        concerned: set[int] = set()
        for group in self._groups:
            found = group.changed(unlocked)
            after[group.leg].update(found)
            concerned.update(found)
        shut.take_back(unlocked)
        sums = {number: after[Leg.THERE][number] + after[Leg.BACK][number] for number in sorted(concerned)}
        return {n: seconds for n, seconds in sums.items() if seconds < self.now[n] - _LEAST_S}


def _both(leg: Leg, start: Sequence[Snap], end: Sequence[Snap]) -> Both:
    home, goals = (start, end) if leg is Leg.THERE else (end, start)
    return Both(leg, tuple(home), tuple(goals))


def _weight(reach: Reach, ends: Both) -> float:
    """Seconds of the best drive; infinite where there is none."""
    fan = reach.fan(ends)
    return min(fan.weigh(goal) for goal in ends.goals)
