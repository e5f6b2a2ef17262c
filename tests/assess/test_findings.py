"""Structures over a dip, as a coach of known wheelbase meets them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clearance.assess.day import plan_day
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified
from clearance.core.knowledge import AreaKnown
from clearance.core.lengths import Length
from clearance.core.profile import GROUND_SOURCE, STATIONS_M
from clearance.core.standing import standing
from clearance.core.structure import Direction, Standing
from clearance.network.dips import lost_heights, structures_for
from clearance.network.network import Network
from clearance.outputs.wording import advice, evidence_lines
from tests.assess.towns import COACH, END, START, halt, two_ways

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
