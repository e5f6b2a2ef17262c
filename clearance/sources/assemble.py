"""From plain elements in any order to an Extract, by the same rules for every source."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from clearance.core.extract import Extract, ExtractInfo, Relation, Way
from clearance.sources.wanted import Want, is_area_relation, want_node, want_relation, want_way

if TYPE_CHECKING:
    import numpy.typing as npt

    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]
    Bool = npt.NDArray[np.bool_]

__all__ = ["Elements", "assemble", "boxes_met", "merged", "on_earth", "select"]

#: OpenStreetMap keeps coordinates as whole 1e-7 degrees (wiki.openstreetmap.org, Node; from memory).
_PER_DEGREE = 10_000_000

#: So many boxes, and so many pieces of road, are looked at in one go.
_PART = 2**16

_Number = TypeVar("_Number", np.int64, np.float64)


@dataclass(slots=True, kw_only=True)
class Elements:
    """What a reader found, unsorted, wanted or not.

    `node_ids`, `x` and `y` list nodes that have a place: longitude and latitude in whole 1e-7
    degrees. They and the ways may repeat; the last one counts. A node of a way that is not among
    `node_ids` has no place (it lies beyond the edge of the file).
    """

    node_ids: I64
    x: I32
    y: I32
    node_tags: dict[int, dict[str, str]] = field(default_factory=dict)
    ways: list[Way] = field(default_factory=list)
    relations: list[Relation] = field(default_factory=list)


def assemble(elements: Elements, info: ExtractInfo) -> Extract:
    """The extract that the elements make.

    Keeps what `select` keeps, sorted by id. A way that lost nodes keeps the longest run of nodes that have
    a place (the first of equal ones) and is named in the warnings; a way with fewer than two such nodes
    is left out and named too.
    """
    chosen = select(elements)
    ways = sorted(chosen.ways, key=lambda way: way.id)
    whole, cut, lost = _whole_ways(ways, _WayTable(ways, chosen.node_ids))
    used = _used_nodes(whole, chosen.node_tags, chosen.node_ids)
    return Extract(
        info=replace(info, warnings=(*info.warnings, *_edge_warnings(cut, lost))),
        node_ids=_frozen(chosen.node_ids[used]),
        lon=_frozen(chosen.x[used] / _PER_DEGREE),
        lat=_frozen(chosen.y[used] / _PER_DEGREE),
        ways=tuple(whole),
        node_tags=chosen.node_tags,
        relations=tuple(sorted(chosen.relations, key=lambda relation: relation.id)),
    )


def select(elements: Elements) -> Elements:
    """The elements that are wanted, without repetition; their nodes sorted by id.

    Keeps what `wanted` asks for and drops nodes outside the range of longitude and latitude. Buildings
    wanted only near a road are dropped where no road or path runs into or over their bounding box.
    Member ways of a kept multipolygon are kept whatever their tags.
    """
    node_ids, x, y = _places(elements)
    ways = list({way.id: way for way in elements.ways}.values())
    wanted = {r.id: r for r in elements.relations if want_relation(r.tags) is not Want.NO}

    table = _WayTable(ways, node_ids)
    want = np.fromiter((want_way(way.tags) for way in ways), dtype=np.int8, count=len(ways))
    row_of = {way.id: row for row, way in enumerate(ways)}
    areas = {
        ref: np.array([row_of[m.ref] for m in r.members if m.kind == "w" and m.ref in row_of], dtype=np.int64)
        for ref, r in wanted.items()
        if is_area_relation(r.tags)
    }
    doubtful = [ref for ref in areas if want_relation(wanted[ref].tags) is Want.NEAR_ROAD]
    singles = np.flatnonzero(want == Want.NEAR_ROAD)
    singles_met, areas_met = _near_road(ways, table, (x, y), singles, [areas[ref] for ref in doubtful])
    want[singles[~singles_met]] = Want.NO
    for ref, met in zip(doubtful, areas_met, strict=True):
        if not met:
            del wanted[ref], areas[ref]
    for rows in areas.values():
        want[rows] = Want.YES

    kept = [way for way, wish in zip(ways, want.tolist(), strict=True) if wish != Want.NO]
    node_tags = _wanted_nodes(elements.node_tags, node_ids)
    used = _used_nodes(kept, node_tags, node_ids)
    return Elements(
        node_ids=node_ids[used],
        x=x[used],
        y=y[used],
        node_tags=node_tags,
        ways=kept,
        relations=list(wanted.values()),
    )


def merged(parts: Sequence[Elements]) -> Elements:
    """All elements of the parts, in their order; what repeats counts as it stands in the last."""
    empty = np.zeros(0, dtype=np.int64)
    return Elements(
        node_ids=np.concatenate([empty, *(part.node_ids for part in parts)]),
        x=np.concatenate([empty.astype(np.int32), *(part.x for part in parts)]),
        y=np.concatenate([empty.astype(np.int32), *(part.y for part in parts)]),
        node_tags={ref: tags for part in parts for ref, tags in part.node_tags.items()},
        ways=[way for part in parts for way in part.ways],
        relations=[relation for part in parts for relation in part.relations],
    )


def _places(elements: Elements) -> tuple[I64, I32, I32]:
    """Ids (sorted, unique) and places of the nodes that have one; of repeated ids the last."""
    ids = np.asarray(elements.node_ids, dtype=np.int64)
    x = np.asarray(elements.x, dtype=np.int32)
    y = np.asarray(elements.y, dtype=np.int32)
    real = on_earth(x, y)
    ids, x, y = ids[real], x[real], y[real]
    unique, last = np.unique(ids[::-1], return_index=True)
    rows = len(ids) - 1 - last
    return unique, x[rows], y[rows]


def on_earth(x: I32, y: I32) -> Bool:
    """Which places (n,), in whole 1e-7 degrees, lie within the range of longitude and latitude."""
    east, north = 180 * _PER_DEGREE, 90 * _PER_DEGREE
    return (x >= -east) & (x <= east) & (y >= -north) & (y <= north)


class _WayTable:
    """The node lists of all ways, end to end.

    The nodes of way i are `start[i]` : `start[i + 1]` of `row` (index of the node among those with
    a place) and `located` (False: the node has none, and `row` means nothing).
    """

    def __init__(self, ways: Sequence[Way], node_ids: I64) -> None:
        counts = np.fromiter((len(way.nodes) for way in ways), dtype=np.int64, count=len(ways))
        self.start: I64 = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(counts)])
        refs = np.fromiter(
            chain.from_iterable(way.nodes for way in ways), dtype=np.int64, count=int(counts.sum())
        )
        self.row, self.located = _lookup(refs, node_ids)
        self.way: I64 = np.repeat(np.arange(len(ways)), counts)


def _lookup(refs: I64, node_ids: I64) -> tuple[I64, Bool]:
    """Where each ref stands in the sorted ids, and whether it stands there at all."""
    if not len(node_ids):
        return np.zeros(len(refs), dtype=np.int64), np.zeros(len(refs), dtype=np.bool_)
    row = np.minimum(np.searchsorted(node_ids, refs), len(node_ids) - 1)
    return row, node_ids[row] == refs


def _near_road(
    ways: Sequence[Way], table: _WayTable, places: tuple[I32, I32], singles: I64, groups: Sequence[I64]
) -> tuple[Bool, Bool]:
    """Whether a road or path runs into or over the bounding box of ways.

    Asked for each way of `singles` and for each of `groups`, whose ways have one box around them all
    (both hold indices of ways). Boxes are met by straight pieces of road, not by the boxes of these,
    so that a long slanting road does not keep every building beside it. Shapes: (len(singles),) and
    (len(groups),).
    """
    x, y = places
    asked = [*singles.reshape(-1, 1), *groups]
    met = np.zeros(len(asked), dtype=np.bool_)
    member = np.concatenate([np.zeros(0, dtype=np.int64), *asked])
    owner = np.repeat(np.arange(len(asked)), [len(rows) for rows in asked])
    count = table.start[member + 1] - table.start[member]
    position = np.repeat(table.start[member] - np.cumsum(count) + count, count) + np.arange(count.sum())
    owner = np.repeat(owner, count)[table.located[position]]
    row = table.row[position[table.located[position]]]
    pieces = _road_pieces(ways, table, x, y)
    if len(row):
        owners, begin = np.unique(owner, return_index=True)
        sides = [of.reduceat(at[row], begin) for of in (np.minimum, np.maximum) for at in (x, y)]
        met[owners] = boxes_met(np.stack(sides, axis=1), pieces)
    return met[: len(singles)], met[len(singles) :]


def boxes_met(boxes: I32, pieces: I32) -> Bool:
    """Which of the boxes (n, 4) some straight piece (m, 2, 2) runs into or over.

    A box has its sides west, south, east and north, a piece x and y of both ends, all in whole 1e-7 degrees.
    """
    import shapely

    met = np.zeros(len(boxes), dtype=np.bool_)
    low, high = pieces[:, :, 0].min(axis=1), pieces[:, :, 0].max(axis=1)
    # By parts: as objects of the library they would take more memory than all else that is read.
    order = np.argsort(boxes[:, 0], kind="stable")
    for part in (order[begin : begin + _PART] for begin in range(0, len(order), _PART)):
        tree = shapely.STRtree(shapely.box(*boxes[part].T))
        beside = np.flatnonzero((high >= boxes[part, 0].min()) & (low <= boxes[part, 2].max()))
        for begin in range(0, len(beside), _PART):
            lines = shapely.linestrings(pieces[beside[begin : begin + _PART]].astype(np.float64))
            met[part[tree.query(lines, predicate="intersects")[1]]] = True
    return met


def _road_pieces(ways: Sequence[Way], table: _WayTable, x: I32, y: I32) -> I32:
    """The straight pieces (m, 2, 2) of all roads and paths, each x and y of both ends in 1e-7 degrees."""
    road = np.fromiter(("highway" in way.tags for way in ways), dtype=np.bool_, count=len(ways))
    here, there = slice(None, -1), slice(1, None)
    first = np.flatnonzero(
        (table.way[here] == table.way[there])
        & table.located[here]
        & table.located[there]
        & road[table.way[here]]
    )
    ends = np.stack([table.row[first], table.row[first + 1]], axis=1)
    return np.stack([x[ends], y[ends]], axis=2)


def _whole_ways(ways: Sequence[Way], table: _WayTable) -> tuple[list[Way], list[int], list[int]]:
    """The ways with only nodes that have a place; ids of those cut, and of those lost."""
    missing = np.zeros(len(ways), dtype=np.bool_)
    missing[table.way[~table.located]] = True
    whole: list[Way] = []
    cut: list[int] = []
    lost: list[int] = []
    for row, way in enumerate(ways):
        low, high = 0, len(way.nodes)
        if missing[row]:
            low, high = _longest_run(table.located[table.start[row] : table.start[row + 1]])
        if high - low < 2:
            lost.append(way.id)
        elif missing[row]:
            cut.append(way.id)
            whole.append(Way(way.id, way.nodes[low:high], way.tags))
        else:
            whole.append(way)
    return whole, cut, lost


def _longest_run(located: Bool) -> tuple[int, int]:
    """Start and end of the longest run of True, the first of equal ones; (0, 0) where there is none."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], located, [False]]).astype(np.int8)))
    if not len(edges):
        return 0, 0
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best])


