"""What must hold between the drives of two towns, or of two coaches, whatever the answer of either is.

Towns are random ones of raw tags. Nothing here knows the right drive; each test knows how it may change.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from clearance.assess.day import Halt, plan_day
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.errors import NoWayError, PlaceError
from clearance.core.extract import Extract, Member, Relation, Way
from clearance.core.lengths import Length, parse_length
from clearance.core.places import Place
from clearance.core.standing import judge
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.routing.grid_towns import FIRST_WAY, Sign
from tests.routing.tagged_reader import AmbiguousError, Reader
from tests.routing.tagged_towns import HEIGHTS, WHEN, TaggedTown, Tags, Vehicle, tagged_towns, vehicles

Ends = tuple[tuple[float, float], tuple[float, float]]
FEW = settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
RANK = {Verdict.BLOCKED: 0, Verdict.CARE: 1, Verdict.CLEAR: 2}


def coach_of(vehicle: Vehicle) -> Coach:
    def length(tenths: int | None) -> Length | None:
        return None if tenths is None else Length(tenths)

    return Coach(
        height=Length(vehicle.need - 1000),
        margin=Length(1000),
        comfort=Length(vehicle.comfort),
        width=length(vehicle.width),
        length=length(vehicle.length),
        weight_kg=vehicle.weight,
        towing=vehicle.towing,
        tow_reversible=vehicle.reversible,
        propane=vehicle.propane,
    )


def ends_of(town: TaggedTown, number: int) -> Ends:
    """Two places on streets: the town's start, and another that `number` picks."""
    segments = [s for s in town.segments() if s != town.start]
    assume(segments)
    return town.middle(town.start), town.middle(segments[number % len(segments)])


def plan(
    network: Network,
    coach: Coach,
    ends: Ends,
    when: str,
    unverified: Unverified = Unverified.AVOID,
) -> Drive | None:
    """The drive; None where not even a car gets there, or a place is on no road."""
    halts = [Halt(place=Place(lon=lon, lat=lat)) for lon, lat in ends]
    try:
        return plan_day(network, coach, halts, unverified=unverified, departure=WHEN[when])
    except (NoWayError, PlaceError):
        return None


def cost(drive: Drive | None) -> float:
    """Seconds with the policy's; infinite where there is no drive."""
    if drive is None or drive.verdict is Verdict.BLOCKED:
        return float("inf")
    return drive.duration_s + drive.policy_seconds


def rank(drive: Drive | None) -> int:
    return -1 if drive is None else RANK[drive.verdict]


def same_places(one: Drive | None, other: Drive | None) -> bool:
    """Whether two drives meet the roads at the same places: a street that is closed to one is no place."""
    if one is None or other is None or not (one.stops and other.stops):
        return True
    return [(s.lon, s.lat) for s in one.stops] == [(s.lon, s.lat) for s in other.stops]


def no_better(worse: Drive | None, better: Drive | None) -> None:
    """Asserts that one drive is no better than the other, where they are between the same places."""
    assume(same_places(worse, better))
    assume((worse is None or not worse.notes) and (better is None or not better.notes))
    assert cost(worse) >= cost(better) * (1 - 1e-9) - 1e-6
    if cost(better) == float("inf"):
        assert rank(worse) <= max(rank(better), 0)


def alike(one: Drive | None, other: Drive | None, *, rel: float = 1e-6) -> None:
    """Asserts the same verdict, time, length, ceiling and structures passed."""
    assert (one is None) == (other is None)
    if one is None or other is None:
        return
    assert one.verdict is other.verdict
    assert one.duration_s + one.policy_seconds == pytest.approx(
        other.duration_s + other.policy_seconds, rel=rel, abs=1e-3
    )


