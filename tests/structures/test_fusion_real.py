"""An INVENTED inventory laid over a real map: every planted record must find its bridge, no other one may.

Map data © OpenStreetMap contributors, ODbL 1.0; read from ../shared/data where that folder stands. All
records, heights and structure numbers are made up here; those of the near-misses tell 2.5 m, so that any
false match shows.
"""

from __future__ import annotations

import math
from collections import defaultdict
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from clearance.core.extract import Extract
from clearance.core.inventory import InventoryRecord
from clearance.core.lengths import Length
from clearance.core.structure import Kind, Structure
from clearance.sources.osm_file import read_osm
from clearance.structures.find import find_structures
from clearance.structures.fusion import Fused, fuse
from tests.structures.inventories import MISSING, RIVER, figure, record

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="../shared/data is not here")

WRONG = Length.from_metres("2.5")
#: Ways that are parts of a bridge that another way of the map stands for already: the other half of the
#: bridge of Union Street, the second track over US 2.
SAME_BRIDGE = {"way/139178391", "way/318108577"}
RAILS = (Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE)


@cache
def bangor() -> tuple[Extract, tuple[Structure, ...]]:
    extract = read_osm(DATA / "bangor-maine.osm.pbf")
    return extract, find_structures(extract)


@cache
def decks() -> dict[str, list[Structure]]:
    """Every bridge of the map whose order is told, by the way on it."""
    found: dict[str, list[Structure]] = defaultdict(list)
    for s in bangor()[1]:
        if s.upper.startswith("way/") and not s.ambiguous_order:
            found[s.upper].append(s)
    return dict(sorted(found.items()))


def written(name: str) -> str:
    """A name of the map as an inventory might write it."""
    for long, short in (("Street", "St"), ("Avenue", "Ave"), ("Road", "Rd"), ("Boulevard", "Blvd")):
        name = name.replace(long, short)
    return name.upper()[:24]


def road_of(structure: Structure) -> str:
    tags = structure.tags[f"way/{structure.spans[0].way}"]
    return written(tags.get("ref", "").split(";")[0] or structure.road)


def moved(structure: Structure, east_m: float, north_m: float) -> tuple[float, float]:
    scale = 111_195.0 * math.cos(math.radians(structure.lat))
    return structure.lon + east_m / scale, structure.lat + north_m / 111_195.0


def carried(deck: str) -> str:
    tags = decks()[deck][0].tags[deck]
    return written(tags.get("ref", "").split(";")[0] or tags.get("name", "") or "RAMP")


def right_or_left(deck: str) -> str:
    """Item 101 of a one-way bridge: R in the direction of the inventory, west to east and south to north."""
    extract = bangor()[0]
    way = next(w for w in extract.ways if f"way/{w.id}" == deck)
    ends = [int(row) for row in np.searchsorted(extract.node_ids, [way.nodes[0], way.nodes[-1]])]
    east, north = (float(each[ends[1]] - each[ends[0]]) for each in (extract.lon, extract.lat))
    return "R" if east * math.cos(math.radians(44.8)) + north > 0 else "L"


def apart(a: Structure, b: Structure) -> float:
    scale = math.cos(math.radians(a.lat))
    return math.hypot((a.lon - b.lon) * scale, a.lat - b.lat) * 111_195.0


def planted(number: int, deck: str) -> InventoryRecord:
    """A record up to 11 m off the crossing, and nearer to its own deck than to the next one."""
    over = decks()[deck]
    others = [s for way, several in decks().items() if way not in {deck, *SAME_BRIDGE} for s in several]
    off = min(3 + number % 9, min(apart(over[0], s) for s in others) / 4)
    rail = over[0].kind in RAILS
    angle = 2.4 * number  # spread all round, the same in every run
    tags = over[0].tags[deck]
    one_way = tags.get("oneway") == "yes"
    return record(
        f"{number:06d}",
        moved(over[0], off * math.cos(angle), off * math.sin(angle)),
        record_type="2" if rail else "1",
        carried="A & B RAILROAD" if rail else carried(deck),
        features=", ".join(dict.fromkeys(road_of(s) for s in over if road_of(s))) or "LOCAL ROAD",
        service_on="2" if rail else "1",
        traffic="1" if one_way else "2",
        parallel=right_or_left(deck) if one_way else "N",
        item_54=figure(f"{4 + number % 50 / 100:.2f}"),
    )


