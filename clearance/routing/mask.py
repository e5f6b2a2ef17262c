"""What every arc and turn costs one coach at one time, and what is closed to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from clearance.core.drive import Unverified
from clearance.core.structure import Direction, Standing
from clearance.network.dips import lost_heights
from clearance.network.network import (
    ACCESS_CLOSED,
    ACCESS_ENDS,
    ACCESS_OPEN,
    FLAG_CAR_PARK,
    FLAG_DRIVE_THROUGH,
    FLAG_HAZMAT_BAN,
    NO_LIMIT,
    NODE_CAR_PARK,
)
from clearance.routing.policy import COACH_TOP_KMH, POLICIES, PROMISED_WEIGHT, Policy
from clearance.routing.ran import stage
from clearance.routing.rules import LIMIT_KINDS, Vehicle

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.coach import Coach
    from clearance.core.conditions import Window
    from clearance.core.structure import Structure
    from clearance.network.network import F64, I8, I32, I64, Bool, Network, Rule

    F32 = npt.NDArray[np.float32]

__all__ = [
    "STANDINGS",
    "Costs",
    "by_state",
    "coach_costs",
    "open_ends",
    "turns_through",
    "zones_and_parts",
    "zones_for",
]

Number = TypeVar("Number", bound=np.generic)
#: How many arcs are looked at in one go where all of them are.
_PART = 2**18
#: Standing by code, the worst first.
STANDINGS = tuple(Standing)
_TOO_LOW, _UNVERIFIED, _TIGHT, _CLEAR = range(4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """A network as it is to one vehicle. Times in seconds, heights in tenths of a millimetre.

    `seconds` (a,) is the driving time of each arc. `arc_cost` (a,) adds the policy's seconds; infinite
    where the arc is closed, for whatever reason; ends-only arcs as if they were open. `cost` (s,) is the
    same by state, and infinite on ends-only arcs that are not opened. `turn_extra` (t,) is what a turn
    adds. `closed` (a,) marks arcs closed by anything but structures; `ends` (a,) those that are for the
    ends of a drive only. `usable` (a,) is where a drive may start and end, structures aside.

    `low` (k, 2) is the lowest figure that may hold at the time of the drive, along the way of the
    structure and against it, NO_LIMIT where none, less what the coach loses to a dip or a hump there, `lost`
    (k,); `verified` (k, 2) whether some figure may make it clear; `standing` (k, 2) the code of the standing,
    an index into `STANDINGS`; `weight` (k,) the part of the policy's seconds that one passage counts while
    unverified. `hit_extra` (h,) is what each hit adds, infinite where it closes its arc.

    Turns through an ends-only node: `gate_turn` their indices, `gate_extra` what they add once opened,
    `gate_area` the area of the node.
    """

    vehicle: Vehicle
    policy: Policy
    need: int
    seconds: F64
    arc_cost: F64
    cost: F64
    turn_extra: F32
    closed: Bool
    ends: Bool
    usable: Bool
    low: I32
    lost: I32
    weight: F64
    verified: Bool
    standing: npt.NDArray[np.int8]
    hit_extra: F64
    gate_turn: I64
    gate_extra: F32
    gate_area: I32


@stage("costs")
def coach_costs(
    network: Network,
    coach: Coach,
    unverified: Unverified,
    window: Window | None,
    *,
    car: bool = False,
    ignore: frozenset[str] = frozenset(),
    driven_as: Costs | None = None,
) -> Costs:
    """The costs of a coach whose drive lies in `window` (None: at a time not known).

    With `car`, those of a plain car: structures and limits close nothing, but standings are still the
    coach's. `ignore` names limits left out: ``height``, ``width``, ``length``, ``weight``, ``hazmat``,
    ``access``. `driven_as` are costs of the same coach, or of a car, whose driving times hold here too; they
    do not depend on what is ignored.

    Raises ValueError for another name.
    """
    if not ignore <= LIMIT_KINDS | {"height"}:
        raise ValueError(f"no such limits: {sorted(ignore - LIMIT_KINDS - {'height'})}")
    vehicle = Vehicle(coach=None if car else coach, window=window, ignore=ignore)
    heights = not car and "height" not in ignore
    policy = POLICIES[unverified]
    low, verified = _figures(network, coach, window)
    lost = lost_heights(network, coach)
    low -= np.where(low < NO_LIMIT, lost[:, None], 0)
    weight = _weights(network, coach)
    standing = _standings(low, verified, coach)

    # What runs over all arcs is worked out in place: such arrays are what a drive takes memory for.
    seconds = np.asarray(network.arc_seconds)
    if driven_as is not None:
        seconds = driven_as.seconds
    elif not car:
        slowest = network.arc_length * (3.6 / COACH_TOP_KMH)
        seconds = np.maximum(slowest, seconds, out=slowest)
    rules = _Rules(network)
    access = _arc_access(network, vehicle, rules)
    closed = (access == ACCESS_CLOSED) | _limited(network, vehicle, rules)
    ends = access == ACCESS_ENDS
    hit_extra = np.zeros(network.hit_arc.size)
    if heights:
        hit_extra = _structure_extra(
            standing[network.hit_structure, network.hit_side],
            policy,
            network.hit_share,
            weight[network.hit_structure],
            network.hit_passed,
        )
    arc_cost = seconds.copy()
    arc_cost[closed] = np.inf
    np.add.at(arc_cost, network.hit_arc, hit_extra)
    cost = by_state(network, arc_cost)
    cost[_states_of(network, np.flatnonzero(ends))] = np.inf

    at_nodes = _nodes_under(network, standing, policy, weight) if heights else None
    passing, access_of_node = _passing(network, vehicle, rules, at_nodes)
    turn_extra, gate_turn, gate_node = _turn_extra(network, vehicle, rules, passing, access_of_node)
    gate_extra = turn_extra[gate_turn].copy()
    turn_extra[gate_turn] = np.inf
    node_area = network.node_area_car if car else network.node_area
    return Costs(
        vehicle=vehicle,
        policy=policy,
        need=coach.need.tenths,
        seconds=seconds,
        arc_cost=arc_cost,
        cost=cost,
        turn_extra=turn_extra,
        closed=closed,
        ends=ends,
        usable=~closed,
        low=low,
        lost=lost,
        weight=weight,
        verified=verified,
        standing=standing,
        hit_extra=hit_extra,
        gate_turn=gate_turn,
        gate_extra=gate_extra,
        gate_area=node_area[gate_node],
    )


# --- structures --------------------------------------------------------------------------------------


def _figures(network: Network, coach: Coach, window: Window | None) -> tuple[I32, Bool]:
    """The lowest figures that may hold and whether they are verified, by direction."""
    low = np.array(network.structure_low)
    for k in np.flatnonzero(network.structure_conditional).tolist():
        low[k] = _lowest(network.structures[k], Vehicle(coach=coach, window=window))
    return low, network.structure_verified


def _weights(network: Network, coach: Coach) -> F64:
    """What passing each structure counts while unverified: less where a rule promises the need."""
    promised = network.structure_implied >= coach.need.tenths
    return network.structure_weight * np.where(promised, PROMISED_WEIGHT, 1.0)


def _lowest(structure: Structure, vehicle: Vehicle) -> list[int]:
    """Along and against: the lowest figure but for those whose condition is surely off."""
    return [
        min(
            (
                e.figure.tenths
                for e in structure.figures(side)
                if e.figure is not None and vehicle.may_hold(e.condition)
            ),
            default=int(NO_LIMIT),
        )
        for side in (Direction.FORWARD, Direction.BACKWARD)
    ]


def _standings(low: I32, verified: Bool, coach: Coach) -> npt.NDArray[np.int8]:
    standing = np.full(low.shape, _CLEAR, np.int8)
    standing[low < coach.comfort_or_need.tenths] = _TIGHT
    standing[~verified] = _UNVERIFIED
    standing[low < coach.need.tenths] = _TOO_LOW
    return standing


def _structure_extra(
    standing: npt.NDArray[np.int8],
    policy: Policy,
    share: F64 | float,
    weight: F64,
    passed: Bool | bool,
) -> F64:
    """Seconds added by passing structures: the share of the passage; infinite where closed.

    `weight` is `Costs.weight`, which counts while a structure is unverified. The figure of a whole way closes
    all of it, whether or not the structure itself is passed.
    """
    seconds = np.array([0.0, policy.unverified_s, policy.tight_s, 0.0])
    part = share * np.where(standing == _UNVERIFIED, weight, 1.0)
    extra = np.where(passed, seconds[standing] * part, 0.0)
    if policy.refuse_unverified:
        extra[(standing == _UNVERIFIED) & passed] = np.inf
    extra[standing == _TOO_LOW] = np.inf
    return extra


# --- access and limits -------------------------------------------------------------------------------


class _Rules:
    """The rules of a network, decoded once and grouped by what they stand on."""

    def __init__(self, network: Network) -> None:
        self.all = tuple(network.rules)
        self.by_arc = self._grouped(network.rule_arc, network.rule_index)
        self.by_node = self._grouped(network.noderule_node, network.noderule_index)

    def _grouped(self, places: I32, indices: I32) -> dict[int, list[Rule]]:
        groups: dict[int, list[Rule]] = defaultdict(list)
        for place, index in zip(places.tolist(), indices.tolist(), strict=True):
            groups[place].append(self.all[index])
        return groups


def _arc_access(network: Network, vehicle: Vehicle, rules: _Rules) -> I8:
    """The access of each arc at the time, ACCESS_*."""
    static = network.arc_access_car if vehicle.coach is None else network.arc_access
    access = np.array(static)
    for arc, mine in rules.by_arc.items():
        access[arc] = vehicle.access(int(static[arc]), mine)
    if "access" in vehicle.ignore:
        access[:] = ACCESS_OPEN
    return access


def _limited(network: Network, vehicle: Vehicle, rules: _Rules) -> Bool:
    """Arcs closed by size, weight, dangerous goods, or as no place for a coach."""
    closed = np.zeros(network.arc_tail.size, np.bool_)
    limits = {
        "width": network.arc_max_width,
        "length": network.arc_max_length,
        "weight": network.arc_max_weight,
    }
    for target, limit in limits.items():
        measure = vehicle.measure(target)
        if measure is not None:
            closed |= limit < measure
    flags = 0
    if vehicle.coach is not None and "access" not in vehicle.ignore:
        flags |= FLAG_DRIVE_THROUGH | FLAG_CAR_PARK
    if vehicle.minds_hazmat_bans:
        flags |= FLAG_HAZMAT_BAN
    if flags:
        closed |= (network.arc_flags & flags) > 0
    for arc, mine in rules.by_arc.items():
        closed[arc] |= any(vehicle.closes(rule) for rule in mine)
    return closed


# --- turns -------------------------------------------------------------------------------------------


def _nodes_under(network: Network, standing: npt.NDArray[np.int8], policy: Policy, weight: F64) -> F32:
    """What the structures at each node add to passing it, infinite where one closes it."""
    extra = np.zeros(network.node_osm.size, np.float32)
    # A node tells nothing of the direction of its ways: the worse of the two counts.
    worst = standing[network.nodehit_structure].min(axis=1)
    at_hits = _structure_extra(worst, policy, 1.0, weight[network.nodehit_structure], True)
    np.add.at(extra, network.nodehit_node, at_hits)
    return extra


def _passing(network: Network, vehicle: Vehicle, rules: _Rules, structures: F32 | None) -> tuple[F32, I8]:
    """What passing each node adds, infinite where closed, and the access of each node at the time."""
    extra = np.zeros(network.node_osm.size, np.float32)
    access = np.array(network.node_access_car if vehicle.coach is None else network.node_access)
    for node, mine in rules.by_node.items():
        access[node] = vehicle.access(int(access[node]), mine)
        if any(vehicle.closes(rule) for rule in mine):
            extra[node] = np.inf
    if "access" in vehicle.ignore:
        access[:] = ACCESS_OPEN
    elif vehicle.coach is not None:
        extra[(network.node_flags & NODE_CAR_PARK) > 0] = np.inf
    extra[access == ACCESS_CLOSED] = np.inf
    if structures is not None:
        extra += structures
    return extra, access


def _turn_extra(
    network: Network, vehicle: Vehicle, rules: _Rules, passing: F32, access: I8
) -> tuple[F32, I64, I32]:
    """What each turn adds, ends-only nodes as if open; the turns through those, and the node of each."""
    extra = np.zeros(network.turn_to.size, np.float32)
    on_turns = np.flatnonzero(network.turn_rule >= 0)
    if on_turns.size:
        closes = np.array([vehicle.closes(rule) for rule in rules.all], dtype=np.bool_)
        extra[on_turns[closes[network.turn_rule[on_turns]]]] = np.inf
        extra[network.more_turn[closes[network.more_rule]]] = np.inf
    turns, node = turns_through(network, (passing > 0) | (access == ACCESS_ENDS))
    extra[turns] += passing[node]
    gates = access[node] == ACCESS_ENDS
    return extra, turns[gates], node[gates]


def turns_through(network: Network, special: Bool) -> tuple[I64, I32]:
    """All turns through the nodes marked in `special` (n,), and the node of each."""
    states = _states_into(network, special)
    begin, count = network.turn_ptr[states], network.turn_ptr[states + 1] - network.turn_ptr[states]
    turns = np.repeat(begin + count - np.cumsum(count), count) + np.arange(int(count.sum()))
    return turns, np.repeat(network.arc_head[network.state_arc[states]], count)


def _states_into(network: Network, special: Bool) -> I64:
    """The states whose arcs lead to the nodes marked in `special` (n,), in order."""
    if not special.any():
        return np.zeros(0, np.int64)
    # By parts, for numpy widens the indices it is given.
    parts = [
        begin + np.flatnonzero(special[network.arc_head[begin : begin + _PART]])
        for begin in range(0, network.arc_head.size, _PART)
    ]
    return np.sort(_states_of(network, np.concatenate([np.zeros(0, np.int64), *parts])))


def _states_of(network: Network, arcs: I64) -> I64:
    """The states of arcs: arc i is state i, the others are copies."""
    if not arcs.size:
        return arcs
    first = network.arc_tail.size
    return np.concatenate((arcs, first + np.flatnonzero(np.isin(network.state_arc[first:], arcs))))


def by_state(network: Network, values: npt.NDArray[Number]) -> npt.NDArray[Number]:
    """Values of arcs (a,) by state (s,); always a copy."""
    found = np.empty(network.state_arc.size, values.dtype)
    found[: values.size] = values
    found[values.size :] = values[network.state_arc[values.size :]]
    return found


# --- ends-only roads ---------------------------------------------------------------------------------


def open_ends(network: Network, costs: Costs, *places: Iterable[int]) -> Costs:
    """The costs of one drive with the ends-only roads opened that its ends need, see `zones_for`.

    Each of `places` is the arcs of one place (start, destination).
    """
    groups = [np.fromiter(arcs, np.int64) for arcs in places]
    opened = set().union(*zones_for(network, costs, *groups))
    car = costs.vehicle.coach is None
    arc_area = network.arc_area_car if car else network.arc_area
    ends = np.flatnonzero(costs.ends)
    # Arcs that only a rule of the hour makes ends-only belong to no zone: the ways of the places themselves.
    ways = network.arc_way[np.concatenate([np.zeros(0, np.int64), *groups])]
    ends = ends[np.isin(arc_area[ends], sorted(opened)) | np.isin(network.arc_way[ends], ways)]
    through = np.isin(costs.gate_area, sorted(opened))
    cost, turn_extra = costs.cost, costs.turn_extra
    if ends.size:
        cost = cost.copy()
        states = _states_of(network, ends)
        cost[states] = costs.arc_cost[network.state_arc[states]]
    if through.any():
        turn_extra = turn_extra.copy()
        turn_extra[costs.gate_turn[through]] = costs.gate_extra[through]
    return replace(costs, cost=cost, turn_extra=turn_extra)


def zones_for(network: Network, costs: Costs, *places: Iterable[int]) -> list[set[int]]:
    """The ends-only zones that a drive between places may use, for each place (its arcs) those it needs.

    These are the zones that hold the place. Where places then still lie in different open parts of the
    network, as behind a gate, the zones around the smaller parts too, outwards until a common part or
    the largest one is met.
    """
    links = network.area_links_car if costs.vehicle.coach is None else network.area_links
    held = [zones_and_parts(network, costs, place) for place in places]
    opened = [zones for zones, _ in held]
    parts = [parts for _, parts in held]
    for i, own in enumerate(parts):
        others = set().union(*(p for j, p in enumerate(parts) if j != i)) | {0}
        frontier = set(own)
        while frontier and not own & others:
            zones = _linked(links, 1, frontier).difference(*opened)
            opened[i] |= zones
            frontier = _linked(links, 0, zones) - own
            own.update(frontier)
    return opened


def zones_and_parts(network: Network, costs: Costs, arcs: Iterable[int]) -> tuple[set[int], set[int]]:
    """The ends-only zones that hold one of the arcs, and the open parts that do or that touch such a zone."""
    car = costs.vehicle.coach is None
    arc_area = network.arc_area_car if car else network.arc_area
    links = network.area_links_car if car else network.area_links
    static = network.arc_access_car if car else network.arc_access
    of = np.fromiter(arcs, np.int64)
    areas = {int(area) for area in arc_area[of] if area >= 0}
    zones = {int(area) for area in arc_area[of[static[of] == ACCESS_ENDS]]}
    return zones, (areas - zones) | _linked(links, 0, zones)


def _linked(links: I32, column: int, of: Iterable[int]) -> set[int]:
    """The areas linked with those given in `column` of the links; these are sorted by column 0, the zones."""
    known, wanted = links[:, column], sorted(of)
    if column == 0:
        begin, end = (np.searchsorted(known, wanted, side) for side in ("left", "right"))
        rows = [row for b, e in zip(begin.tolist(), end.tolist(), strict=True) for row in range(b, e)]
        return set(links[rows, 1].tolist())
    # Of one area, as it is most often, this is the quicker look.
    found = known == wanted[0] if len(wanted) == 1 else np.isin(known, wanted)
    return set(links[found, 0].tolist())
