#!/usr/bin/env python3
"""Makes large inputs for measuring: a synthetic network, or a real extract many times over.

    .venv/bin/python scripts/make_network.py synthetic NODES OUT.roads [--seed N]
    .venv/bin/python scripts/make_network.py tile IN.osm.pbf TIMES OUT.osm.pbf
    .venv/bin/python scripts/make_network.py tile IN.osm.pbf TIMES OUT.roads

A synthetic network is a thinned Delaunay triangulation of random points out at sea. A tiled one has
copies of the extract side by side, eastwards, and in a map file northwards too where a row is full, under
other ids: the structure of a real place, at any size.
In a tiled road file a road that is not on the map joins each copy to the next, so that drives lead through.
The same arguments always make the same network.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numba import njit

from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way
from clearance.core.lengths import Length
from clearance.core.profile import STATIONS_M
from clearance.core.structure import Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network.areas import find_areas
from clearance.network.blocks import block_boxes
from clearance.network.into import arcs_into
from clearance.network.landmarks import landmark_times
from clearance.network.network import ACCESS_OPEN, NO_LIMIT, Network, WayRow
from clearance.network.pieces import morton_order
from clearance.network.structure_arrays import structure_arrays
from clearance.network.turns import ArcTable, build_turns

if TYPE_CHECKING:
    import numpy.typing as npt

    F64 = npt.NDArray[np.float64]
    I64 = npt.NDArray[np.int64]

__all__ = ["joined", "synthetic", "tile_file", "tiled"]

#: The origin of the synthetic network, open water, and metres per degree there (WGS84).
LON0, LAT0 = -40.0, 45.0
M_PER_LON, M_PER_LAT = 78846.8, 111131.8
#: Metres between neighbouring nodes, on the average of a square.
SPACING_M = 100.0
#: Directed arcs a node, the share of one-way pieces and of pieces under a structure, as roads have them.
ARCS_A_NODE, ONE_WAY, UNDER = 2.67, 0.08, 0.02
#: Of the structures, the share without any figure.
NO_FIGURE = 0.25
#: Points of a piece, its ends among them.
POINTS = 4
#: The longest way, in pieces.
LONGEST_WAY = 8
#: Highway values with their speed and share of the ways.
ROADS = (
    ("residential", 40.0, 0.5),
    ("unclassified", 50.0, 0.2),
    ("tertiary", 60.0, 0.15),
    ("secondary", 75.0, 0.1),
    ("primary", 90.0, 0.05),
)
#: Between the ids of one copy and the next; real ids are well below.
ID_STEP = 20_000_000_000
UNITS = 10_000_000
#: Between copies, in 1e-7 degrees.
GAP = UNITS // 50
#: Roads that copies are joined by.
_MAIN = frozenset({"primary", "secondary"})


@dataclass(frozen=True)
class Pieces:
    """Undirected pieces of ways, in the order of the ways and along each; all arrays are (g,).

    `start` and `end` index nodes, in the order of the way; `one_way` pieces are driven that way only.
    """

    start: I64
    end: I64
    way: I64
    position: I64
    one_way: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Shapes:
    """The points of each piece, `lon` and `lat` (g, POINTS), and its length in metres (g,)."""

    lon: F64
    lat: F64
    length: F64


def synthetic(nodes: int, seed: int = 1) -> Network:
    """A network of about `nodes` nodes with 2.67 arcs each.

    Every node can be reached from every other but for dead ends, where a drive cannot turn round. 8 % of the
    pieces are one-way; 2 % of all pass under a structure of 2.5 to 5 m, a quarter of which have no figure.

    Raises ValueError for fewer than 100 nodes.
    """
    if nodes < 100:
        raise ValueError("a synthetic network needs 100 nodes or more")
    random = np.random.default_rng(seed)
    lon, lat, one, other, one_way = _thinned(nodes, random)
    pieces = _along_ways(lon, lat, one, other, one_way)
    road = random.choice(len(ROADS), p=[share for _, _, share in ROADS], size=int(pieces.way.max()) + 1)
    shapes = _shapes(lon, lat, pieces, random)
    ways = tuple(
        WayRow(1000 + i, f"{ROADS[kind][0].title()} Way {i % 977}", "", ROADS[kind][0], dict(_TAGS[kind]))
        for i, kind in enumerate(road.tolist())
    )
    kmh = np.array([speed for _, speed, _ in ROADS])[road]
    arrays = _arcs(pieces, shapes, kmh, nodes)
    structures, over = _structures(pieces, shapes, random)
    into_ptr, into_arc = arcs_into(arrays["arc_head"], nodes)
    geom_ptr = np.arange(len(pieces.start) + 1, dtype=np.int64) * POINTS
    geom_lon, geom_lat = shapes.lon.reshape(-1), shapes.lat.reshape(-1)
    return Network(
        info=ExtractInfo(source=f"synthetic network of {nodes} nodes, seed {seed}", data_date="2026-01-01"),
        node_osm=np.arange(1, nodes + 1, dtype=np.int64),
        node_lon=lon,
        node_lat=lat,
        into_ptr=into_ptr,
        into_arc=into_arc,
        geom_ptr=geom_ptr,
        geom_lon=geom_lon,
        geom_lat=geom_lat,
        block_box=block_boxes(
            arrays["arc_tail"],
            arrays["arc_geom"],
            geom_ptr=geom_ptr,
            lon=geom_lon,
            lat=geom_lat,
            nodes=nodes,
        ),
        landmark_ms=landmark_times(arrays["arc_tail"], arrays["arc_head"], arrays["arc_seconds"], nodes),
        **arrays,
        **_hits(structures, over, arrays),
        ways=ways,
        structures=structures,
        places=(),
        backdrop=(),
    )


_TAGS = [{"highway": name} for name, _, _ in ROADS]


def _thinned(nodes: int, random: np.random.Generator) -> tuple[F64, F64, I64, I64, npt.NDArray[np.bool_]]:
    """Places of nodes along a curve that keeps neighbours together, the ends of edges, one-way or not.

    The edges are the shortest tree that joins all, and the shorter ones of the rest with some luck. Only
    the rest are made one-way, so that the tree leads everywhere.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import minimum_spanning_tree
    from scipy.spatial import Delaunay

    place = random.uniform(0, SPACING_M * nodes**0.5, (nodes, 2))
    lon = np.round(LON0 + place[:, 0] / M_PER_LON, 7)
    lat = np.round(LAT0 + place[:, 1] / M_PER_LAT, 7)
    order = morton_order(lon, lat, np.arange(nodes))
    lon, lat, place = lon[order], lat[order], place[order]

    corners = Delaunay(place).simplices.astype(np.int64)
    pairs = np.sort(np.concatenate((corners[:, :2], corners[:, 1:], corners[:, ::2])), axis=1)
    keys = np.unique(pairs[:, 0] * nodes + pairs[:, 1])
    del corners, pairs
    one, other = keys // nodes, keys % nodes
    length = np.hypot(*(place[one] - place[other]).T)
    tree = minimum_spanning_tree(coo_array((length, (one, other)), shape=(nodes, nodes)).tocsr()).tocoo()
    in_tree = np.isin(keys, np.minimum(*tree.coords).astype(np.int64) * nodes + np.maximum(*tree.coords))
    rest = np.flatnonzero(~in_tree)
    # Of e edges a share w is one-way, so that there are e * (2 - w) arcs.
    wanted = round(ARCS_A_NODE * nodes / (2 - ONE_WAY))
    luck = length[rest] * random.uniform(0.5, 1.5, len(rest))
    added = rest[np.argsort(luck)[: wanted - int(in_tree.sum())]]
    kept = np.sort(np.concatenate((np.flatnonzero(in_tree), added)))
    one_way = np.zeros(len(keys), dtype=np.bool_)
    one_way[random.choice(added, round(ONE_WAY * len(kept)), replace=False)] = True
    flip = random.random(len(kept)) < 0.5
    ends = np.stack((one[kept], other[kept]), axis=1)
    ends[flip] = ends[flip, ::-1]
    return lon, lat, ends[:, 0].copy(), ends[:, 1].copy(), one_way[kept]


