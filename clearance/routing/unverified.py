"""How many unverified structures a drive passes, counted so that a search can add them up.

A structure counts once for every passage, as in `route.hits_on`: hits of one structure that follow one
another without a gap, as in a tunnel over many arcs, are one. What a drive passes is then the sum of what its
first arc passes and of what each turn adds: all on the arc ahead, and at the node, that is not going on
from the arc before. In a passage with figures for one direction only, over ways drawn in opposite
directions, the unverified direction counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.structure import Standing
from clearance.network.sorted_rows import rows_of
from clearance.routing.mask import STANDINGS, turns_through
from clearance.routing.route import ONE_PASSAGE_M, covered_hits

if TYPE_CHECKING:
    from clearance.network.network import F64, I32, I64, Bool, Network
    from clearance.routing.mask import Costs

__all__ = ["Part", "Unproven", "unproven", "unverified_on", "unverified_turns"]

_UNVERIFIED = STANDINGS.index(Standing.UNVERIFIED)

#: An arc, or a part of it between two fractions, in a drive.
Part = tuple[int, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unproven:
    """What is unverified for one vehicle at one time: `hit` (h,) and `node_hit` mark the hits of such
    structures, those of whole ways beside a structure left out.
    """

    hit: Bool
    node_hit: Bool


def unproven(network: Network, costs: Costs) -> Unproven:
    """The hits and node hits of structures that are unverified in the direction of the hit."""
    hit = costs.standing[network.hit_structure, network.hit_side] == _UNVERIFIED
    # A node tells nothing of the direction of its ways: the worse of the two counts.
    node_hit = costs.standing[network.nodehit_structure].min(axis=1) == _UNVERIFIED
    return Unproven(hit=hit & network.hit_passed, node_hit=node_hit)


def unverified_on(network: Network, marked: Unproven, parts: Sequence[Part]) -> int:
    """The passages of unverified structures on parts of arcs driven one after another."""
    found: list[tuple[float, int, float]] = []
    gone = 0.0
    for i, (arc, start, end) in enumerate(parts):
        length = float(network.arc_length[arc])
        for hit in covered_hits(network, arc, start, end):
            if marked.hit[hit]:
                begin = gone + (max(float(network.hit_start[hit]), start) - start) * length
                stop = gone + (min(float(network.hit_end[hit]), end) - start) * length
                found.append((begin, int(network.hit_structure[hit]), stop))
        gone += (end - start) * length
        if i < len(parts) - 1:
            node = int(network.arc_head[arc])
            first, last = rows_of(network.nodehit_node, node)
            found += [
                (gone, int(network.nodehit_structure[at]), gone)
                for at in range(first, last)
                if marked.node_hit[at]
            ]
    return sum(count for count, _, _ in _runs(found).values())


def _runs(found: Iterable[tuple[float, int, float]]) -> dict[int, tuple[int, float, float]]:
    """By structure, from (begin, structure, end) in metres: its runs, begin of the first, end of the last.

    Stretches nearer to each other than a small gap are one run.
    """
    runs: dict[int, tuple[int, float, float]] = {}
    for begin, structure, end in sorted(found):
        count, first, last = runs.get(structure, (0, begin, -np.inf))
        runs[structure] = (count + (begin > last + ONE_PASSAGE_M), first, max(last, end))
    return runs


@dataclass(frozen=True, slots=True)
class _OnArcs:
    """Unverified structures by arc: passages of each arc, and those that reach its tail or head.

    `count` (a,). `lead_arc`, `lead_structure`, `lead_gap`: structures that begin within a small gap, in
    metres, of the tail, sorted by arc; `trail_...` the same for the head.
    """

    count: I32
    lead_arc: I32
    lead_structure: I32
    lead_gap: F64
    trail_arc: I32
    trail_structure: I32
    trail_gap: F64

    @classmethod
    def of(cls, network: Network, marked: Unproven) -> _OnArcs:
        count = np.zeros(network.arc_tail.size, np.int32)
        lead: list[tuple[int, int, float]] = []
        trail: list[tuple[int, int, float]] = []
        hits = np.flatnonzero(marked.hit)
        arcs, begins = np.unique(network.hit_arc[hits], return_index=True)
        # Most arcs have one hit in the middle: those need no look at what follows what.
        single = np.diff(np.append(begins, hits.size)) == 1
        length = network.arc_length[network.hit_arc[hits]]
        begin, end = network.hit_start[hits] * length, network.hit_end[hits] * length
        count[arcs[single]] = 1
        alone = begins[single]
        for at in alone[
            (begin[alone] <= ONE_PASSAGE_M) | (end[alone] >= length[alone] - ONE_PASSAGE_M)
        ].tolist():
            arc, structure = int(network.hit_arc[hits[at]]), int(network.hit_structure[hits[at]])
            lead.append((arc, structure, float(begin[at])))
            trail.append((arc, structure, float(length[at] - end[at])))
        ends = np.append(begins, hits.size)
        for i in np.flatnonzero(~single).tolist():
            here = range(int(ends[i]), int(ends[i + 1]))
            arc = int(arcs[i])
            runs = _runs(
                (float(begin[at]), int(network.hit_structure[hits[at]]), float(end[at])) for at in here
            )
            for structure, (number, first, last) in runs.items():
                count[arc] += number
                lead.append((arc, structure, first))
                trail.append((arc, structure, float(network.arc_length[arc]) - last))
        return cls(count, *_columns(lead), *_columns(trail))


def _columns(rows: list[tuple[int, int, float]]) -> tuple[I32, I32, F64]:
    near = sorted(row for row in rows if row[2] <= ONE_PASSAGE_M)
    return (
        np.array([row[0] for row in near], dtype=np.int32),
        np.array([row[1] for row in near], dtype=np.int32),
        np.array([row[2] for row in near], dtype=np.float64),
    )


def unverified_turns(network: Network, marked: Unproven) -> I32:
    """For each turn (t,) the passages it adds: those that begin at the node or on the whole arc ahead."""
    on = _OnArcs.of(network, marked)
    counts = on.count[network.state_arc[network.turn_to]]
    structures = max(1, len(network.structure_low))

    # Turns out of an arc whose end lies under a structure, once for each such structure.
    by_arc = np.zeros(network.arc_tail.size, np.bool_)
    by_arc[on.trail_arc] = True
    behind, behind_arc = _turns_out(network, by_arc)
    turn, at = _expanded(on.trail_arc, behind_arc)
    turn, behind_structure, behind_gap = behind[turn], on.trail_structure[at], on.trail_gap[at]
    behind_key = turn * structures + behind_structure

    # Turns through a node that a structure stands on.
    special = np.zeros(network.node_osm.size, np.bool_)
    nodes = network.nodehit_node[marked.node_hit]
    special[nodes] = True
    through, node = turns_through(network, special)
    row, at = _expanded(nodes, node)
    node_key = through[row] * structures + network.nodehit_structure[marked.node_hit][at]
    np.add.at(counts, through[row][~np.isin(node_key, behind_key)], 1)

    # What begins at once ahead and was there behind or at the node.
    looked = np.unique(np.concatenate((turn, through[row])))
    row, at = _expanded(on.lead_arc, network.state_arc[network.turn_to[looked]])
    ahead, ahead_structure, ahead_gap = looked[row], on.lead_structure[at], on.lead_gap[at]
    ahead_key = ahead * structures + ahead_structure
    order = np.argsort(behind_key, kind="stable")
    place = np.searchsorted(behind_key[order], ahead_key)
    goes_on = np.isin(ahead_key, node_key)
    if order.size:
        met = order[np.minimum(place, order.size - 1)]
        goes_on |= (behind_key[met] == ahead_key) & (behind_gap[met] + ahead_gap <= ONE_PASSAGE_M)
    np.subtract.at(counts, ahead[goes_on], 1)
    return counts


def _turns_out(network: Network, marked: Bool) -> tuple[I64, I32]:
    """All turns out of the states of the arcs marked (a,), and the arc of each."""
    states = np.flatnonzero(marked[network.state_arc])
    begin, count = network.turn_ptr[states], network.turn_ptr[states + 1] - network.turn_ptr[states]
    turns = np.repeat(begin + count - np.cumsum(count), count) + np.arange(int(count.sum()))
    return turns, np.repeat(network.state_arc[states], count)


def _expanded(keys: I32, wanted: I32) -> tuple[I64, I64]:
    """Pairs (index into `wanted`, index into `keys`, which is sorted) of equal values."""
    first, last = np.searchsorted(keys, wanted, "left"), np.searchsorted(keys, wanted, "right")
    count = last - first
    row = np.repeat(np.arange(wanted.size), count)
    at = np.repeat(first + count - np.cumsum(count), count) + np.arange(int(count.sum()))
    return row, at
