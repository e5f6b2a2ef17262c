"""Every drive between two places that no other beats on both time and number of unverified structures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.routing.plan import route_of, states_of, stretch
from clearance.routing.ran import searched, stage
from clearance.routing.reverse import backward_turns, cost_to_go
from clearance.routing.tradeoff_kernel import ENGINE, pareto
from clearance.routing.unverified import unproven, unverified_on, unverified_turns

if TYPE_CHECKING:
    from clearance.network.network import Network
    from clearance.routing.mask import Costs
    from clearance.routing.reverse import BackwardTurns
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap
    from clearance.routing.unverified import Unproven

__all__ = ["Choice", "driving_time", "trade_offs"]

#: A drive is no quicker than another by less than this: sums of the same arcs differ in the last digits.
_LEAST_GAIN_S = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A drive, and how many unverified structures it passes, each once for every passage."""

    unverified: int
    route: Route


def driving_time(network: Network, costs: Costs) -> Costs:
    """The same costs without the policy's seconds: driving time alone, closed where they are closed."""
    return replace(
        costs,
        arc_cost=np.where(np.isinf(costs.arc_cost), np.inf, costs.seconds),
        cost=np.where(np.isinf(costs.cost), np.inf, costs.seconds[network.state_arc]),
        turn_extra=np.where(np.isinf(costs.turn_extra), np.float32(np.inf), np.float32(0)),
        gate_extra=np.where(np.isinf(costs.gate_extra), np.float32(np.inf), np.float32(0)),
        hit_extra=np.where(np.isinf(costs.hit_extra), np.inf, 0.0),
    )


def trade_offs(
    network: Network, costs: Costs, start: Sequence[Snap], end: Sequence[Snap]
) -> tuple[Choice, ...]:
    """Every drive from any of `start` to any of `end` that no other beats, the fewest unverified first.

    Time is driving time; what the policy of `costs` adds is left out, what it closes stays closed. Each
    drive is quicker than the one before. Of drives alike in both, always the same one. Empty where there is
    none at all. Exact: labels by (count, time), bounded by one search backwards from the end.
    """
    search = _Search.of(network, costs, start, end)
    found = [*search.short(), *search.long()]
    choices: list[Choice] = []
    for unverified, seconds, states, begin, stop in sorted(found, key=lambda way: way[:2]):
        if choices and seconds >= choices[-1].route.seconds - _LEAST_GAIN_S:
            continue
        choices.append(
            Choice(unverified=unverified, route=route_of(network, search.costs, states, begin, stop))
        )
    return tuple(choices)


#: A way found: unverified structures, seconds, states, the fractions at which it begins and ends.
_Way = tuple[int, float, list[int], float, float]


