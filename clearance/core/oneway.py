"""Which way along a road traffic may go.

Source: OSM wiki, Key:oneway, Key:junction, Tag:highway=motorway (from memory). What depends on the time
of day is closed both ways: a wrong guess would be head-on.
"""

from __future__ import annotations

from collections.abc import Mapping

from clearance.core.access import Vehicle
from clearance.core.conditions import parse_conditional
from clearance.core.valuetext import UnreadableError

__all__ = ["direction_note", "directions"]

_BOTH, _FORWARD, _BACKWARD, _NEITHER = (True, True), (True, False), (False, True), (False, False)
_VALUES = {
    **dict.fromkeys(("yes", "1", "true"), _FORWARD),
    **dict.fromkeys(("-1", "reverse"), _BACKWARD),
    **dict.fromkeys(("no", "0", "false"), _BOTH),
    # One lane that signals give to each direction in turn, within minutes: open both ways.
    "alternating": _BOTH,
    "reversible": _NEITHER,
}
_KEYS = {
    Vehicle.COACH: ("oneway:motorhome", "oneway:motor_vehicle", "oneway:vehicle", "oneway"),
    Vehicle.CAR: ("oneway:motorcar", "oneway:motor_vehicle", "oneway:vehicle", "oneway"),
}


def _implied(tags: Mapping[str, str]) -> tuple[bool, bool]:
    """Roundabouts and motorways are one-way unless told otherwise; slip roads are not."""
    if tags.get("junction") in ("roundabout", "circular") or tags.get("highway") == "motorway":
        return _FORWARD
    return _BOTH


def _always(tags: Mapping[str, str], vehicle: Vehicle) -> tuple[bool, bool]:
    for key in _KEYS[vehicle]:
        value = tags.get(key, "").strip().lower()
        if value:
            # A value that is not known may mean either way.
            return _VALUES.get(value, _NEITHER)
    return _implied(tags)


def directions(tags: Mapping[str, str], vehicle: Vehicle) -> tuple[bool, bool]:
    """Whether `vehicle` may go (along the way, against it), access aside.

    The most specific key tells: oneway:motorhome (coach) or oneway:motorcar (car), then
    oneway:motor_vehicle, oneway:vehicle, oneway. A direction that some condition may close counts as
    closed; so do both directions of a reversible road and of a value that is not known.

    >>> directions({"oneway": "-1"}, Vehicle.COACH)
    (False, True)
    >>> directions({}, Vehicle.COACH)
    (True, True)
    """
    forward, backward = _always(tags, vehicle)
    for key in _KEYS[vehicle]:
        if f"{key}:conditional" not in tags:
            continue
        try:
            values = [clause.value.lower() for clause in parse_conditional(tags[f"{key}:conditional"])]
        except UnreadableError:
            values = [""]
        for value in values:
            ahead, back = _VALUES.get(value, _NEITHER)
            forward, backward = forward and ahead, backward and back
    return forward, backward


def direction_note(tags: Mapping[str, str], vehicle: Vehicle) -> str:
    """Why a road is closed in a direction that may be open at times; empty where that is not so."""
    if directions(tags, vehicle) == _always(tags, vehicle) != _NEITHER:
        return ""
    told = [
        f"{key}={tags[key]}"
        for name in _KEYS[vehicle]
        for key in (name, f"{name}:conditional")
        if key in tags
    ]
    return f"direction of traffic changes or is not readable ({', '.join(told)}); closed where in doubt"
