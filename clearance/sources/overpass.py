"""Questions in the Overpass query language, and elements from its JSON answers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

import numpy as np

from clearance.core.extract import Member, Relation, Way
from clearance.sources.assemble import Elements
from clearance.sources.guarded import RefusedAnswerError
from clearance.sources.wanted import LIMIT_KEYS, NODE_KEYS, RELATION_KEYS, WAY_KEYS

__all__ = ["WAY_FILTERS", "check_answer", "data_date", "elements_of", "points_query"]

_MEMBER_KINDS = {"node": "n", "way": "w", "relation": "r"}


def _any_key(keys: Iterable[str], prefixes: Iterable[str]) -> str:
    """A filter for elements with one of these keys, or one that begins so, whatever its value."""
    return f'[~"^({"|".join(keys)})$|^({"|".join(prefixes)})"~"."]'


#: What is asked of ways, each a question of its own: every way that is wanted passes one of them.
WAY_FILTERS = (
    '["highway"]',
    _any_key(sorted(set(WAY_KEYS) - {"highway"}), ["maxheight"]),
)


def points_query(polygon: str, timeout_s: int) -> str:
    """The question for what is no way of its own: nodes, turn restrictions, multipolygons with their rings.

    `polygon` holds the corners as ``lat lon lat lon ...``.
    """
    within = f'(poly:"{polygon}")'
    nodes = _any_key(NODE_KEYS, LIMIT_KEYS)
    areas = _any_key(RELATION_KEYS, ["maxheight"])
    return (
        f"[out:json][timeout:{timeout_s}];"
        f'relation["type"="multipolygon"]{areas}{within}->.areas;'
        "way(r.areas)->.rings;"
        "node(w.rings)->.corners;"
        f'(node{nodes}{within};relation["type"~"^restriction(:|$)"]{within};.areas;.rings;.corners;);'
        "out;"
    )


def check_answer(answer: object) -> None:
    """Raise RefusedAnswerError unless the answer is a whole Overpass answer with sound elements.

    A `remark` tells of a time-out or too little memory on the server: the elements before it are
    only a part, though the status was 200.
    """
    if not isinstance(answer, dict) or not isinstance(answer.get("elements"), list):
        raise RefusedAnswerError("the answer holds no list of map elements")
    if "remark" in answer:
        raise RefusedAnswerError(f"the answer is not whole: {str(answer['remark'])[:200]}", too_much=True)
    found = elements_of([answer])
    here = set(found.node_ids.tolist())
    for way in found.ways:
        if not here.issuperset(way.nodes):
            raise RefusedAnswerError(f"the answer is not whole: it lacks nodes of way {way.id}")


def data_date(answer: object) -> datetime | None:
    """The moment the server's data stood at, None where the answer does not tell."""
    stamp = answer.get("osm3s") if isinstance(answer, dict) else None
    text = stamp.get("timestamp_osm_base") if isinstance(stamp, dict) else None
    try:
        moment = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def elements_of(answers: Iterable[object]) -> Elements:
    """All elements of the answers, as `assemble` takes them.

    Raises RefusedAnswerError, naming the element, where one is not as Overpass writes it.
    """
    ids: list[int] = []
    x: list[int] = []
    y: list[int] = []
    node_tags: dict[int, dict[str, str]] = {}
    ways: list[Way] = []
    relations: list[Relation] = []
    for answer in answers:
        for item in _items(answer):
            try:
                kind, ref, tags = item["type"], _whole(item["id"]), _tags(item.get("tags", {}))
                if kind == "node":
                    ids.append(ref)
                    x.append(_fixed(item["lon"], 180))
                    y.append(_fixed(item["lat"], 90))
                    if tags:
                        node_tags[ref] = tags
                elif kind == "way":
                    ways.append(Way(ref, tuple(_whole(node) for node in _list(item["nodes"])), tags))
                elif kind == "relation":
                    members = tuple(_member(m) for m in _list(item.get("members", [])))
                    relations.append(Relation(ref, members, tags))
            except (KeyError, TypeError, ValueError, AttributeError) as error:
                raise RefusedAnswerError(f"the answer holds a damaged element: {str(item)[:120]}") from error
    return Elements(
        node_ids=np.array(ids, dtype=np.int64),
        x=np.array(x, dtype=np.int32),
        y=np.array(y, dtype=np.int32),
        node_tags=node_tags,
        ways=ways,
        relations=relations,
    )


def _items(answer: object) -> list[dict[str, object]]:
    return list(answer["elements"]) if isinstance(answer, dict) else []


def _whole(value: object) -> int:
    if type(value) is not int or not -(2**63) <= value < 2**63:
        raise ValueError(value)
    return value


def _fixed(value: object, limit: int) -> int:
    """Degrees as whole 1e-7 degrees, as OpenStreetMap keeps them."""
    if type(value) not in (int, float) or not math.isfinite(degrees := float(value)):  # type: ignore[arg-type]
        raise ValueError(value)
    if abs(degrees) > limit:
        raise ValueError(value)
    return round(degrees * 1e7)


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise TypeError(value)
    return value


def _tags(value: object) -> dict[str, str]:
    if not isinstance(value, dict) or not all(isinstance(text, str) for text in value.values()):
        raise TypeError(value)
    return value


def _member(value: object) -> Member:
    if not isinstance(value, Mapping) or not isinstance(value["role"], str):
        raise TypeError(value)
    return Member(_MEMBER_KINDS[value["type"]], _whole(value["ref"]), value["role"])
