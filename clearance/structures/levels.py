"""Which of two mapped things is above the other, as far as the tags tell."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Order", "is_bridge", "is_tunnel", "layer", "order_over_area", "order_over_line"]


class Order(Enum):
    """Where a second thing lies as seen from the road."""

    ABOVE = "above"
    BELOW = "below"
    UNTOLD = "untold"


# Values of bridge=* and tunnel=* that say there is none, or none any more.
_NOT_THERE = frozenset({"no", "none", "removed", "demolished", "proposed"})
# Areas that are nothing but a roof: a road through one runs under it.
_ROOFS = frozenset({"roof", "canopy", "carport"})


def layer(tags: Mapping[str, str]) -> int | None:
    """The layer tag as a number; 0 where there is none; None where the text is no whole number.

    Vertical order only where two objects overlap, missing means 0
    (wiki.openstreetmap.org/wiki/Key:layer).
    """
    text = tags.get("layer")
    if text is None:
        return 0
    try:
        return int(text)
    except ValueError:
        return None


def is_bridge(tags: Mapping[str, str]) -> bool:
    """Whether the tags say that this runs on a bridge of any kind."""
    return tags.get("bridge", "no") not in _NOT_THERE or tags.get("location") in {"overhead", "bridge"}


def is_tunnel(tags: Mapping[str, str]) -> bool:
    """Whether the tags say that this runs in a tunnel, culvert or underground."""
    return tags.get("tunnel", "no") not in _NOT_THERE or tags.get("location") in {
        "underground",
        "underwater",
        "indoor",
    }


def _raised(tags: Mapping[str, str]) -> int:
    return int(is_bridge(tags)) - int(is_tunnel(tags))


def _order(road: Mapping[str, str], other: Mapping[str, str], raised: Callable[..., int]) -> Order:
    road_layer, other_layer = layer(road), layer(other)
    by_layer = 0 if road_layer is None or other_layer is None else other_layer - road_layer
    by_kind = raised(other) - raised(road)
    if by_layer > 0 <= by_kind or (by_layer == 0 < by_kind):
        return Order.ABOVE
    if by_layer < 0 >= by_kind or (by_layer == 0 > by_kind):
        return Order.BELOW
    # Neither tells, or the layer says one thing and bridge or tunnel the other.
    return Order.UNTOLD


def order_over_line(road: Mapping[str, str], other: Mapping[str, str]) -> Order:
    """Where `other` lies as seen from `road`, both ways that cross without a shared node.

    Layer decides, and bridge and tunnel decide; where they contradict each other or neither
    tells, the order is untold. A missing layer is no evidence: about a quarter of bridges carry
    none, so a bridge over an untagged road is still above it. A gantry is there to stand over a road.
    """
    order = _order(road, other, _raised)
    if order is Order.UNTOLD and other.get("man_made") == "gantry":
        return Order.ABOVE
    return order


def order_over_area(road: Mapping[str, str], area: Mapping[str, str]) -> Order:
    """Where `area` (a building, roof, deck) lies as seen from a `road` that runs inside its outline."""
    by_tags = _order(road, area, lambda tags: 0 if tags is area else _raised(tags))
    if by_tags is not Order.UNTOLD:
        return by_tags
    if layer(road) != layer(area):
        return Order.UNTOLD
    lifted = any(area.get(key, "0") not in {"0", ""} for key in ("min_height", "building:min_level"))
    if area.get("building") in _ROOFS or lifted or road.get("covered", "no") != "no":
        return Order.ABOVE
    return Order.UNTOLD