@njit
def _chained(begin, edges, one, other, one_way, x, y):  # type: ignore[no-untyped-def]  # noqa: PLR0917, compiled
    """Way, position and orientation of each edge: from an edge on, the straightest next while one is left."""
    count = one.size
    way = np.full(count, -1, np.int64)
    position = np.zeros(count, np.int64)
    turned = np.zeros(count, np.bool_)
    ways = 0
    for first in range(count):
        if way[first] >= 0:
            continue
        way[first] = ways
        before, at = one[first], other[first]
        for step in range(1, LONGEST_WAY):
            best, least = -1, 0.6
            for k in range(begin[at], begin[at + 1]):
                edge = edges[k]
                if way[edge] >= 0 or one_way[edge] != one_way[first]:
                    continue
                if one_way[edge] and one[edge] != at:
                    continue
                to = other[edge] if one[edge] == at else one[edge]
                ax, ay, bx, by = x[at] - x[before], y[at] - y[before], x[to] - x[at], y[to] - y[at]
                straight = (ax * bx + ay * by) / (np.hypot(ax, ay) * np.hypot(bx, by) + 1e-12)
                if straight > least:
                    best, least = edge, straight
            if best < 0:
                break
            way[best] = ways
            position[best] = step
            turned[best] = one[best] != at
            before, at = at, other[best] if one[best] == at else one[best]
        ways += 1
    return way, position, turned


