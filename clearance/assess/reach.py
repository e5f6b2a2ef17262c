"""Drives between home and many destinations: one search for each question asked, not for each destination."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.lengths import Length
from clearance.core.screening import Leg
from clearance.network.network import NO_LIMIT
from clearance.routing.fan import End, Fan, Openings, Weights, directed
from clearance.routing.kernels import UNREACHED
from clearance.routing.mask import zones_for
from clearance.routing.plan import Tallest, Widths, route_of
from clearance.routing.reverse import backward_turns
from clearance.routing.route import Route

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.network.network import Network
    from clearance.routing.fan import Directed
    from clearance.routing.mask import Costs
    from clearance.routing.reverse import BackwardTurns
    from clearance.routing.snap import Snap

__all__ = ["Both", "Ground", "Lifted", "LiftedFinder", "Reach"]

#: How many heights a `Lifted` keeps the drives of.
_MOST_HEIGHTS = 2


@dataclass(frozen=True, slots=True)
class Both:
    """The two ends of one drive: the snaps of home and those of the destination."""

    leg: Leg
    home: tuple[Snap, ...]
    goals: tuple[Snap, ...]


class Ground:
    """What all vehicles on a network have in common: its turns, read in both directions."""

    def __init__(self, network: Network) -> None:
        """Read the turns backwards."""
        self.network = network
        self.backward: BackwardTurns = backward_turns(network)
        self._turns = {Leg.THERE: directed(network), Leg.BACK: directed(network, self.backward)}
        self._zones: dict[tuple[object, ...], list[frozenset[int]]] = {}
        self._areas: dict[tuple[object, ...], list[frozenset[int]]] = {}

    def turns(self, leg: Leg) -> Directed:
        """The turns as they are driven, or for the way back as they are read from home."""
        return self._turns[leg]

    def zones(self, costs: Costs, ends: Both) -> list[frozenset[int]]:
        """The ends-only zones that home needs, and those that the destination does."""
        car = costs.vehicle.coach is None
        home, goals = (tuple(s.arc for s in snaps) for snaps in (ends.home, ends.goals))
        key = (car, ends.leg, home, goals)
        if key not in self._zones:
            self._zones[key] = self._of_areas(costs, ends.leg, home, goals)
        return self._zones[key]

    def _of_areas(
        self, costs: Costs, leg: Leg, home: tuple[int, ...], goals: tuple[int, ...]
    ) -> list[frozenset[int]]:
        """The same for all destinations in the same areas."""
        network, car = self.network, costs.vehicle.coach is None
        area = network.arc_area_car if car else network.arc_area
        held = (frozenset(int(area[arc]) for arc in arcs) for arcs in (home, goals))
        key = (car, leg, *held)
        if key not in self._areas:
            # In the order of driving, in which open_ends looks outwards from the ends.
            places = (home, goals) if leg is Leg.THERE else (goals, home)
            needed = [frozenset(zones) for zones in zones_for(network, costs, *places)]
            self._areas[key] = needed if leg is Leg.THERE else needed[::-1]
        return self._areas[key]


class Reach:
    """The drives of one vehicle, or the clearances on its ways, between homes and destinations."""

    def __init__(self, ground: Ground, weights: Weights) -> None:
        """No search yet; one is made for each home, direction and set of zones that is asked for."""
        self.ground, self.weights = ground, weights
        self.costs = weights.costs
        self.openings = Openings(ground.network, weights.costs)
        self._fans: dict[tuple[object, ...], Fan] = {}

    def fan(self, ends: Both, added: Sequence[float] = ()) -> Fan:
        """The fan of one destination, until the next is asked for; `added` counts at each end at home."""
        own, others = self.ground.zones(self.costs, ends)
        fan = self.fan_at(ends.leg, ends.home, own, added)
        fan.attach(others, [s.arc for s in ends.goals])
        return fan

    def fan_at(
        self, leg: Leg, home: Sequence[Snap], zones: frozenset[int], added: Sequence[float] = ()
    ) -> Fan:
        """The fan of a home with `zones` open, attached to whatever it was last asked for."""
        plus = tuple(added) or (0.0,) * len(home)
        key = (leg, zones, plus, *((s.arc, s.fraction) for s in home))
        if key not in self._fans:
            self._fans[key] = Fan(
                self.ground.network,
                self.weights,
                self.ground.turns(leg),
                self.openings,
                home=[End(snap=s, added=a) for s, a in zip(home, plus, strict=True)],
                zones=zones,
            )
        return self._fans[key]

    def forget(self) -> None:
        """Let the searches go; what is asked for again is searched again."""
        self._fans.clear()

    def drive(self, ends: Both) -> Route | None:
        """The cheapest drive between home and any snap of the destination; None where there is none."""
        fan = self.fan(ends)
        goal = min(ends.goals, key=fan.weigh)
        return self.route(ends.leg, fan, goal)

    def route(self, leg: Leg, fan: Fan, goal: Snap) -> Route | None:
        """The drive of a fan to or from one snap, with its sums; None where there is none."""
        found = fan.way(goal)
        if found is None:
            return None
        home = found.home.snap
        first, last = (home, goal) if leg is Leg.THERE else (goal, home)
        return route_of(self.ground.network, self.costs, list(found.states), first.fraction, last.fraction)

    def line(self, leg: Leg, fan: Fan, goal: Snap) -> Route | None:
        """The same with neither turns nor the policy's seconds told, which takes a fraction of the time."""
        found = fan.way(goal)
        if found is None:
            return None
        network, home = self.ground.network, found.home.snap
        first, last = (home, goal) if leg is Leg.THERE else (goal, home)
        arcs = network.state_arc[list(found.states)]
        share = np.ones(arcs.size)
        share[-1] = last.fraction
        share[0] -= first.fraction
        return Route(
            states=found.states,
            arcs=tuple(arcs.tolist()),
            turns=(),
            start=first.fraction,
            end=last.fraction,
            seconds=float(self.costs.seconds[arcs] @ share),
            policy_seconds=0.0,
            length_m=float(network.arc_length[arcs] @ share),
        )

    def width(self, ends: Both) -> int:
        """The greatest clearance of any way, in tenths of a millimetre; UNREACHED where there is none."""
        fan = self.fan(ends)
        return max(int(fan.weigh(goal)) for goal in ends.goals)


