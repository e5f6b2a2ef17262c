"""Every word of the map that the grammars of tags know, one by one, with what it means for a coach.

Words and meanings are those of the OSM wiki (Key:access, Key:barrier, Key:highway, Key:oneway, Key:maxheight,
Key:maxspeed; from memory) or rules of our own, as told in the modules. A word that is lost here opens or
closes roads, so that each stands in a test.
"""

from __future__ import annotations

import pytest

from clearance.core.access import Access, Vehicle, hazmat_ban, hazmat_conditions, node_access, road_access
from clearance.core.coach import Coach
from clearance.core.conditions import may_hold, surely_holds
from clearance.core.errors import UsageError
from clearance.core.heights import read_heights
from clearance.core.lengths import Length
from clearance.core.limits import read_limits
from clearance.core.oneway import directions
from clearance.core.speeds import road_speeds
from clearance.core.structure import EvidenceClass, Kind, Structure
from clearance.core.weights import parse_weight

OPEN, ENDS, CLOSED = Access.OPEN, Access.ENDS, Access.CLOSED
ACCESS = {
    "yes permissive designated official public allowed": OPEN,
    "private customers destination delivery permit residents": ENDS,
    "resident visitors guests guest employees staff members": ENDS,
    "discouraged unknown variable": ENDS,
    "no agricultural forestry agriculture forest military": CLOSED,
    "emergency use_sidepath dismount restricted prohibited": CLOSED,
    "bus psv taxi hov hgv bicycle foot": CLOSED,
}
BARRIERS = {
    "cattle_grid toll_booth border_control entrance kerb height_restrictor gantry speed_bump": OPEN,
    "coupure": OPEN,
    "gate lift_gate swing_gate sliding_gate sliding_beam sally_port bump_gate hampshire_gate": ENDS,
    "checkpoint": ENDS,
    "bollard block chain jersey_barrier bus_trap cycle_barrier kissing_gate stile turnstile log": CLOSED,
}


def each(table: dict[str, Access]) -> list[tuple[str, Access]]:
    return [(word, access) for words, access in table.items() for word in words.split()]


@pytest.mark.parametrize(("word", "access"), each(ACCESS))
def test_words_of_access(word: str, access: Access) -> None:
    assert road_access({"highway": "residential", "access": word}, Vehicle.COACH).access is access
    # Without a condition it holds under one that nobody can judge.
    told = road_access({"highway": "residential", "access:conditional": word}, Vehicle.COACH).conditional
    assert [c.access for c in told] == [access]


@pytest.mark.parametrize(("word", "access"), each(BARRIERS))
def test_words_of_barriers(word: str, access: Access) -> None:
    assert node_access({"barrier": word}, Vehicle.COACH).access is access
    assert node_access({"barrier": word, "motor_vehicle": "yes"}, Vehicle.COACH).access is OPEN
    foot = node_access({"barrier": word, "access": "yes"}, Vehicle.COACH).access
    assert foot is (CLOSED if access is CLOSED else OPEN)


@pytest.mark.parametrize(
    "highway",
    [
        "motorway",
        "motorway_link",
        "trunk",
        "trunk_link",
        "primary",
        "primary_link",
        "secondary",
        "secondary_link",
        "tertiary",
        "tertiary_link",
        "unclassified",
        "residential",
        "living_street",
        "service",
        "road",
        "track",
    ],
)
def test_words_of_roads(highway: str) -> None:
    tags = {"highway": highway, "surface": "asphalt"}
    assert road_access(tags, Vehicle.COACH).access is OPEN


@pytest.mark.parametrize(
    ("service", "access"),
    [("driveway", ENDS), ("emergency_access", CLOSED), ("bus", CLOSED), ("busway", CLOSED), ("alley", OPEN)],
)
def test_words_of_service_ways(service: str, access: Access) -> None:
    assert road_access({"highway": "service", "service": service}, Vehicle.COACH).access is access
    assert road_access({"highway": "residential", "service": service}, Vehicle.COACH).access is OPEN