def _along_ways(lon: F64, lat: F64, one: I64, other: I64, one_way: npt.NDArray[np.bool_]) -> Pieces:
    """The edges as pieces of ways of up to eight."""
    both = np.concatenate((one, other))
    order = np.argsort(both, kind="stable")
    begin = np.searchsorted(both[order], np.arange(len(lon) + 1))
    x, y = lon * M_PER_LON, lat * M_PER_LAT
    way, position, turned = _chained(begin, order % len(one), one, other, one_way, x, y)
    start, end = np.where(turned, other, one), np.where(turned, one, other)
    order = np.lexsort((position, way))
    return Pieces(start[order], end[order], way[order], position[order], one_way[order])


def _shapes(lon: F64, lat: F64, pieces: Pieces, random: np.random.Generator) -> Shapes:
    """Each piece, a little bent."""
    part = np.linspace(0, 1, POINTS)
    ax, ay, bx, by = lon[pieces.start], lat[pieces.start], lon[pieces.end], lat[pieces.end]
    bend = random.normal(0, 0.06, (len(ax), POINTS))
    bend[:, [0, -1]] = 0
    across = M_PER_LAT / M_PER_LON
    x = np.round(ax[:, None] + part * (bx - ax)[:, None] - bend * ((by - ay) * across)[:, None], 7)
    y = np.round(ay[:, None] + part * (by - ay)[:, None] + bend * ((bx - ax) / across)[:, None], 7)
    steps = np.hypot(np.diff(x, axis=1) * M_PER_LON, np.diff(y, axis=1) * M_PER_LAT)
    return Shapes(x, y, steps.sum(axis=1))


