"""From an extract and its structures to the network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from clearance.core.profile import STATIONS_M
from clearance.core.structure import Kind
from clearance.network.areas import find_areas
from clearance.network.backdrop import railways
from clearance.network.blocks import block_boxes
from clearance.network.hits import piece_hits
from clearance.network.into import arcs_into
from clearance.network.landmarks import landmark_times
from clearance.network.network import (
    ACCESS_OPEN,
    FLAG_CAR_PARK,
    NODE_CAR_PARK,
    NODE_TURNING_CIRCLE,
    NODE_TURNING_LOOP,
    Network,
    Rule,
    WayRow,
)
from clearance.network.pieces import cut, morton_order
from clearance.network.restrictions import read_restrictions
from clearance.network.roads import node_facts, read_roads
from clearance.network.sorted_rows import rows_of
from clearance.network.structure_arrays import read_only, structure_arrays
from clearance.network.turns import ArcTable, build_turns

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt

    from clearance.core.extract import Extract
    from clearance.core.places import Place
    from clearance.core.structure import Structure
    from clearance.network.hits import PieceHits
    from clearance.network.network import F64, I8, I32, I64
    from clearance.network.pieces import Pieces
    from clearance.network.roads import Roads

__all__ = ["build_network"]

_LIMIT_KEYS = ("maxwidth", "maxlength", "maxweight")
_TURNING = {"turning_circle": NODE_TURNING_CIRCLE, "turning_loop": NODE_TURNING_LOOP}


def build_network(extract: Extract, structures: Sequence[Structure], places: Sequence[Place] = ()) -> Network:
    """The turn-aware network of the roads in `extract` that a coach or a car may use.

    `structures` keep their order and are all kept, those that stand over no road too. The network's
    `info` is the extract's with a warning for each restriction, limit or direction that could not be
    taken as mapped. The same input gives the same arrays.
    """
    roads = read_roads(extract.ways)
    tagged = _Tagged.of(extract)
    standing = [node for structure in structures for node in structure.nodes]
    special = np.unique(np.array([*tagged.special, *standing], dtype=np.int64))
    pieces = cut(extract, roads.ways, special)

    used = np.unique(np.concatenate((pieces.start, pieces.end)))
    used = used[morton_order(extract.lon[used], extract.lat[used], extract.node_ids[used])]
    dense = np.full(extract.node_ids.size, -1, np.int32)
    dense[used] = np.arange(used.size)
    node_osm = extract.node_ids[used]
    index = {int(osm): i for osm, i in zip(special, _find(node_osm, special), strict=True) if i >= 0}
    nodes = tagged.nodes(index, used.size)

    arcs = _Arcs.of(roads, pieces, dense)
    out_bearing, in_bearing = _bearings(extract, pieces)
    restrictions, faults = read_restrictions(extract.relations)
    way_ids = np.array([way.id for way in roads.ways], dtype=np.int64)
    turns = build_turns(
        ArcTable(
            tail=arcs.tail,
            head=arcs.head,
            way=arcs.way,
            reverse=arcs.reverse,
            bearing_out=np.where(arcs.side == 0, out_bearing[arcs.piece], in_bearing[arcs.piece] + 180),
            bearing_in=np.where(arcs.side == 0, in_bearing[arcs.piece], out_bearing[arcs.piece] + 180),
            node_osm=node_osm,
            way_ids=way_ids,
            loop=(nodes.flags & NODE_TURNING_LOOP) > 0,
        ),
        restrictions,
        {way.id: way.nodes for way in extract.ways},
    )

    rows = {way.id: row for row, way in enumerate(roads.ways)}
    on_pieces = piece_hits(structures, rows, pieces)
    hits = _hit_arrays(on_pieces, arcs)
    flags = roads.flags[arcs.way].copy()
    flags[_deck_arcs(structures, on_pieces, roads, arcs)] |= FLAG_CAR_PARK
    standing_on = [
        (index[osm], k) for k, structure in enumerate(structures) for osm in structure.nodes if osm in index
    ]
    standing_on = sorted(set(standing_on))
    _mark_decks(nodes.flags, standing_on, structures, roads, arcs)

    rules, rule_arc, rule_index, node_rules = _rules(turns.rules, roads, arcs, nodes)
    access = roads.access[arcs.way, arcs.side]
    access_car = roads.access_car[arcs.way, arcs.side]
    areas = find_areas(arcs.tail, arcs.head, access, nodes.access)
    areas_car = find_areas(arcs.tail, arcs.head, access_car, nodes.access_car)
    info = replace(
        extract.info,
        warnings=(*extract.info.warnings, *roads.warnings, *nodes.warnings, *faults, *turns.warnings),
    )
    into_ptr, into_arc = arcs_into(arcs.head, used.size)
    lon, lat = extract.lon[pieces.points], extract.lat[pieces.points]
    seconds = pieces.length[arcs.piece] * 3.6 / roads.kmh[arcs.way, arcs.side]
    network = Network(
        info=info,
        node_osm=node_osm,
        node_lon=extract.lon[used],
        node_lat=extract.lat[used],
        node_access=nodes.access,
        node_access_car=nodes.access_car,
        node_flags=nodes.flags,
        arc_tail=arcs.tail,
        arc_head=arcs.head,
        arc_way=arcs.way,
        arc_from=arcs.first,
        arc_to=arcs.last,
        arc_reverse=arcs.reverse,
        arc_length=pieces.length[arcs.piece],
        arc_seconds=seconds,
        arc_access=access,
        arc_access_car=access_car,
        arc_flags=flags,
        arc_max_width=roads.width[arcs.way, arcs.side],
        arc_max_length=roads.length[arcs.way, arcs.side],
        arc_max_weight=roads.weight[arcs.way, arcs.side],
        arc_geom=arcs.piece,
        into_ptr=into_ptr,
        into_arc=into_arc,
        geom_ptr=pieces.ptr,
        geom_lon=lon,
        geom_lat=lat,
        state_arc=turns.state_arc,
        turn_ptr=turns.turn_ptr,
        turn_to=turns.turn_to,
        turn_rule=turns.turn_rule,
        more_turn=turns.more_turn,
        more_rule=turns.more_rule,
        rule_arc=rule_arc,
        rule_index=rule_index,
        noderule_node=np.array([node for node, _ in node_rules], dtype=np.int32),
        noderule_index=np.array([rule for _, rule in node_rules], dtype=np.int32),
        arc_area=areas.arc,
        arc_area_car=areas_car.arc,
        node_area=areas.node,
        node_area_car=areas_car.node,
        area_links=areas.links,
        area_links_car=areas_car.links,
        **structure_arrays(structures),
        profile_structure=np.zeros(0, np.int32),
        profile_height=np.zeros((0, STATIONS_M.size), np.float64),
        **hits,
        nodehit_node=np.array([node for node, _ in standing_on], dtype=np.int32),
        nodehit_structure=np.array([k for _, k in standing_on], dtype=np.int32),
        block_box=block_boxes(arcs.tail, arcs.piece, geom_ptr=pieces.ptr, lon=lon, lat=lat, nodes=used.size),
        landmark_ms=landmark_times(arcs.tail, arcs.head, seconds, used.size),
        ways=tuple(
            WayRow(
                way.id,
                way.tags.get("name", ""),
                way.tags.get("ref", ""),
                way.tags.get("highway", ""),
                dict(way.tags),
            )
            for way in roads.ways
        ),
        structures=tuple(structures),
        rules=rules,
        places=tuple(places),
        backdrop=tuple(railways(extract)),
    )
    return read_only(network)


def _find(sorted_by_curve: I64, wanted: I64) -> I64:
    """The index of each wanted OSM id among the nodes, -1 where it is none of them."""
    order = np.argsort(sorted_by_curve, kind="stable")
    at = np.searchsorted(sorted_by_curve, wanted, sorter=order)
    found = order[np.minimum(at, order.size - 1)] if order.size else np.zeros(wanted.size, np.int64)
    if order.size:
        found[sorted_by_curve[found] != wanted] = -1
        return found
    return found - 1


@dataclass(frozen=True, slots=True)
class _Nodes:
    """Access, flags, rules of the nodes of the network."""

    access: I8
    access_car: I8
    flags: I8
    rules: list[tuple[int, Rule]]
    warnings: list[str]


@dataclass(frozen=True, slots=True)
class _Tagged:
    """The tagged nodes that matter to a drive."""

    tags: Mapping[int, Mapping[str, str]]
    special: list[int]

    @classmethod
    def of(cls, extract: Extract) -> _Tagged:
        special = [
            osm
            for osm, tags in extract.node_tags.items()
            if tags.get("barrier", "no") != "no"
            or tags.get("highway") in _TURNING
            or any(key.startswith(_LIMIT_KEYS) for key in tags)
        ]
        return cls(extract.node_tags, sorted(special))

    def nodes(self, index: Mapping[int, int], count: int) -> _Nodes:
        """What holds at each of `count` nodes; `index` finds the special ones."""
        nodes = _Nodes(
            np.full(count, ACCESS_OPEN, np.uint8),
            np.full(count, ACCESS_OPEN, np.uint8),
            np.zeros(count, np.uint8),
            [],
            [],
        )
        for osm in self.special:
            at = index.get(osm)
            if at is None:
                continue
            tags = self.tags[osm]
            facts = node_facts(tags, f"node/{osm}")
            nodes.access[at] = facts.access
            nodes.access_car[at] = facts.access_car
            nodes.flags[at] = _TURNING.get(tags.get("highway", ""), 0)
            nodes.rules.extend((at, rule) for rule in facts.rules)
            nodes.warnings.extend(facts.warnings)
        return nodes


@dataclass(frozen=True, slots=True)
class _Arcs:
    """Arcs in the order of the network; `side` is 0 along the way, 1 against it."""

    piece: I32
    side: I8
    tail: I32
    head: I32
    way: I32
    first: I32
    last: I32
    reverse: I32
    of_piece: npt.NDArray[np.int64]

    @classmethod
    def of(cls, roads: Roads, pieces: Pieces, dense: I32) -> _Arcs:
        usable = roads.usable[pieces.row].reshape(-1, 2)
        piece, side = np.nonzero(usable)
        along = side == 0
        start, end = dense[pieces.start], dense[pieces.end]
        tail = np.where(along, start[piece], end[piece])
        head = np.where(along, end[piece], start[piece])
        order = np.lexsort((side, piece, tail))
        piece, side, tail, head = piece[order], side[order], tail[order], head[order]
        along = side == 0
        of_piece = np.full((usable.shape[0], 2), -1, np.int64)
        of_piece[piece, side] = np.arange(piece.size)
        return cls(
            piece=piece.astype(np.int32),
            side=side.astype(np.uint8),
            tail=tail.astype(np.int32),
            head=head.astype(np.int32),
            way=pieces.row[piece].astype(np.int32),
            first=np.where(along, pieces.first[piece], pieces.last[piece]).astype(np.int32),
            last=np.where(along, pieces.last[piece], pieces.first[piece]).astype(np.int32),
            reverse=of_piece[piece, 1 - side].astype(np.int32),
            of_piece=of_piece,
        )


def _bearings(extract: Extract, pieces: Pieces) -> tuple[F64, F64]:
    """Bearings along each piece at its two ends, in degrees clockwise from north; plane near the place."""

    def bearing(a: I64, b: I64) -> F64:
        east = (extract.lon[b] - extract.lon[a]) * np.cos(np.radians(extract.lat[a]))
        return np.degrees(np.arctan2(east, extract.lat[b] - extract.lat[a]))

    begin, stop = pieces.ptr[:-1], pieces.ptr[1:]
    return (
        bearing(pieces.points[begin], pieces.points[begin + 1]),
        bearing(pieces.points[stop - 2], pieces.points[stop - 1]),
    )


def _hit_arrays(on_pieces: PieceHits, arcs: _Arcs) -> dict[str, Any]:
    """The hits on arcs, sorted by arc and then by place."""
    both = np.concatenate([arcs.of_piece[on_pieces.piece, side] for side in (0, 1)])
    count = on_pieces.piece.size
    side = np.repeat(np.array([0, 1], np.uint8), count)
    start = np.concatenate((on_pieces.start, 1 - on_pieces.end))
    end = np.concatenate((on_pieces.end, 1 - on_pieces.start))
    position = (start + end) / 2
    structure = np.tile(on_pieces.structure, 2)
    real = both >= 0
    order = np.lexsort((structure[real], position[real], both[real]))

    def sorted_(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        return values[real][order]

    return {
        "hit_arc": sorted_(both.astype(np.int32)),
        "hit_structure": sorted_(structure),
        "hit_position": sorted_(position),
        "hit_start": sorted_(start),
        "hit_end": sorted_(end),
        "hit_share": sorted_(np.tile(on_pieces.share, 2)),
        "hit_passed": sorted_(np.tile(on_pieces.passed, 2)),
        "hit_side": sorted_(side),
    }


def _deck_arcs(
    structures: Sequence[Structure], on_pieces: PieceHits, roads: Roads, arcs: _Arcs
) -> npt.NDArray[np.bool_]:
    """Arcs inside a car park. Only service ways: a street may run through below one."""
    deck = np.array([s.kind is Kind.CAR_PARK for s in structures], dtype=np.bool_)
    covers = on_pieces.passed & (on_pieces.end > on_pieces.start)
    inside = np.zeros(arcs.of_piece.shape[0], np.bool_)
    if deck.size:
        inside[on_pieces.piece[covers & deck[on_pieces.structure]]] = True
    return inside[arcs.piece] & _is_service(roads)[arcs.way]


def _is_service(roads: Roads) -> npt.NDArray[np.bool_]:
    return np.array([way.tags.get("highway") == "service" for way in roads.ways], dtype=np.bool_)


def _mark_decks(
    flags: I8,
    standing_on: Iterable[tuple[int, int]],
    structures: Sequence[Structure],
    roads: Roads,
    arcs: _Arcs,
) -> None:
    """Mark the nodes where a car park is entered, where only service ways meet."""
    entrances = np.array(
        [node for node, k in standing_on if structures[k].kind is Kind.CAR_PARK], dtype=np.int32
    )
    if entrances.size:
        # Marked once for all entrances: a look through all arcs for each would take them squared.
        other = ~_is_service(roads)[arcs.way]
        on_street = np.zeros(flags.size, np.bool_)
        on_street[arcs.tail[other]] = on_street[arcs.head[other]] = True
        flags[entrances[~on_street[entrances]]] |= NODE_CAR_PARK


def _rules(
    turn_rules: Sequence[Rule], roads: Roads, arcs: _Arcs, nodes: _Nodes
) -> tuple[tuple[Rule, ...], I32, I32, list[tuple[int, int]]]:
    """One table of rules, those of turns first, and its pairs with arcs and nodes."""
    table = list(turn_rules)
    on_arcs: list[tuple[int, int]] = []
    by_way = np.argsort(arcs.way, kind="stable")
    sorted_way = arcs.way[by_way]
    known: dict[Rule, int] = {}
    for row, side, rule in roads.rules:
        at = known.setdefault(rule, len(table))
        if at == len(table):
            table.append(rule)
        first, last = rows_of(sorted_way, row)
        on_arcs += [(int(arc), at) for arc in by_way[first:last] if arcs.side[arc] == side]
    on_nodes = [(node, len(table) + i) for i, (node, _) in enumerate(nodes.rules)]
    table += [rule for _, rule in nodes.rules]
    on_arcs.sort()
    on_nodes.sort()
    return (
        tuple(table),
        np.array([arc for arc, _ in on_arcs], dtype=np.int32),
        np.array([rule for _, rule in on_arcs], dtype=np.int32),
        on_nodes,
    )