@pytest.mark.parametrize(
    ("surface", "access"),
    [
        *(
            (word, OPEN)
            for word in [
                "paved",
                "asphalt",
                "concrete",
                "chipseal",
                "concrete:plates",
                "paving_stones",
                "sett",
            ]
        ),
        *((word, ENDS) for word in ("gravel", "ground", "unpaved", "cobblestone")),
    ],
)
def test_words_of_surfaces_on_tracks(surface: str, access: Access) -> None:
    assert road_access({"highway": "track", "surface": surface}, Vehicle.COACH).access is access
    assert road_access({"highway": "track", "tracktype": "grade1"}, Vehicle.COACH).access is OPEN
    assert road_access({"highway": "track", "tracktype": "grade2"}, Vehicle.COACH).access is ENDS
    assert road_access({"highway": "track", "vehicle": "yes"}, Vehicle.COACH).access is ENDS
    assert road_access({"highway": "track", "motor_vehicle": "yes"}, Vehicle.COACH).access is OPEN


@pytest.mark.parametrize("mode", ["motorhome", "motor_vehicle", "vehicle", "access"])
@pytest.mark.parametrize("suffix", ["", ":forward", ":backward"])
def test_keys_of_access(mode: str, suffix: str) -> None:
    told = road_access({"highway": "residential", f"{mode}{suffix}": "no"}, Vehicle.COACH)
    assert (told.key, told.value) == (f"{mode}{suffix}", "no")
    assert told.forward is (OPEN if suffix == ":backward" else CLOSED)
    assert told.backward is (OPEN if suffix == ":forward" else CLOSED)
    named = road_access({"highway": "residential", f"access:{mode}{suffix}": "no"}, Vehicle.COACH)
    assert (named.forward, named.backward) == (told.forward, told.backward)
    conditional = road_access(
        {"highway": "residential", f"{mode}{suffix}:conditional": "no @ wet"}, Vehicle.COACH
    )
    (rule,) = conditional.conditional
    assert (rule.access, rule.condition, rule.raw) == (CLOSED, "wet", "no @ wet")
    assert f":{rule.direction}" == (suffix or ":both")


@pytest.mark.parametrize("key", ["hazmat", "hazmat:B", "hazmat:C", "hazmat:D", "hazmat:E"])
@pytest.mark.parametrize("suffix", ["", ":forward", ":backward"])
def test_keys_of_dangerous_goods(key: str, suffix: str) -> None:
    assert hazmat_ban({f"{key}{suffix}": "no"})
    assert not hazmat_ban({f"{key}{suffix}": "yes"})
    (rule,) = hazmat_conditions({f"{key}{suffix}:conditional": "no @ (22:00-06:00); yes @ wet"})
    assert (rule.access, rule.condition, f":{rule.direction}") == (CLOSED, "22:00-06:00", suffix or ":both")
    assert rule.key == f"{key}{suffix}:conditional"


@pytest.mark.parametrize("category", ["B", "C", "D", "E", "c", "B;yes"])
def test_categories_of_tunnels(category: str) -> None:
    assert hazmat_ban({"hazmat": category})


def test_what_is_no_ban_on_propane() -> None:
    assert not any(
        hazmat_ban(tags) for tags in ({"hazmat": "designated"}, {"hazmat:A": "no"}, {"hazmat": " "})
    )


@pytest.mark.parametrize(
    ("value", "ways"),
    [
        *((word, (True, False)) for word in ("yes", "1", "true", "YES")),
        *((word, (False, True)) for word in ("-1", "reverse")),
        *((word, (True, True)) for word in ("no", "0", "false", "alternating")),
        *((word, (False, False)) for word in ("reversible", "what")),
    ],
)
def test_words_of_one_ways(value: str, ways: tuple[bool, bool]) -> None:
    for key in ("oneway", "oneway:vehicle", "oneway:motor_vehicle", "oneway:motorhome"):
        assert directions({key: value, "junction": "roundabout"}, Vehicle.COACH) == ways
    for key in ("oneway", "oneway:vehicle", "oneway:motor_vehicle", "oneway:motorcar"):
        assert directions({key: value, "highway": "motorway"}, Vehicle.CAR) == ways
    assert directions({"oneway:motorcar": value}, Vehicle.COACH) == (True, True)
    assert directions({"oneway:motorhome": value}, Vehicle.CAR) == (True, True)


