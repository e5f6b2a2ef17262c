"""From tags to the kind of structure: the table of what may stand over or across a road."""

from __future__ import annotations

from collections.abc import Mapping

from clearance.core.heights import has_height
from clearance.core.structure import Kind
from clearance.structures.levels import is_bridge, layer

__all__ = ["area_kind", "is_slight", "line_kind", "node_kind", "way_kind"]

# highway=* values of ways for people on foot or on a cycle; a bridge of one is a footbridge
# (wiki.openstreetmap.org/wiki/Key:highway).
_FOOT = frozenset(
    {
        "footway",
        "path",
        "cycleway",
        "steps",
        "pedestrian",
        "bridleway",
        "corridor",
        "elevator",
        "platform",
        "via_ferrata",
    }
)
# Rails that lie there. A disused or abandoned line counts only where a bridge or layer says it still spans.
_RAILS = frozenset(
    {
        "rail",
        "light_rail",
        "tram",
        "subway",
        "narrow_gauge",
        "monorail",
        "funicular",
        "preserved",
        "miniature",
        "siding",
        "spur",
        "yard",
    }
)
_OLD_RAILS = frozenset({"disused", "abandoned", "construction", "tram_crossing"})
_NO_ROADS = frozenset({"proposed", "razed", "no", "planned", "abandoned", "demolished"})
_MAN_MADE = {
    "pipeline": Kind.PIPE,
    "goods_conveyor": Kind.CONVEYOR,
    "conveyor": Kind.CONVEYOR,
    "cargo_conveyor": Kind.CONVEYOR,
    "gantry": Kind.GANTRY,
    "aqueduct": Kind.AQUEDUCT,
}
_DECKS = frozenset({"multi-storey", "underground", "rooftop", "sheds", "carports", "garage_boxes"})


def line_kind(tags: Mapping[str, str]) -> Kind | None:
    """The kind of structure that a way makes where it passes over a road; None where it makes none.

    None too for outlines of areas, and for rails and roads that are not there.
    """
    if tags.get("area") == "yes" and not is_bridge(tags):
        return None
    railway = tags.get("railway")
    spans = is_bridge(tags) or (layer(tags) or 0) > 0
    if railway in _RAILS or (railway in _OLD_RAILS and spans):
        trestle = "trestle" in (tags.get("bridge"), tags.get("bridge:structure"))
        return Kind.RAIL_TRESTLE if trestle else Kind.RAIL_BRIDGE
    man_made = _MAN_MADE.get(tags.get("man_made", ""))
    if man_made is not None:
        return man_made
    if tags.get("bridge") == "aqueduct" or ("waterway" in tags and spans):
        return Kind.AQUEDUCT
    highway = tags.get("highway")
    if highway is None or highway in _NO_ROADS:
        return None
    return Kind.FOOTBRIDGE if highway in _FOOT else Kind.BRIDGE


def is_slight(tags: Mapping[str, str]) -> bool:
    """Whether a way of this kind mostly crosses a road on the level or below ground where nothing tells.

    Footpaths drawn without a node in common with the road, and pipelines of no told location. Judgement.
    """
    return tags.get("highway") in _FOOT or (tags.get("man_made") == "pipeline" and "location" not in tags)


def area_kind(tags: Mapping[str, str]) -> Kind | None:
    """The kind of structure that a closed outline makes for a road inside it; None where it makes none."""
    if tags.get("amenity") == "parking" and tags.get("parking") in _DECKS:
        return Kind.CAR_PARK
    if (
        tags.get("building") in {"parking", "garages", "garage", "carport"}
        and tags.get("amenity") == "parking"
    ):
        return Kind.CAR_PARK
    if tags.get("amenity") == "fuel" and (tags.get("building", "no") != "no" or has_height(tags)):
        return Kind.FUEL_CANOPY
    if tags.get("building", "no") == "no" and tags.get("building:part", "no") == "no":
        return Kind.BRIDGE if tags.get("man_made") == "bridge" else None
    if tags.get("building") == "parking":
        return Kind.CAR_PARK
    return Kind.COVERED if tags.get("building") in {"roof", "canopy"} else Kind.BUILDING


def way_kind(tags: Mapping[str, str]) -> Kind | None:
    """The kind of structure that a road's own tags tell of, along the whole way; None where none."""
    if tags.get("service") == "drive-through":
        return Kind.DRIVE_THROUGH
    tunnel, covered, bridge = (tags.get(key, "no") for key in ("tunnel", "covered", "bridge"))
    if tunnel == "building_passage":
        return Kind.BUILDING_PASSAGE
    if tunnel != "no":
        return Kind.TUNNEL
    # A covered bridge and a truss round the roadway limit the height on the bridge itself.
    if bridge == "covered" or (
        bridge != "no" and (covered != "no" or tags.get("bridge:structure") == "truss")
    ):
        return Kind.COVERED_BRIDGE
    if covered != "no":
        return Kind.COVERED
    if tags.get("parking") in _DECKS or tags.get("indoor") == "yes":
        return Kind.CAR_PARK
    return None


def node_kind(tags: Mapping[str, str], *, has_height: bool) -> Kind | None:
    """The kind of structure that a node on a road makes; None where it makes none."""
    barrier = tags.get("barrier")
    if barrier == "height_restrictor":
        return Kind.HEIGHT_BAR
    if tags.get("amenity") == "parking_entrance" and tags.get("parking") != "surface":
        return Kind.CAR_PARK
    if not has_height:
        return None
    if tags.get("amenity") == "fuel":
        return Kind.FUEL_CANOPY
    if tags.get("amenity") == "parking":
        return Kind.CAR_PARK
    return Kind.BARRIER if barrier is not None else Kind.LIMIT
