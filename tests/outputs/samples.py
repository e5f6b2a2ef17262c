"""Drives written by hand through Pellowick, the invented town of data_samples, for tests of the outputs."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from itertools import pairwise
from math import hypot
from pathlib import Path
from typing import Any

from clearance.core.coach import Coach
from clearance.core.drive import (
    CarDrive,
    Drive,
    Finding,
    InOut,
    InOutAnswer,
    Obstacle,
    Piece,
    Stop,
    TurnOff,
    Unchecked,
    Unverified,
    Verdict,
)
from clearance.core.extract import ExtractInfo
from clearance.core.facility import Facility, FacilityKind
from clearance.core.lengths import Length
from clearance.core.mapline import MapLine
from clearance.core.places import Place
from clearance.core.standing import standing
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Structure
from tests.towns import lonlat

TOWN = Path(__file__).resolve().parents[2] / "data_samples" / "pellowick.osm"
INFO = ExtractInfo(source="pellowick.osm", data_date="2026-01-01T00:00:00Z", read_date="2026-02-03T08:00:00Z")
#: A coach of 12'10" that needs 13'4", towing a car that must not be pushed backwards.
COACH = Coach(height=Length.from_feet(12, 10), towing=True, propane=False)
SPEED_M_S = 12.5

XY = tuple[float, float]
#: Road name, highway class, points in metres on the grid of the town.
Road = tuple[str, str, list[XY]]


@cache
def town_lines() -> tuple[MapLine, ...]:
    """Every road and railway of Pellowick."""
    root = ET.parse(TOWN).getroot()
    places = {n.get("id"): (float(n.get("lon", "")), float(n.get("lat", ""))) for n in root.iter("node")}
    lines = []
    for way in root.iter("way"):
        tags = {t.get("k"): t.get("v", "") for t in way.iter("tag")}
        if "highway" in tags or tags.get("railway") == "rail":
            points = tuple(places[nd.get("ref")] for nd in way.iter("nd"))
            lines.append(
                MapLine(
                    points=points,
                    highway=tags.get("highway", ""),
                    name=tags.get("name", ""),
                    is_rail="railway" in tags,
                )
            )
    return tuple(lines)


def posted(figure: str | Length, way: int = 0, **more: Any) -> Evidence:
    length = Length.from_metres(figure) if isinstance(figure, str) else figure
    return Evidence(
        evidence_class=EvidenceClass.POSTED,
        figure=length,
        element=f"way/{way}",
        key="maxheight",
        raw=f"{length.metres}",
        **more,
    )


def word(raw: str, way: int = 0) -> Evidence:
    return Evidence(evidence_class=EvidenceClass.NONE, element=f"way/{way}", key="maxheight", raw=raw)


def structure(kind: Kind, at: XY, *evidence: Evidence, name: str = "", way: int = 0) -> Structure:
    lon, lat = lonlat(*at)
    return Structure(
        key=f"{kind.name.lower()}-{way}-{at[0]:.0f}-{at[1]:.0f}",
        kind=kind,
        lon=lon,
        lat=lat,
        name=name,
        evidence=evidence,
        spans=(Span(way=way, start=0, end=1),),
    )


@dataclass
class Builder:
    """Collects roads, structures and stops in driving order, then yields a Drive that adds up."""

    coach: Coach = COACH
    info: ExtractInfo = INFO
    pieces: list[Piece] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    stops: list[Stop] = field(default_factory=list)
    waited_s: float = 0.0

    @property
    def distance_m(self) -> float:
        return self.pieces[-1].distance_m + self.pieces[-1].length_m if self.pieces else 0.0

    @property
    def seconds(self) -> float:
        return self.distance_m / SPEED_M_S + self.waited_s

    def road(self, name: str, highway: str, xy: list[XY], *, roundabout: bool = False) -> Builder:
        length = sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(xy))
        self.pieces.append(
            Piece(
                road=name,
                highway=highway,
                points=tuple(lonlat(*p) for p in xy),
                length_m=length,
                duration_s=length / SPEED_M_S,
                distance_m=self.distance_m,
                seconds=self.seconds,
                roundabout=roundabout,
            )
        )
        return self

    def passes(self, found: Structure, before_m: float, *, turn_off: tuple[XY, str] | None = None) -> Builder:
        """`before_m`: metres from the structure to the end of the road last added."""
        distance = self.distance_m - before_m
        clearance = found.lowest(Direction.FORWARD)
        road = self.pieces[-1].road
        off = None
        if turn_off is not None:
            (x, y), onto = turn_off
            lon, lat = lonlat(x, y)
            off = TurnOff(
                lon=lon,
                lat=lat,
                road=road,
                onto=onto,
                distance_m=distance - 300,
                before_m=300,
                extra_s=260,
            )
        self.findings.append(
            Finding(
                number=len(self.findings) + 1,
                structure=found,
                standing=standing(found, Direction.FORWARD, self.coach),
                direction=Direction.FORWARD,
                distance_m=distance,
                seconds=distance / SPEED_M_S + self.waited_s,
                lon=found.lon,
                lat=found.lat,
                road=road,
                clearance=clearance,
                headroom=None if clearance is None else clearance - self.coach.height,
                turn_off=off,
            )
        )
        return self

    def stop(
        self, name: str, at: XY, minutes: int = 0, in_out: InOut | None = None, *, off_road_m: float = 0.0
    ) -> Builder:
        lon, lat = lonlat(*at)
        arrives = self.seconds
        self.waited_s += minutes * 60
        self.stops.append(
            Stop(
                place=Place(lon=lon, lat=lat, name=name, kind="place"),
                lon=lon,
                lat=lat,
                off_road_m=off_road_m,
                distance_m=self.distance_m,
                arrives_s=arrives,
                leaves_s=self.seconds,
                in_out=in_out,
            )
        )
        return self

    def drive(self, verdict: Verdict, **more: Any) -> Drive:
        known = [f.clearance for f in self.findings if f.clearance is not None]
        return Drive(
            places=tuple(s.place for s in self.stops),
            coach=self.coach,
            unverified=Unverified.AVOID,
            verdict=verdict,
            info=self.info,
            distance_m=self.distance_m,
            duration_s=self.distance_m / SPEED_M_S,
            pieces=tuple(self.pieces),
            findings=tuple(self.findings),
            ceiling=min(known, default=None),
            stops=tuple(self.stops),
            **more,
        )


RAIL_BRIDGE_LOW = structure(
    Kind.RAIL_BRIDGE, (-800, 600), posted(Length.from_feet(12, 6), 203), name="Coast Line", way=203
)


def car_drive() -> CarDrive:
    low = Finding(
        number=1,
        structure=RAIL_BRIDGE_LOW,
        standing=standing(RAIL_BRIDGE_LOW, Direction.FORWARD, COACH),
        direction=Direction.FORWARD,
        distance_m=1700,
        seconds=140,
        lon=RAIL_BRIDGE_LOW.lon,
        lat=RAIL_BRIDGE_LOW.lat,
        road="Mill Street",
        clearance=Length.from_feet(12, 6),
        headroom=Length.from_feet(12, 6) - COACH.height,
    )
    xy = [(-1800, 1300), (-800, 1300), (-800, 0), (-350, 0), (-350, -120)]
    return CarDrive(distance_m=2870, duration_s=240, points=tuple(lonlat(*p) for p in xy), differences=(low,))


def facility(
    kind: FacilityKind, name: str, at: XY, distance_m: float, detour_s: float, **more: Any
) -> Facility:
    """A facility beside the road, its way in and out a drive-through unless told otherwise."""
    lon, lat = lonlat(*at)
    place = Place(lon=lon, lat=lat, name=name, kind=kind.value, osm=f"node/{700 + int(distance_m) % 90}")
    in_out = more.pop("in_out", InOut(answer=InOutAnswer.DRIVES_THROUGH))
    return Facility(
        kind=kind,
        place=place,
        lon=lon,
        lat=lat,
        distance_m=distance_m,
        detour_s=detour_s,
        in_out=in_out,
        **more,
    )


def facilities() -> tuple[Facility, ...]:
    """One of each kind along the care drive, two of them at one place, a full tank near the end."""
    dead_end = InOut(
        answer=InOutAnswer.NEEDS_ROOM, reason="The yard is a dead end.", serious=True, dead_end_m=120
    )
    return (
        facility(
            FacilityKind.FUEL,
            "Ridge Fuel",
            (-400, 1330),
            1400,
            95,
            canopy=Length.from_feet(13, 8),
            notes=("octane 87, 91", "room for trucks"),
        ),
        facility(FacilityKind.PROPANE, "Ridge Fuel", (-400, 1330), 1400, 95, canopy=Length.from_feet(13, 8)),
        facility(FacilityKind.CAMP, "Quarry Camp", (1450, 700), 3700, 240, notes=("power", "no water")),
        facility(FacilityKind.DUMP, "", (1000, 60), 4700, 10, notes=("for a fee",), in_out=dead_end),
        facility(FacilityKind.WATER, "Quay Tap", (-300, -150), 6200, 0),
        facility(
            FacilityKind.FUEL, "Tannery Fuel", (-1160, 250), 7500, 40, notes=("octane 87",), full_tank=True
        ),
    )


def care_drive(departure: datetime | None = None) -> Drive:
    """Ridge Highway to the quay, then north to the ferry: every standing but too low."""
    b = Builder()
    b.stop("Ridge Highway", (-1800, 1300))
    b.road("Ridge Highway", "trunk", [(-1800, 1300), (0, 1300), (1300, 1300)])
    b.passes(structure(Kind.GANTRY, (300, 1300), posted(Length.from_feet(17), 105), way=105), 1000)
    b.road("Quarry Road", "secondary", [(1300, 1300), (1300, 900), (1300, 600), (1300, 0)])
    b.passes(structure(Kind.RAIL_BRIDGE, (1300, 600), posted("4.5", 263), name="Coast Line", way=263), 600)
    b.passes(structure(Kind.CONVEYOR, (1300, 150), posted("5.0", 266), way=266), 150)
    b.road("Harbor Street", "secondary", [(1300, 0), (900, 0), (400, 0), (-350, 0)])
    b.passes(structure(Kind.PIPE, (1200, 0), posted(Length.from_feet(14, 4), 357), way=357), 1550)
    b.passes(structure(Kind.TUNNEL, (650, 0), posted("4.8", 355), name="Customs Tunnel", way=355), 1000)
    b.road("Quay Road", "unclassified", [(-350, 0), (-350, -60), (-350, -120)])
    b.passes(structure(Kind.FOOTBRIDGE, (-350, -60), posted("4.2", 443), way=443), 60)
    b.road("Quay Lot", "service", [(-350, -120), (-320, -150), (-350, -180)])
    b.stop(
        "Pellowick Quay",
        (-350, -180),
        45,
        InOut(answer=InOutAnswer.DRIVES_THROUGH, reason="The lot is a loop."),
    )
    b.road("Quay Lot", "service", [(-350, -180), (-380, -150), (-350, -120)])
    b.road("Quay Road", "unclassified", [(-350, -120), (-350, 0)])
    b.passes(structure(Kind.FOOTBRIDGE, (-350, -60), posted("4.2", 443), way=443), 60)
    b.road("Harbor Street", "secondary", [(-350, 0), (-1200, 0)])
    b.road("Tannery Lane", "tertiary", [(-1200, 0), (-1200, 300), (-1200, 600), (-1200, 900)])
    b.passes(
        structure(Kind.RAIL_BRIDGE, (-1200, 600), word("default", 402), name="Coast Line", way=402),
        300,
        turn_off=((-1200, 300), "Weir Road"),
    )
    b.road("North Street", "secondary", [(-1200, 900), (-1500, 900)])
    b.road("Ferry Road", "residential", [(-1500, 900), (-1500, 450)])
    turn_lon, turn_lat = lonlat(-1030, 900)
    b.stop(
        "Ferry Landing",
        (-1500, 450),
        0,
        InOut(
            answer=InOutAnswer.NEEDS_ROOM,
            reason="Ferry Road ends here.",
            serious=True,
            dead_end_m=450,
            turn_kind="turning circle",
            turn_lon=turn_lon,
            turn_lat=turn_lat,
            turn_m=920,
        ),
        off_road_m=120,
    )
    return b.drive(
        Verdict.CARE,
        car=car_drive(),
        departure=departure,
        along=facilities(),
        notes=("The way by Weir Road was left out: weight limit of 10 short tons.",),
    )


def clear_drive() -> Drive:
    """Two places, one road, one high gantry; no stops of its own."""
    b = Builder(coach=replace(COACH, towing=False))
    b.road("Ridge Highway", "trunk", [(-1800, 1300), (1300, 1300)])
    b.passes(structure(Kind.GANTRY, (300, 1300), posted(Length.from_feet(17), 105), way=105), 1000)
    b.stop("Ridge Highway west", (-1800, 1300)).stop("Quarry Road", (1300, 1300))
    return replace(b.drive(Verdict.CLEAR), stops=())


def blocked_drive() -> Drive:
    """To the lighthouse: two ways, both too low; the car gets through."""
    neck = structure(
        Kind.AQUEDUCT, (-1530, -110), posted(Length.from_feet(13), 412), name="Neck Aqueduct", way=412
    )
    point = structure(Kind.TUNNEL, (-1600, 200), posted("4.0", 422), name="Point Tunnel", way=422)
    found = []
    for number, (s, road) in enumerate(((neck, "Neck Road"), (point, "Shore Road")), start=1):
        figure = s.lowest()
        assert figure is not None
        found.append(
            Finding(
                number=number,
                structure=s,
                standing=standing(s, Direction.FORWARD, COACH),
                direction=Direction.FORWARD,
                distance_m=1200.0 * number,
                seconds=90.0 * number,
                lon=s.lon,
                lat=s.lat,
                road=road,
                clearance=figure,
                headroom=figure - COACH.height,
            )
        )
    lon, lat = lonlat(-1030, 0)
    start, end = lonlat(0, 0), lonlat(-1900, -300)
    xy = [(0, 0), (-1200, 0), (-1500, -100), (-1560, -120), (-1900, -300)]
    return Drive(
        places=(
            Place(lon=start[0], lat=start[1], name="Market Street"),
            Place(lon=end[0], lat=end[1], name="Pellowick Light"),
        ),
        coach=COACH,
        unverified=Unverified.AVOID,
        verdict=Verdict.BLOCKED,
        info=INFO,
        car=CarDrive(
            distance_m=1965, duration_s=170, points=tuple(lonlat(*p) for p in xy), differences=(found[0],)
        ),
        in_the_way=tuple(found),
        gets_through=Length.from_metres("4.0"),
        obstacles=(
            Obstacle(
                kind="weight limit",
                element="way/348",
                raw="maxweight=10 st",
                road="Weir Road",
                lon=lon,
                lat=lat,
            ),
        ),
    )


def inspected_line() -> Drive:
    """A line made elsewhere: passes the low railway bridge and leaves the known roads once."""
    b = Builder()
    b.stop("Line start", (-1800, 1300))
    b.road("Ridge Highway", "trunk", [(-1800, 1300), (-800, 1300)])
    b.road("Mill Street", "secondary", [(-800, 1300), (-800, 300)])
    b.passes(RAIL_BRIDGE_LOW, 300, turn_off=((-800, 900), "North Street"))
    gap = Unchecked(
        points=(lonlat(-800, 300), lonlat(-750, 150), lonlat(-700, 0)),
        length_m=316,
        distance_m=b.distance_m,
        reason="no road of the road file lies near it",
    )
    piece = Piece(
        road="Harbor Street",
        highway="secondary",
        points=(lonlat(-700, 0), lonlat(-200, 0)),
        length_m=500,
        duration_s=40,
        distance_m=b.distance_m + 316,
        seconds=b.seconds + 30,
    )
    b.pieces.append(piece)
    b.stop("Line end", (-200, 0))
    return b.drive(Verdict.BLOCKED, unchecked=(gap,))


HOSTILE = (
    "<script>window.pwned=1</script>\u2028\"'&]]>--><!--\x07\x00 </textarea>"
    "<img src=x onerror=window.pwned=1>"
)


def hostile_drive() -> Drive:
    """The care drive with every text of the map made as nasty as it can be."""
    drive = care_drive()
    stops = tuple(replace(s, place=replace(s.place, name=HOSTILE)) for s in drive.stops)
    return replace(
        drive,
        places=tuple(s.place for s in stops),
        stops=stops,
        pieces=tuple(replace(p, road=HOSTILE) if p.road else p for p in drive.pieces),
        findings=tuple(
            replace(
                f,
                road=HOSTILE,
                structure=replace(f.structure, name=HOSTILE, warnings=(HOSTILE,)),
                turn_off=None if f.turn_off is None else replace(f.turn_off, road=HOSTILE, onto=HOSTILE),
            )
            for f in drive.findings
        ),
        along=tuple(
            replace(f, place=replace(f.place, name=HOSTILE), notes=(HOSTILE,), full_tank=False)
            for f in drive.along
        ),
        notes=(HOSTILE,),
        info=replace(INFO, source=HOSTILE, warnings=(HOSTILE,)),
    )


def long_drive(turns: int = 90, findings: int = 24) -> Drive:
    """A staircase of short roads with structures of all kinds along it."""
    b = Builder()
    b.stop("Lower Town", (0, 0))
    x = y = 0.0
    heights = ("4.2", "4.1", "", "4.6", "5.2")
    for n in range(turns):
        ahead = (x + 180, y) if n % 2 == 0 else (x, y + 120 + 7 * (n % 11))
        b.road(f"Stair Road {n + 1}", "residential", [(x, y), ahead])
        if n * findings // turns != (n + 1) * findings // turns:
            figure = heights[len(b.findings) % len(heights)]
            evidence = (posted(figure, n),) if figure else ()
            middle = ((x + ahead[0]) / 2, (y + ahead[1]) / 2)
            b.passes(
                structure(list(Kind)[n % 12], middle, *evidence, way=n), 60, turn_off=((x, y), "Other Road")
            )
        x, y = ahead
    b.stop("Upper Town", (x, y))
    return b.drive(Verdict.CARE)
