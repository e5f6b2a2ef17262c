"""The last junction before a structure from which another way leads on without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.findings import passages_of
from clearance.assess.pieces import road_of
from clearance.core.drive import Finding, TurnOff
from clearance.core.structure import Standing
from clearance.routing.plan import stretch
from clearance.routing.reverse import backward_turns, cost_to_go, without

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.network.network import Network
    from clearance.routing.mask import Costs
    from clearance.routing.reverse import BackwardTurns, ToGo
    from clearance.routing.route import Passage, Route
    from clearance.routing.snap import Snap

__all__ = ["turn_off_before", "with_turn_offs"]


def with_turn_offs(
    case: Case, route: Route, findings: Sequence[Finding], *, end: Sequence[Snap], start: Sequence[Snap]
) -> tuple[Finding, ...]:
    """The findings of a route, each that is not clear with the turn-off before it on the way to `end`.

    Where no other way leads on, it is the last junction from which one leads back to `start`. `findings`
    are those of `findings_of` for the same route, whatever their distances count from.
    """
    if all(f.standing is Standing.CLEAR for f in findings):
        return tuple(findings)
    backward = backward_turns(case.network)
    told = []
    for finding, passage in zip(findings, passages_of(case, route), strict=True):
        turn = None
        if finding.standing is not Standing.CLEAR:
            turn = turn_off_before(case, backward, route, passage, end)
            if turn is None:
                turn = turn_off_before(case, backward, route, passage, start)
                turn = replace(turn, extra_s=0.0, leads_on=False) if turn is not None else None
        if turn is not None:
            begun = finding.distance_m - passage.distance_m
            turn = replace(turn, distance_m=turn.distance_m + begun)
        told.append(replace(finding, turn_off=turn))
    return tuple(told)


def turn_off_before(
    case: Case,
    backward: BackwardTurns,
    route: Route,
    passage: Passage,
    end: Sequence[Snap],
) -> TurnOff | None:
    """The turn-off before `passage` on `route`, from which a legal forward way leads on to `end`.

    None where no junction after the start of the route has one: the way is then all the choice there
    is. The other way keeps to the costs of the case, with every passage of this structure closed.
    Distances are from the start of the route.
    """
    network = case.network
    closed = without(network, case.costs, passage.structure)
    to_go = cost_to_go(network, closed, backward, end)
    other = _Other(network, closed, to_go, end)
    # A structure on the arc itself or at its head is met after the arc has been entered.
    for leg in range(passage.leg - 1, -1, -1):
        state, planned = route.states[leg], route.states[leg + 1]
        best, onto = np.inf, -1
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            choice = int(network.turn_to[turn])
            if network.state_arc[choice] == network.state_arc[planned]:
                continue
            cost = float(closed.turn_extra[turn]) + other.cost(choice)
            if cost < best:
                best, onto = cost, choice
        if onto >= 0:
            return _turn_off(case, route, passage, leg=leg, onto=onto, other_way=other.seconds(onto))
    return None


@dataclass(frozen=True, slots=True)
class _Other:
    """The ways to a goal without the structure."""

    network: Network
    costs: Costs
    to_go: ToGo
    end: Sequence[Snap]

    def _on_this_arc(self, state: int) -> tuple[float, float]:
        """What it costs to a goal on the state's own arc, and the fraction of it driven."""
        arc = int(self.network.state_arc[state])
        return min(
            (
                (stretch(self.network, self.costs, arc, 0.0, s.fraction).cost, s.fraction)
                for s in self.end
                if s.arc == arc
            ),
            default=(np.inf, 0.0),
        )

    def _through(self, state: int) -> float:
        return float(self.costs.cost[state]) + float(self.to_go.after[state])

    def cost(self, state: int) -> float:
        """What it costs from the START of a state's arc to the goal."""
        return min(self._through(state), self._on_this_arc(state)[0])

    def seconds(self, state: int) -> float:
        """Driving time of that way."""
        seconds = 0.0
        near, fraction = self._on_this_arc(state)
        while self._through(state) < near:
            seconds += float(self.costs.seconds[self.network.state_arc[state]])
            onward = int(self.to_go.next_state[state])
            if onward < 0:
                state, fraction = self.to_go.last[state]
                break
            state = onward
            near, fraction = np.inf, 0.0
        return seconds + float(self.costs.seconds[self.network.state_arc[state]]) * fraction


def _turn_off(
    case: Case, route: Route, passage: Passage, *, leg: int, onto: int, other_way: float
) -> TurnOff:
    network, costs = case.network, case.costs
    arc = route.arcs[leg]
    node = int(network.arc_head[arc])
    spans = [route.span(i) for i in range(leg + 1)]
    along = sum(float(network.arc_length[a]) * (t - s) for a, (s, t) in zip(route.arcs, spans, strict=False))
    until = sum(float(costs.seconds[a]) * (t - s) for a, (s, t) in zip(route.arcs, spans, strict=False))
    return TurnOff(
        lon=float(network.node_lon[node]),
        lat=float(network.node_lat[node]),
        road=road_of(network, arc),
        onto=road_of(network, int(network.state_arc[onto])),
        distance_m=along,
        before_m=max(0.0, passage.distance_m - along),
        extra_s=max(0.0, until + other_way - route.seconds),
    )