def _wanted_nodes(node_tags: dict[int, dict[str, str]], node_ids: I64) -> dict[int, dict[str, str]]:
    """Wanted tags of nodes that have a place, in order of id."""
    wanted = sorted(ref for ref, tags in node_tags.items() if want_node(tags))
    _, located = _lookup(np.array(wanted, dtype=np.int64), node_ids)
    return {ref: node_tags[ref] for ref, here in zip(wanted, located, strict=True) if here}


def _used_nodes(ways: Sequence[Way], tagged: Iterable[int], node_ids: I64) -> Bool:
    """Which of the nodes some kept way or tagged node needs."""
    refs = np.fromiter(chain(chain.from_iterable(way.nodes for way in ways), tagged), dtype=np.int64)
    used = np.zeros(len(node_ids), dtype=np.bool_)
    rows, located = _lookup(refs, node_ids)
    used[rows[located]] = True
    return used


def _edge_warnings(cut: Sequence[int], lost: Sequence[int]) -> list[str]:
    """One warning for all ways of a kind, each way named."""
    texts = []
    for ids, what in (
        (cut, "lost nodes at the edge of the data and keep their longest stretch"),
        (lost, "left out: fewer than two of the nodes have a place"),
    ):
        if ids:
            names = ", ".join(f"way/{ref}" for ref in ids)
            texts.append(f"{len(ids)} way{'s' if len(ids) > 1 else ''} {what}: {names}")
    return texts


def _frozen(array: npt.NDArray[_Number]) -> npt.NDArray[_Number]:
    array.flags.writeable = False
    return array
