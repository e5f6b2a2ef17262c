"""What the tags of each road mean for the network: access, direction, limits, speed, rules."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from clearance.core.access import (
    Access,
    AccessReading,
    ConditionalAccess,
    Vehicle,
    hazmat_ban,
    hazmat_conditions,
    is_road,
    node_access,
    road_access,
)
from clearance.core.limits import read_limits
from clearance.core.modes import TOWED_MODES
from clearance.core.oneway import direction_note, directions
from clearance.core.speeds import road_speeds
from clearance.core.structure import Direction
from clearance.network.network import FLAG_DRIVE_THROUGH, FLAG_HAZMAT_BAN, NO_LIMIT, Rule

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.extract import Way
    from clearance.core.lengths import Length
    from clearance.core.limits import LimitTags

__all__ = ["NodeFacts", "Roads", "node_facts", "read_roads"]

#: Along the way and against it: the order of every pair here.
_SIDES = (Direction.FORWARD, Direction.BACKWARD)
_MODE = {Vehicle.COACH: "motorhome", Vehicle.CAR: "motorcar"}
#: Keys that never bear on how a road may be driven. What is not listed here is looked at.
_IDLE_KEYS = re.compile(
    r"(?:name|alt_name|old_name|loc_name|official_name|short_name|ref|int_ref|nat_ref|old_ref|tiger|"
    r"source(?!:maxspeed)|note|lit|sidewalk|cycleway|parking:lane|lanes|turn|destination|smoothness|width|incline|"
    r"maxheight|bridge|layer|wikidata|wikipedia|operator|check_date|addr|gnis|created_by|start_date)(?::.*)?"
)


@dataclass(frozen=True, slots=True)
class _Draft:
    """A rule before it has an element: for (along, against) the way."""

    target: str
    condition: str
    value: int
    raw: str
    modes: tuple[str, ...]
    sides: tuple[bool, bool]


@dataclass(frozen=True, slots=True)
class _Facts:
    """The meaning of one set of tags; pairs are along and against the way."""

    usable: tuple[bool, bool]
    access: tuple[int, int]
    access_car: tuple[int, int]
    flags: int
    width: tuple[int, int]
    length: tuple[int, int]
    weight: tuple[int, int]
    kmh: tuple[float, float]
    rules: tuple[_Draft, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Roads:
    """The usable roads of an extract (w), sorted by id, with what holds along (0) and against (1) each.

    All arrays have the shape (w, 2) but for `flags` (w,). Access is ACCESS_*; widths and lengths are
    in tenths of a millimetre, weights in kilograms, `kmh` in km/h. `rules` are (row, side, rule).
    """

    ways: Sequence[Way]
    usable: npt.NDArray[np.bool_]
    access: npt.NDArray[np.uint8]
    access_car: npt.NDArray[np.uint8]
    flags: npt.NDArray[np.uint8]
    width: npt.NDArray[np.int32]
    length: npt.NDArray[np.int32]
    weight: npt.NDArray[np.int32]
    kmh: npt.NDArray[np.float64]
    rules: Sequence[tuple[int, int, Rule]] = field(default=())
    warnings: Sequence[str] = field(default=())


def read_roads(ways: Iterable[Way]) -> Roads:
    """The roads among `ways` that a coach or a car may use in some direction, at some time.

    Warnings tell of limits that could not be read and of directions that change.
    """
    known: dict[tuple[tuple[str, str], ...], int] = {}
    table: list[_Facts] = []
    kept: list[Way] = []
    which: list[int] = []
    rules: list[tuple[int, int, Rule]] = []
    warnings: list[str] = []
    for way in ways:
        if len(way.nodes) < 2 or not is_road(way.tags):
            continue
        # Few sets of tags are met again and again, once the names are left out.
        key = tuple(sorted((k, v) for k, v in way.tags.items() if not _IDLE_KEYS.fullmatch(k)))
        at = known.get(key, -1)
        if at < 0:
            at = known[key] = len(table)
            table.append(_facts(dict(key)))
        facts = table[at]
        element = f"way/{way.id}"
        warnings += [f"{element}: {note}" for note in facts.notes]
        if not any(facts.usable):
            continue
        for draft in facts.rules:
            rule = Rule(draft.target, draft.condition, draft.value, element, draft.raw, draft.modes)
            rules += [(len(kept), side, rule) for side in (0, 1) if draft.sides[side]]
        kept.append(way)
        which.append(at)

    row = np.array(which, dtype=np.int64)

    def column(name: str, kind: type) -> Any:
        values: Any = np.array([getattr(facts, name) for facts in table], dtype=kind)
        return values[row] if table else np.zeros((0,) if name == "flags" else (0, 2), kind)

    return Roads(
        ways=tuple(kept),
        usable=column("usable", np.bool_),
        access=column("access", np.uint8),
        access_car=column("access_car", np.uint8),
        flags=column("flags", np.uint8),
        width=column("width", np.int32),
        length=column("length", np.int32),
        weight=column("weight", np.int32),
        kmh=column("kmh", np.float64),
        rules=tuple(rules),
        warnings=tuple(warnings),
    )


def _facts(tags: Mapping[str, str]) -> _Facts:
    element = ""  # notes are given their element where they are used
    access: dict[Vehicle, tuple[int, int]] = {}
    usable = [False, False]
    rules: list[_Draft] = []
    for vehicle in Vehicle:
        reading = road_access(tags, vehicle)
        ways = directions(tags, vehicle)
        classes = (reading.forward, reading.backward)
        along, against = (int(classes[side] if ways[side] else Access.CLOSED) for side in (0, 1))
        access[vehicle] = along, against
        for draft in _access_rules(reading, _towed(tags, vehicle, reading), vehicle):
            sides = draft.sides[0] and ways[0], draft.sides[1] and ways[1]
            if any(sides):
                rules.append(replace(draft, sides=sides))
        for side in (0, 1):
            opens = any(d.target == "access" and d.value < Access.CLOSED and d.sides[side] for d in rules)
            usable[side] |= ways[side] and (classes[side] < Access.CLOSED or opens)
    limits = read_limits(tags, element)
    rules += _limit_rules(limits)
    rules += [
        _Draft("hazmat", c.condition, 1, f"{c.key}={c.raw}", ("motorhome",), _sides(c.direction))
        for c in hazmat_conditions(tags)
    ]
    flags = FLAG_DRIVE_THROUGH if tags.get("service") == "drive-through" else 0
    flags |= FLAG_HAZMAT_BAN if hazmat_ban(tags) else 0
    notes = [text.removeprefix(": ") for text in limits.warnings]
    notes += dict.fromkeys(note for vehicle in Vehicle if (note := direction_note(tags, vehicle)))
    return _Facts(
        usable=(usable[0], usable[1]),
        access=access[Vehicle.COACH],
        access_car=access[Vehicle.CAR],
        flags=flags,
        width=_tenths(limits.max_width),
        length=_tenths(limits.max_length),
        weight=_numbers(limits.max_weight_kg),
        kmh=road_speeds(tags),
        rules=tuple(_merged(rules)),
        notes=tuple(notes),
    )


def _towed(tags: Mapping[str, str], vehicle: Vehicle, plain: AccessReading) -> AccessReading:
    """Access with something in tow, read only where a tag speaks of it."""
    if vehicle is Vehicle.COACH and any(key.split(":")[0] in TOWED_MODES for key in tags):
        return road_access(tags, vehicle, towing=True)
    return plain


def _sides(direction: Direction) -> tuple[bool, bool]:
    return direction is not Direction.BACKWARD, direction is not Direction.FORWARD


def _access_rules(plain: AccessReading, towed: AccessReading, vehicle: Vehicle) -> Iterator[_Draft]:
    """What conditions do to access, and what towing does."""
    mode = (_MODE[vehicle],)

    def draft(told: ConditionalAccess, modes: tuple[str, ...]) -> _Draft:
        raw = f"{told.key}={told.raw}"
        return _Draft("access", told.condition, int(told.access), raw, modes, _sides(told.direction))

    for told in plain.conditional:
        yield draft(told, mode)
    if towed is plain:
        return
    for told in towed.conditional:
        if told not in plain.conditional:
            yield draft(told, ("trailer",))
    for side, (before, after) in enumerate(
        ((plain.forward, towed.forward), (plain.backward, towed.backward))
    ):
        if after > before:
            raw = f"{towed.key}={towed.value}"
            yield _Draft("access", "", int(after), raw, ("trailer",), (side == 0, side == 1))


def _limit_rules(limits: LimitTags) -> Iterator[_Draft]:
    """Limits that hold under a condition; none binds a car."""
    for told in limits.conditional:
        raw = f"{told.key}={told.raw}"
        yield _Draft(told.target, told.condition, told.value, raw, ("motorhome",), _sides(told.direction))


def _merged(drafts: Iterable[_Draft]) -> Iterator[_Draft]:
    """The drafts in order, those that bind coach and car alike made one that binds all."""
    modes: dict[_Draft, list[str]] = {}
    for draft in drafts:
        group = modes.setdefault(replace(draft, modes=("trailer",) if "trailer" in draft.modes else ()), [])
        group += [mode for mode in draft.modes if mode not in group]
    for draft, told in modes.items():
        yield replace(draft, modes=() if set(told) == set(_MODE.values()) else tuple(told))


def _tenths(pair: tuple[Length | None, Length | None]) -> tuple[int, int]:
    first, second = (int(NO_LIMIT) if one is None else one.tenths for one in pair)
    return first, second


def _numbers(pair: tuple[int | None, int | None]) -> tuple[int, int]:
    first, second = (int(NO_LIMIT) if one is None else one for one in pair)
    return first, second


@dataclass(frozen=True, slots=True)
class NodeFacts:
    """What passing a tagged node means: access for coach and car, rules, warnings."""

    access: int
    access_car: int
    rules: tuple[Rule, ...]
    warnings: tuple[str, ...]


def node_facts(tags: Mapping[str, str], element: str) -> NodeFacts:
    """The meaning of a node on a road: a barrier and its access, and limits of size and weight.

    A barrier told to differ by direction counts as the less open of the two: which way is meant is
    told by the way, and there may be several.
    """
    drafts: list[_Draft] = []
    worst: dict[Vehicle, int] = {}
    for vehicle in Vehicle:
        plain = node_access(tags, vehicle)
        towed = plain
        if vehicle is Vehicle.COACH and any(key.split(":")[0] in TOWED_MODES for key in tags):
            towed = node_access(tags, vehicle, towing=True)
        worst[vehicle] = int(max(plain.forward, plain.backward))
        drafts += _access_rules(plain, towed, vehicle)
    limits = read_limits(tags, element)
    drafts += _limit_rules(limits)
    for target, pair in (
        ("width", _tenths(limits.max_width)),
        ("length", _tenths(limits.max_length)),
        ("weight", _numbers(limits.max_weight_kg)),
    ):
        if min(pair) < NO_LIMIT:
            raw = "; ".join(f"{k}={v}" for k, v in sorted(tags.items()) if k.startswith(f"max{target}"))
            drafts.append(_Draft(target, "", min(pair), raw, ("motorhome",), (True, True)))
    rules = tuple(Rule(d.target, d.condition, d.value, element, d.raw, d.modes) for d in _merged(drafts))
    return NodeFacts(worst[Vehicle.COACH], worst[Vehicle.CAR], rules, limits.warnings)
