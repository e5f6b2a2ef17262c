"""Drives on real extracts: none, at any coach height, passes a posted figure below the need.

Data © OpenStreetMap contributors, ODbL 1.0; read from ../shared/data where that folder stands.
"""

from __future__ import annotations

import random
import re
from functools import cache
from pathlib import Path

import numpy as np
import osmium
import pytest

from clearance.assess.day import Halt, plan_day
from clearance.core.coach import Coach
from clearance.core.drive import Unverified, Verdict
from clearance.core.errors import NoWayError, PlaceError
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.sources.osm_file import read_osm
from clearance.workflow import network_of

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
FILES = [
    "liechtenstein.osm.pbf",
    "monaco.osm.pbf",
    "bangor-maine.osm.pbf",
    "leeds.osm",
    "seattle-northgate.osm",
]
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="../shared/data is not here")


@cache
def network(name: str) -> Network:
    return network_of(read_osm(DATA / name))


@cache
def posted(name: str) -> tuple[dict[int, float], dict[int, float]]:
    """Plain figures of maxheight on ways and on nodes, in metres, read apart from the package."""

    def metres(text: str) -> float | None:
        if re.fullmatch(r"\d+(\.\d+)?( ?m)?", text):
            value = float(text.removesuffix("m"))
            return value if 1 <= value <= 30 else None
        feet = re.fullmatch(r"(\d+)'(?:(\d+)\")?", text)
        return (int(feet[1]) * 12 + int(feet[2] or 0)) * 0.0254 if feet else None

    ways: dict[int, float] = {}
    nodes: dict[int, float] = {}
    for thing in osmium.FileProcessor(str(DATA / name)):
        value = metres(thing.tags.get("maxheight") or "")
        if value is not None and thing.type_str() in {"w", "n"}:
            (ways if thing.type_str() == "w" else nodes)[thing.id] = value
    return ways, nodes


@pytest.mark.parametrize("name", FILES)
def test_no_drive_passes_a_posted_figure_below_the_need(name: str) -> None:
    town = network(name)
    ways, nodes = posted(name)
    lat = {int(osm): i for i, osm in enumerate(town.node_osm.tolist())}
    chance = random.Random(name)
    driven = blocked = 0
    for _ in range(40):
        a, b = chance.sample(range(len(town.node_osm)), 2)
        halts = [Halt(place=Place(lon=float(town.node_lon[n]), lat=float(town.node_lat[n]))) for n in (a, b)]
        height = Length.from_metres(f"{chance.uniform(1.9, 4.4):.4f}")
        coach = Coach(height=height, margin=Length(0), propane=False)
        policy = chance.choice(list(Unverified))
        try:
            drive = plan_day(town, coach, halts, unverified=policy)
        except (NoWayError, PlaceError):
            continue
        if drive.verdict is Verdict.BLOCKED:
            blocked += 1
            continue
        driven += 1
        need = float(height.metres)
        for piece in drive.pieces:
            for way in piece.ways:
                assert ways.get(way, 99.0) >= need - 1e-9, (way, need)
        points = {p for piece in drive.pieces for p in piece.points[1:-1]}
        for node, value in nodes.items():
            if value < need and node in lat:
                at = (float(town.node_lon[lat[node]]), float(town.node_lat[lat[node]]))
                assert at not in points, (node, need)
        for finding in drive.findings:
            assert finding.standing is not Standing.TOO_LOW
            if policy is Unverified.REFUSE:
                assert finding.standing is not Standing.UNVERIFIED
    assert driven >= 5


def test_every_low_way_is_closed_to_a_coach_of_any_height() -> None:
    """Every arc of a way with a plain figure is closed to the first height above it."""
    from clearance.assess.case import Case

    for name in FILES:
        town = network(name)
        ways, _ = posted(name)
        for height in ("2", "2.3", "2.6", "3.1", "3.6", "4.1", "4.4"):
            coach = Coach(height=Length.from_metres(height), margin=Length(0))
            case = Case.of(town, coach, Unverified.ACCEPT, None)
            low = [w for w, row in enumerate(town.ways) if ways.get(row.id, 99.0) < float(height)]
            arcs = np.isin(town.arc_way, low)
            assert np.isinf(case.costs.arc_cost[arcs]).all(), (name, height)
