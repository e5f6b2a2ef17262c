"""A screening written by hand, for tests of its outputs."""

from __future__ import annotations

from clearance.core.coach import Coach
from clearance.core.drive import InOut, InOutAnswer, Obstacle, Unverified, Verdict
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.screening import Admitted, Flag, Leg, Problem, Row, Screening, Trip
from clearance.core.structure import Kind, Standing
from tests.outputs.samples import INFO, posted, structure, word
from tests.towns import lonlat

HERON = Coach(height=Length.from_feet(13), towing=True, name="Heron")
WREN = Coach(height=Length.from_feet(11, 2), name="Wren")

LOW = structure(Kind.RAIL_BRIDGE, (300, 0), posted("3.6"), name="Coast Line", way=11)
UNKNOWN = structure(Kind.BRIDGE, (600, 100), word("default", 12), name="Lamp Street", way=12)
TIGHT = structure(Kind.FOOTBRIDGE, (900, 200), posted(Length.from_feet(13, 9)), way=13)
HIGH = structure(Kind.BRIDGE, (100, 400), posted("5.0"), name='=High "Road"', way=14)


def place(x: float, y: float, name: str) -> Place:
    lon, lat = lonlat(x, y)
    return Place(lon=lon, lat=lat, name=name)


def trip(seconds: float, *flags: Flag, car_s: float | None = 300.0, ceiling: str = "5.0") -> Trip:
    return Trip(
        distance_m=seconds * 12.5,
        duration_s=seconds,
        car_distance_m=None if car_s is None else car_s * 15,
        car_duration_s=car_s,
        ceiling=Length.from_metres(ceiling),
        ceiling_key=HIGH.key if ceiling == "5.0" else TIGHT.key,
        passed=flags,
    )


def row(number: int, at: Place, coach: int, **more: object) -> Row:
    values: dict[str, object] = {
        "verdict": Verdict.CLEAR,
        "off_road_m": 4.0,
        "tallest": Admitted(way=True, clearance=Length.from_metres("5.0")),
        "tallest_verified": Admitted(way=True, clearance=Length.from_feet(13, 9)),
    }
    return Row(number=number, place=at, where=f"line {number + 1}", coach=coach, **(values | more))  # type: ignore[arg-type]


QUAY, MILL, CAMP = place(1200, 300, "Quay; Lot"), place(700, 900, "=Mill"), place(1500, -400, "Camp")
_UNKNOWN = Flag(key=UNKNOWN.key, standing=Standing.UNVERIFIED)
_TIGHT = Flag(key=TIGHT.key, standing=Standing.TIGHT, clearance=Length.from_feet(13, 9))
_TOO_LOW = Flag(key=LOW.key, standing=Standing.TOO_LOW, clearance=Length.from_metres("3.6"))
_THROUGH = InOut(answer=InOutAnswer.DRIVES_THROUGH)

ROWS = (
    row(
        3,
        CAMP,
        0,
        verdict=Verdict.BLOCKED,
        blocked=Leg.BACK,
        in_the_way=(_TOO_LOW,),
        gets_through=Length.from_metres("3.6"),
        tallest=Admitted(way=True, clearance=Length.from_metres("3.6")),
        tallest_verified=Admitted(way=False),
        obstacles=(Obstacle(kind="weight limit", element="way/9", raw="3.5", road="Pier", lon=0, lat=0),),
    ),
    row(
        1,
        QUAY,
        0,
        verdict=Verdict.CARE,
        there=trip(400, _UNKNOWN),
        back=trip(500, _UNKNOWN, _TIGHT, ceiling="4.191"),
        in_out=InOut(answer=InOutAnswer.NEEDS_ROOM, reason="a dead end", serious=True, dead_end_m=120.0),
        tallest=Admitted(way=True),
    ),
    row(2, MILL, 0, there=trip(330, car_s=None), back=trip(360, car_s=None), in_out=_THROUGH),
    row(1, QUAY, 1, there=trip(310), back=trip(320), in_out=_THROUGH),
    row(2, MILL, 1, there=trip(330), back=trip(340), in_out=_THROUGH, off_road_m=180.0),
    row(3, CAMP, 1, there=trip(350), back=trip(360), in_out=_THROUGH),
)

SCREENING = Screening(
    home=place(0, 0, "Coach Yard"),
    coaches=(HERON, WREN),
    unverified=Unverified.AVOID,
    info=INFO,
    rows=ROWS,
    problems=(
        Problem(where="line 5", name="", text="'north' is no latitude"),
        Problem(where="line 6", name="Isle", text="no road near", coach=0),
    ),
    structures=(LOW, UNKNOWN, TIGHT, HIGH),
    notes=("2 heights from your records",),
)
