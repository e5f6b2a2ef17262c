"""A planned drive and what was found on it, in driving order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING

from clearance.core.coach import Coach
from clearance.core.extract import ExtractInfo
from clearance.core.knowledge import AreaKnown
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Direction, Standing, Structure

if TYPE_CHECKING:
    from clearance.core.facility import Facility

__all__ = [
    "CarDrive",
    "Drive",
    "Finding",
    "InOut",
    "InOutAnswer",
    "Obstacle",
    "Piece",
    "Stop",
    "TurnOff",
    "Unchecked",
    "Unverified",
    "Verdict",
]


class Verdict(StrEnum):
    """The answer to "can the coach drive this?"."""

    CLEAR = "clear"
    CARE = "care"
    BLOCKED = "blocked"


class Unverified(StrEnum):
    """What to do about structures with no posted or measured figure."""

    AVOID = "avoid"
    ACCEPT = "accept"
    REFUSE = "refuse"


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of the drive on one road.

    `points` are (lon, lat) WGS84 degrees in driving order. `distance_m` and `seconds` are from the
    start of the drive to the start of the piece. `roundabout` marks the part driven round a circle, and
    `exit` is then the number of the exit by which the drive leaves it, on the last piece of the circle; 0
    where that cannot be told.
    """

    road: str
    highway: str
    points: tuple[tuple[float, float], ...]
    length_m: float
    duration_s: float
    distance_m: float
    seconds: float
    ways: tuple[int, ...] = ()
    roundabout: bool = False
    exit: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnOff:
    """The last junction before a structure from which another way leads on to the next stop.

    `distance_m` is from the start of the drive, `before_m` from the junction to the structure,
    `extra_s` the seconds that the other way takes beyond the planned one. `onto` names the road
    taken instead. Where no other way leads on to the stop, `leads_on` is False: the way from there then
    leads back to where the leg began, and `extra_s` is nothing.
    """

    lon: float
    lat: float
    road: str
    onto: str
    distance_m: float
    before_m: float
    extra_s: float
    leads_on: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A structure passed on the drive, as it stands for the coach.

    `number` counts from 1 in driving order. `clearance` is the lowest figure that may hold in the
    direction driven, None where there is none. `headroom` is clearance less the coach's height.
    `direction` is along the way of the structure. Distances in metres, times in seconds, both from
    the start of the drive.
    """

    number: int
    structure: Structure
    standing: Standing
    direction: Direction
    distance_m: float
    seconds: float
    lon: float
    lat: float
    road: str = ""
    clearance: Length | None = None
    headroom: Length | None = None
    turn_off: TurnOff | None = None


class InOutAnswer(StrEnum):
    """Whether the coach can enter and leave a stop forward."""

    DRIVES_THROUGH = "drives through"
    NEEDS_ROOM = "needs room to turn"
    DO_NOT_ENTER = "do not enter"


@dataclass(frozen=True, slots=True, kw_only=True)
class InOut:
    """The way in and out of a stop.

    `serious` marks a dead end for a coach that tows what cannot be reversed. `turn_kind` says what the
    nearest mapped place to turn is (``turning circle``, ``turning loop``, ``roundabout``), with its place
    and the metres from the stop to it; empty where none is mapped on the way the coach can reach forward.
    `reason` is a sentence of the facts.
    """

    answer: InOutAnswer
    reason: str = ""
    serious: bool = False
    dead_end_m: float = 0.0
    turn_kind: str = ""
    turn_lon: float = 0.0
    turn_lat: float = 0.0
    turn_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A place of the day: when the coach arrives and leaves, and how it gets in and out.

    `lon` and `lat` are where the drive meets the road nearest to the place, `off_road_m` how far
    that is from the place itself. Distances and times are from the start of the drive;
    `leaves_s` - `arrives_s` is the time spent there.
    """

    place: Place
    lon: float
    lat: float
    off_road_m: float
    distance_m: float
    arrives_s: float
    leaves_s: float
    in_out: InOut | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unchecked:
    """A part of an inspected line that lies on no known road: nothing is known of it."""

    points: tuple[tuple[float, float], ...]
    length_m: float
    distance_m: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """A limit other than height that closes the shortest way: its kind, element and raw text."""

    kind: str
    element: str
    raw: str
    road: str
    lon: float
    lat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CarDrive:
    """The plain fastest drive for a car, beside the coach's.

    `differences` are the structures on it that the coach may not or would rather not pass, in
    driving order: what made the coach's drive another one.
    """

    distance_m: float
    duration_s: float
    points: tuple[tuple[float, float], ...]
    differences: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A drive through `places` in order, with its verdict.

    Blocked drives have no pieces; `in_the_way` then holds the structures that close the best way
    there is, `gets_through` the greatest height that any way admits (None: no known figure limits
    it), and `obstacles` limits other than height. `ceiling` is the lowest known clearance on the
    drive. `policy_seconds` is what the policy added for unverified and tight structures when ways
    were compared; it is no driving time. `area` is how much is known of the area at large, None where
    nobody counted.
    """

    places: tuple[Place, ...]
    coach: Coach
    unverified: Unverified
    verdict: Verdict
    info: ExtractInfo
    distance_m: float = 0.0
    duration_s: float = 0.0
    policy_seconds: float = 0.0
    pieces: tuple[Piece, ...] = ()
    findings: tuple[Finding, ...] = ()
    ceiling: Length | None = None
    car: CarDrive | None = None
    in_the_way: tuple[Finding, ...] = ()
    gets_through: Length | None = None
    obstacles: tuple[Obstacle, ...] = ()
    departure: datetime | None = None
    stops: tuple[Stop, ...] = ()
    unchecked: tuple[Unchecked, ...] = ()
    along: tuple[Facility, ...] = ()
    notes: tuple[str, ...] = ()
    area: AreaKnown | None = None
