"""Tiny invented towns, written in the test as metres on a plane far out at sea."""

from __future__ import annotations

import numpy as np

from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way

#: The origin of every tiny town: open water, so that no real place is meant.
LON0, LAT0 = -40.0, 45.0
#: Metres per degree at 45 N on WGS84, good to a millimetre within a few hundred metres.
M_PER_LON, M_PER_LAT = 78846.8, 111131.8


class Town:
    """Collects nodes (x east, y north, in metres), ways and relations, then yields an Extract."""

    def __init__(self) -> None:
        self._nodes: dict[int, tuple[float, float]] = {}
        self._node_tags: dict[int, dict[str, str]] = {}
        self._ways: list[Way] = []
        self._relations: list[Relation] = []

    def node(self, ref: int, x: float, y: float, tags: dict[str, str] | None = None) -> Town:
        self._nodes[ref] = (round(LON0 + x / M_PER_LON, 7), round(LAT0 + y / M_PER_LAT, 7))
        if tags:
            self._node_tags[ref] = tags
        return self

    def way(self, ref: int, nodes: list[int], tags: dict[str, str] | None = None) -> Town:
        """A way with `tags`; a residential road where none are given."""
        self._ways.append(Way(ref, tuple(nodes), tags or {"highway": "residential"}))
        return self

    def relation(self, ref: int, members: list[tuple[str, int, str]], tags: dict[str, str]) -> Town:
        self._relations.append(Relation(ref, tuple(Member(*m) for m in members), tags))
        return self

    def extract(self) -> Extract:
        ids = sorted(self._nodes)
        return Extract(
            info=ExtractInfo(source="invented town", data_date="2026-01-01T00:00:00Z"),
            node_ids=np.array(ids, dtype=np.int64),
            lon=np.array([self._nodes[i][0] for i in ids], dtype=np.float64),
            lat=np.array([self._nodes[i][1] for i in ids], dtype=np.float64),
            ways=tuple(sorted(self._ways, key=lambda w: w.id)),
            node_tags=self._node_tags,
            relations=tuple(sorted(self._relations, key=lambda r: r.id)),
        )

    def osm_xml(self) -> str:
        """The same town as an .osm file, for the readers."""
        lines = ['<?xml version="1.0" encoding="UTF-8"?>', '<osm version="0.6" generator="invented town">']

        def tags(of: dict[str, str] | None) -> list[str]:
            from xml.sax.saxutils import quoteattr

            return [f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in (of or {}).items()]

        for ref, (lon, lat) in sorted(self._nodes.items()):
            lines.append(f'<node id="{ref}" version="1" lat="{lat:.7f}" lon="{lon:.7f}">')
            lines += [*tags(self._node_tags.get(ref)), "</node>"]
        for way in sorted(self._ways, key=lambda w: w.id):
            lines.append(f'<way id="{way.id}" version="1">')
            lines += [f'<nd ref="{n}"/>' for n in way.nodes]
            lines += [*tags(dict(way.tags)), "</way>"]
        names = {"n": "node", "w": "way", "r": "relation"}
        for rel in sorted(self._relations, key=lambda r: r.id):
            lines.append(f'<relation id="{rel.id}" version="1">')
            lines += [f'<member type="{names[m.kind]}" ref="{m.ref}" role="{m.role}"/>' for m in rel.members]
            lines += [*tags(dict(rel.tags)), "</relation>"]
        return "\n".join([*lines, "</osm>", ""])


def lonlat(x: float, y: float) -> tuple[float, float]:
    """The WGS84 (lon, lat) of a point x metres east and y metres north of the origin."""
    return round(LON0 + x / M_PER_LON, 7), round(LAT0 + y / M_PER_LAT, 7)
