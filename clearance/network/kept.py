"""What a road file keeps beside its network so that heights can be added to it without the map file.

Kept are the bridges, their outlines and the roads that structures stand over (an `Extract` of little else),
and the lists that were added. Both are JSON texts; searches never read them.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way
from clearance.core.inventory import CodedHeight, EvidenceList, HeightState, InventoryRecord, ListedHeight
from clearance.core.lengths import Length

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Kept", "decode_kept", "encode_kept"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The map that lists are brought to, and the lists added so far, by the order in which they came."""

    ground: Extract
    lists: tuple[EvidenceList, ...] = ()


def encode_kept(kept: Kept) -> dict[str, bytes]:
    """The parts as JSON texts by name; the same values give the same bytes."""
    ground = kept.ground
    document: dict[str, Any] = {
        "info": asdict(ground.info),
        "nodes": [ground.node_ids.tolist(), ground.lon.tolist(), ground.lat.tolist()],
        "node_tags": {str(node): dict(tags) for node, tags in ground.node_tags.items()},
        "ways": [[way.id, way.nodes, dict(way.tags)] for way in ground.ways],
        "relations": [
            [r.id, [[m.kind, m.ref, m.role] for m in r.members], dict(r.tags)] for r in ground.relations
        ],
    }
    return {"ground": _text(document), "lists": _text([_list(each) for each in kept.lists])}


def _text(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()


def decode_kept(parts: Mapping[str, bytes]) -> Kept:
    """The reverse of `encode_kept`.

    Raises ValueError, LookupError, TypeError, AttributeError, OverflowError or RecursionError where a part is
    not of its making.
    """
    told = json.loads(parts["ground"])
    info = told["info"]
    ids, lon, lat = told["nodes"]
    ground = Extract(
        info=ExtractInfo(**{**info, "warnings": tuple(info["warnings"])}),
        node_ids=np.array(ids, dtype=np.int64),
        lon=np.array(lon, dtype=np.float64),
        lat=np.array(lat, dtype=np.float64),
        node_tags={int(node): tags for node, tags in told["node_tags"].items()},
        ways=tuple(Way(way, tuple(nodes), tags) for way, nodes, tags in told["ways"]),
        relations=tuple(
            Relation(relation, tuple(Member(*member) for member in members), tags)
            for relation, members, tags in told["relations"]
        ),
    )
    return Kept(ground=ground, lists=tuple(_list_of(each) for each in json.loads(parts["lists"])))


# --- lists ------------------------------------------------------------------------------------------

_RECORD = tuple(f.name for f in fields(InventoryRecord))
_LISTED = tuple(f.name for f in fields(ListedHeight))
_CODED = frozenset({"item_10", "item_53", "item_54"})


def _list(each: EvidenceList) -> dict[str, Any]:
    inventory = all(isinstance(record, InventoryRecord) for record in each.records)
    columns = _RECORD if inventory and each.records else _LISTED
    return {
        "name": each.name,
        "source": each.source,
        "added": each.added,
        "outside": each.outside,
        "unused": each.unused,
        "columns": columns,
        "records": [[_plain(getattr(record, name)) for name in columns] for record in each.records],
    }


def _plain(value: Any) -> Any:
    if isinstance(value, CodedHeight):
        return [value.state.name, None if value.figure is None else value.figure.tenths, value.raw]
    return value.tenths if isinstance(value, Length) else value


def _list_of(told: dict[str, Any]) -> EvidenceList:
    columns: list[str] = told["columns"]
    rows = [dict(zip(columns, row, strict=True)) for row in told["records"]]
    return EvidenceList(
        name=told["name"],
        source=told["source"],
        added=told["added"],
        records=tuple(map(_record, rows)) if "item_54" in columns else tuple(map(_listed, rows)),
        outside=told["outside"],
        unused=told["unused"],
    )


def _record(row: dict[str, Any]) -> InventoryRecord:
    told: dict[str, Any] = {name: _coded(v) if name in _CODED else v for name, v in row.items()}
    return InventoryRecord(**told)


def _coded(told: list[Any]) -> CodedHeight:
    state, figure, raw = told
    return CodedHeight(HeightState[state], None if figure is None else Length(figure), raw)


def _listed(row: dict[str, Any]) -> ListedHeight:
    return ListedHeight(**{**row, "height": Length(row["height"])})
