"""The part of an extract that bringing lists of heights to its structures needs: small enough to be kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.access import is_road
from clearance.structures.kinds import line_kind
from clearance.structures.levels import is_bridge

if TYPE_CHECKING:
    from clearance.core.extract import Extract
    from clearance.core.structure import Structure

__all__ = ["fusion_ground"]


def fusion_ground(structures: Sequence[Structure], extract: Extract) -> Extract:
    """An extract of bridges, their outlines and the roads of `structures`, in the bounds of `extract`.

    `fuse` and `map_bridges` give with it what they give with all of `extract`.
    """
    spanned = {span.way for s in structures for span in s.spans}
    relations = tuple(r for r in extract.relations if _is_outline(r.tags))
    members = {member.ref for r in relations for member in r.members if member.kind == "w"}
    ways = tuple(
        way
        for way in extract.ways
        if way.id in spanned or way.id in members or _is_outline(way.tags) or _is_deck(way.tags)
    )
    wanted = {node for way in ways for node in way.nodes}
    corners: list[int] = []
    if len(extract.lon):
        # The outermost nodes keep the bounds: what lies outside them is no record of this map.
        corners = [int(pick(x)) for x in (extract.lon, extract.lat) for pick in (np.argmin, np.argmax)]
    rows = np.searchsorted(extract.node_ids, np.array(sorted(wanted), dtype=np.int64))
    rows = np.unique(np.concatenate((rows, np.array(corners, dtype=np.int64))))
    return replace(
        extract,
        info=replace(extract.info, warnings=()),
        node_ids=extract.node_ids[rows],
        lon=extract.lon[rows],
        lat=extract.lat[rows],
        ways=ways,
        node_tags={},
        relations=relations,
    )


def _is_outline(tags: Mapping[str, str]) -> bool:
    return tags.get("man_made") == "bridge"


def _is_deck(tags: Mapping[str, str]) -> bool:
    return is_bridge(tags) and (is_road(tags) or line_kind(tags) is not None)
