"""Which OpenStreetMap elements matter to a coach: one rule for every reader.

A reader may fetch more than is wanted (`*_KEYS` say what to look for); `want_node`, `want_way` and
`want_relation` then decide, so that a file and a download of the same area give the same extract.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum

__all__ = [
    "BUILDING_KEYS",
    "FACILITY_VALUES",
    "LIMIT_KEYS",
    "NAMED_KEYS",
    "NODE_KEYS",
    "RELATION_KEYS",
    "WAY_KEYS",
    "Want",
    "is_area_relation",
    "is_building",
    "is_facility",
    "want_node",
    "want_relation",
    "want_way",
]

Tags = Mapping[str, str]


class Want(IntEnum):
    """How much an element is wanted. `NEAR_ROAD`: only where a road runs into or over its box."""

    NO = 0
    NEAR_ROAD = 1
    YES = 2


#: Facilities kept with or without a name: what a coach needs on the way or must be wary of.
FACILITY_VALUES: Mapping[str, frozenset[str]] = {
    "amenity": frozenset(
        {
            "drinking_water",
            "fuel",
            "parking",
            "parking_entrance",
            "sanitary_dump_station",
            "water_point",
        }
    ),
    "shop": frozenset({"gas"}),
    "tourism": frozenset({"camp_site", "caravan_site"}),
}
#: Propane is found under these keys, whatever else the element is; a drive-through lane's shop too.
_FACILITY_FLAGS = ("drive_through", "fuel:lpg", "fuel:propane", "sanitary_dump_station")
#: With a name, an element with one of these keys is a place that a user may ask for.
NAMED_KEYS = ("amenity", "historic", "leisure", "shop", "tourism")

#: One of these has every facility; most elements have none of them, and are told by that at once.
_FACILITY_KEYS = frozenset({*FACILITY_VALUES, *_FACILITY_FLAGS, *NAMED_KEYS})
#: Boards and posts that carry the name of a place without being it.
_BOARDS = frozenset({"board", "guidepost", "map", "route_marker", "sign", "trail_blaze"})

#: Limits and signs; every key that begins so, such as ``maxheight:physical``.
LIMIT_KEYS = ("maxheight", "maxlength", "maxweight", "maxwidth")
_ACCESS = ("access", "hazmat", "motor_vehicle", "motorcar", "motorhome", "vehicle")
#: Highway values of nodes that say nothing about driving and come by the thousand.
_IDLE_HIGHWAY_NODES = frozenset({"street_lamp"})
_RAILWAY_NODES = frozenset({"level_crossing"})
_NAMED_RAILWAY_NODES = frozenset({"halt", "station"})

#: Things other than roads, railways and buildings that may pass over a road.
_OVERHEAD_MAN_MADE = frozenset(
    {"bridge", "cargo_conveyor", "conveyor", "gantry", "goods_conveyor", "pipeline"}
)
#: Railways that are not there: kept only where a bridge still is (or may be).
_GONE_RAILWAYS = frozenset({"demolished", "dismantled", "proposed", "razed", "removed"})
_BELOW_GROUND = frozenset({"underground", "underwater"})

#: What is wanted only near a road has one of these keys.
BUILDING_KEYS = ("building", "building:part")
#: Every wanted node has one of these keys, or one that begins with a word of `LIMIT_KEYS`.
NODE_KEYS = (
    *_ACCESS,
    *NAMED_KEYS,
    *_FACILITY_FLAGS,
    "barrier",
    "highway",
    "place",
    "railway",
    "traffic_sign",
)
#: Every wanted way has one of these keys, or one that begins with ``maxheight``.
WAY_KEYS = (
    *NAMED_KEYS,
    *_FACILITY_FLAGS,
    "bridge",
    "building",
    "building:part",
    "highway",
    "man_made",
    "railway",
    "waterway",
)
#: Every wanted multipolygon has one of these keys, or one that begins with ``maxheight``.
RELATION_KEYS = (*NAMED_KEYS, *_FACILITY_FLAGS, "bridge", "building", "building:part", "man_made")


def is_building(tags: Tags) -> bool:
    """Whether the tags tell of a building, a part of one or a roof."""
    return tags.get("building", "no") != "no" or tags.get("building:part", "no") != "no"


def is_facility(tags: Tags) -> bool:
    """Whether the tags tell of a facility a coach uses, or of a named place a user may ask for."""
    if _FACILITY_KEYS.isdisjoint(tags):
        return False
    if any(tags.get(key) in values for key, values in FACILITY_VALUES.items()):
        return True
    if any(tags.get(key, "no") != "no" for key in _FACILITY_FLAGS):
        return True
    if tags.get("tourism") == "information" and tags.get("information") in _BOARDS:
        return False
    return "name" in tags and any(key in tags for key in NAMED_KEYS)


def want_node(tags: Tags) -> bool:
    """Whether a node's tags matter: a limit, barrier, sign, junction kind, facility or named place."""
    for key in tags:
        if key.startswith(LIMIT_KEYS) or key in _ACCESS or key in ("barrier", "traffic_sign"):
            return True
    if tags.get("highway", "street_lamp") not in _IDLE_HIGHWAY_NODES:
        return True
    railway = tags.get("railway")
    if railway in _RAILWAY_NODES or (railway in _NAMED_RAILWAY_NODES and "name" in tags):
        return True
    return ("place" in tags and "name" in tags) or is_facility(tags)