# --- coaches ------------------------------------------------------------------------------------------


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99), st.data())
def test_a_coach_that_needs_more_never_gets_a_better_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int, data: st.DataObject
) -> None:
    network = network_of(town.town().extract())
    ends = ends_of(town, end)
    coach = coach_of(vehicle)
    more = data.draw(st.integers(1, 9000))
    changes: tuple[Callable[[], Coach], ...] = (
        lambda: replace(coach, height=Length(coach.height.tenths + more)),
        lambda: replace(coach, margin=Length(coach.margin.tenths + more)),
        lambda: replace(coach, comfort=Length(coach.comfort.tenths + more)),
        lambda: replace(coach, width=Length((vehicle.width or 24000) + more)),
        lambda: replace(coach, length=Length((vehicle.length or 80_000) + 10 * more)),
        lambda: replace(coach, weight_kg=(vehicle.weight or 5000) + more),
        lambda: replace(coach, propane=True),
    )
    drive, worse = (plan(network, c, ends, when) for c in (coach, data.draw(st.sampled_from(changes))()))
    no_better(worse, drive)


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99))
def test_who_refuses_the_unverified_never_gets_there_sooner(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int
) -> None:
    network = network_of(town.town().extract())
    ends, coach = ends_of(town, end), coach_of(vehicle)
    accept, avoid, refuse = (
        plan(network, coach, ends, when, policy)
        for policy in (Unverified.ACCEPT, Unverified.AVOID, Unverified.REFUSE)
    )
    # Who avoids drives what who accepts drives, if there is nothing else; who refuses may not.
    assert (cost(accept) == float("inf")) == (cost(avoid) == float("inf"))
    no_better(refuse, avoid)
    if refuse is not None and refuse.verdict is not Verdict.BLOCKED:
        assert all(f.standing in (Standing.CLEAR, Standing.TIGHT) for f in refuse.findings)


@FEW
@given(tagged_towns(), vehicles(), st.integers(0, 99), st.sampled_from(("day", "night")))
def test_a_drive_at_no_known_time_is_never_better_than_at_any_hour(
    town: TaggedTown, vehicle: Vehicle, end: int, hour: str
) -> None:
    network = network_of(town.town().extract())
    ends, coach = ends_of(town, end), coach_of(vehicle)
    no_better(*(plan(network, coach, ends, when) for when in ("unknown", hour)))


@FEW
@given(st.integers(1, 30), st.integers(0, 11), st.integers(25, 90), st.integers(0, 20))
def test_metres_and_feet_give_the_same_standing(feet: int, inches: int, need_in: int, more_in: int) -> None:
    """13'6" is 4.1148 m: whichever unit a sign is in, and the coach was measured in."""
    exact = Fraction(254 * (12 * feet + inches), 10_000)
    in_metres = f"{float(exact):.4f}"
    assert Fraction(in_metres) == exact
    low, high = Length(1), Length.from_metres("40")
    posted = [parse_length(text, low=low, high=high).length for text in (f"{feet}'{inches}\"", in_metres)]
    assert posted[0] == posted[1] == Length(254 * (12 * feet + inches))
    height_in = min(max(12 * feet + inches - more_in, 60), 230)
    coaches = [
        Coach(height=height, margin=margin)
        for height in (Length.from_feet(0, height_in), Length.from_metres(f"{height_in * 254 / 10_000:.4f}"))
        for margin in (
            Length.from_feet(0, need_in % 24),
            Length.from_metres(f"{need_in % 24 * 254 / 10_000:.4f}"),
        )
    ]
    standings = {judge(p, verified=True, coach=coach) for p in posted for coach in coaches}
    assert len(standings) == 1


def in_feet(tags: Tags) -> Tags:
    """The same limits with each height in metres, width in metres and so on written in the other unit."""
    told = dict(tags)
    for key, text in tags.items():
        figure, clears = HEIGHTS.get(text, (None, False)) if key.startswith("maxheight") else (None, False)
        if figure is None or not clears:
            continue
        inches = Fraction(figure, 254)
        told[key] = (
            f"{inches.numerator // 12}'{inches.numerator % 12}\""
            if inches.denominator == 1
            else f"{figure // 10_000}.{figure % 10_000:04d} m"
        )
        if "'" in text or "ft" in text:
            told[key] = f"{figure // 10_000}.{figure % 10_000:04d}"
    return told


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99))
def test_metres_and_feet_on_the_signs_give_the_same_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int
) -> None:
    other = replace(
        town,
        tags={ref: in_feet(tags) for ref, tags in town.tags.items()},
        corners={corner: in_feet(tags) for corner, tags in town.corners.items()},
        lines=tuple(replace(line, tags=in_feet(line.tags)) for line in town.lines),
    )
    ends, coach = ends_of(town, end), coach_of(vehicle)
    drives = [plan(network_of(t.town().extract()), coach, ends, when) for t in (town, other)]
    alike(*drives)
    if drives[0] is not None and drives[1] is not None:
        assert drives[0].ceiling == drives[1].ceiling