@dataclass(slots=True)
class Lifted:
    """The reaches of one coach with some of its limits lifted, each made when it is first asked for."""

    ground: Ground
    case: Case
    _costs: dict[frozenset[str], Costs] = field(default_factory=dict)
    _drives: dict[frozenset[str], Reach] = field(default_factory=dict)
    _widths: dict[tuple[frozenset[str], bool], Reach] = field(default_factory=dict)
    _at_least: dict[tuple[frozenset[str], bool, int], Reach] = field(default_factory=dict)

    def _lifting(self, lifted: frozenset[str]) -> Costs:
        if lifted not in self._costs:
            self._costs[lifted] = self.case.lifting(lifted).costs
        return self._costs[lifted]

    def drives(self, lifted: frozenset[str]) -> Reach:
        """Drives with those limits lifted."""
        if lifted not in self._drives:
            weights = Weights.of_costs(self.ground.network, self._lifting(lifted))
            self._drives[lifted] = Reach(self.ground, weights)
        return self._drives[lifted]

    def widths(self, lifted: frozenset[str], *, passable: bool) -> Reach:
        """Clearances, with height lifted and those limits too."""
        key = (lifted, passable)
        if key not in self._widths:
            network, free = self.ground.network, self._lifting(lifted | {"height"})
            widths = Widths.of(network, free, unverified_passable=passable)
            self._widths[key] = Reach(self.ground, Weights.of_widths(network, free, widths))
        return self._widths[key]

    def at_least(self, lifted: frozenset[str], height: int, *, passable: bool) -> Reach:
        """Drives with height and those limits lifted, on which nothing is lower than `height`."""
        key = (lifted, passable, height)
        reach = self._at_least.pop(key, None)
        if reach is None:
            # Heights are many, and each holds searches over the whole network: the last used are kept.
            while len(self._at_least) >= _MOST_HEIGHTS:
                del self._at_least[next(iter(self._at_least))]
            network, free = self.ground.network, self._lifting(lifted | {"height"})
            widths = Widths.of(network, free, unverified_passable=passable)
            costs = widths.at_least(network, free, height)
            reach = Reach(self.ground, Weights.of_costs(network, costs))
        self._at_least[key] = reach
        return reach

    def forget_drives(self) -> None:
        """Let the searches for drives go; those for clearances stay."""
        self._at_least.clear()
        for reach in self._drives.values():
            reach.forget()


@dataclass(frozen=True, slots=True)
class LiftedFinder:
    """Finds ways for `assess.blocked.explain` from the searches that other destinations share."""

    lifted: Lifted
    ends: Both

    def drive(self, lifted: frozenset[str]) -> Route | None:
        """The cheapest drive; None where there is none."""
        return self.lifted.drives(lifted).drive(self.ends)

    def tallest(self, lifted: frozenset[str], *, passable: bool) -> Tallest:
        """The way for the tallest coach, unverified structures passable or closed; heights are lifted."""
        height = self.lifted.widths(lifted, passable=passable).width(self.ends)
        if height == UNREACHED:
            return Tallest(height=None, route=None)
        route = self.lifted.at_least(lifted, height, passable=passable).drive(self.ends)
        assert route is not None, "the widest way is a way"
        return Tallest(height=None if height == NO_LIMIT else Length(height), route=route)