def want_way(tags: Tags) -> Want:
    """How much a way is wanted for its own tags.

    All roads and paths; railways that exist; anything on a bridge; pipelines, gantries, conveyors
    and bridge outlines above ground; facilities and named places; anything with a height limit.
    A building with no name and no facility is wanted only near a road.
    """
    if "highway" in tags or _bridge(tags) or _has_height(tags):
        return Want.YES
    railway = tags.get("railway")
    if railway is not None and railway not in _GONE_RAILWAYS and not _platform_below_ground(tags):
        return Want.YES
    if "waterway" in tags and _layer(tags) > 0:
        return Want.YES
    return _want_area(tags)


def want_relation(tags: Tags) -> Want:
    """How much a relation is wanted: turn restrictions, and multipolygons as their outline would be."""
    kind = tags.get("type", "")
    if kind == "restriction" or kind.startswith("restriction:"):
        return Want.YES
    if kind != "multipolygon":
        return Want.NO
    if _bridge(tags) or _has_height(tags):
        return Want.YES
    return _want_area(tags)


def is_area_relation(tags: Tags) -> bool:
    """Whether a wanted relation draws an area, so that its member ways are part of it."""
    return tags.get("type") == "multipolygon"


def _want_area(tags: Tags) -> Want:
    """What holds for outlines, whether one closed way or a multipolygon draws them."""
    if tags.get("man_made") in _OVERHEAD_MAN_MADE and tags.get("location") not in _BELOW_GROUND:
        return Want.YES
    if is_facility(tags):
        return Want.YES
    if is_building(tags):
        return Want.YES if "name" in tags else Want.NEAR_ROAD
    return Want.NO


def _has_height(tags: Tags) -> bool:
    # A loop, as a generator takes twice as long to begin as most elements have keys to look at.
    for key in tags:  # noqa: SIM110
        if key.startswith("maxheight"):
            return True
    return False


def _bridge(tags: Tags) -> bool:
    return tags.get("bridge", "no") != "no"


def _platform_below_ground(tags: Tags) -> bool:
    return tags.get("railway") in ("platform", "platform_edge") and (
        tags.get("location") in _BELOW_GROUND or _layer(tags) < 0
    )


def _layer(tags: Tags) -> float:
    """The layer as a number, 0 where it is absent or no number."""
    try:
        return float(tags.get("layer", "0"))
    except ValueError:
        return 0.0