def _arcs(pieces: Pieces, shapes: Shapes, kmh: F64, nodes: int) -> dict[str, Any]:
    """Arrays of arcs, states, turns and areas as `Network` names them."""
    count = len(pieces.start)
    piece = np.concatenate((np.arange(count), np.flatnonzero(~pieces.one_way)))
    against = np.arange(len(piece)) >= count
    tail = np.where(against, pieces.end[piece], pieces.start[piece])
    order = np.lexsort((against, piece, tail))
    piece, against, tail = piece[order], against[order], tail[order]
    head = np.where(against, pieces.start[piece], pieces.end[piece]).astype(np.int32)
    of_piece = np.full((2, count), -1, dtype=np.int32)
    of_piece[against.astype(np.int64), piece] = np.arange(len(piece))
    east, north = np.diff(shapes.lon, axis=1) * M_PER_LON, np.diff(shapes.lat, axis=1) * M_PER_LAT
    along = np.degrees(np.arctan2(east, north))
    tail32, way = tail.astype(np.int32), pieces.way[piece].astype(np.int32)
    reverse = of_piece[1 - against.astype(np.int64), piece]
    length = shapes.length
    turns = build_turns(
        ArcTable(
            tail=tail32,
            head=head,
            way=way,
            reverse=reverse,
            bearing_out=np.where(against, along[piece, -1] + 180, along[piece, 0]),
            bearing_in=np.where(against, along[piece, 0] + 180, along[piece, -1]),
            node_osm=np.arange(1, nodes + 1, dtype=np.int64),
            way_ids=np.arange(1000, 1000 + len(kmh), dtype=np.int64),
            loop=np.zeros(nodes, dtype=np.bool_),
        ),
        (),
        {},
    )
    first = pieces.position[piece] * (POINTS - 1)
    open_arcs = np.full(len(piece), ACCESS_OPEN, dtype=np.uint8)
    open_nodes = np.full(nodes, ACCESS_OPEN, dtype=np.uint8)
    areas = find_areas(tail32, head, open_arcs, open_nodes)
    no_limit = np.full(len(piece), NO_LIMIT, dtype=np.int32)
    none = np.zeros(0, dtype=np.int32)
    return {
        "node_access": open_nodes,
        "node_access_car": open_nodes,
        "node_flags": np.zeros(nodes, dtype=np.uint8),
        "arc_tail": tail32,
        "arc_head": head,
        "arc_way": way,
        "arc_from": (first + against * (POINTS - 1)).astype(np.int32),
        "arc_to": (first + ~against * (POINTS - 1)).astype(np.int32),
        "arc_reverse": reverse,
        "arc_length": length[piece],
        "arc_seconds": length[piece] * 3.6 / kmh[way],
        "arc_access": open_arcs,
        "arc_access_car": open_arcs,
        "arc_flags": np.zeros(len(piece), dtype=np.uint8),
        "arc_max_width": no_limit,
        "arc_max_length": no_limit,
        "arc_max_weight": no_limit,
        "arc_geom": piece.astype(np.int32),
        "state_arc": turns.state_arc,
        "turn_ptr": turns.turn_ptr,
        "turn_to": turns.turn_to,
        "turn_rule": turns.turn_rule,
        "more_turn": turns.more_turn,
        "more_rule": turns.more_rule,
        "rules": turns.rules,
        "rule_arc": none,
        "rule_index": none,
        "noderule_node": none,
        "noderule_index": none,
        "arc_area": areas.arc,
        "arc_area_car": areas.arc,
        "node_area": areas.node,
        "node_area_car": areas.node,
        "area_links": areas.links,
        "area_links_car": areas.links,
    }


def _structures(
    pieces: Pieces, shapes: Shapes, random: np.random.Generator
) -> tuple[tuple[Structure, ...], I64]:
    """Structures over the middles of random pieces, and the piece of each; keys in order."""
    over = np.sort(random.choice(len(pieces.way), round(UNDER * len(pieces.way)), replace=False))
    tenths = random.integers(25_000, 50_001, len(over)).tolist()
    known = (random.random(len(over)) >= NO_FIGURE).tolist()
    kinds = random.choice([Kind.BRIDGE, Kind.RAIL_BRIDGE, Kind.FOOTBRIDGE], len(over)).tolist()
    middle = POINTS // 2
    rows = zip(
        over.tolist(),
        (pieces.way[over] + 1000).tolist(),
        ((pieces.position[over] + 0.5) * (POINTS - 1)).tolist(),
        np.round(shapes.lon[over, middle - 1 : middle + 1].mean(axis=1), 7).tolist(),
        np.round(shapes.lat[over, middle - 1 : middle + 1].mean(axis=1), 7).tolist(),
        tenths,
        known,
        kinds,
        strict=True,
    )
    return (
        tuple(
            Structure(
                key=f"way/{way}:way/{10_000_000 + piece}:1",
                kind=Kind(kind),
                lon=lon,
                lat=lat,
                evidence=(_posted(way, height),) if told else (),
                spans=(Span(way=way, start=place, end=place),),
                upper=f"way/{10_000_000 + piece}",
            )
            for piece, way, place, lon, lat, height, told, kind in rows
        ),
        over,
    )