def test_what_is_one_way_untold() -> None:
    for tags in ({"junction": "roundabout"}, {"junction": "circular"}, {"highway": "motorway"}):
        assert directions(tags, Vehicle.COACH) == (True, False)
    for tags in ({"junction": "jughandle"}, {"highway": "motorway_link"}, {"highway": "trunk"}):
        assert directions(tags, Vehicle.COACH) == (True, True)


OTHERS = [
    "hgv",
    "hgv_articulated",
    "goods",
    "lgv",
    "bdouble",
    "agricultural",
    "forestry",
    "bus",
    "minibus",
    "tourist_bus",
    "psv",
    "share_taxi",
    "taxi",
    "bicycle",
    "foot",
    "horse",
    "moped",
    "mofa",
    "motorcycle",
    "speed_pedelec",
    "small_electric_vehicle",
    "light_rail",
    "tram",
]


@pytest.mark.parametrize("mode", OTHERS)
def test_modes_that_no_coach_is(mode: str) -> None:
    coach = Coach(height=Length.from_feet(13))
    assert not may_hold(mode, None, coach)
    assert not may_hold(mode.upper(), None, None)
    assert read_limits({f"maxweight:{mode}": "3.5"}, "way/1").max_weight_kg == (None, None)


def test_modes_that_a_coach_is_or_tows() -> None:
    alone = Coach(height=Length.from_feet(13))
    towing = Coach(height=Length.from_feet(13), towing=True)
    for mode in ("vehicle", "motor_vehicle"):
        assert surely_holds(mode, None, None)
    assert surely_holds("motorhome", None, alone)
    assert not surely_holds("motorhome", None, None)
    for mode in ("caravan", "trailer"):
        assert not may_hold(mode, None, alone)
        assert may_hold(mode, None, towing)
    assert not may_hold("hazmat", None, Coach(height=Length.from_feet(13), propane=False))
    assert may_hold("hazmat", None, alone)
    for mode in ("vehicle", "motor_vehicle", "motorhome", "motorcar"):
        assert read_limits({f"maxweight:{mode}": "3.5"}, "way/1").max_weight_kg == (3500, 3500)


@pytest.mark.parametrize(
    "remark", ["source", "note", "description", "ref", "date", "check_date", "fixme", "type", "survey"]
)
def test_remarks_about_heights_never_clear(remark: str) -> None:
    told = read_heights({f"maxheight:{remark}": "measured by hand"}, "way/1")
    assert [e.figure for e in told.evidence] == [None]
    assert told.warnings == ()
    (number,) = read_heights({f"maxheight:{remark}": "4.5"}, "way/1").evidence
    assert number.figure == Length.from_metres("4.5")
    assert not number.can_clear


@pytest.mark.parametrize(
    "remark", ["signed", "source", "note", "description", "date", "check_date", "fixme", "type"]
)
def test_remarks_about_limits_are_none(remark: str) -> None:
    told = read_limits({f"maxweight:{remark}": "3.5"}, "way/1")
    assert told.max_weight_kg == (None, None)
    assert told.warnings == ()


@pytest.mark.parametrize("word", ["estimated", "guess", "approximation", "assumed", "calculated"])
@pytest.mark.parametrize("key", ["source:maxheight", "maxheight:source"])
def test_a_height_that_was_not_surveyed_never_clears(word: str, key: str) -> None:
    told = read_heights({"maxheight": "4.5", key: word}, "way/1")
    assert not any(e.can_clear for e in told.evidence if e.figure is not None)
    assert read_heights({"maxheight": "4.5", key: "sign"}, "way/1").evidence[0].can_clear


