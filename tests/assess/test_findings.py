"""Structures over a dip, as a coach of known wheelbase meets them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clearance.assess.case import Case
from clearance.assess.day import plan_day
from clearance.assess.findings import ceiling_of, findings_of, numbered, verdict_of
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.knowledge import AreaKnown
from clearance.core.lengths import Length
from clearance.core.profile import GROUND_SOURCE, STATIONS_M
from clearance.core.standing import standing
from clearance.core.structure import Direction, Standing
from clearance.network.dips import lost_heights, structures_for
from clearance.network.network import Network
from clearance.outputs.wording import advice, evidence_lines
from clearance.routing.plan import find_drive
from clearance.routing.snap import snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.towns import Town, lonlat

LONG = replace(COACH, wheelbase=Length.from_metres("10"), rear_overhang=Length.from_metres("1"))


def dipping(rate: float) -> Network:
    """The street of `two_ways`, posted 14'0" and dipping by rate x^2 under the railway."""
    network = two_ways({"maxheight": "14'0\""})
    (index,) = [i for i, s in enumerate(network.structures) if s.upper]
    heights = (rate * STATIONS_M**2)[None, :]
    return replace(network, profile_structure=np.array([index], dtype=np.int32), profile_height=heights)


def drive(network: Network, coach: Coach) -> Drive:
    return plan_day(network, coach, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT)


def test_what_is_left_of_the_height_is_what_counts_and_is_told() -> None:
    network = dipping(0.004)  # 0.004 x 100 / 4 = 10 cm
    (finding,) = drive(network, COACH).findings
    assert finding.clearance == Length.from_feet(14)
    (finding,) = drive(network, LONG).findings
    assert finding.clearance is not None
    lost = Length.from_feet(14) - finding.clearance
    assert float(lost.metres) == pytest.approx(0.1, abs=0.003)
    assert finding.standing is Standing.TIGHT
    (left,) = [e for e in finding.structure.evidence if e.source == GROUND_SOURCE]
    assert left.figure == finding.clearance
    assert "wheelbase of 10.0 m loses" in " ".join(evidence_lines(finding.structure))
    assert "13'8\"" in advice(finding, LONG)
    (listed,) = [s for s in structures_for(network, LONG) if s.upper]
    assert standing(listed, Direction.BOTH, LONG) is Standing.TIGHT
    assert structures_for(network, COACH) == tuple(network.structures)


def test_a_deep_dip_sends_the_coach_round() -> None:
    network = dipping(0.008)
    assert int(lost_heights(network, LONG).max()) > Length.from_feet(0, 6).tenths
    found = drive(network, LONG)
    assert [p.road for p in found.pieces] == ["West Road", "High Street", "East Road"]
    assert found.car is not None
    (low,) = found.car.differences
    assert low.standing is Standing.TOO_LOW
    assert [p.road for p in drive(network, COACH).pieces] == ["West Road", "Low Street", "East Road"]


def test_what_is_lost_is_told_though_the_height_is_not_known() -> None:
    """A dip under a railway without a sign: passed as unverified, and no figure of it is made up."""
    dip = dipping(0.004)
    network = replace(two_ways(), profile_structure=dip.profile_structure, profile_height=dip.profile_height)
    (finding,) = drive(network, LONG).findings
    assert (finding.standing, finding.clearance, finding.headroom) == (Standing.UNVERIFIED, None, None)
    assert all(e.figure is None for e in finding.structure.evidence)
    (known,) = drive(dip, LONG).findings
    assert known.clearance is not None
    assert known.headroom == known.clearance - LONG.height


def test_a_drive_tells_how_much_is_known_of_the_area() -> None:
    assert drive(dipping(0.0), COACH).area == AreaKnown(1, 1)
    assert drive(two_ways(), COACH).area == AreaKnown(1, 0)


def test_a_level_road_adds_nothing_to_what_is_known_of_a_structure() -> None:
    network = dipping(0.0)
    (finding,) = drive(network, LONG).findings
    (mapped,) = [s for s in network.structures if s.upper]
    assert finding.structure == mapped
    assert finding.clearance == Length.from_feet(14)


def test_findings_are_numbered_and_count_from_the_start_of_the_day() -> None:
    """Two railways of other heights over one street, and what is lowest of them."""
    town = Town().node(1, 0, 0).node(2, 1000, 0).node(3, 500, 0)
    for n, x in enumerate((200, 700)):
        town.node(10 + n, x, -50).node(20 + n, x, 50)
        town.way(30 + n, [10 + n, 20 + n], {"railway": "rail", "bridge": "yes", "layer": "1"})
    town.way(40, [1, 3], {"highway": "residential", "name": "Mill Lane", "maxheight": "13'8\""})
    town.way(41, [3, 2], {"highway": "residential", "ref": "R 7", "maxheight": "15'"})
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    ends = [snap(network, *lonlat(x, 0), case.costs.usable) for x in (100, 900)]
    cases = (
        (ends, ["Mill Lane", "R 7"], [(13, 8), (15, 0)], (100, 600)),
        (ends[::-1], ["R 7", "Mill Lane"], [(15, 0), (13, 8)], (200, 700)),
    )
    for (start, end), roads, heights, metres in cases:
        route = find_drive(network, case.costs, start, end)
        assert route is not None
        found = findings_of(case, route, distance_m=1000.0, seconds=500.0)
        assert [f.number for f in found] == [1, 2]
        assert [f.road for f in found] == roads
        assert [f.clearance for f in found] == [Length.from_feet(*height) for height in heights]
        assert [f.headroom for f in found] == [Length.from_feet(f - 13, i) for f, i in heights]
        for finding, driven in zip(found, metres, strict=True):
            assert finding.distance_m == pytest.approx(1000 + driven, abs=1)
            assert finding.seconds == pytest.approx(500 + driven / (30 / 3.6), rel=1e-3)
        assert ceiling_of(found) == Length.from_feet(13, 8)
        assert verdict_of(found) is Verdict.CARE
        assert [f.number for f in numbered(found[1:])] == [1]
    assert ceiling_of([]) is None
    assert verdict_of([]) is Verdict.CLEAR


@pytest.mark.parametrize(("height", "standings"), [("15'", []), ("13'8\"", []), ("12'", [Standing.TOO_LOW])])
def test_a_figure_of_a_way_is_told_of_who_turns_off_before_the_structure_only_if_it_is_too_low(
    height: str, standings: list[Standing]
) -> None:
    """The way carries it from end to end; the railway is behind the corner, and who goes on passes it."""
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 1000, 0).node(4, 500, 500)
    town.node(5, 800, -50).node(6, 800, 50).way(
        20, [5, 6], {"railway": "rail", "bridge": "yes", "layer": "1"}
    )
    town.way(10, [1, 2, 3], {"highway": "residential", "maxheight": height}).way(11, [2, 4])
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    start, end, beyond = (
        snap(network, *lonlat(*xy), case.costs.usable) for xy in ((100, 0), (500, 300), (900, 0))
    )
    car = case.as_car().costs
    for goal, told in ((end, standings), (beyond, [standing_of(height)])):
        route = find_drive(network, car, start, goal)
        assert route is not None
        assert [f.standing for f in findings_of(case, route)] == told


def standing_of(height: str) -> Standing:
    return {"15'": Standing.CLEAR, "13'8\"": Standing.TIGHT, "12'": Standing.TOO_LOW}[height]
