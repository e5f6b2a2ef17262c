"""Towns for whole drives: two ways round, one of them under a railway."""

from __future__ import annotations

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
