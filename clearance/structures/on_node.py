"""Structures told by a node: height bars, barriers with a height, car-park entrances."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.core.heights import has_height, read_heights
from clearance.core.structure import Kind, Structure
from clearance.structures.crossings import road_name
from clearance.structures.kinds import node_kind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from clearance.core.extract import Extract, Way

__all__ = ["node_structures"]


def node_structures(extract: Extract, roads: Sequence[Way]) -> list[Structure]:
    """A structure for every tagged node that limits height, on one of `roads` or beside.

    A height bar without a figure is a structure too, with a warning: it stands there to stop tall
    vehicles (wiki.openstreetmap.org/wiki/Tag:barrier=height_restrictor).
    """
    kinds = {
        ref: kind
        for ref, tags in extract.node_tags.items()
        if (kind := node_kind(tags, has_height=has_height(tags))) is not None
    }
    on_road: dict[int, Way] = {}
    for way in roads:
        for ref in kinds.keys() & way.nodes:
            on_road.setdefault(ref, way)
    structures: list[Structure] = []
    for ref, kind in sorted(kinds.items()):
        tags = extract.node_tags[ref]
        element = f"node/{ref}"
        told = read_heights(tags, element, extract.info.data_date)
        warnings = told.warnings
        if kind is Kind.HEIGHT_BAR and all(e.figure is None for e in told.evidence):
            warnings += (f"{element}: height bar with no height in the map data",)
        road = on_road.get(ref)
        at = int(np.searchsorted(extract.node_ids, ref))
        structures.append(
            Structure(
                key=f"{element}:own",
                kind=kind,
                lon=float(extract.lon[at]),
                lat=float(extract.lat[at]),
                name=tags.get("name", ""),
                road=road_name(road) if road is not None else "",
                evidence=told.evidence,
                nodes=(ref,) if road is not None else (),
                tags={element: dict(tags)},
                warnings=warnings,
            )
        )
    return structures
