"""All structures of an extract."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.core.access import is_road
from clearance.core.heights import has_height, read_heights
from clearance.core.structure import Kind, Structure
from clearance.structures.crossings import line_crossings
from clearance.structures.on_node import node_structures
from clearance.structures.on_way import way_structures
from clearance.structures.under_areas import area_structures

if TYPE_CHECKING:
    from clearance.core.extract import Extract

__all__ = ["find_structures"]


def find_structures(extract: Extract) -> tuple[Structure, ...]:
    """Every structure over or across a road of `extract`, sorted by key.

    Every element that carries a height ends up in at least one structure: a height on something
    that is no road and stands over none (a footpath, a rail) is listed without a span.

    >>> find_structures(extract_without_ways)  # doctest: +SKIP
    ()
    """
    roads = [way for way in extract.ways if len(way.nodes) > 1 and is_road(way.tags)]
    over = line_crossings(extract, roads) + area_structures(extract, roads)
    # Only where the order is told does a height on the road surely belong to the crossing.
    passed = {span.way for s in over if not s.ambiguous_order for span in s.spans}
    found = over + way_structures(extract, roads, passed) + node_structures(extract, roads)
    told = {element for s in found for element in s.tags}
    found += _heights_elsewhere(extract, told)
    return tuple(sorted(found, key=lambda s: s.key))


def _heights_elsewhere(extract: Extract, told: set[str]) -> list[Structure]:
    """Heights on ways and relations that no structure has taken up; every node with one is a structure."""
    by_way = {w.id: w for w in extract.ways}
    elements = [(f"way/{w.id}", w.tags, w.nodes) for w in extract.ways if has_height(w.tags)]
    for relation in extract.relations:
        if has_height(relation.tags):
            way = next((by_way[m.ref] for m in relation.members if m.kind == "w" and m.ref in by_way), None)
            elements.append((f"relation/{relation.id}", relation.tags, way.nodes if way else ()))
    structures: list[Structure] = []
    for element, tags, refs in elements:
        if element in told or not refs:
            continue
        at = int(np.searchsorted(extract.node_ids, refs[len(refs) // 2]))
        heights = read_heights(tags, element, extract.info.data_date)
        structures.append(
            Structure(
                key=f"{element}:own",
                kind=Kind.LIMIT,
                lon=float(extract.lon[at]),
                lat=float(extract.lat[at]),
                name=tags.get("name", ""),
                evidence=heights.evidence,
                tags={element: dict(tags)},
                warnings=heights.warnings,
            )
        )
    return structures
