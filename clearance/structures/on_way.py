"""Structures told by the tags of the road itself: tunnels, passages, covered ways, posted heights."""

from __future__ import annotations

from dataclasses import replace
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


#: What may be drawn as several ways, one behind the other, and is one thing to pass.
_ONE_THING = frozenset({Kind.TUNNEL, Kind.COVERED})


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
    return _one_tunnel_each(roads, structures)


def _one_tunnel_each(roads: Sequence[Way], structures: list[Structure]) -> list[Structure]:
    """Tunnels and covers without a height that the map draws as several ways, joined to one each.

    Two ways are of one tunnel where they meet end to end, no other road meets them there, and both are of
    one kind. A way with a height of its own stays apart, as it tells more.
    """
    meeting: dict[int, list[int]] = {}
    ends: dict[int, tuple[int, int]] = {}
    for way in roads:
        ends[way.id] = (way.nodes[0], way.nodes[-1])
        for node in way.nodes:
            meeting.setdefault(node, []).append(way.id)
    plain = {
        s.spans[0].way: s
        for s in structures
        if s.kind in _ONE_THING and s.spans and not s.evidence and not s.warnings
    }
    chained: set[int] = set()
    joined: list[Structure] = []
    for way_id, structure in sorted(plain.items()):
        if way_id in chained:
            continue
        chain, open_ends = [way_id], list(ends[way_id])
        chained.add(way_id)
        while open_ends:
            node = open_ends.pop()
            for other in meeting[node] if len(meeting[node]) == 2 else ():
                following = plain.get(other)
                if other in chained or following is None or following.kind is not structure.kind:
                    continue
                if node in ends[other]:
                    chained.add(other)
                    chain.append(other)
                    open_ends += [end for end in ends[other] if end != node]
        parts = [plain[member] for member in sorted(chain)]
        joined.append(
            replace(
                parts[0],
                name=next((p.name for p in parts if p.name), ""),
                spans=tuple(span for p in parts for span in p.spans),
                tags={element: tags for p in parts for element, tags in p.tags.items()},
            )
        )
    kept = [s for s in structures if not s.spans or plain.get(s.spans[0].way) is not s]
    return kept + joined
