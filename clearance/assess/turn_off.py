"""The last junction before a structure from which another way leads on without it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.findings import passages_of
from clearance.assess.pieces import road_of
from clearance.core.drive import Finding, TurnOff
from clearance.core.structure import Standing
from clearance.routing.needed import needed
from clearance.routing.plan import ends_of
from clearance.routing.ran import stage
from clearance.routing.reverse import without
from clearance.routing.way import Tried, Way, best_way

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.network.network import Network
    from clearance.routing.mask import Costs
    from clearance.routing.route import Passage, Route
    from clearance.routing.snap import Snap

__all__ = ["turn_off_before", "with_turn_offs"]

#: The states that turns lead to, each with the seconds that its turn adds.
_Turns = dict[int, float]


@stage("turn-offs")
def with_turn_offs(
    case: Case, route: Route, findings: Sequence[Finding], *, end: Sequence[Snap], start: Sequence[Snap]
) -> tuple[Finding, ...]:
    """The findings of a route, each that is not clear with the turn-off before it on the way to `end`.

    Where no other way leads on, it is the last junction from which one leads back to `start`. `findings`
    are those of `findings_of` for the same route, whatever their distances count from.
    """
    if all(f.standing is Standing.CLEAR for f in findings):
        return tuple(findings)
    told = []
    needed = _Needed(case, route, end)
    for finding, passage in zip(findings, passages_of(case, route), strict=True):
        turn = None
        if finding.standing is not Standing.CLEAR:
            closed = without(case.network, case.costs, passage.structure)
            turn = _before(case, closed, route, passage, end, needed=needed)
            if turn is None:
                turn = _before(case, closed, route, passage, start)
                turn = replace(turn, extra_s=0.0, leads_on=False) if turn is not None else None
        if turn is not None:
            begun = finding.distance_m - passage.distance_m
            turn = replace(turn, distance_m=turn.distance_m + begun)
        told.append(replace(finding, turn_off=turn))
    return tuple(told)


def turn_off_before(case: Case, route: Route, passage: Passage, end: Sequence[Snap]) -> TurnOff | None:
    """The turn-off before `passage` on `route`, from which a legal forward way leads on to `end`.

    None where no junction after the start of the route has one: the way is then all the choice there
    is. The other way keeps to the costs of the case, with every passage of this structure closed.
    Distances are from the start of the route.
    """
    return _before(case, without(case.network, case.costs, passage.structure), route, passage, end)


def _before(
    case: Case,
    closed: Costs,
    route: Route,
    passage: Passage,
    end: Sequence[Snap],
    *,
    needed: _Needed | None = None,
) -> TurnOff | None:
    """The same, with the costs of the other way made before, and what is known of others on the route."""
    if needed is not None and needed.surely(passage, closed):
        return None
    network = case.network
    ways = _OtherWays(network, closed, ends_of(network, closed, end))
    # A structure on the arc itself or at its head is met after the arc has been entered.
    legs = range(passage.leg - 1, -1, -1)
    choices = ((leg, turns) for leg in legs if (turns := _choices(network, closed, route, leg)))
    first = ways.first_with(choices) if ways.last else None
    if first is None:
        if needed is not None:
            needed.missed |= ways.dear
        return None
    leg, way = first
    share = np.ones(len(way.states))
    share[-1] = ways.last[way.target][2].fraction
    seconds = float((closed.seconds[network.state_arc[way.states]] * share).sum())
    return _turn_off(case, route, passage, leg=leg, onto=way.states[0], other_way=seconds)


class _Needed:
    """What a route passes that no way to its end does without, looked for once a structure was found so."""

    def __init__(self, case: Case, route: Route, end: Sequence[Snap]) -> None:
        self._case, self._route, self._end = case, route, end
        #: Whether it took a long search that there is no other way: a sweep takes as long as one.
        self.missed = False
        self._found: Sequence[bool] | None = None

    def surely(self, passage: Passage, closed: Costs) -> bool:
        """Whether no turn-off before `passage` is known to lead on; `closed` closes its structure."""
        if not self.missed:
            return False
        network, costs = self._case.network, self._case.costs
        if self._found is None:
            ends = [state for state, _, _ in ends_of(network, costs, self._end)]
            self._found = needed(network, costs, self._route.states, np.array(ends, np.int32)).tolist()
        state = self._route.states[passage.leg]
        turns = slice(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1]))
        # A structure at the end of the arc closes what comes behind it.
        shut = closed.cost[state] == np.inf or bool((closed.turn_extra[turns] == np.inf).all())
        return self._found[passage.leg] and bool(shut)


class _OtherWays:
    """Ways from turns that leave a route to its end, where some lead on at all."""

    def __init__(self, network: Network, costs: Costs, last: list[tuple[int, float, Snap]]) -> None:
        self._network, self._costs, self.last = network, costs, last
        # What failed need not be looked at again, as long as nothing was found.
        self._tried = Tried(network)
        #: Whether some search failed that saw all there is, and no look backwards told before.
        self.dear = False

    def first_with(self, choices: Iterator[tuple[int, _Turns]]) -> tuple[int, Way] | None:
        """The first leg from whose choices some way leads on, with the best one; None where there is none.

        Asked are ever more legs at a time: most often the first one has a way, and where none has, some few
        searches tell, which together look at no more than one does.
        """
        size = 1
        while asked := list(islice(choices, size)):
            size *= 2
            way = self.of([turns for _, turns in asked])
            if way is None:
                continue
            while len(asked) > 1:
                half = len(asked) // 2
                way = self.of([turns for _, turns in asked[:half]])
                asked = asked[:half] if way is not None else asked[half:]
            leg, turns = asked[0]
            way = way if way is not None else self.of([turns])
            assert way is not None, "there is one from this leg"
            return leg, way
        return None

    def of(self, choices: Sequence[_Turns]) -> Way | None:
        """The best way from any of the turns; None where none leads on."""
        sources = [(state, seconds) for each in choices for state, seconds in each.items()]
        way = best_way(
            self._network,
            self._costs,
            sources=np.array([state for state, _ in sources], dtype=np.int32),
            source_labels=np.array([seconds for _, seconds in sources], dtype=np.float64),
            targets=np.array([state for state, _, _ in self.last], dtype=np.int32),
            target_extra=np.array([cost for _, cost, _ in self.last], dtype=np.float64),
            tried=self._tried,
        )
        if way is not None:
            self._tried = Tried(self._network)
        elif not (self._network.landmark_ms.shape[1] and self._tried.is_new()):
            self.dear = True
        return way


def _choices(network: Network, costs: Costs, route: Route, leg: int) -> _Turns:
    """The open turns at the end of a leg that leave the route: the state that each leads to, its seconds."""
    state, planned = route.states[leg], network.state_arc[route.states[leg + 1]]
    return {
        int(network.turn_to[turn]): float(costs.turn_extra[turn])
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1]))
        if costs.turn_extra[turn] < np.inf and network.state_arc[network.turn_to[turn]] != planned
    }


def _turn_off(
    case: Case, route: Route, passage: Passage, *, leg: int, onto: int, other_way: float
) -> TurnOff:
    network = case.network
    arc = route.arcs[leg]
    node = int(network.arc_head[arc])
    driven = np.array(route.arcs[: leg + 1])
    share = np.ones(driven.size)
    share[0] -= route.start
    along = float((network.arc_length[driven] * share).sum())
    until = float((case.costs.seconds[driven] * share).sum())
    return TurnOff(
        lon=float(network.node_lon[node]),
        lat=float(network.node_lat[node]),
        road=road_of(network, arc),
        onto=road_of(network, int(network.state_arc[onto])),
        distance_m=along,
        before_m=max(0.0, passage.distance_m - along),
        extra_s=max(0.0, until + other_way - route.seconds),
    )
