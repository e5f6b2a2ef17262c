"""The greatest height on every road against a search for each of them."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.assess.case import Case
from clearance.assess.reach import Ground, Lifted
from clearance.assess.tallest import arc_heights
from clearance.core.drive import Unverified
from clearance.core.errors import PlaceError
from clearance.core.screening import NO_WAY, Leg
from clearance.network.network import NO_LIMIT
from clearance.routing.mask import open_ends
from clearance.routing.plan import greatest_height
from clearance.routing.snap import Snap, snap
from tests.assess.towns import COACH
from tests.routing.private_towns import PrivateTown, private_towns

MANY = settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))


@MANY
@given(private_towns(), st.sampled_from(list(Leg)), st.booleans())
def test_every_arc_admits_what_a_search_for_it_finds(town: PrivateTown, leg: Leg, passable: bool) -> None:
    network = town.network()
    case = Case.of(network, COACH, Unverified.ACCEPT, None)
    free = case.lifting(frozenset({"height"})).costs
    try:
        home = snap(network, *town.grid.middle(town.grid.start), free.usable, limit_m=1.0)
    except PlaceError:
        return
    heights = arc_heights(Lifted(Ground(network), case).widths(frozenset(), passable=passable), leg, home)
    for arc in range(network.arc_tail.size):
        # Driven whole: to its far end from home, from its near end homeward.
        end = Snap(arc=arc, fraction=1.0 if leg is Leg.THERE else 0.0, distance_m=0.0, lon=0.0, lat=0.0)
        places = ([s.arc for s in home], [arc])
        if leg is Leg.THERE:
            opened = open_ends(network, free, *places)
            best = greatest_height(network, opened, home, [end], unverified_passable=passable)
        else:
            opened = open_ends(network, free, *places[::-1])
            best = greatest_height(network, opened, [end], home, unverified_passable=passable)
        if best.route is None:
            assert heights[arc] == NO_WAY
        else:
            assert heights[arc] == (NO_LIMIT if best.height is None else best.height.tenths)