# --- structures ---------------------------------------------------------------------------------------


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99), st.data())
def test_lowering_a_height_or_adding_one_never_gives_a_better_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int, data: st.DataObject
) -> None:
    posted = [
        (ref, key)
        for ref, tags in town.tags.items()
        for key in tags
        if key.startswith("maxheight") and HEIGHTS.get(tags[key], (None, False))[1]
    ]
    assume(posted)
    ref, key = data.draw(st.sampled_from(posted))
    figure = HEIGHTS[town.tags[ref][key]][0]
    assert figure is not None
    tags = {**town.tags[ref], key: f"{(figure - data.draw(st.integers(1, 9000))) / 10_000:.4f}"}
    ends, coach = ends_of(town, end), coach_of(vehicle)
    before = plan(network_of(town.town().extract()), coach, ends, when)
    lowered = replace(town, tags={**town.tags, ref: tags})
    after = plan(network_of(lowered.town().extract()), coach, ends, when)
    no_better(after, before)


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99), st.data())
def test_a_bridge_more_never_gives_a_better_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int, data: st.DataObject
) -> None:
    from tests.routing.tagged_towns import LINES, Line

    street = data.draw(st.sampled_from(town.streets))
    # Where a height stands on a street, it may say of the new bridge what it said of nothing before.
    assume(not any(key.startswith("maxheight") for key in town.tags[street.ref]))
    place = data.draw(st.integers(0, len(street.nodes) - 2)) + 0.375
    more = replace(town, lines=(*town.lines, Line(street.ref, place, data.draw(st.sampled_from(LINES)))))
    ends, coach = ends_of(town, end), coach_of(vehicle)
    before, after = (plan(network_of(t.town().extract()), coach, ends, when) for t in (town, more))
    no_better(after, before)


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99))
def test_more_about_structures_off_the_drive_changes_nothing(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int
) -> None:
    """Every line over a street that the drive does not use is made lower: the drive stays the same."""
    ends, coach = ends_of(town, end), coach_of(vehicle)
    before = plan(network_of(town.town().extract()), coach, ends, when)
    assume(before is not None and before.verdict is not Verdict.BLOCKED)
    assert before is not None
    used = {way for piece in before.pieces for way in piece.ways}
    lines = tuple(
        line if line.street in used else replace(line, tags={**line.tags, "maxheight": "2.1"})
        for line in town.lines
    )
    after = plan(network_of(replace(town, lines=lines).town().extract()), coach, ends, when)
    assert after is not None
    # The way back from the end may be among what was made lower: then turning round there is counted.
    turn = 7200.0 if vehicle.towing and not vehicle.reversible else 1800.0
    assert cost(before) * (1 - 1e-9) <= cost(after) <= (cost(before) + turn) * (1 + 1e-9)
    if after.pieces == before.pieces:
        assert after.duration_s == pytest.approx(before.duration_s)
        assert after.verdict is before.verdict
        assert [f.clearance for f in after.findings] == [f.clearance for f in before.findings]


# --- the same town, told otherwise --------------------------------------------------------------------


def elements_of(town: TaggedTown) -> Extract:
    return town.town().extract()


def one_part_is_largest(town: TaggedTown, vehicle: Vehicle) -> bool:
    try:
        return Reader(town, vehicle, "unknown").largest_part is not None
    except AmbiguousError:
        return False


def renumbered(extract: Extract, data: st.DataObject) -> Extract:
    """Other ids for all elements, in another order."""
    node = dict(zip(extract.node_ids.tolist(), _new_ids(data, extract.node_ids.size), strict=True))
    way = dict(zip((w.id for w in extract.ways), _new_ids(data, len(extract.ways)), strict=True))
    kinds = {"n": node, "w": way, "r": {}}
    order = np.argsort([node[i] for i in extract.node_ids.tolist()])
    return replace(
        extract,
        node_ids=np.array(sorted(node.values()), dtype=np.int64),
        lon=extract.lon[order],
        lat=extract.lat[order],
        node_tags={node[ref]: tags for ref, tags in extract.node_tags.items()},
        ways=tuple(
            sorted(
                (Way(way[w.id], tuple(node[n] for n in w.nodes), w.tags) for w in extract.ways),
                key=lambda w: w.id,
            )
        ),
        relations=tuple(
            Relation(r.id, tuple(Member(m.kind, kinds[m.kind][m.ref], m.role) for m in r.members), r.tags)
            for r in reversed(extract.relations)
        ),
    )