def _posted(way: int, tenths: int) -> Evidence:
    length = Length(tenths)
    return Evidence(
        evidence_class=EvidenceClass.POSTED,
        figure=length,
        element=f"way/{way}",
        key="maxheight",
        raw=f"{length.metres}",
    )


def _hits(structures: tuple[Structure, ...], over: I64, arrays: dict[str, Any]) -> dict[str, Any]:
    """Arrays of structures and hits as `Network` names them: a crossing in the middle of each arc."""
    at_piece = np.full(int(arrays["arc_geom"].max()) + 1, -1, dtype=np.int32)
    at_piece[over] = np.arange(len(over))
    structure = at_piece[arrays["arc_geom"]]
    arc = np.flatnonzero(structure >= 0)
    middle = np.full(len(arc), 0.5)
    none = np.zeros(0, dtype=np.int32)
    return {
        **structure_arrays(structures),
        "profile_structure": np.zeros(0, np.int32),
        "profile_height": np.zeros((0, STATIONS_M.size), np.float64),
        "hit_arc": arc.astype(np.int32),
        "hit_structure": structure[arc],
        "hit_position": middle,
        "hit_start": middle,
        "hit_end": middle,
        "hit_share": np.ones(len(arc)),
        "hit_passed": np.ones(len(arc), dtype=np.bool_),
        "hit_side": (arrays["arc_from"][arc] > arrays["arc_to"][arc]).astype(np.uint8),
        "nodehit_node": none,
        "nodehit_structure": none,
    }


# --- a real extract, many times over -----------------------------------------------------------------


def _room(west: int, east: int) -> int:
    """How many copies there are room for, eastwards to 180 degrees."""
    return (180 * UNITS - east) // (east - west + GAP) + 1


def _shift(west: int, east: int, times: int) -> int:
    """From one copy to the next, in 1e-7 degrees: the width and a gap of 0.02 degrees.

    Raises ValueError where the last copy would not end before 180 degrees.
    """
    if times > _room(west, east):
        raise ValueError(f"there is room for {_room(west, east)} copies, not {times}")
    return east - west + GAP


def _check_ids(highest: int) -> None:
    if highest >= ID_STEP:
        raise ValueError(f"id {highest} is too high for copies, {ID_STEP} apart")


def tiled(extract: Extract, times: int) -> Extract:
    """`times` copies of an extract side by side, eastwards, ids of each 20,000,000,000 above the last's.

    Raises ValueError where there is no room for as many.
    """
    x = np.rint(extract.lon * UNITS).astype(np.int64)
    shift = _shift(int(x.min()), int(x.max()), times)
    _check_ids(int(extract.node_ids.max()))
    copies = [k * ID_STEP for k in range(times)]
    return replace(
        extract,
        info=replace(extract.info, source=f"{extract.info.source}, {times} times"),
        node_ids=np.concatenate([extract.node_ids + more for more in copies]),
        lon=np.concatenate([(x + k * shift) / UNITS for k in range(times)]),
        lat=np.tile(extract.lat, times),
        ways=tuple(
            Way(way.id + more, tuple([node + more for node in way.nodes]), way.tags)
            for more in copies
            for way in extract.ways
        ),
        node_tags={ref + more: tags for more in copies for ref, tags in extract.node_tags.items()},
        relations=tuple(
            Relation(r.id + more, tuple(Member(m.kind, m.ref + more, m.role) for m in r.members), r.tags)
            for more in copies
            for r in extract.relations
        ),
    )


