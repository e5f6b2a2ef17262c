"""Who may drive where: roads, barriers and bans, by the most specific key.

Sources: OSM wiki, Key:access, Key:barrier, Key:highway, Conditional restrictions, Key:hazmat (from memory,
but for the sentence that a barrier without a documented default is closed, read in the page Barriers).
What the wiki leaves open is decided here and marked "own rule"; it always errs towards a longer drive.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum, StrEnum

from clearance.core.conditions import parse_conditional
from clearance.core.structure import Direction
from clearance.core.valuetext import UnreadableError

__all__ = [
    "Access",
    "AccessReading",
    "ConditionalAccess",
    "Vehicle",
    "hazmat_ban",
    "hazmat_conditions",
    "is_road",
    "node_access",
    "road_access",
]


class Access(IntEnum):
    """How far a vehicle may use a road, the higher the less.

    `ENDS`: only in the stretch that holds the start, the end or a stop of the drive.
    """

    OPEN = 0
    ENDS = 1
    CLOSED = 2


class Vehicle(StrEnum):
    """The two vehicles that are ever planned for."""

    COACH = "coach"
    CAR = "car"


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionalAccess:
    """What holds in `direction` while `condition` does, more or less open than without it.

    A closing one is to be kept to unless its condition is surely off, an opening one used only where
    its condition surely holds.
    """

    access: Access
    condition: str
    key: str
    raw: str
    direction: Direction = Direction.BOTH


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessReading:
    """Access along the way and against it; `key` and `value` are the tag that told, empty for a default.

    `access` is the more open of the two directions.
    """

    forward: Access
    backward: Access
    key: str = ""
    value: str = ""
    conditional: tuple[ConditionalAccess, ...] = ()

    @property
    def access(self) -> Access:
        """The more open of the two directions."""
        return min(self.forward, self.backward)


#: From the most specific key to the least (OSM wiki, Key:access).
_KEYS: dict[Vehicle, tuple[str, ...]] = {
    Vehicle.COACH: ("motorhome", "motor_vehicle", "vehicle", "access"),
    Vehicle.CAR: ("motorcar", "motor_vehicle", "vehicle", "access"),
}
#: Keys that may close a road to a coach but never open it. Some countries' sign against motor cars binds
#: every motor vehicle with two tracks, and bus-only streets carry ``motorcar=no``: own rule. It gives way
#: to ``motorhome``, which is meant for nothing but the coach.
_CLOSING_KEYS: dict[Vehicle, tuple[str, ...]] = {Vehicle.COACH: ("motorcar",), Vehicle.CAR: ()}
#: The same for whatever is towed: a car on a dolly or on its wheels.
_TOWING_KEYS = ("trailer", "caravan")
_MODES = frozenset({*_KEYS[Vehicle.COACH], *_KEYS[Vehicle.CAR], *_TOWING_KEYS})

_VALUES: dict[str, Access] = {
    **dict.fromkeys(("yes", "permissive", "designated", "official", "public", "allowed"), Access.OPEN),
    # Open to those who stay, buy, live or deliver there (OSM wiki, Key:access).
    **dict.fromkeys(("private", "customers", "destination", "delivery", "permit", "residents"), Access.ENDS),
    **dict.fromkeys(
        ("resident", "visitors", "guests", "guest", "employees", "staff", "members"), Access.ENDS
    ),
    # Allowed, but signed as unsuitable: not a way through for a tall coach (own rule).
    "discouraged": Access.ENDS,
    # Nobody has said: neither open nor closed (own rule).
    "unknown": Access.ENDS,
    "variable": Access.ENDS,
    **dict.fromkeys(("no", "agricultural", "forestry", "agriculture", "forest", "military"), Access.CLOSED),
    **dict.fromkeys(("emergency", "use_sidepath", "dismount", "restricted", "prohibited"), Access.CLOSED),
    **dict.fromkeys(("bus", "psv", "taxi", "hov", "hgv", "bicycle", "foot"), Access.CLOSED),
}

#: Ways that motor vehicles drive on unless told otherwise (OSM wiki, Key:highway). Ferries are no roads
#: here: whether a coach may board, and how high the deck is, stands in no tag.
_ROADS = frozenset(
    {
        *("motorway", "motorway_link", "trunk", "trunk_link", "primary", "primary_link"),
        *("secondary", "secondary_link", "tertiary", "tertiary_link", "unclassified", "residential"),
        *("living_street", "service", "road", "track"),
    }
)
#: Ways made for others, roads only where a motor key says so.
_SHARED_WAYS = frozenset({"pedestrian", "footway", "path", "cycleway", "bridleway"})
#: Kinds of service ways that a coach finds closed or has no business in (own rule).
_SERVICES: dict[str, Access] = {
    "driveway": Access.ENDS,
    "emergency_access": Access.CLOSED,
    "bus": Access.CLOSED,
    "busway": Access.CLOSED,
}
_PAVED = frozenset({"paved", "asphalt", "concrete", "chipseal", "concrete:plates", "paving_stones", "sett"})

#: Barriers as they are found where nothing is told of access. OPEN: made to be driven through. ENDS: may be
#: shut (own rule). All others, also unknown ones, are closed: a barrier with no documented default implies
#: access=no (OSM wiki, Barriers).
_BARRIERS: dict[str, Access] = {
    **dict.fromkeys(("cattle_grid", "toll_booth", "border_control", "entrance", "kerb"), Access.OPEN),
    **dict.fromkeys(("height_restrictor", "gantry", "speed_bump", "coupure"), Access.OPEN),
    **dict.fromkeys(("gate", "lift_gate", "swing_gate", "sliding_gate", "sliding_beam"), Access.ENDS),
    **dict.fromkeys(("sally_port", "bump_gate", "hampshire_gate", "checkpoint"), Access.ENDS),
}


def _value(value: str) -> Access:
    """The class of an access value; of a list of user groups, what is surely meant for anybody.

    A value that is not known is neither open nor closed: ENDS (own rule).
    """
    parts = [part.strip().lower() for part in value.split(";") if part.strip()]
    classes = [_VALUES.get(part, Access.ENDS) for part in parts]
    if "no" in parts:
        return Access.CLOSED
    if not classes or len(set(classes)) > 1:
        return Access.ENDS
    return classes[0]


def _conditions(value: str) -> Iterator[tuple[Access, str]]:
    """The clauses of a conditional access; a text that is none holds under a condition nobody can judge."""
    try:
        for clause in parse_conditional(value):
            yield _value(clause.value), clause.condition
    except UnreadableError:
        known = value.strip().lower()
        yield _VALUES.get(known, Access.CLOSED), value


@dataclass(frozen=True, slots=True)
class _Told:
    """The tag that tells for one direction."""

    access: Access
    key: str
    value: str
    rank: int


def _told(tags: Mapping[str, str], keys: tuple[str, ...], way: Direction) -> _Told | None:
    """The most specific tag for one direction; of the same mode, the one with the direction."""
    for rank, mode in enumerate(keys):
        for key in (f"{mode}:{way.value}", f"access:{mode}:{way.value}", mode, f"access:{mode}"):
            if tags.get(key, "").strip():
                return _Told(_value(tags[key]), key, tags[key], rank)
    return None


def _conditional(
    tags: Mapping[str, str], keys: tuple[str, ...], ranks: Mapping[Direction, int], *, closing: bool = False
) -> Iterator[ConditionalAccess]:
    """Conditional tags no less specific than the tag that tells, the least specific first."""
    for rank, mode in reversed(list(enumerate(keys))):
        for direction in (Direction.BOTH, Direction.FORWARD, Direction.BACKWARD):
            suffix = "" if direction is Direction.BOTH else f":{direction.value}"
            key = f"{mode}{suffix}:conditional"
            if key not in tags:
                continue
            ways = [
                way
                for way in (Direction.FORWARD, Direction.BACKWARD)
                if direction in (Direction.BOTH, way) and rank <= ranks[way]
            ]
            if not ways:
                continue
            for access, condition in _conditions(tags[key]):
                if closing and access is Access.OPEN:
                    continue
                yield ConditionalAccess(
                    access=access,
                    condition=condition,
                    key=key,
                    raw=tags[key],
                    direction=Direction.BOTH if len(ways) == 2 else ways[0],
                )


def _by_tags(
    tags: Mapping[str, str], vehicle: Vehicle, towing: bool, default: Access
) -> tuple[dict[Direction, _Told], tuple[ConditionalAccess, ...]]:
    """The tag that tells for each direction, `default` where none does, and the conditional ones."""
    keys = _KEYS[vehicle]
    if _MODES.isdisjoint(key.partition(":")[0] for key in tags):
        # Most ways tell nothing of access; they are spared two dozen look-ups.
        told = dict.fromkeys((Direction.FORWARD, Direction.BACKWARD), _Told(default, "", "", len(keys)))
        return told, ()
    closing = list(_CLOSING_KEYS[vehicle])
    if any(f"{keys[0]}{suffix}" in tags for suffix in ("", ":forward", ":backward")):
        closing = []
    closing += _TOWING_KEYS if towing else ()
    told = {}
    for way in (Direction.FORWARD, Direction.BACKWARD):
        told[way] = _told(tags, keys, way) or _Told(default, "", "", len(keys))
        for key in closing:
            closed = _told(tags, (key,), way)
            if closed is not None and closed.access > told[way].access:
                told[way] = _Told(closed.access, closed.key, closed.value, told[way].rank)
    ranks = {way: t.rank for way, t in told.items()}
    always = dict.fromkeys(ranks, 0)
    conditional = [*_conditional(tags, keys, ranks)]
    for key in closing:
        conditional += _conditional(tags, (key,), always, closing=True)
    return told, tuple(conditional)


def is_road(tags: Mapping[str, str]) -> bool:
    """Whether a way is one that motor vehicles can drive on, closed to some or not.

    Footways, cycleways and the like are roads only where a motor key opens them; ways under
    construction, busways, raceways, steps, platforms and ferries never are.
    """
    highway = tags.get("highway", "")
    if highway in _ROADS:
        return True
    return highway in _SHARED_WAYS and any(_opened(tags, vehicle) is not None for vehicle in Vehicle)


def _opened(tags: Mapping[str, str], vehicle: Vehicle) -> Access | None:
    """How far a motor key opens a way made for others; None where none does.

    On anything but a pedestrian street only a plain permission counts: on a path, ``destination`` is
    usually meant for those on foot (own rule).
    """
    least = Access.ENDS if tags.get("highway") == "pedestrian" else Access.OPEN
    for key in _KEYS[vehicle][:2]:
        for name in (key, f"{key}:forward", f"{key}:backward"):
            if tags.get(name, "").strip():
                access = _value(tags[name])
                return access if access <= least else None
    return None


def _default(tags: Mapping[str, str]) -> Access:
    highway = tags.get("highway", "")
    if highway == "service":
        return _SERVICES.get(tags.get("service", ""), Access.OPEN)
    if highway in _SHARED_WAYS or highway not in _ROADS:
        return Access.CLOSED
    return Access.OPEN


def _rough_track(tags: Mapping[str, str]) -> bool:
    """Whether a track is unpaved or does not tell: no way through for a coach or a hired car (own rule)."""
    return (
        tags.get("highway") == "track"
        and tags.get("tracktype") != "grade1"
        and tags.get("surface") not in _PAVED
    )


def road_access(tags: Mapping[str, str], vehicle: Vehicle, towing: bool = False) -> AccessReading:
    """How far `vehicle` may use a way, along it and against it; one-way rules stand apart.

    The most specific key tells: motorhome (coach) or motorcar (car), then motor_vehicle, vehicle,
    access. With `towing`, the keys trailer and caravan may close it further. A rough track is for the
    ends of a drive only, unless a motor key opens it. What is no road (see `is_road`) is closed.

    >>> road_access({"highway": "residential", "access": "private"}, Vehicle.COACH).access
    <Access.ENDS: 1>
    >>> road_access({}, Vehicle.COACH).access
    <Access.CLOSED: 2>
    """
    highway = tags.get("highway", "")
    closed = AccessReading(forward=Access.CLOSED, backward=Access.CLOSED, key="highway", value=highway)
    if not is_road(tags) or (highway in _SHARED_WAYS and _opened(tags, vehicle) is None):
        return closed
    told, conditional = _by_tags(tags, vehicle, towing, _default(tags))
    ways = {}
    for way, tag in told.items():
        by_motor_key = tag.rank < 2
        ways[way] = tag.access if by_motor_key or not _rough_track(tags) else max(tag.access, Access.ENDS)
    first = max(told.values(), key=lambda tag: tag.access)
    return AccessReading(
        forward=ways[Direction.FORWARD],
        backward=ways[Direction.BACKWARD],
        key=first.key,
        value=first.value,
        conditional=conditional,
    )


def node_access(tags: Mapping[str, str], vehicle: Vehicle, towing: bool = False) -> AccessReading:
    """How far `vehicle` may pass a node of a road: a gate, a bollard. Open where there is no barrier.

    Where a barrier is closed by its kind, only a key for vehicles opens it: ``access=yes`` on a bollard
    is meant for those on foot (own rule).

    >>> node_access({"barrier": "bollard", "access": "yes"}, Vehicle.COACH).access
    <Access.CLOSED: 2>
    >>> node_access({}, Vehicle.COACH).access
    <Access.OPEN: 0>
    """
    barrier = tags.get("barrier", "").strip().lower()
    if barrier in ("", "no"):
        return AccessReading(forward=Access.OPEN, backward=Access.OPEN)
    default = _BARRIERS.get(barrier, Access.CLOSED)
    told, conditional = _by_tags(tags, vehicle, towing, default)
    if default is Access.CLOSED:
        told = {
            way: _Told(Access.CLOSED, "", "", tag.rank) if tag.key.startswith("access") else tag
            for way, tag in told.items()
        }
        conditional = tuple(c for c in conditional if not c.key.startswith("access"))
    first = max(told.values(), key=lambda tag: tag.access)
    return AccessReading(
        forward=told[Direction.FORWARD].access,
        backward=told[Direction.BACKWARD].access,
        key=first.key or "barrier",
        value=first.value if first.key else barrier,
        conditional=conditional,
    )


#: Tunnel categories of the ADR agreement from B up keep out dangerous goods, E nearly all (from memory).
#: No key tells of propane alone; a coach with propane aboard keeps out of them all (own rule).
_TUNNEL_CATEGORIES = ("B", "C", "D", "E")
_HAZMAT_KEYS = ("hazmat", *(f"hazmat:{category}" for category in _TUNNEL_CATEGORIES))


def _keeps_out(value: str) -> bool:
    parts = [part.strip() for part in value.split(";")]
    if any(part.upper() in _TUNNEL_CATEGORIES for part in parts):
        return True
    return _value(value) is not Access.OPEN


def hazmat_ban(tags: Mapping[str, str]) -> bool:
    """Whether a way keeps out dangerous goods, and so a coach with propane aboard, in any direction.

    ``hazmat:water`` is about goods that spoil water, which propane does not. A value short of plain
    permission counts as a ban (own rule).

    >>> hazmat_ban({"hazmat": "no"}), hazmat_ban({"hazmat:water": "no"})
    (True, False)
    """
    names = [f"{key}{suffix}" for key in _HAZMAT_KEYS for suffix in ("", ":forward", ":backward")]
    return any(tags[name].strip() and _keeps_out(tags[name]) for name in names if name in tags)


def hazmat_conditions(tags: Mapping[str, str]) -> tuple[ConditionalAccess, ...]:
    """The conditional bans on dangerous goods; permissions under a condition are left out."""
    found = []
    for key in _HAZMAT_KEYS:
        for suffix, direction in (("", Direction.BOTH), *((f":{d}", d) for d in Direction if d != "both")):
            name = f"{key}{suffix}:conditional"
            if name in tags:
                found += [
                    ConditionalAccess(
                        access=Access.CLOSED,
                        condition=condition,
                        key=name,
                        raw=tags[name],
                        direction=direction,
                    )
                    for access, condition in _conditions(tags[name])
                    if access is not Access.OPEN
                ]
    return tuple(found)
