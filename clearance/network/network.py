"""The turn-aware network of an area, as dense arrays.

OSM ids become dense integers once, here; they come back only when a result is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.extract import ExtractInfo
    from clearance.core.mapline import MapLine
    from clearance.core.places import Place
    from clearance.core.structure import Structure

    I8 = npt.NDArray[np.uint8]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]
    F64 = npt.NDArray[np.float64]
    Bool = npt.NDArray[np.bool_]

__all__ = [
    "ACCESS_CLOSED",
    "ACCESS_ENDS",
    "ACCESS_OPEN",
    "FLAG_CAR_PARK",
    "FLAG_DRIVE_THROUGH",
    "FLAG_HAZMAT_BAN",
    "NODE_CAR_PARK",
    "NODE_TURNING_CIRCLE",
    "NODE_TURNING_LOOP",
    "NO_LIMIT",
    "SLIGHT_WEIGHT",
    "Network",
    "Rule",
    "WayRow",
]

#: "No figure" in every int32 limit array: larger than any real limit, safe to compare.
NO_LIMIT = np.int32(2**31 - 1)

#: `structure_weight` of a slight structure (see core.structure.Structure). Judgement, no source.
SLIGHT_WEIGHT = 0.1

ACCESS_OPEN = 0
ACCESS_ENDS = 1  # private, customers, destination, delivery: only in the zone that holds an end
ACCESS_CLOSED = 2

FLAG_DRIVE_THROUGH = 1  # service=drive-through: never for a coach (common practice, no source)
FLAG_CAR_PARK = 2  # deck or ramp of a multi-storey or underground car park: never for a coach
FLAG_HAZMAT_BAN = 4  # closed with propane aboard

NODE_TURNING_CIRCLE = 1  # highway=turning_circle: of unknown size, so no drive turns there
NODE_TURNING_LOOP = 2  # highway=turning_loop: the one kind of node where a drive may turn round
NODE_CAR_PARK = 4  # entrance of a multi-storey or underground car park: never for a coach


@dataclass(frozen=True, slots=True)
class WayRow:
    """What outputs need of a way: OSM id, name, ref, highway value, all tags."""

    id: int
    name: str
    ref: str
    highway: str
    tags: dict[str, str]


@dataclass(frozen=True, slots=True)
class Rule:
    """A condition on a turn, on access or on a limit, judged when a vehicle and a time are known.

    `target` is ``turn``, ``access``, ``width``, ``length``, ``weight`` or ``hazmat``. `value` is what holds
    while `condition` does, and always where that is empty: an access class for ``access``, tenths of a
    millimetre or kilograms for a limit, 1 for a ban. `modes` is what the rule binds: ``motorhome`` for the
    coach, ``motorcar`` for the car, ``trailer`` or ``caravan`` for who tows; empty for every motor
    vehicle. `element` and `raw` (key=value) say where it came from.
    """

    target: str
    condition: str
    value: int
    element: str
    raw: str
    modes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """Arrays of the network, all read-only. Lengths in metres, times in seconds, heights in tenths of mm.

    Nodes (n): `node_osm` (int64), `node_lon`, `node_lat` (WGS84 degrees). A node of the network is
    a junction, an end of a way, a barrier, a place to turn or a node that a structure stands on.
    `node_access` and `node_access_car` are ACCESS_*: what passing the node is to the coach and to a car.
    `node_flags` are NODE_* bits. Nodes are in the order of a curve that keeps neighbours together.

    Arcs (a): directed pieces of a way between two such nodes, sorted by tail. `arc_tail`, `arc_head`
    index nodes; `arc_way` indexes `ways`; `arc_from` and `arc_to` are the positions of tail and head in the
    way's node list, so arc_from > arc_to where the arc runs against the way; `arc_reverse` is the
    arc the other way or -1. `arc_access` is for the coach, `arc_access_car` for a car, each one of
    ACCESS_*. `arc_flags` are FLAG_* bits. `arc_max_width` and `arc_max_length` are tenths of a
    millimetre, `arc_max_weight` kilograms, NO_LIMIT where none.

    Arcs into node v are into_ptr[v] : into_ptr[v + 1] of `into_arc` (a,).

    Geometry: piece g has points geom_ptr[g] : geom_ptr[g + 1] of `geom_lon`, `geom_lat`, in the order of
    the way; `arc_geom` gives each arc its piece, read backwards where arc_from > arc_to.

    States (s): what the searches run on. State i < a is arc i; the others are copies of an arc that
    remember a restriction over several ways. `state_arc` maps back. Turns out of state i are
    turn_ptr[i] : turn_ptr[i + 1] of `turn_to` (state) and `turn_rule` (index into `rules`, -1 where
    the turn is always open; else the turn is closed while the rule may hold). A turn that is always
    forbidden, and a U-turn that no loop permits, is absent; one through a closed node is there, see
    `node_access`. `more_turn` (turn) and `more_rule` are pairs, sorted: the rules of a turn beyond its first.

    Rules on arcs (r): `rule_arc` and `rule_index` (into `rules`) pairs, for conditional access and limits;
    `noderule_node` and `noderule_index` the same for passing a node, its limits without a condition too.

    Areas, for the coach and (`_car`) a car: `arc_area` (a), `node_area` (n), `area_links` (m, 2), see
    `network.areas.Areas`: open parts of the network and the ends-only zones that lead to them.

    Structures (k): `structures` in the order of these indices; `structure_low` int32 (k, 2) is the lowest
    figure that may hold along the way (0) and against it (1), conditions assumed to hold, NO_LIMIT where
    none; `structure_verified` bool (k, 2); `structure_weight` float64 (k,) the part of the policy's seconds
    that one passage counts while unverified, 1 but for slight ones; `structure_conditional` bool (k,) marks
    those with a conditional figure, to be judged again when the time is known. `structure_implied` int32 (k,)
    is what a country's rule promises of a structure without a sign, 0 where none does: for ranking among the
    unverified alone. `structure_over` bool (k,) marks what surely stands over a road.

    Profiles (m): `profile_height` float64 (m, s) is the height of the road in metres, at
    `core.profile.STATIONS_M` from structure `profile_structure`, sorted; none without heights of the ground.

    Hits (h), sorted by arc: structure `hit_structure` bears on arc `hit_arc` at fraction `hit_position`
    (0 at the tail, 1 at the head); from `hit_start` to `hit_end` is what it covers of the arc, and
    `hit_position` the middle of that. `hit_share` is the part of one passage of the structure that the arc
    holds: over all arcs of a passage along one way they add up to 1. `hit_passed` is False for the
    figure of a whole way, which bears on every arc of it beside the hit of the structure itself.
    `hit_side` is 0 or 1: which column of the structure arrays holds in the arc's direction.

    Node hits: structure `nodehit_structure` is passed by every turn through node `nodehit_node`.

    `block_box` float64 (b, 4) is where the arcs of each block of nodes lie, see `network.blocks`.
    `landmark_ms` int32 (n, 2 m) are the driving times from and to m landmarks, see `network.landmarks`; no
    columns in small networks.

    `backdrop` holds lines that are drawn beneath a drive and never driven on: railways.
    """

    info: ExtractInfo
    node_osm: I64
    node_lon: F64
    node_lat: F64
    node_access: I8
    node_access_car: I8
    node_flags: I8
    arc_tail: I32
    arc_head: I32
    arc_way: I32
    arc_from: I32
    arc_to: I32
    arc_reverse: I32
    arc_length: F64
    arc_seconds: F64
    arc_access: I8
    arc_access_car: I8
    arc_flags: I8
    arc_max_width: I32
    arc_max_length: I32
    arc_max_weight: I32
    arc_geom: I32
    into_ptr: I32
    into_arc: I32
    geom_ptr: I64
    geom_lon: F64
    geom_lat: F64
    state_arc: I32
    turn_ptr: I64
    turn_to: I32
    turn_rule: I32
    more_turn: I64
    more_rule: I32
    rule_arc: I32
    rule_index: I32
    noderule_node: I32
    noderule_index: I32
    arc_area: I32
    arc_area_car: I32
    node_area: I32
    node_area_car: I32
    area_links: I32
    area_links_car: I32
    structure_low: I32
    structure_verified: Bool
    structure_weight: F64
    structure_conditional: Bool
    structure_implied: I32
    structure_over: Bool
    profile_structure: I32
    profile_height: F64
    hit_arc: I32
    hit_structure: I32
    hit_position: F64
    hit_start: F64
    hit_end: F64
    hit_share: F64
    hit_passed: Bool
    hit_side: I8
    nodehit_node: I32
    nodehit_structure: I32
    block_box: F64
    landmark_ms: I32
    ways: Sequence[WayRow]
    structures: Sequence[Structure]
    rules: Sequence[Rule]
    places: Sequence[Place]
    backdrop: Sequence[MapLine]