@pytest.mark.parametrize(
    ("suffix", "kind"),
    [
        ("", EvidenceClass.POSTED),
        (":legal", EvidenceClass.POSTED),
        (":physical", EvidenceClass.MEASURED),
        (":forward:physical", EvidenceClass.MEASURED),
        (":motorhome", EvidenceClass.POSTED),
        (":vehicle", EvidenceClass.POSTED),
        (":motor_vehicle", EvidenceClass.POSTED),
        (":lanes", EvidenceClass.POSTED),
    ],
)
def test_keys_of_heights_that_clear(suffix: str, kind: EvidenceClass) -> None:
    (evidence,) = read_heights({f"maxheight{suffix}": "4.5"}, "way/1").evidence
    assert (evidence.evidence_class, evidence.can_clear) == (kind, True)


@pytest.mark.parametrize("suffix", ["_1", ":hgv", ":psv", ":what"])
def test_keys_of_heights_that_do_not_clear(suffix: str) -> None:
    told = read_heights({f"maxheight{suffix}": "4.5"}, "way/1")
    assert [e.can_clear for e in told.evidence] == [False]
    assert "unknown part" in told.warnings[0]


@pytest.mark.parametrize(
    ("unit", "kg"),
    [("", 10_000), ("t", 10_000), ("tonne", 10_000), ("tonnes", 10_000), ("st", 9071), ("ton", 9071),
     ("tons", 9071), ("lt", 10_160)],
)  # fmt: skip
def test_units_of_weight(unit: str, kg: int) -> None:
    """Short ton 2000 lb, long 2240 lb, pound 0.45359237 kg (NIST Handbook 44, appendix C; from memory)."""
    assert parse_weight(f"10 {unit}".strip()).kg == kg
    assert parse_weight(f"10 {unit}".strip().upper()).kg == kg


@pytest.mark.parametrize(("text", "kg"), [("7500 kg", 7500), ("16000 lbs", 7257), ("16000 lb", 7257)])
def test_small_units_of_weight(text: str, kg: int) -> None:
    assert parse_weight(text).kg == kg


@pytest.mark.parametrize(
    ("text", "kg"), [("300 kg", 300), ("299 kg", None), ("200 t", 200_000), ("200.1 t", None)]
)
def test_bounds_of_weights(text: str, kg: int | None) -> None:
    reading = parse_weight(text)
    assert reading.kg == kg
    assert bool(reading.implausible) == (kg is None)


#: Kilometres an hour where no speed is told: the judgement of the module, written out a second time.
SPEEDS = {
    "motorway": 105, "motorway_link": 60, "trunk": 90, "trunk_link": 50, "primary": 70, "primary_link": 45,
    "secondary": 60, "secondary_link": 40, "tertiary": 50, "tertiary_link": 35, "unclassified": 45,
    "residential": 30, "living_street": 10, "service": 15, "road": 30, "track": 12, "pedestrian": 7,
    "footway": 10,
}  # fmt: skip


def test_speeds_by_kind_of_road() -> None:
    assert {kind: road_speeds({"highway": kind})[0] for kind in SPEEDS} == SPEEDS
    lanes = {"driveway": 8, "parking_aisle": 8, "drive-through": 6, "alley": 10, "": 15}
    assert {s: road_speeds({"highway": "service", "service": s})[0] for s in lanes} == lanes


@pytest.mark.parametrize("key", ["maxspeed:type", "source:maxspeed", "zone:maxspeed", "zone:traffic"])
def test_zones_of_speed(key: str) -> None:
    mile = 1.609344
    zones = {
        "urban": 50, "rural": 80, "trunk": 100, "motorway": 110, "living_street": 10, "bicycle_road": 30,
        "school": 30, "nsl_restricted": 30 * mile, "nsl_single": 60 * mile, "nsl_dual": 70 * mile,
    }  # fmt: skip
    for zone, kmh in zones.items():
        assert road_speeds({"highway": "primary", key: f"XX:{zone}"})[0] == pytest.approx(kmh)
    assert road_speeds({"highway": "primary", key: "DE:zone:30"})[0] == 30


