"""Turn-by-turn directions of a drive, from the shape of its pieces."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

from clearance.core.drive import Drive, Piece, Stop
from clearance.outputs.legs import along, bearing, gap, halts, legs
from clearance.outputs.measures import Units, distance_text

__all__ = [
    "AT_ONCE",
    "Step",
    "StepKind",
    "Turn",
    "directions",
    "heading_word",
    "length_text",
    "road_words",
    "step_text",
]

Point = tuple[float, float]


class StepKind(StrEnum):
    """What happens at a step."""

    START = "start"
    TURN = "turn"
    UNCHECKED = "unchecked"
    STOP = "stop"
    ARRIVE = "arrive"


class Turn(StrEnum):
    """Which way a step goes on."""

    STRAIGHT = "straight on"
    KEEP_LEFT = "keep left"
    KEEP_RIGHT = "keep right"
    SLIGHT_LEFT = "slight left"
    SLIGHT_RIGHT = "slight right"
    LEFT = "left"
    RIGHT = "right"
    SHARP_LEFT = "sharp left"
    SHARP_RIGHT = "sharp right"
    ROUND = "turn round"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One line of the directions.

    `leg` counts from 0. `lon`, `lat` and `distance_m` (from the start of the drive) are where the step is,
    `length_m` how far it is to the next. `turn` is None at a start and a stop; `heading` is degrees
    clockwise from north after it. `road` is empty where the road has no name. `again` marks a turn that
    stays on the road of the step before. `exit` is the number of the exit of a roundabout, 0 where it is
    not told. `findings` are the numbers of what is passed before the next step.
    """

    kind: StepKind
    leg: int
    lon: float
    lat: float
    distance_m: float
    length_m: float = 0.0
    turn: Turn | None = None
    heading: float = 0.0
    road: str = ""
    highway: str = ""
    again: bool = False
    roundabout: bool = False
    exit: int = 0
    stop: Stop | None = None
    findings: tuple[int, ...] = ()


#: How much of the road before and after a corner tells its angle: short enough to see the corner, long
#: enough not to see a single crooked node. Judgement, no source.
_LOOK_M = 25.0
#: Bounds between the words, in degrees from straight on. Judgement, no source.
_STRAIGHT, _SLIGHT, _SHARP, _ROUND = 15.0, 45.0, 120.0, 170.0
#: A road that goes on in its own name is told of only where it turns this much.
_SAME_ROAD = 60.0

_FAST = frozenset({"motorway", "trunk"})

#: Stands for a length that rounds to nothing.
AT_ONCE = "at once"


def directions(drive: Drive) -> tuple[Step, ...]:
    """The steps of a drive in driving order; none where it has no pieces.

    Each leg begins with its start and ends with its stop, the last with the arrival. A road that goes on
    under its own name is one step, however many pieces it has.
    """
    stops = halts(drive)
    steps: list[Step] = []
    for number, leg in enumerate(legs(drive)):
        here = stops[number] if number < len(stops) else None
        there = stops[number + 1] if number + 1 < len(stops) else None
        steps += _leg(leg, number, here)
        if there is not None:
            last = number + 2 == len(stops)
            steps.append(
                Step(
                    kind=StepKind.ARRIVE if last else StepKind.STOP,
                    leg=number,
                    lon=there.lon,
                    lat=there.lat,
                    distance_m=there.distance_m,
                    stop=there,
                )
            )
    steps += _unchecked(drive)
    # A stop comes before the start of the next leg at the same distance: the sort keeps their order.
    steps.sort(key=lambda step: step.distance_m)
    return tuple(_with_findings(drive, steps))


def _leg(pieces: Sequence[Piece], number: int, here: Stop | None) -> Iterator[Step]:
    """The steps of one leg up to its stop."""
    current: Step | None = None
    #: The last piece that is no circle, the first piece of the circle being driven, the last piece of all.
    before = circle = last = None
    exit_ = 0
    for piece in pieces:
        if last is not None and gap(last, piece):
            # Across an unchecked gap there is no corner to tell of: the way starts anew.
            before = circle = None
            exit_ = 0
        last = piece
        if piece.roundabout and before is not None:
            circle, exit_ = circle or piece, piece.exit
            continue
        corner = circle or piece
        step = Step(
            kind=StepKind.START if before is None else StepKind.TURN,
            leg=number,
            lon=corner.points[0][0],
            lat=corner.points[0][1],
            distance_m=corner.distance_m,
            length_m=piece.distance_m + piece.length_m - corner.distance_m,
            heading=_leaving(piece.points),
            road=piece.road,
            highway=piece.highway,
            roundabout=circle is not None,
            exit=exit_,
            stop=here if current is None else None,
        )
        if before is not None:
            angle = _angle(before, piece)
            step = replace(step, turn=_turn(angle, before, piece), again=_same(before, piece))
            if current is not None and step.again and circle is None and abs(angle) < _SAME_ROAD:
                current = replace(current, length_m=current.length_m + piece.length_m)
                before = piece
                continue
        if current is not None:
            yield current
        current, before, circle, exit_ = step, piece, None, 0
    if current is not None and circle is not None and last is not None:
        # The leg ends inside a circle: that stretch belongs to the last step.
        current = replace(current, length_m=last.distance_m + last.length_m - current.distance_m)
    if current is not None:
        yield current


def _same(before: Piece, piece: Piece) -> bool:
    """Whether a piece goes on along the road of the one before."""
    if before.road or piece.road:
        return before.road == piece.road
    return before.highway == piece.highway


def _arriving(points: Sequence[Point]) -> float:
    """The bearing at the end of a line."""
    back = tuple(reversed(points))
    return bearing(along(back, _LOOK_M)[0], points[-1])


