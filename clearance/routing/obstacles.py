"""What closes a route other than height: limits, bans, access and barriers, each with its tag."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.network.network import (
    ACCESS_CLOSED,
    ACCESS_ENDS,
    FLAG_CAR_PARK,
    FLAG_DRIVE_THROUGH,
    FLAG_HAZMAT_BAN,
    NODE_CAR_PARK,
)
from clearance.routing.rules import Vehicle

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from clearance.core.coach import Coach
    from clearance.core.conditions import Window
    from clearance.network.network import Network, Rule
    from clearance.routing.route import Route

__all__ = ["Closure", "closures_on"]


@dataclass(frozen=True, slots=True)
class Closure:
    """One thing that closes a route to a coach.

    `kind` is ``width``, ``length``, ``weight``, ``hazmat``, ``access``, ``turn``, ``drive-through`` or
    ``car park``; `ends_only` marks access that would be open at an end of the drive. `element` and `raw`
    (key=value) tell of it; `leg` is the number of the arc in the route, `at_node` whether it stands at the
    head of that arc.
    """

    kind: str
    element: str
    raw: str
    leg: int
    at_node: bool = False
    ends_only: bool = False


_LIMITS = {"width": "arc_max_width", "length": "arc_max_length", "weight": "arc_max_weight"}
_FLAGS = {FLAG_DRIVE_THROUGH: "drive-through", FLAG_CAR_PARK: "car park"}


def closures_on(network: Network, coach: Coach, window: Window | None, route: Route) -> tuple[Closure, ...]:
    """All that closes the arcs and turns of `route` to the coach, heights aside, in driving order.

    One and the same element and kind on several arcs is told once, where it is met first.
    """
    vehicle = Vehicle(coach=coach, window=window)
    found: dict[tuple[str, str], Closure] = {}
    for leg in range(len(route.arcs)):
        for closure in (*_on_arc(network, vehicle, route, leg), *_on_turn(network, vehicle, route, leg)):
            found.setdefault((closure.kind, closure.element), closure)
    return tuple(found.values())


def _on_arc(network: Network, vehicle: Vehicle, route: Route, leg: int) -> Iterator[Closure]:
    arc = route.arcs[leg]
    way = network.ways[int(network.arc_way[arc])]
    element = f"way/{way.id}"
    rules = [network.rules[i] for i in network.rule_index[network.rule_arc == arc].tolist()]
    access = vehicle.access(int(network.arc_access[arc]), rules)
    if access == ACCESS_CLOSED:
        yield Closure("access", element, _told(way.tags, _ACCESS_KEYS), leg)
    elif access == ACCESS_ENDS:
        yield Closure("access", element, _told(way.tags, _ACCESS_KEYS), leg, ends_only=True)
    for kind, column in _LIMITS.items():
        measure = vehicle.measure(kind)
        if measure is not None and getattr(network, column)[arc] < measure:
            yield Closure(kind, element, _told(way.tags, (f"max{kind}",)), leg)
    flags = int(network.arc_flags[arc])
    for flag, kind in _FLAGS.items():
        if flags & flag:
            yield Closure(kind, element, _told(way.tags, ("service", "parking", "indoor")), leg)
    if flags & FLAG_HAZMAT_BAN and vehicle.minds_hazmat_bans:
        yield Closure("hazmat", element, _told(way.tags, ("hazmat",)), leg)
    yield from (_by_rule(rule, leg) for rule in rules if vehicle.closes(rule))


def _on_turn(network: Network, vehicle: Vehicle, route: Route, leg: int) -> Iterator[Closure]:
    if leg == len(route.arcs) - 1:
        return
    turn, node = route.turns[leg], int(network.arc_head[route.arcs[leg]])
    indices = [int(network.turn_rule[turn]), *network.more_rule[network.more_turn == turn].tolist()]
    turn_rules = [network.rules[i] for i in indices if i >= 0]
    yield from (_by_rule(rule, leg, at_node=True) for rule in turn_rules if vehicle.closes(rule))
    rules = [network.rules[i] for i in network.noderule_index[network.noderule_node == node].tolist()]
    access = vehicle.access(int(network.node_access[node]), rules)
    element = f"node/{int(network.node_osm[node])}"
    if access != 0:
        ends_only = access == ACCESS_ENDS
        yield Closure("access", element, "barrier", leg, at_node=True, ends_only=ends_only)
    if network.node_flags[node] & NODE_CAR_PARK:
        yield Closure("car park", element, "entrance", leg, at_node=True)
    yield from (_by_rule(rule, leg, at_node=True) for rule in rules if vehicle.closes(rule))


def _by_rule(rule: Rule, leg: int, *, at_node: bool = False) -> Closure:
    return Closure(rule.target, rule.element, rule.raw, leg, at_node=at_node)


_ACCESS_KEYS = (
    "motorhome",
    "motorcar",
    "motor_vehicle",
    "vehicle",
    "access",
    "trailer",
    "caravan",
    "service",
)


def _told(tags: Mapping[str, str], keys: tuple[str, ...]) -> str:
    """The tags of a way with those keys, conditional and directed forms too; its highway where none."""
    told = [f"{key}={value}" for key, value in sorted(tags.items()) if key.split(":")[0] in keys]
    return "; ".join(told) or f"highway={tags.get('highway', '')}"