@dataclass(frozen=True, slots=True)
class _Search:
    network: Network
    costs: Costs
    marked: Unproven
    start: Sequence[Snap]
    end: Sequence[Snap]

    @classmethod
    def of(cls, network: Network, costs: Costs, start: Sequence[Snap], end: Sequence[Snap]) -> _Search:
        return cls(network, driving_time(network, costs), unproven(network, costs), start, end)

    def short(self) -> Iterator[_Way]:
        """The ways of one arc or two: both ends of them may lie within arcs."""
        for a in self.start:
            for b in self.end:
                if a.arc == b.arc and a.fraction <= b.fraction:
                    parts = [(a.arc, a.fraction, b.fraction)]
                    yield from self._way(parts, [a.arc], a, b)
            for turn, state in self._onward(a):
                arc = int(self.network.state_arc[state])
                if self.costs.turn_extra[turn] == np.inf:
                    continue
                for b in self.end:
                    if b.arc == arc:
                        parts = [(a.arc, a.fraction, 1.0), (arc, 0.0, b.fraction)]
                        yield from self._way(parts, [a.arc, state], a, b)

    def _way(
        self, parts: list[tuple[int, float, float]], states: list[int], a: Snap, b: Snap
    ) -> Iterator[_Way]:
        seconds = self._seconds(parts)
        if seconds < np.inf:
            yield unverified_on(self.network, self.marked, parts), seconds, states, a.fraction, b.fraction

    def _seconds(self, parts: Iterable[tuple[int, float, float]]) -> float:
        return sum(stretch(self.network, self.costs, *part).cost for part in parts)

    def _onward(self, a: Snap) -> Iterator[tuple[int, int]]:
        """The turns out of the arc of a start, and the states they lead to."""
        for turn in range(int(self.network.turn_ptr[a.arc]), int(self.network.turn_ptr[a.arc + 1])):
            yield turn, int(self.network.turn_to[turn])

    def long(self) -> Iterator[_Way]:
        """The ways of three arcs or more that no other such way beats."""
        network, costs = self.network, self.costs
        backward = backward_turns(network)
        after = cost_to_go(network, costs, backward, self.end).after
        first = list(self._first())
        last = list(self._last(backward))
        if not first or not last:
            return
        turn_count = unverified_turns(network, self.marked)
        turn_count[costs.turn_extra == np.inf] = -1
        with stage("search"):
            label_state, label_before, labels, counts, times = pareto(
                network.turn_ptr,
                network.turn_to,
                turn_count=turn_count,
                cost=costs.cost,
                to_go=costs.cost + after,
                sources=np.array([state for state, _, _, _ in first], dtype=np.int32),
                source_times=np.array([seconds for _, seconds, _, _ in first], dtype=np.float64),
                source_counts=np.array([count for _, _, count, _ in first], dtype=np.int32),
                last_state=np.array([before for before, _, _, _, _ in last], dtype=np.int32),
                last_count=np.array([added for _, added, _, _, _ in last], dtype=np.int32),
                last_time=np.array([seconds for _, _, _, seconds, _ in last], dtype=np.float64),
                least_gain=_LEAST_GAIN_S,
            )
            searched(ENGINE, label_state.size, "labels made")
        for label, count, seconds in zip(labels.tolist(), counts.tolist(), times.tolist(), strict=True):
            _, _, state, _, stop = last[-1 - int(label_state[label])]
            states = [state]
            at = int(label_before[label])
            while at >= 0:
                states.append(int(label_state[at]))
                at = int(label_before[at])
            a = first[-1 - at][3]
            yield count, seconds, [a.arc, *states[::-1]], a.fraction, stop

    def _first(self) -> Iterator[tuple[int, float, int, Snap]]:
        """The states after the first turn, with seconds and count at the start of each, and the start."""
        for a in self.start:
            seconds = self._seconds([(a.arc, a.fraction, 1.0)])
            for turn, state in self._onward(a):
                if seconds + float(self.costs.turn_extra[turn]) < np.inf:
                    arc = int(self.network.state_arc[state])
                    yield state, seconds, self._count([(a.arc, a.fraction, 1.0), (arc, 0.0, 1.0)]), a

    def _last(self, backward: BackwardTurns) -> Iterator[tuple[int, int, int, float, float]]:
        """States before the last turn, what the last arc adds to the count, its state, seconds, fraction."""
        network, costs = self.network, self.costs
        for b in self.end:
            part = (b.arc, 0.0, b.fraction)
            seconds = self._seconds([part])
            if seconds == np.inf:
                continue
            for state in states_of(network, b.arc):
                for at in range(int(backward.ptr[state]), int(backward.ptr[state + 1])):
                    before = int(backward.from_state[at])
                    if costs.turn_extra[backward.turn[at]] == np.inf or costs.cost[before] == np.inf:
                        continue
                    whole = (int(network.state_arc[before]), 0.0, 1.0)
                    yield (
                        before,
                        self._count([whole, part]) - self._count([whole]),
                        state,
                        seconds,
                        b.fraction,
                    )

    def _count(self, parts: list[tuple[int, float, float]]) -> int:
        return unverified_on(self.network, self.marked, parts)
