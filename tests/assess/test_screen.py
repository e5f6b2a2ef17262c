"""Rows of many destinations against the day planned for each of them alone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.assess.day import Halt, plan_day
from clearance.assess.screen import screen
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.errors import NoWayError, PlaceError
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.screening import Destination, Row, Screening, SortBy
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, START
from tests.routing.grid_towns import COMFORT, NEED, segments
from tests.routing.private_towns import PrivateTown, private_towns
from tests.towns import lonlat

LOWER = Coach(height=Length.from_feet(10), name="lower")
TOWING = Coach(height=Length(NEED - 1000), margin=Length(1000), comfort=Length(COMFORT), towing=True)
DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data"


def place(x: float, y: float, name: str = "") -> Place:
    lon, lat = lonlat(x, y)
    return Place(lon=lon, lat=lat, name=name)


def screened(
    network: Network,
    *places: Place,
    home: Place | None = None,
    coaches: Sequence[Coach] = (COACH,),
    unverified: Unverified = Unverified.AVOID,
) -> Screening:
    destinations = [Destination(place=p, where=f"line {n}") for n, p in enumerate(places, start=2)]
    return screen(
        network,
        coaches,
        home or place(*START, "Yard"),
        destinations,
        unverified=unverified,
        sort_by=SortBy.LIST,
    )


# --- against the day of each --------------------------------------------------------------------------


def same_as_the_day(row: Row, day: Drive) -> None:
    """A row says what the day home, destination, home says."""
    assert row.verdict is day.verdict
    if day.verdict is Verdict.BLOCKED:
        assert row.gets_through == day.gets_through
        assert [f.key for f in row.in_the_way] == list(dict.fromkeys(f.structure.key for f in day.in_the_way))
        assert row.obstacles == day.obstacles
        return
    assert row.there is not None
    assert row.back is not None
    assert row.duration_s == pytest.approx(day.duration_s, abs=1e-6)
    assert row.ceiling == day.ceiling
    for standing, keys in ((Standing.UNVERIFIED, row.unverified), (Standing.TIGHT, row.tight)):
        assert set(keys) == {f.structure.key for f in day.findings if f.standing is standing}
    if row.ceiling is not None:
        assert row.ceiling_key in {f.structure.key for f in day.findings if f.clearance == row.ceiling}
    if day.car is None:
        assert row.extra_s is None
    else:
        assert row.extra_s == pytest.approx(day.duration_s - day.car.duration_s, abs=1e-6)
    out, home = day.stops[1].distance_m, day.stops[2].distance_m - day.stops[1].distance_m
    if row.there.distance_m != pytest.approx(out, abs=1e-3):
        # The same round the other way about, or another way that costs just as much.
        assert row.there.duration_s <= day.stops[1].arrives_s + 1e-3
        return
    assert row.back.distance_m == pytest.approx(home, abs=1e-3)
    assert row.in_out is not None
    assert day.stops[1].in_out is not None
    assert row.in_out.answer is day.stops[1].in_out.answer
    assert row.in_out.serious is day.stops[1].in_out.serious
    assert row.in_out.dead_end_m == pytest.approx(day.stops[1].in_out.dead_end_m)
    assert row.in_out.turn_m == pytest.approx(day.stops[1].in_out.turn_m)
    assert row.off_road_m == pytest.approx(day.stops[1].off_road_m)


def compare(
    network: Network,
    home: Place,
    places: Sequence[Place],
    coaches: Sequence[Coach],
    unverified: Unverified,
) -> list[Verdict | None]:
    """Screen the places and plan the day of each; their verdicts, None where a day cannot be planned."""
    try:
        found = screened(network, *places, home=home, coaches=coaches, unverified=unverified)
    except PlaceError:
        with pytest.raises(PlaceError):
            plan_day(network, coaches[0], [Halt(place=home), Halt(place=home)], unverified=unverified)
        return []
    rows = {(row.coach, row.number): row for row in found.rows}
    verdicts: list[Verdict | None] = []
    for c, coach in enumerate(coaches):
        for number, goal in enumerate(places, start=1):
            row = rows.get((c, number))
            halts = [Halt(place=home), Halt(place=goal), Halt(place=home)]
            try:
                day = plan_day(network, coach, halts, unverified=unverified)
            except (PlaceError, NoWayError):
                assert row is None
                assert any(p.where == f"line {number + 1}" and p.coach in {None, c} for p in found.problems)
                verdicts.append(None)
                continue
            assert row is not None
            same_as_the_day(row, day)
            verdicts.append(row.verdict)
    return verdicts


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(private_towns(), st.sampled_from(list(Unverified)))
def test_rows_say_what_the_day_of_each_destination_says(town: PrivateTown, unverified: Unverified) -> None:
    network = town.network()
    grid = town.grid
    places = [_at(grid.middle(s)) for s in segments(grid)]
    compare(network, _at(grid.middle(grid.start)), places[:6], [TOWING], unverified)


def _at(point: tuple[float, float]) -> Place:
    return Place(lon=point[0], lat=point[1], name=f"{point[0]:.5f}")


@pytest.mark.parametrize("extract", ["liechtenstein.osm.pbf", "bangor-maine.osm.pbf"])
def test_rows_say_the_same_on_real_roads(extract: str) -> None:
    """Real data, © OpenStreetMap contributors, ODbL 1.0."""
    if not (DATA / extract).exists():
        pytest.skip(f"{extract} is not there")
    from clearance.sources.osm_file import read_osm

    network = network_of(read_osm(DATA / extract))
    rng = np.random.default_rng(4)
    main = network.arc_tail[network.arc_area == 0]
    nodes = [int(main[main.size // 2]), *rng.choice(network.node_osm.size, 40, replace=False).tolist()]
    home, *places = [_beside(network, node) for node in nodes]
    coaches = [Coach(height=Length.from_feet(12, 10), towing=True), Coach(height=Length.from_feet(11))]
    for unverified in (Unverified.AVOID, Unverified.REFUSE):
        verdicts = compare(network, home, places, coaches, unverified)
        assert len(set(verdicts)) > 1


def _beside(network: Network, node: int) -> Place:
    lon, lat = float(network.node_lon[node]), float(network.node_lat[node])
    return Place(lon=lon + 1e-4, lat=lat + 1e-4, name=f"node {node}")
