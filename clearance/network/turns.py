"""From arcs and restrictions to states and the turns between them.

Every restriction becomes sequences of arcs that may not be driven one after the other. A sequence of
two bars a turn. A longer one needs memory: each of its beginnings of two arcs or more becomes a state,
a copy of its last arc that remembers how it was reached. From any state, the next one is the longest
such beginning that the arcs driven last make up.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.network import Rule
from clearance.network.sorted_rows import rows_of

if TYPE_CHECKING:
    from clearance.network.network import F64, I32, I64, Bool
    from clearance.network.restrictions import Binding, Restriction

__all__ = ["ArcTable", "Turns", "build_turns"]

#: Arcs driven one after the other.
Chain = tuple[int, ...]
#: What bars a turn whatever the vehicle and time.
_ALWAYS = -1
#: Restrictions over more ways than this are faults of the data; bounds the work.
_LONGEST_VIA = 30
#: The change of bearing that each word stands for, in degrees clockwise; judgement.
_BEARINGS = {"straight_on": 0.0, "right_turn": 90.0, "left_turn": -90.0, "u_turn": 180.0}
_BEARING_SLACK = 75.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ArcTable:
    """The arcs as `Network` has them, sorted by tail, with bearings in degrees clockwise from north.

    `way_ids` maps `way` to OSM ids; `bearing_out` is at the tail, `bearing_in` at the head, both in the
    driving direction. `loop` (n,) marks nodes where turning round is permitted.
    """

    tail: I32
    head: I32
    way: I32
    reverse: I32
    bearing_out: F64
    bearing_in: F64
    node_osm: I64
    way_ids: I64
    loop: Bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """States and turns as `Network` has them.

    `more_turn`, `more_rule`: further rules of a turn beside its `turn_rule`. `warnings` tell of
    restrictions that do not fit the ways.
    """

    state_arc: I32
    turn_ptr: I64
    turn_to: I32
    turn_rule: I32
    more_turn: I64
    more_rule: I32
    rules: tuple[Rule, ...]
    warnings: tuple[str, ...]


def build_turns(
    arcs: ArcTable, restrictions: Iterable[Restriction], way_nodes: Mapping[int, Sequence[int]]
) -> Turns:
    """The turns of a network under its restrictions.

    `way_nodes` are the node ids of every way of the extract, roads or not: it tells a restriction that
    reaches outside the area from one that cannot be right.
    """
    draft = _Restricted(arcs, way_nodes)
    for restriction in restrictions:
        draft.add(restriction)
    draft.demand()
    return _assembled(arcs, draft)


class _Restricted:
    """Collects barred sequences of arcs, each with the rules that bar it."""

    def __init__(self, arcs: ArcTable, way_nodes: Mapping[int, Sequence[int]]) -> None:
        self.arcs = arcs
        self.way_nodes = way_nodes
        self.out_ptr = np.searchsorted(arcs.tail, np.arange(arcs.node_osm.size + 1))
        self.rules: list[Rule] = []
        self.warnings: list[str] = []
        self.barred: dict[Chain, list[int]] = defaultdict(list)
        self.permitted_u_turns: set[tuple[int, int]] = set()
        # What may follow a beginning under "only" restrictions that bind alike: several of them at one
        # place add up, each naming one of the ways on.
        self.demanded: dict[tuple[Chain, Binding], tuple[set[int], Restriction]] = {}
        self._rule_index: dict[tuple[Binding, str], int] = {}
        self._order = np.argsort(arcs.way_ids, kind="stable")
        self._sorted_ids = arcs.way_ids[self._order]
        self._by_way = np.argsort(arcs.way, kind="stable")
        self._way_sorted = arcs.way[self._by_way]
        self._node_order = np.argsort(arcs.node_osm, kind="stable")

    def outgoing(self, arc: int) -> list[int]:
        """The arcs that may follow `arc` before any restriction, in order."""
        node = int(self.arcs.head[arc])
        back = int(self.arcs.reverse[arc])
        return [
            other
            for other in range(int(self.out_ptr[node]), int(self.out_ptr[node + 1]))
            if other != back or self.arcs.loop[node] or (arc, other) in self.permitted_u_turns
        ]

    def _arcs_of(self, ways: Iterable[int]) -> list[int]:
        found: list[int] = []
        for way in ways:
            at = int(np.searchsorted(self._sorted_ids, way))
            if at < self._sorted_ids.size and self._sorted_ids[at] == way:
                row = self._order[at]
                first, last = rows_of(self._way_sorted, row)
                found += self._by_way[first:last].tolist()
        return found

    def _node(self, osm: int) -> int:
        at = int(np.searchsorted(self.arcs.node_osm, osm, sorter=self._node_order))
        if at == self._node_order.size:
            return -1
        node = int(self._node_order[at])
        return node if self.arcs.node_osm[node] == osm else -1

    def add(self, restriction: Restriction) -> None:
        """Take up one restriction, or say why it cannot be."""
        members = (*restriction.from_ways, *restriction.via_ways)
        if any(way not in self.way_nodes for way in members):
            return  # outside the area, or of a kind that no coach uses
        fault = self._misfit(restriction)
        if fault:
            self.warnings.append(f"{restriction.element}: {restriction.raw}: {fault}; skipped")
            return
        entering = self._arcs_of(restriction.from_ways)
        leaving = self._arcs_of(restriction.to_ways)
        if restriction.via_node is not None:
            node = self._node(restriction.via_node)
            beginnings: list[Chain] = [(arc,) for arc in entering if self.arcs.head[arc] == node]
        else:
            beginnings = self._chains(entering, leaving, restriction)
        pairs: list[tuple[Chain, int]] = [
            (beginning, arc)
            for beginning in beginnings
            for arc in leaving
            if self.arcs.tail[arc] == self.arcs.head[beginning[-1]]
        ]
        pairs = self._meant(restriction, pairs)
        if restriction.only:
            self._demand_one(restriction, beginnings, pairs)
            return
        for beginning, arc in pairs:
            self._bar((*beginning, arc), restriction)

    def _misfit(self, restriction: Restriction) -> str:
        """Why the members cannot belong together, going by their nodes alone; empty where they may."""
        known = [self.way_nodes[way] for way in restriction.to_ways if way in self.way_nodes]
        starts = {node for way in restriction.from_ways for node in self.way_nodes[way]}
        ends = {node for nodes in known for node in nodes}
        if restriction.via_node is not None:
            if restriction.via_node not in starts or (known and restriction.via_node not in ends):
                return "the via node is not on both ways"
            return ""
        via = [set(self.way_nodes[way]) for way in restriction.via_ways]
        reached, left = set(starts), via
        while left:
            joined = [nodes for nodes in left if not reached.isdisjoint(nodes)]
            if not joined:
                return "the ways do not join up"
            left = [nodes for nodes in left if reached.isdisjoint(nodes)]
            reached.update(*joined)
        if known and ends.isdisjoint(set().union(*via)):
            return "the ways do not join up"
        return ""

    def _chains(self, entering: list[int], leaving: list[int], restriction: Restriction) -> list[Chain]:
        """From each arc of the from way, the shortest run of arcs over all via ways to the to way."""
        arcs = self.arcs
        by_tail: dict[int, list[int]] = defaultdict(list)
        for arc in self._arcs_of(restriction.via_ways):
            by_tail[int(arcs.tail[arc])].append(arc)
        ways = {int(arcs.way[arc]) for found in by_tail.values() for arc in found}
        ends = {int(arcs.tail[arc]) for arc in leaving}
        # Where the way out is not in the data, a run over all via ways is enough.
        open_end = not any(way in self.way_nodes for way in restriction.to_ways)
        chains: list[Chain] = []
        if len(ways) < len(restriction.via_ways):
            return chains  # a via way that nobody may drive: nothing is left to bar
        for first in entering:
            queue: deque[Chain] = deque([(first,)])
            while queue:
                chain = queue.popleft()
                node = int(arcs.head[chain[-1]])
                used = {int(arcs.way[arc]) for arc in chain[1:]}
                if len(chain) > 1 and used == ways and (open_end or node in ends):
                    chains.append(chain)
                    break
                if len(chain) > _LONGEST_VIA:
                    continue
                visited = {int(arcs.tail[arc]) for arc in chain[1:]}
                queue.extend(
                    (*chain, arc)
                    for arc in by_tail.get(node, ())
                    if int(arcs.head[arc]) not in visited and arcs.reverse[chain[-1]] != arc
                )
        return chains

    def _meant(self, restriction: Restriction, pairs: list[tuple[Chain, int]]) -> list[tuple[Chain, int]]:
        """The pairs whose change of bearing fits the word best, where a way runs on through the via.

        A way should end at the via; where it does not, both its directions come into question.
        """
        arcs = self.arcs
        ideal = _BEARINGS.get(restriction.turn)
        through = len({b[0] for b, _ in pairs}) > len(restriction.from_ways) or len(
            {arc for _, arc in pairs}
        ) > len(restriction.to_ways)
        if ideal is None or not through:
            return pairs

        def off(pair: tuple[Chain, int]) -> float:
            change = float(arcs.bearing_out[pair[1]] - arcs.bearing_in[pair[0][0]])
            return abs((change - ideal + 180.0) % 360.0 - 180.0)

        meant = [pair for pair in pairs if off(pair) <= _BEARING_SLACK]
        if not meant:
            self.warnings.append(
                f"{restriction.element}: {restriction.raw}: no turn there has that direction; skipped"
            )
        return meant

    def _demand_one(
        self,
        restriction: Restriction,
        beginnings: list[Chain],
        pairs: list[tuple[Chain, int]],
    ) -> None:
        allowed: dict[Chain, set[int]] = defaultdict(set)
        for beginning, arc in pairs:
            allowed[beginning].add(arc)
            if restriction.turn == "u_turn" and self.arcs.reverse[beginning[-1]] == arc:
                self.permitted_u_turns.add((beginning[-1], arc))
        if beginnings and not pairs:
            if any(way in self.way_nodes for way in restriction.to_ways):
                self.warnings.append(
                    f"{restriction.element}: {restriction.raw}: the one turn permitted is not open; skipped"
                )
            else:
                # The one way permitted leads out of the data: here, all others are closed.
                allowed = {beginning: set() for beginning in beginnings}
        for beginning, arcs in allowed.items():
            steps = [{arc} for arc in beginning[1:]] + [arcs]
            for length, step in enumerate(steps, start=1):
                key = (beginning[:length], restriction.binding)
                self.demanded.setdefault(key, (set(), restriction))[0].update(step)

    def demand(self) -> None:
        """Bar whatever the "only" restrictions do not name."""
        for (beginning, _), (allowed, restriction) in self.demanded.items():
            for arc in self.outgoing(beginning[-1]):
                if arc not in allowed:
                    self._bar((*beginning, arc), restriction)

    def _bar(self, sequence: Chain, restriction: Restriction) -> None:
        binding = restriction.binding
        rule = _ALWAYS
        if binding.condition or binding.modes:
            rule = self._rule_index.setdefault((binding, restriction.element), len(self.rules))
            if rule == len(self.rules):
                self.rules.append(
                    Rule("turn", binding.condition, 1, restriction.element, restriction.raw, binding.modes)
                )
        self.barred[sequence].append(rule)


def _assembled(arcs: ArcTable, draft: _Restricted) -> Turns:
    """States and turns in one table: first those of plain arcs, then those with memory."""
    count = arcs.tail.size
    beginnings = sorted(
        {sequence[:length] for sequence in draft.barred for length in range(2, len(sequence))}
    )
    state_of = {beginning: count + i for i, beginning in enumerate(beginnings)}

    degree = draft.out_ptr[arcs.head + 1] - draft.out_ptr[arcs.head]
    plain_ptr = np.concatenate(([0], np.cumsum(degree)))
    origin = np.repeat(np.arange(count, dtype=np.int32), degree)
    shift = draft.out_ptr[arcs.head] - plain_ptr[:-1]
    turn_to = (np.arange(plain_ptr[-1]) + shift[origin]).astype(np.int32)
    keep = (turn_to != arcs.reverse[origin]) | arcs.loop[arcs.head[origin]]
    turn_rule = np.full(turn_to.size, -1, np.int32)
    more: list[tuple[int, int]] = []

    def position(arc: int, to: int) -> int:
        """Where the turn between two arcs stands; the arcs out of a node follow one another."""
        return int(plain_ptr[arc]) + to - int(draft.out_ptr[arcs.head[arc]])

    for arc, to in draft.permitted_u_turns:
        keep[position(arc, to)] = True
    for sequence, rules in draft.barred.items():
        if len(sequence) == 2:
            at = position(*sequence)
            if _ALWAYS in rules:
                keep[at] = False
            else:
                turn_rule[at] = rules[0]
                more += [(at, rule) for rule in dict.fromkeys(rules[1:]) if rule != rules[0]]
    for beginning, state in state_of.items():
        if len(beginning) == 2:
            turn_to[position(*beginning)] = state

    # States with memory are few: one by one.
    extra: list[tuple[int, list[tuple[int, list[int]]]]] = []
    for beginning in beginnings:
        turns: list[tuple[int, list[int]]] = []
        for to in draft.outgoing(beginning[-1]):
            driven = (*beginning, to)
            rules = [
                rule for start in range(len(driven) - 1) for rule in draft.barred.get(driven[start:], ())
            ]
            if _ALWAYS not in rules:
                turns.append((_next_state(driven, state_of), list(dict.fromkeys(rules))))
        extra.append((len(turns), turns))

    kept_before = np.concatenate(([0], np.cumsum(keep)))
    turn_ptr = np.concatenate((kept_before[plain_ptr], np.zeros(len(extra), np.int64)))
    more = [(int(kept_before[at]), rule) for at, rule in more if keep[at]]
    tail_to: list[int] = []
    tail_rule: list[int] = []
    for i, (size, turns) in enumerate(extra):
        turn_ptr[count + i + 1] = turn_ptr[count + i] + size
        for to, rules in turns:
            more += [(int(turn_ptr[count]) + len(tail_to), rule) for rule in rules[1:]]
            tail_to.append(to)
            tail_rule.append(rules[0] if rules else -1)
    more.sort()
    return Turns(
        state_arc=np.concatenate(
            (np.arange(count, dtype=np.int32), np.array([b[-1] for b in beginnings], dtype=np.int32))
        ),
        turn_ptr=turn_ptr.astype(np.int64),
        turn_to=np.concatenate((turn_to[keep], np.array(tail_to, dtype=np.int32))),
        turn_rule=np.concatenate((turn_rule[keep], np.array(tail_rule, dtype=np.int32))),
        more_turn=np.array([at for at, _ in more], dtype=np.int64),
        more_rule=np.array([rule for _, rule in more], dtype=np.int32),
        rules=tuple(draft.rules),
        warnings=tuple(draft.warnings),
    )


def _next_state(driven: Chain, state_of: Mapping[Chain, int]) -> int:
    """The state that remembers the most of the arcs driven last."""
    for start in range(len(driven) - 1):
        state = state_of.get(driven[start:])
        if state is not None:
            return state
    return driven[-1]
