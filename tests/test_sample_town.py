"""The invented town in data_samples: made from its description, with every trap in it."""

from __future__ import annotations

import importlib.util
import sys
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise
from pathlib import Path
from types import ModuleType

import networkx as nx
import pytest
from shapely import LineString

ROOT = Path(__file__).resolve().parent.parent
TOWN = ROOT / "data_samples" / "pellowick.osm"

Tags = dict[str, str]


def _script() -> ModuleType:
    path = ROOT / "scripts" / "make_town.py"
    spec = importlib.util.spec_from_file_location("make_town", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_town"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


make_town = _script()


def _tags(element: ET.Element) -> Tags:
    return {tag.attrib["k"]: tag.attrib["v"] for tag in element.iter("tag")}


class Sample:
    """The committed file, read with the standard library only."""

    def __init__(self) -> None:
        self.root = ET.parse(TOWN).getroot()
        self.place = {
            int(n.attrib["id"]): (float(n.attrib["lon"]), float(n.attrib["lat"]))
            for n in self.root.iter("node")
        }
        self.node = {int(n.attrib["id"]): _tags(n) for n in self.root.iter("node")}
        self.way = {int(w.attrib["id"]): _tags(w) for w in self.root.iter("way")}
        self.refs = {
            int(w.attrib["id"]): [int(nd.attrib["ref"]) for nd in w.iter("nd")] for w in self.root.iter("way")
        }
        self.relation = {int(r.attrib["id"]): _tags(r) for r in self.root.iter("relation")}
        self.members = {
            int(r.attrib["id"]): [
                (m.attrib["type"], int(m.attrib["ref"]), m.attrib["role"]) for m in r.iter("member")
            ]
            for r in self.root.iter("relation")
        }

    def at(self, x: int, y: int) -> int:
        return int(make_town.node_id((x, y)))


@pytest.fixture(scope="module")
def sample() -> Sample:
    return Sample()


def test_the_committed_file_is_what_the_script_makes() -> None:
    description = ROOT / "data_samples" / "pellowick.toml"
    assert make_town.osm_xml(make_town.read_town(description)) == TOWN.read_text(encoding="utf-8")


def test_it_is_ordinary_osm_xml(sample: Sample) -> None:
    assert sample.root.tag == "osm"
    assert sample.root.attrib["version"] == "0.6"
    for kind in ("node", "way", "relation"):
        elements = list(sample.root.iter(kind))
        ids = [int(e.attrib["id"]) for e in elements]
        assert ids == sorted(set(ids))
        assert all(
            e.attrib["version"] == "1" and e.attrib["timestamp"] == "2026-01-01T00:00:00Z" for e in elements
        )
    assert all(ref in sample.place for refs in sample.refs.values() for ref in refs)
    known = {"node": sample.node, "way": sample.way}
    assert all(ref in known[kind] for ms in sample.members.values() for kind, ref, _ in ms)


def test_it_stands_on_open_ocean(sample: Sample) -> None:
    # The Atlantic some 1000 km off any land: no real place is meant.
    assert all(-40.1 < lon < -39.9 and 44.9 < lat < 45.1 for lon, lat in sample.place.values())


# ------------------------------------------------------------------------------------------ traps

HEIGHTS = [
    (203, "maxheight", "12'6\"", "feet and inches on the road below"),
    (263, "maxheight", "4.5", "metres on the road below"),
    (266, "maxheight", "5 m", "metres with the unit"),
    (316, "maxheight", "4.0", "on the bridge way itself"),
    (212, "maxheight", "see sign", "unreadable"),
    (252, "maxheight", "150", "implausible bare number"),
    (402, "maxheight", "default", "word"),
    (372, "maxheight", "none", "word"),
    (232, "maxheight", "below_default", "word"),
    (383, "maxheight", "no_sign", "word"),
    (375, "maxheight", "3,9", "comma decimal"),
    (377, "maxheight", "4.3;3.9", "two values"),
    (380, "maxheight:forward", "14'2\"", "direction"),
    (380, "maxheight:backward", "12'8\"", "direction"),
    (386, "maxheight:lanes", "4.4|3.8", "lanes"),
    (256, "maxheight:conditional", "12'9\" @ (Mo-Fr 07:00-19:00)", "opening hours"),
    (359, "maxheight:physical", "4.5", "physical"),
    (359, "maxheight:legal", "4.2", "legal"),
    (302, "maxheight", "13'8\"", "covered bridge"),
    (406, "maxheight", "3.4", "nothing mapped"),
    (412, "maxheight", "13'0\"", "aqueduct"),
    (422, "maxheight", "4.0", "tunnel"),
    (436, "maxheight", "3.2 m", "covered way"),
    (443, "maxheight", "4.2", "footbridge"),
    (457, "maxheight", "9'0\"", "drive-through"),
    (602, "maxheight", "13'9\"", "fuel canopy"),
    (609, "maxheight", "6'8\"", "car park"),
]


@pytest.mark.parametrize(("way", "key", "raw", "why"), HEIGHTS, ids=[f"{h[0]} {h[3]}" for h in HEIGHTS])
def test_height_text(sample: Sample, way: int, key: str, raw: str, why: str) -> None:
    assert sample.way[way][key] == raw


TAGGED = [
    (506, {"railway": "rail", "bridge": "yes", "layer": "1"}),
    (514, {"railway": "rail", "bridge": "trestle"}),
    (532, {"railway": "rail", "bridge": "viaduct"}),
    (473, {"highway": "footway", "bridge": "yes"}),
    (483, {"waterway": "canal", "bridge": "aqueduct"}),
    (482, {"man_made": "pipeline", "location": "overhead"}),
    (481, {"man_made": "goods_conveyor"}),
    (480, {"man_made": "gantry"}),
    (433, {"tunnel": "building_passage"}),
    (436, {"covered": "yes"}),
    (302, {"bridge": "covered"}),
    (110, {"tunnel": "yes"}),
    (355, {"tunnel": "yes", "hazmat": "no", "maxheight": "4.8"}),
    (457, {"service": "drive-through", "oneway": "yes"}),
    (609, {"parking": "multi-storey", "building": "parking"}),
    (602, {"building": "roof"}),
    (601, {"amenity": "fuel", "fuel:octane_87": "yes"}),
    (605, {"amenity": "fuel", "fuel:diesel": "yes", "fuel:octane_87": "no"}),
    (613, {"tourism": "camp_site"}),
    (615, {"tourism": "caravan_site"}),
    (231, {"oneway": "-1"}),
    (438, {"oneway": "yes", "maxwidth": "7'6\""}),
    (285, {"junction": "roundabout"}),
    (439, {"motor_vehicle": "private"}),
    (441, {"access": "customers", "highway": "service"}),
    (448, {"access": "no"}),
    (348, {"maxweight": "10 st", "bridge": "yes"}),
    (318, {"maxlength": "30'"}),
]


@pytest.mark.parametrize(("way", "tags"), TAGGED, ids=[str(t[0]) for t in TAGGED])
def test_tags_of_a_way(sample: Sample, way: int, tags: Tags) -> None:
    assert tags.items() <= sample.way[way].items()


POINTS = [
    ((-500, -40), {"barrier": "height_restrictor"}),
    ((340, -210), {"barrier": "height_restrictor", "maxheight": "2.1"}),
    ((1000, -60), {"barrier": "gate", "maxheight": "13'10\""}),
    ((1100, -50), {"barrier": "gate", "access": "private"}),
    ((60, 190), {"amenity": "parking_entrance", "maxheight": "2.0 m"}),
    ((250, 1200), {"highway": "turning_circle"}),
    ((2280, -140), {"amenity": "sanitary_dump_station"}),
    ((2320, -140), {"amenity": "water_point"}),
    ((-420, 20), {"shop": "gas"}),
    ((2500, -300), {"tourism": "viewpoint"}),
]


@pytest.mark.parametrize(("point", "tags"), POINTS, ids=[str(p[0]) for p in POINTS])
def test_tags_of_a_node(sample: Sample, point: tuple[int, int], tags: Tags) -> None:
    assert tags.items() <= sample.node[sample.at(*point)].items()


def test_barriers_stand_on_their_road(sample: Sample) -> None:
    for point, way in (((-500, -40), 440), ((340, -210), 447), ((1000, -60), 449), ((1100, -50), 450)):
        assert sample.at(*point) in sample.refs[way]
    assert "maxheight" not in sample.node[sample.at(-500, -40)]


def test_roads_under_a_railway_or_in_a_tunnel_without_any_figure(sample: Sample) -> None:
    for way in (223, 241, 110, 433, 455):
        assert not [key for key in sample.way[way] if key.startswith("maxheight")]


def test_turn_restrictions(sample: Sample) -> None:
    assert sample.relation[801]["restriction"] == "only_straight_on"
    assert sample.relation[802]["restriction"] == "no_left_turn"
    assert ("way", 304, "via") in sample.members[803]
    assert sample.relation[804]["restriction:conditional"].endswith("@ (Mo-Fr 07:00-09:00)")
    assert sample.relation[805]["except"] == "bus;bicycle"
    assert "restriction:hgv" in sample.relation[806]
    assert all(role != "via" for _, _, role in sample.members[807])


def test_a_building_over_a_road_is_a_multipolygon(sample: Sample) -> None:
    assert sample.relation[901]["type"] == "multipolygon"
    assert sample.members[901] == [("way", 610, "outer")]
    assert sample.way[610] == {}


#: Every pair of mapped lines that cross without a common node, the one above first where that is told.
CROSSINGS = {
    frozenset(pair)
    for pair in [
        *[(502, 402), (506, 203), (508, 212), (510, 223), (512, 232), (514, 241), (516, 252), (518, 256)],
        *[(520, 263), (283, 521), (107, 272), (302, 484), (102, 484), (348, 484), (352, 484), (504, 484)],
        *[(532, 372), (532, 345), (532, 375), (532, 377), (532, 359), (532, 380), (532, 383), (532, 386)],
        *[(316, 311), (319, 311), (326, 312), (329, 313), (483, 412), (473, 443), (480, 105), (481, 266)],
        *[(482, 357), (286, 485), (471, 346), (486, 201), (486, 484)],
    ]
}


def test_what_crosses_without_a_common_node(sample: Sample) -> None:
    """A forgotten junction would be a silent bridge, so the list of crossings is whole."""
    areas = {w for w, refs in sample.refs.items() if refs[0] == refs[-1] and "highway" not in sample.way[w]}
    lines = {
        way: LineString([sample.place[ref] for ref in refs])
        for way, refs in sample.refs.items()
        if way not in areas
    }
    found = {
        frozenset((a, b))
        for a, b in combinations(sorted(lines), 2)
        if lines[a].intersects(lines[b]) and not set(sample.refs[a]) & set(sample.refs[b])
    }
    assert found == CROSSINGS


def test_nodes_of_streets_are_shared_where_streets_meet(sample: Sample) -> None:
    assert sample.at(1000, 1100) in set(sample.refs[330]) & set(sample.refs[313])  # junction, no structure
    assert sample.at(2000, 540) in set(sample.refs[283]) & set(sample.refs[451])  # the bridge ends on a lane
    assert sample.at(-1500, 600) in set(sample.refs[405]) & set(sample.refs[501])  # level crossing
    assert not set(sample.refs[329]) & set(sample.refs[313])


def test_order_of_a_crossing_is_told_by_layer_by_bridge_or_not_at_all(sample: Sample) -> None:
    assert "layer" not in sample.way[319]
    assert "layer" not in sample.way[311]
    assert "bridge" not in sample.way[311]
    for a, b in ((326, 312), (329, 313)):
        assert "layer" not in sample.way[a]
        assert "layer" not in sample.way[b]
        assert sample.way[a].get("bridge") == sample.way[b].get("bridge")


# ----------------------------------------------------------------------------------------- drives

#: Ways that a coach of 13 ft with 6 in to spare may not take by the traps above: lower than 13'6".
LOW = {203, 256, 316, 311, 375, 377, 380, 386, 406, 412, 422, 436, 457, 460, 447}
#: Ways under something with no figure that can be relied on.
UNVERIFIED = {110, 223, 212, 232, 241, 252, 312, 313, 372, 383, 402, 431, 433, 440, 455}

YARD, QUAY, LIGHTHOUSE, DUNE, ORCHARD = (-900, 1420), (-350, -120), (-1900, -300), (2300, -150), (1700, 1600)


def _roads(sample: Sample, without: set[int]) -> nx.DiGraph:
    """Roads open to motor vehicles, weighted by seconds at the posted speed; turns are not regarded."""
    graph = nx.DiGraph()
    for way, tags in sample.way.items():
        closed = tags.get("access") in ("no", "private") or tags.get("motor_vehicle") == "private"
        if way in without or closed or tags.get("highway", "footway") == "footway":
            continue
        forward = tags.get("oneway") != "-1"
        backward = tags.get("oneway") not in ("yes",) and tags.get("junction") != "roundabout"
        speed = float(tags.get("maxspeed", "10 mph").removesuffix(" mph")) * 0.44704
        for a, b in pairwise(sample.refs[way]):
            (ax, ay), (bx, by) = (((n // 100_000) - 10_000, n % 100_000 - 10_000) for n in (a, b))
            seconds = ((ax - bx) ** 2 + (ay - by) ** 2) ** 0.5 / speed
            if forward:
                graph.add_edge(a, b, seconds=seconds, way=way)
            if backward:
                graph.add_edge(b, a, seconds=seconds, way=way)
    return graph


def _drive(
    sample: Sample, to: tuple[int, int], without: set[int], start: tuple[int, int] = YARD
) -> tuple[float, list[int]]:
    graph = _roads(sample, without)
    seconds, nodes = nx.single_source_dijkstra(graph, sample.at(*start), sample.at(*to), weight="seconds")
    return seconds, [graph.edges[a, b]["way"] for a, b in pairwise(nodes)]


def test_the_car_goes_under_twelve_foot_six_and_the_coach_some_minutes_round(sample: Sample) -> None:
    car, car_ways = _drive(sample, QUAY, set())
    coach, coach_ways = _drive(sample, QUAY, LOW | UNVERIFIED)
    assert 203 in car_ways
    assert {105, 263, 443} <= set(coach_ways)
    assert 120 < coach - car < 600


def test_with_unverified_ones_accepted_the_coach_goes_under_market_street_bridge(sample: Sample) -> None:
    _, ways = _drive(sample, QUAY, LOW)
    assert 223 in ways


def test_the_lighthouse_cannot_be_reached_under_thirteen_foot_six(sample: Sample) -> None:
    assert _drive(sample, LIGHTHOUSE, set())[0] < 600
    with pytest.raises(nx.NetworkXNoPath):
        _drive(sample, LIGHTHOUSE, LOW)
    # 4.0 m, the higher of the two, is what gets through
    assert 422 in _drive(sample, LIGHTHOUSE, LOW - {422})[1]
    assert 412 in _drive(sample, LIGHTHOUSE, LOW - {412})[1]


@pytest.mark.parametrize("to", [QUAY, DUNE, ORCHARD])
def test_the_other_destinations_can_be_reached_there_and_back(sample: Sample, to: tuple[int, int]) -> None:
    closed = LOW | UNVERIFIED
    assert _drive(sample, to, closed)[0] < 900
    assert _drive(sample, YARD, closed, start=to)[0] < 900


# -------------------------------------------------------------------------------- the description


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{ id = 1, line = "0,0" }', "two points"),
        ('{ id = 1, line = "0,0 0,0" }', "two points"),
        ('{ id = 1, line = "0,0 1.5,0" }', "whole metres"),
        ('{ id = 1, line = "0,0 20000,0" }', "off the grid"),
        ('{ id = 1, line = "0,0 1,0", layer = 1 }', "in quotes"),
        ('{ id = 1, line = "0,0 1,0" }, { id = 1, line = "0,0 2,0" }', "used twice"),
    ],
)
def test_a_description_that_cannot_be_meant_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(
        f'town = {{ name = "x", lon = 0.0, lat = 0.0, timestamp = "" }}\n[[street]]\npieces = [{text}]\n'
    )
    with pytest.raises(make_town.TownError, match=message):
        make_town.read_town(path)