def near_misses(number: int, deck: str) -> list[InventoryRecord]:
    """Five records near the bridge that are not its."""
    over = decks()[deck]
    beneath = road_of(over[0]) or "LOCAL ROAD"
    wrong = figure("2.5")
    names = [f"9{number:05d}{k}" for k in range(1, 6)]
    carries = carried(deck)
    return [
        # a parallel bridge over the same road, which the map does not have
        record(names[0], moved(over[0], 22, 0), carried="INVENTED PKWY", features=beneath, item_54=wrong),
        # a level above: what is carried here runs beneath it
        record(names[1], moved(over[0], 1, 1), carried="HIGH FLYOVER", features=carries, item_54=wrong),
        # a bridge of the same road over a river beside
        record(
            names[2],
            moved(over[0], 0, 55),
            carried=carries,
            features="OLD BROOK",
            service_under="5",
            item_54=RIVER,
        ),
        # a footbridge beside
        record(
            names[3],
            moved(over[0], -12, 0),
            record_type="2",
            carried="PEDESTRIAN BRIDGE",
            features=beneath,
            service_on="3",
            item_10=wrong,
        ),
        # a bridge of the same kind farther along the road beneath
        record(
            names[4],
            moved(over[0], 300, 300),
            record_type="2",
            carried="C & D RAILROAD",
            features="SOME LANE",
            service_on="2",
            item_54=wrong,
        ),
    ]


@cache
def laid_over() -> tuple[list[tuple[InventoryRecord, str]], list[InventoryRecord], Fused]:
    extract, structures = bangor()
    chosen = [deck for deck in decks() if deck not in SAME_BRIDGE]
    right = [(planted(number, deck), deck) for number, deck in enumerate(chosen)]
    wrong = [r for number, deck in enumerate(chosen) for r in near_misses(number, deck)]
    return right, wrong, fuse(structures, [*wrong, *(r for r, _ in right)], extract)


def test_the_map_has_enough_to_plant_on() -> None:
    kinds = [over[0].kind for over in decks().values()]
    assert len(kinds) > 40
    assert sum(kind in RAILS for kind in kinds) >= 8


def test_every_planted_record_finds_its_bridge_and_all_roads_beneath() -> None:
    right, _, found = laid_over()
    of_number = {m.records[0].number: m for m in found.matches if isinstance(m.records[0], InventoryRecord)}
    missed = []
    for told, deck in right:
        match = of_number.get(told.number)
        expected = {s.key for s in decks()[deck]}
        if match is None or not expected <= set(match.structures):
            missed.append((told.number, deck, match))
    assert missed == []


def test_no_near_miss_is_matched_to_anything() -> None:
    _, wrong, found = laid_over()
    numbers = {r.number for r in wrong}
    false = [
        m
        for m in found.matches
        if isinstance(m.records[0], InventoryRecord) and m.records[0].number in numbers
    ]
    assert [m for m in false if m.structures] == []
    assert all(e.figure != WRONG for s in found.structures for e in s.evidence)
    left_over = {r.number for u in found.unmatched for r in u.records if isinstance(r, InventoryRecord)}
    assert {r.number for r in wrong if r.item_54 not in (RIVER, MISSING)} <= left_over


def test_each_structure_has_the_height_of_its_own_record() -> None:
    """And beside it at most a lower one, of a deck so near that places alone tell the two apart."""
    right, _, found = laid_over()
    by_key = {s.key: s for s in found.structures}
    twins = 0
    for told, deck in right:
        for s in decks()[deck]:
            own, *others = [e.figure for e in by_key[s.key].evidence if e.key == "Item 54"]
            assert own == told.item_54.figure, (s.key, told.number)
            near = {r.item_54.figure for r, way in right if min(apart(s, x) for x in decks()[way]) < 30}
            assert all(other is not None and own is not None and other < own for other in others)
            assert set(others) <= near
            twins += bool(others)
    assert twins <= 5


def test_without_near_misses_nothing_but_byways_stays_unverified() -> None:
    """A low record that nothing in the map accounts for keeps its neighbours from being cleared."""
    right, _, among_others = laid_over()
    extract, structures = bangor()
    alone = {s.key: s for s in fuse(structures, [r for r, _ in right], extract).structures}
    unverified = []
    for _, deck in right:
        for s in decks()[deck]:
            byway = s.tags[f"way/{s.spans[0].way}"].get("highway") in ("service", "track")
            if not alone[s.key].verified() and not byway:
                unverified.append(s.key)
    assert unverified == []
    for s in among_others.structures:
        notes = [e.note for e in s.evidence if e.key == "Item 54" and not e.can_clear]
        assert s.verified() or all(
            "2.5 m, could be of this" in n or "byway" in n or "another road" in n for n in notes
        )


def test_what_nothing_was_planted_on_gains_nothing() -> None:
    _, _, found = laid_over()
    before = {s.key: s for s in bangor()[1]}
    others = {s.key for s in before.values()} - {s.key for over in decks().values() for s in over}
    assert others
    for s in found.structures:
        if s.key in others:
            assert s == before[s.key]
