"""Structures told by the tags of the road itself: tunnels, passages, covered ways, posted heights."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.core.heights import HeightWord, read_heights
from clearance.core.structure import EvidenceClass, Kind, Span, Structure
from clearance.structures.crossings import road_name
from clearance.structures.kinds import way_kind

if TYPE_CHECKING:
    from collections.abc import Sequence
    from collections.abc import Set as AbstractSet

    from clearance.core.extract import Extract, Way

__all__ = ["middle_of", "way_structures"]


def middle_of(extract: Extract, way: Way) -> tuple[float, float]:
    """The (lon, lat) of the point half-way along a way, good enough to mark it."""
    index = np.searchsorted(extract.node_ids, np.array(way.nodes))
    lon, lat = extract.lon[index], extract.lat[index]
    steps = np.hypot(np.diff(lon) * np.cos(np.radians(lat[:-1])), np.diff(lat))
    along = np.concatenate(([0.0], np.cumsum(steps)))
    half = along[-1] / 2
    return round(float(np.interp(half, along, lon)), 7), round(float(np.interp(half, along, lat)), 7)


def way_structures(extract: Extract, roads: Sequence[Way], passed_under: AbstractSet[int]) -> list[Structure]:
    """A structure for every one of `roads` whose own tags tell of one, or that carries a height.

    `passed_under` are the ids of ways already known to run under something: a height on one of
    those belongs to that structure and makes no second one, unless the way's tags name a tunnel,
    cover or lane of its own. A way with ``maxheight=none`` and nothing known above it is listed, but
    nothing stands over it.
    """
    structures: list[Structure] = []
    for way in roads:
        element = f"way/{way.id}"
        told = read_heights(way.tags, element, extract.info.data_date)
        kind = way_kind(way.tags)
        if kind is None:
            if not (told.evidence or told.warnings) or way.id in passed_under:
                continue
            kind = Kind.LIMIT
        only_none = bool(told.evidence) and all(
            e.evidence_class is EvidenceClass.NONE and e.raw == HeightWord.NONE for e in told.evidence
        )
        stands = not (kind is Kind.LIMIT and only_none)
        lon, lat = middle_of(extract, way)
        structures.append(
            Structure(
                key=f"{element}:own",
                kind=kind,
                lon=lon,
                lat=lat,
                name=way.tags.get("tunnel:name") or way.tags.get("bridge:name") or "",
                road=road_name(way),
                evidence=told.evidence,
                spans=(Span(way=way.id, start=0.0, end=float(len(way.nodes) - 1)),) if stands else (),
                tags={element: dict(way.tags)},
                warnings=told.warnings,
            )
        )
    return structures