@pytest.mark.parametrize(("text", "kmh"), [("3", 3), ("160", 160), ("2.9", 30), ("160.1", 30), ("161", 30)])
def test_bounds_of_speeds(text: str, kmh: float) -> None:
    assert road_speeds({"highway": "residential", "maxspeed": text})[0] == kmh


#: Least and greatest of each measure of a coach, in tenths of a millimetre.
BOUNDS = {
    "height": (15_000, 60_000),
    "margin": (0, 20_000),
    "comfort": (15_000, 100_000),
    "width": (10_000, 40_000),
    "length": (20_000, 300_000),
    "own_length": (20_000, 300_000),
    "towed_length": (10_000, 200_000),
    "wheelbase": (15_000, 120_000),
    "rear_overhang": (2_000, 80_000),
}


@pytest.mark.parametrize("field", sorted(BOUNDS))
def test_bounds_of_a_coach(field: str) -> None:
    low, high = BOUNDS[field]
    plain: dict[str, object] = {"height": Length(40_000), "towing": field == "towed_length"}
    for tenths in (low, high):
        coach = Coach(**{**plain, field: Length(tenths)})  # type: ignore[arg-type]
        assert getattr(coach, field) == Length(tenths)
    for tenths in (low - 1, high + 1):
        words = field.replace("_", " ")
        with pytest.raises(UsageError, match=rf"^(coach )?{words} .* is outside"):
            Coach(**{**plain, field: Length(tenths)})  # type: ignore[arg-type]


def test_bounds_of_a_coach_in_all() -> None:
    for kg in (300, 60_000):
        assert Coach(height=Length(40_000), weight_kg=kg).weight_kg == kg
    for kg in (299, 60_001):
        with pytest.raises(UsageError, match="weight"):
            Coach(height=Length(40_000), weight_kg=kg)
    with pytest.raises(UsageError, match="nothing is towed"):
        Coach(height=Length(40_000), towed_length=Length(40_000))
    parts = {"own_length": Length(100_000), "towed_length": Length(50_000), "towing": True}
    assert Coach(height=Length(40_000), length=Length(150_000), **parts).length == Length(150_000)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="less than its parts"):
        Coach(height=Length(40_000), length=Length(149_999), **parts)  # type: ignore[arg-type]
    axles = {"wheelbase": Length(60_000), "rear_overhang": Length(30_000)}
    assert Coach(height=Length(40_000), own_length=Length(90_000), **axles).wheelbase == Length(60_000)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="less than wheelbase"):
        Coach(height=Length(40_000), own_length=Length(89_999), **axles)  # type: ignore[arg-type]


def test_a_coach_of_which_only_the_height_is_told() -> None:
    coach = Coach(height=Length.from_feet(13))
    assert (coach.margin, coach.comfort) == (Length.from_feet(0, 6), Length.from_feet(14))
    assert (coach.need, coach.comfort_or_need) == (Length.from_feet(13, 6), Length.from_feet(14))
    assert (coach.propane, coach.towing, coach.tow_reversible) == (True, False, False)
    assert (coach.name, coach.height_at, coach.towed_name) == ("coach", "", "")


@pytest.mark.parametrize("kind", list(Kind))
def test_what_stands_over_a_road(kind: Kind) -> None:
    over = {
        *(Kind.BRIDGE, Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE, Kind.FOOTBRIDGE, Kind.AQUEDUCT, Kind.PIPE),
        *(Kind.CONVEYOR, Kind.GANTRY, Kind.BUILDING, Kind.BUILDING_PASSAGE, Kind.TUNNEL),
    }
    structure = Structure(key="a", kind=kind, lon=0, lat=0, nodes=(1,))
    assert structure.over_road == (kind in over)
    assert not Structure(key="a", kind=kind, lon=0, lat=0).over_road