def _new_ids(data: st.DataObject, count: int) -> list[int]:
    return data.draw(st.permutations(range(7, 7 + 3 * count, 3)))


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99), st.data())
def test_other_ids_in_another_order_give_the_same_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int, data: st.DataObject
) -> None:
    # Where two open parts of a town are the largest, ids decide which of them counts as the town.
    assume(one_part_is_largest(town, vehicle))
    extract = elements_of(town)
    ends, coach = ends_of(town, end), coach_of(vehicle)
    alike(*(plan(network_of(e), coach, ends, when) for e in (extract, renumbered(extract, data))))


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99))
def test_ways_drawn_the_other_way_round_give_the_same_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int
) -> None:
    """Nodes reversed, and with them every tag that speaks of a direction."""
    ends, coach = ends_of(town, end), coach_of(vehicle)
    extract = elements_of(town)
    turned = replace(extract, ways=tuple(Way(w.id, w.nodes[::-1], turned_tags(w.tags)) for w in extract.ways))
    alike(*(plan(network_of(e), coach, ends, when) for e in (extract, turned)))


def turned_tags(tags: Mapping[str, str]) -> Tags:
    """The tags of the same road drawn from its other end."""
    swap = {"forward": "backward", "backward": "forward"}
    told = {":".join(swap.get(part, part) for part in key.split(":")): value for key, value in tags.items()}
    if told.get("oneway") in ("yes", "-1"):
        told["oneway"] = {"yes": "-1", "-1": "yes"}[told["oneway"]]
    elif "oneway:conditional" in told:
        told["oneway:conditional"] = told["oneway:conditional"].replace("yes", "-1")
    return told


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99))
def test_the_way_back_in_a_mirrored_town_is_the_way_there(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int
) -> None:
    """Every one-way the other way round and every sign from its far side: there becomes back."""
    # A turn permitted alone is no turn permitted alone when driven from behind.
    town = replace(town, signs=tuple((s, how) for s, how in town.signs if not s.only))
    mirrored = replace(
        town,
        signs=tuple((Sign(s.only, s.to_way, s.via, s.from_way), how) for s, how in town.signs),
        tags={ref: back_tags(tags) for ref, tags in town.tags.items()},
    )
    ends, coach = ends_of(town, end), coach_of(vehicle)
    there = plan(network_of(town.town().extract()), coach, ends, when)
    back = plan(network_of(mirrored.town().extract()), coach, ends[::-1], when)
    if there is not None and back is not None and not (there.notes or back.notes):
        # Turning round at the end is part of the cost, and another end for the other.
        assert (cost(there) == float("inf")) == (cost(back) == float("inf"))
        if cost(there) < float("inf"):
            gap = abs(cost(there) - cost(back))
            assert min(abs(gap - turn) for turn in (0.0, 1800.0, 7200.0)) < 1e-2


def back_tags(tags: Tags) -> Tags:
    """The tags of a street for traffic that goes the other way on it."""
    return turned_tags(tags)


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99), st.floats(-179, 179))
def test_a_town_moved_along_its_parallel_keeps_its_drives(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int, to: float
) -> None:
    ends, coach = ends_of(town, end), coach_of(vehicle)
    extract = elements_of(town)
    by = round(to - float(extract.lon.min()), 7)
    moved = replace(extract, lon=np.round(extract.lon + by, 7))
    one = plan(network_of(extract), coach, ends, when)
    other = plan(network_of(moved), coach, tuple((lon + by, lat) for lon, lat in ends), when)  # type: ignore[arg-type]
    alike(one, other, rel=1e-5)


@FEW
@given(tagged_towns(), vehicles(), st.sampled_from(sorted(WHEN)), st.integers(0, 99))
def test_streets_cut_at_every_corner_give_the_same_drive(
    town: TaggedTown, vehicle: Vehicle, when: str, end: int
) -> None:
    """A street drawn as one way a segment is the same street, but for what a whole way tells."""
    cut = town.town()
    whole = [w for w in cut._ways if w.id < 3000]
    # Signs name ways, and a height holds on the whole of its way: neither is the same once it is cut.
    town = replace(town, signs=())
    for way in whole:
        assume(len(way.nodes) == 2 or not {"covered", "tunnel"} & way.tags.keys())
        assume(len(way.nodes) == 2 or not any(key.startswith("maxheight") for key in way.tags))
    ends, coach = ends_of(town, end), coach_of(vehicle)
    extract = town.town().extract()
    parts = [
        Way(w.id if i == 0 else 10_000 + 10 * w.id + i, pair, w.tags)
        for w in extract.ways
        for i, pair in enumerate(pairwise(w.nodes))
    ]
    assert all(w.id >= FIRST_WAY for w in parts)
    other = replace(extract, ways=tuple(sorted(parts, key=lambda w: w.id)))
    alike(*(plan(network_of(e), coach, ends, when) for e in (extract, other)))