def _leaving(points: Sequence[Point]) -> float:
    """The bearing at the start of a line."""
    return bearing(points[0], along(points, _LOOK_M)[0])


def _angle(before: Piece, after: Piece) -> float:
    """Degrees turned between two pieces, -180 < x <= 180, right positive."""
    turned = (_leaving(after.points) - _arriving(before.points)) % 360
    return turned - 360 if turned > 180 else turned


def _turn(angle: float, before: Piece, after: Piece) -> Turn:
    size, right = abs(angle), angle > 0
    if size > _ROUND:
        return Turn.ROUND
    # Where a fast road parts, both ways lead almost straight on: the side is what the driver needs.
    parting = _fast(before.highway) and (before.highway.endswith("_link") or after.highway.endswith("_link"))
    if parting and 1 < size <= _SLIGHT:
        return Turn.KEEP_RIGHT if right else Turn.KEEP_LEFT
    if size <= _STRAIGHT:
        return Turn.STRAIGHT
    if size <= _SLIGHT:
        return Turn.SLIGHT_RIGHT if right else Turn.SLIGHT_LEFT
    if size <= _SHARP:
        return Turn.RIGHT if right else Turn.LEFT
    return Turn.SHARP_RIGHT if right else Turn.SHARP_LEFT


def _fast(highway: str) -> bool:
    return highway.removesuffix("_link") in _FAST


def _unchecked(drive: Drive) -> Iterator[Step]:
    """Where an inspected line leaves the known roads."""
    for part in drive.unchecked:
        yield Step(
            kind=StepKind.UNCHECKED,
            leg=0,
            lon=part.points[0][0],
            lat=part.points[0][1],
            distance_m=part.distance_m,
            length_m=part.length_m,
            heading=_leaving(part.points) if len(part.points) > 1 else 0.0,
        )


def _with_findings(drive: Drive, steps: Sequence[Step]) -> Iterator[Step]:
    """Each finding beside the last step that is not past it."""
    waiting = list(drive.findings)
    moving = [step for step in steps if step.kind not in (StepKind.STOP, StepKind.ARRIVE)]
    ends = {id(a): b.distance_m for a, b in pairwise(moving)}
    for step in steps:
        if step.kind in (StepKind.STOP, StepKind.ARRIVE):
            yield step
            continue
        end = ends.get(id(step), float("inf"))
        passed = []
        while waiting and waiting[0].distance_m < end:
            passed.append(waiting.pop(0).number)
        yield replace(step, findings=tuple(passed))


# --- words ------------------------------------------------------------------------------------------

_HEADINGS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")

#: What a road without a name is called. The others are simply a road.
_UNNAMED = {
    "motorway_link": "the ramp",
    "trunk_link": "the ramp",
    "primary_link": "a connecting road",
    "secondary_link": "a connecting road",
    "tertiary_link": "a connecting road",
    "service": "a service road",
    "track": "a track",
}

_ONTO = {
    Turn.STRAIGHT: "Straight on onto {road}",
    Turn.KEEP_LEFT: "Keep left onto {road}",
    Turn.KEEP_RIGHT: "Keep right onto {road}",
    Turn.SLIGHT_LEFT: "Slight left onto {road}",
    Turn.SLIGHT_RIGHT: "Slight right onto {road}",
    Turn.LEFT: "Left onto {road}",
    Turn.RIGHT: "Right onto {road}",
    Turn.SHARP_LEFT: "Sharp left onto {road}",
    Turn.SHARP_RIGHT: "Sharp right onto {road}",
    Turn.ROUND: "Turn round onto {road}",
}


def heading_word(degrees: float) -> str:
    """The nearest of eight points of the compass.

    >>> heading_word(44), heading_word(350)
    ('north-east', 'north')
    """
    return _HEADINGS[round(degrees / 45) % 8]


def road_words(road: str, highway: str) -> str:
    """The name of a road, or words for one without."""
    return road or _UNNAMED.get(highway, "an unnamed road")


def step_text(step: Step) -> str:
    """What to do at a step, without its distance: ``Left onto Mill Lane``."""
    road = road_words(step.road, step.highway)
    if step.kind is StepKind.START:
        place = f"From {step.stop.place.name}: " if step.stop is not None and step.stop.place.name else ""
        return f"{place}{'head' if place else 'Head'} {heading_word(step.heading)} on {road}"
    if step.kind is StepKind.UNCHECKED:
        return "Off the known roads: nothing is checked on this part"
    if step.kind is StepKind.STOP:
        return f"Stop: {_named(step)}"
    if step.kind is StepKind.ARRIVE:
        return f"Arrive: {_named(step)}"
    if step.exit:
        way = f", staying on {road}" if step.again else f" onto {road}"
        return f"At the roundabout: take the {_ordinal(step.exit)} exit{way}"
    turn = step.turn or Turn.STRAIGHT
    text = _ONTO[turn].format(road=road)
    if step.again:
        text = text.replace(" onto ", ", staying on ", 1)
    return f"At the roundabout: {text[0].lower()}{text[1:]}" if step.roundabout else text


def length_text(step: Step, units: Units = Units.FEET) -> str:
    """How far it is to the next step: ``400 ft``; ``at once`` where it rounds to nothing; empty at a stop."""
    if step.length_m <= 0:
        return ""
    text = distance_text(step.length_m, units)
    return AT_ONCE if text == distance_text(0, units) else text


def _ordinal(number: int) -> str:
    """``1st``, ``2nd``, ``11th``."""
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def _named(step: Step) -> str:
    return (step.stop.place.name if step.stop is not None else "") or "the place chosen"
