"""Places to turn found for all arcs at once against a search from each."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.assess.turning import PlacesToTurn, place_to_turn
from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.network.build import build_network
from clearance.routing.mask import coach_costs
from clearance.routing.reverse import backward_turns
from clearance.routing.snap import Snap
from tests.routing.grid_towns import GridTown, grid_towns

COACH = Coach(height=Length.from_metres("3.8"))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(grid_towns(), st.data())
def test_all_at_once_is_what_each_search_finds(grid: GridTown, data: st.DataObject) -> None:
    town = grid.town()
    for corner in data.draw(st.lists(st.integers(0, grid.width * grid.height - 1), max_size=3)):
        town._node_tags[corner + 1] = {
            "highway": data.draw(st.sampled_from(("turning_circle", "turning_loop")))
        }
    network = build_network(town.extract(), grid.structures())
    costs = coach_costs(network, COACH, Unverified.AVOID, None)
    places = PlacesToTurn(network, costs, backward_turns(network))
    for arc in range(network.arc_tail.size):
        at = Snap(arc=arc, fraction=0.25, distance_m=0.0, lon=0.0, lat=0.0)
        one, all_ = place_to_turn(network, costs, at), places.ahead(at)
        if one is None or all_ is None:
            assert one is all_
            continue
        assert one[2] == pytest.approx(all_[2], rel=1e-9)
        if one[1] != all_[1]:  # two places equally far
            assert np.isclose(one[2], all_[2])
        else:
            assert one[0] == all_[0]