def joined(extract: Extract, times: int) -> Extract:
    """`tiled`, with a straight two-way road from the main roads of each copy to those of the next.

    Raises ValueError where there is no room for as many, or no two-way primary or secondary road to join.
    """
    mains = [w for w in extract.ways if w.tags.get("highway") in _MAIN and w.tags.get("oneway", "no") == "no"]
    if not mains:
        raise ValueError("the extract has no two-way primary or secondary road to join copies by")
    on_mains = np.unique(np.array([node for way in mains for node in way.nodes]))
    places = extract.lon[np.searchsorted(extract.node_ids, on_mains)]
    west, east = int(on_mains[places.argmin()]), int(on_mains[places.argmax()])
    made = tiled(extract, times)
    way = max(w.id for w in extract.ways) + 1
    _check_ids(way)
    joints = [
        Way(way + k * ID_STEP, (east + k * ID_STEP, west + (k + 1) * ID_STEP), {"highway": "primary"})
        for k in range(times - 1)
    ]
    return replace(made, ways=tuple(sorted((*made.ways, *joints), key=lambda w: w.id)))


def tile_file(source: Path, target: Path, times: int) -> None:
    """Write `times` copies of everything in the OpenStreetMap file `source` to the file `target`.

    Raises ValueError where there is no room for as many, OSError or RuntimeError from the library.
    """
    import osmium
    from osmium.osm import NODE, Node
    from tile_pbf import write_copies

    west, east, highest = 180 * UNITS, -180 * UNITS, 0
    south, north = 90 * UNITS, -90 * UNITS
    for thing in osmium.FileProcessor(str(source), NODE):
        if isinstance(thing, Node):
            highest = max(highest, thing.id)
            west, east = min(west, thing.location.x), max(east, thing.location.x)
            south, north = min(south, thing.location.y), max(north, thing.location.y)
    # A row along the parallel, and more of them to the north, where it takes the copies a little narrower.
    columns = min(times, _room(west, east))
    shift, rise = _shift(west, east, columns), north - south + GAP
    if north + (times - 1) // columns * rise > 90 * UNITS:
        raise ValueError(f"there is no room for {times} copies")
    _check_ids(highest)
    shifts = [(k % columns * shift, k // columns * rise) for k in range(times)]
    write_copies(source, target, ID_STEP, shifts)


def main() -> int:
    """Makes one file; 1 where it cannot be made."""
    parser = argparse.ArgumentParser(description="Makes large inputs for measuring.")
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("synthetic", help="a thinned Delaunay triangulation as a road file")
    one.add_argument("nodes", type=int)
    one.add_argument("output", type=Path)
    one.add_argument("--seed", type=int, default=1)
    other = commands.add_parser("tile", help="an extract many times over, as OpenStreetMap or road file")
    other.add_argument("source", type=Path)
    other.add_argument("times", type=int)
    other.add_argument("output", type=Path)
    asked = parser.parse_args()

    from clearance.core.errors import ClearanceError
    from clearance.network.roadfile import write_road_file

    try:
        if asked.command == "synthetic":
            write_road_file(synthetic(asked.nodes, asked.seed), asked.output)
        elif asked.output.name.endswith(".osm.pbf"):
            tile_file(asked.source, asked.output, asked.times)
        else:
            from clearance.sources.osm_file import read_osm
            from clearance.workflow import network_of

            write_road_file(network_of(joined(read_osm(asked.source), asked.times)), asked.output)
    except (ClearanceError, ValueError, OSError, RuntimeError) as error:
        print(error, file=sys.stderr)
        return 1
    print(f"{asked.output}: {asked.output.stat().st_size / 2**20:.1f} MiB")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
