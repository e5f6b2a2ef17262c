"""Towns for whole drives: two ways round, one of them under a railway."""

from __future__ import annotations

import random

from clearance.assess.day import Halt
from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.towns import Town, lonlat

COACH = Coach(height=Length.from_feet(13), margin=Length.from_feet(0, 6))


def halt(x: float, y: float, stay_s: float = 0.0, name: str = "") -> Halt:
    lon, lat = lonlat(x, y)
    return Halt(place=Place(lon=lon, lat=lat, name=name), stay_s=stay_s)


def turned(x: float, y: float, number: int) -> tuple[float, float]:
    """A point in one of the eight ways, 0 to 7, that a plan can lie: searches must not mind which."""
    if number & 4:
        x, y = y, x
    return (-x if number & 1 else x), (-y if number & 2 else y)


def two_ways(
    direct: dict[str, str] | None = None,
    detour: dict[str, str] | None = None,
    rail: dict[str, str] | None = None,
) -> Network:
    """A street of 1,000 m from west to east under a railway, and a way round of 3,000 m to the north.

    Start is at (-400, 0), end at (1400, 0); the ways part at (0, 0) and meet at (1000, 0).
    """
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 1000), 6: (1000, 1000),
        7: (500, -100), 8: (500, 100),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential", "name": "West Road"})
    town.way(11, [2, 3], {"highway": "residential", "name": "Low Street"} | (direct or {}))
    town.way(12, [2, 5, 6, 3], {"highway": "residential", "name": "High Street"} | (detour or {}))
    town.way(13, [3, 4], {"highway": "residential", "name": "East Road"})
    town.way(20, [7, 8], rail or {"railway": "rail", "bridge": "yes", "layer": "1", "name": "Coast Line"})
    return network_of(town.extract())


START, END = (-400.0, 0.0), (1400.0, 0.0)


def street_by_a_block(begin: float) -> Town:
    """Nodes 1 to 4 of a street along y = 0, and 5, 6 of a block of 1,000 m by 300 m beside it.

    The block begins at x = `begin`, by node 2, and ends by node 3; node 4 is 1,000 m farther on.
    """
    town = Town().node(1, 0, 0)
    for number in range(3):
        town.node(2 + number, begin + 1000 * number, 0)
    return town.node(5, begin, -300).node(6, begin + 1000, -300)


def corners_of_a_block() -> Town:
    """Nodes of a lane from 1 (500, -500) to 2 (500, 0), on a side of the block 3, 4, 5, 6 (1000, 0)."""
    town = Town().node(1, 500, -500).node(2, 500, 0)
    return town.node(3, 0, 0).node(4, 0, 300).node(5, 1000, 300).node(6, 1000, 0)


def estate_town(direct: dict[str, str] | None = None) -> Network:
    """Low Street under a railway, High Street slowly round it; both lead to a private estate.

    Estate Road runs from (1000, 0) by (1300, 400) to (1000, 800), Estate Row beside it by (1100, 400).
    """
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 800), 6: (1000, 800), 7: (1300, 400),
        8: (1100, 400), 9: (1400, 400), 11: (500, -50), 12: (500, 50),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    for ref, nodes, name in ((10, [1, 2], "West Road"), (13, [3, 4], "East Road")):
        town.way(ref, nodes, {"highway": "residential", "name": name})
    town.way(11, [2, 3], {"highway": "residential", "name": "Low Street"} | (direct or {}))
    town.way(12, [2, 5, 6], {"highway": "residential", "name": "High Street", "maxspeed": "15"})
    private = {"highway": "residential", "access": "private"}
    town.way(14, [3, 7, 6], private | {"name": "Estate Road"}).way(15, [7, 9], private)
    town.way(16, [3, 8, 6], private | {"name": "Estate Row"})
    town.way(20, [11, 12], {"railway": "rail", "bridge": "yes", "layer": "1"})
    return network_of(town.extract())


#: On Estate Road, between Low Street and its side lane.
IN_ESTATE = (1100.0, 400.0 / 3)


def grid_town(seed: int) -> Network:
    """Streets of all speeds; some one-way, some low, some of unknown height, some closed."""
    chance, size = random.Random(seed), 5
    town = Town()
    for x in range(size):
        for y in range(size):
            town.node(1 + x * size + y, 100 * x + 7 * y, 90 * y)
    ref = 100
    for x in range(size):
        for y in range(size):
            for dx, dy in ((1, 0), (0, 1)):
                if x + dx >= size or y + dy >= size or chance.random() < 0.07:
                    continue
                ref += 1
                tags = {"highway": "residential", "maxspeed": str(chance.randint(20, 80))}
                draw = chance.random()
                if draw < 0.3:
                    tags["maxheight"] = "3.5"
                elif draw < 0.35:
                    tags["tunnel"] = "yes"
                elif draw < 0.45:
                    tags["motor_vehicle"] = "no"
                if chance.random() < 0.15:
                    tags["oneway"] = chance.choice(["yes", "-1"])
                town.way(ref, [1 + x * size + y, 1 + (x + dx) * size + y + dy], tags)
    return network_of(town.extract())
