"""Which record of a list belongs to which bridge of the map: how well each pair fits, and the best pairing.

A pair is scored by place, names, kind and direction; each part is between 0 (speaks against) and 1
(speaks for), a half where nothing is told. The weights and bounds are judgements, no source: they are set
so that a pair needs a name in common, or else lies within some 20 m with nothing against it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.structure import Kind
from clearance.structures.assignment import best_pairing
from clearance.structures.map_bridges import M_PER_DEGREE
from clearance.structures.names import Agreement, compare

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.structures.map_bridges import MapBridge
    from clearance.structures.names import Names

    F64 = npt.NDArray[np.float64]
    I64 = npt.NDArray[np.int64]

__all__ = ["LEAST_SCORE", "Listing", "Pair", "Paired", "pair_up"]

#: Nothing farther from a record than this, and the step its place is coded in, can be its bridge.
_REACH_M = 150.0
#: A place coded in coarser steps than this tells no bridge from the next: Items 16 and 17 allow the minute.
_COARSEST_STEP_M = 200.0
#: Fit of the place falls to 37 % at this distance, and half the coded step.
_NEAR_M = 60.0
_W_PLACE, _W_NAME, _W_KIND, _W_HEADING = 0.35, 0.20, 0.10, 0.15
#: For lists that name one thing only, and tell no kind or direction: place 0.35, name 0.5, a fixed rest.
_W_LIST_NAME, _LIST_REST = 0.5, 0.15

#: A pair below this is no match.
LEAST_SCORE = 0.6
#: A pair is sure only where every other pairing of the group is worse by this.
_SURE_BY = 0.05
#: Below this only the places tell the pair from a swap with its neighbour, and places in lists are some tens
#: of metres off at times: directions that agree one way and differ the other are worth twice 0.15.
_CERTAIN_BY = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """A bridge as a list outside the map tells it, whatever the list.

    `lon`, `lat` in WGS84 degrees; `step_m` the step the place is coded in. `over` names what it carries,
    `under` what passes beneath; `either` is for lists that name one thing without telling which. `above`
    and `beneath` hold ``road``, ``rail``, ``foot``, ``building``, ``water``, ``other`` or, where nothing is
    told, nothing; `tunnel` that it is one. `route_under` tells that a record of a road beneath exists.
    `oneway`, `heading` (degrees from north) and `skew_deg` are None where not told.
    """

    lon: float
    lat: float
    step_m: float
    over: Names | None = None
    under: Names | None = None
    either: Names | None = None
    above: frozenset[str] = frozenset()
    beneath: frozenset[str] = frozenset()
    tunnel: bool = False
    route_under: bool = False
    oneway: bool | None = None
    heading: float | None = None
    skew_deg: int | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """A listing and a bridge of the map: indices, metres between them, score 0 to 1, and why.

    `differs` tells that a name of the two differs, though another agrees.
    """

    listing: int
    bridge: int
    distance_m: float
    score: float
    reason: str
    differs: bool = False


@dataclass(frozen=True, slots=True)
class Paired:
    """Matches, and for each listing left over the reason.

    For a matched bridge, `rivals` are its pairs with listings that were left over, and `twins` those with
    listings matched to its neighbours, where nothing but the places tells which is which. Neither has a
    name that differs.
    """

    matches: tuple[Pair, ...]
    unmatched: dict[int, str]
    rivals: dict[int, tuple[Pair, ...]]
    twins: dict[int, tuple[Pair, ...]]


def pair_up(listings: Sequence[Listing], bridges: Sequence[MapBridge]) -> Paired:
    """The one-to-one pairing of listings and bridges with the greatest total score, sure pairs only.

    Groups that no pair connects are solved by themselves, exactly. A pair without which another pairing
    would be nearly as good is a tie: both stay alone.
    """
    best_refused: dict[int, str] = {}
    pairs: list[Pair] = []
    for row, column, distance in _near(listings, bridges):
        pair, refused = _judge(listings[row], bridges[column], row, column, distance)
        if pair is not None and pair.score >= LEAST_SCORE:
            pairs.append(pair)
        else:
            text = refused if pair is None else f"does not fit well enough: {pair.reason}"
            best_refused.setdefault(row, f"nearest, {distance:.0f} m away: {text}")
    matches: list[Pair] = []
    unmatched: dict[int, str] = {}
    unclear: set[int] = set()
    for group in _connected(pairs):
        solved = _solve(group)
        matches += solved.sure
        unmatched |= solved.left_over
        unclear |= solved.unclear
    taken = {pair.listing for pair in matches}
    for index, listing in enumerate(listings):
        if index in taken or index in unmatched:
            continue
        if listing.step_m > _COARSEST_STEP_M:
            unmatched[index] = f"its place is told to {listing.step_m:.0f} m only"
        else:
            unmatched[index] = best_refused.get(index, f"no bridge of the map within {_REACH_M:.0f} m")
    bridge_of = {pair.listing: pair.bridge for pair in matches}
    held = set(bridge_of.values())
    rivals: dict[int, list[Pair]] = defaultdict(list)
    twins: dict[int, list[Pair]] = defaultdict(list)
    for pair in pairs:
        if pair.differs:
            continue
        if pair.listing in unmatched and pair.bridge in held:
            rivals[pair.bridge].append(pair)
        elif pair.bridge in unclear and bridge_of.get(pair.listing, pair.bridge) != pair.bridge:
            twins[pair.bridge].append(pair)
    return Paired(
        tuple(sorted(matches, key=lambda p: p.listing)),
        unmatched,
        {bridge: tuple(found) for bridge, found in rivals.items()},
        {bridge: tuple(found) for bridge, found in twins.items()},
    )


# --- which pairs are near enough ----------------------------------------------------------------------


def _ragged(counts: I64, starts: I64) -> I64:
    """Indices starts[0], starts[0] + 1, ... (counts[0] of them), starts[1], ...: shape (sum of counts,)."""
    before = np.repeat(np.cumsum(counts) - counts, counts)
    return np.arange(int(counts.sum()), dtype=np.int64) - before + np.repeat(starts, counts)


def _least(values: F64, counts: I64) -> F64:
    """The least of each run of `counts` values, infinite where the run is empty."""
    found = np.full(len(counts), np.inf)
    full = np.flatnonzero(counts)
    if len(full):
        starts = (np.cumsum(counts) - counts)[full]
        found[full] = np.minimum.reduceat(values, starts)
    return found


def _near(listings: Sequence[Listing], bridges: Sequence[MapBridge]) -> list[tuple[int, int, float]]:
    """Every (listing, bridge, metres) within reach, nearest first for each listing."""
    import shapely

    usable = np.array(
        [i for i, each in enumerate(listings) if each.step_m <= _COARSEST_STEP_M], dtype=np.int64
    )
    if not len(usable) or not bridges:
        return []
    at = np.array([(listings[i].lon, listings[i].lat) for i in usable.tolist()])
    reach = _REACH_M + np.array([listings[i].step_m for i in usable.tolist()])
    gates = np.concatenate([b.gates for b in bridges])
    gate_bridge = np.repeat(np.arange(len(bridges)), [len(b.gates) for b in bridges])
    dy = reach / M_PER_DEGREE
    dx = dy / np.cos(np.radians(at[:, 1]))
    boxes = shapely.box(at[:, 0] - dx, at[:, 1] - dy, at[:, 0] + dx, at[:, 1] + dy)
    asked, found = shapely.STRtree(shapely.points(gates)).query(boxes)
    both = np.unique(np.stack([asked, gate_bridge[found]], axis=1), axis=0)
    row, bridge = both[:, 0].astype(np.int64), both[:, 1].astype(np.int64)
    distance = _distance(at[row], bridge, bridges)
    near = np.flatnonzero(distance <= reach[row])
    near = near[np.lexsort((distance[near], row[near]))]
    return list(zip(usable[row[near]].tolist(), bridge[near].tolist(), distance[near].tolist(), strict=True))


def _distance(at: F64, bridge: I64, bridges: Sequence[MapBridge]) -> F64:
    """Metres from each place (k, 2) to each bridge (k,): to its deck and to where roads pass, averaged.

    The place of a record may be any point on the bridge (Item 16), often its beginning, so the crossing
    may lie half a deck further on.
    """
    counts = np.array([len(b.points) for b in bridges], dtype=np.int64)
    points = np.concatenate([b.points for b in bridges])
    starts = np.cumsum(counts) - counts
    scale = np.cos(np.radians(at[:, 1]))
    index = _ragged(counts[bridge], starts[bridge])
    of = np.repeat(np.arange(len(bridge)), counts[bridge])
    x, y = (points[index, 0] - at[of, 0]) * scale[of], points[index, 1] - at[of, 1]
    to_points = _least(np.hypot(x, y) * M_PER_DEGREE, counts[bridge])

    counts = np.array([len(b.lines) for b in bridges], dtype=np.int64)
    lines = np.concatenate([b.lines for b in bridges])
    starts = np.cumsum(counts) - counts
    index = _ragged(counts[bridge], starts[bridge])
    of = np.repeat(np.arange(len(bridge)), counts[bridge])
    ax, ay = (lines[index, 0] - at[of, 0]) * scale[of], lines[index, 1] - at[of, 1]
    bx, by = (lines[index, 2] - at[of, 0]) * scale[of], lines[index, 3] - at[of, 1]
    square = (bx - ax) ** 2 + (by - ay) ** 2
    t = np.clip(-(ax * (bx - ax) + ay * (by - ay)) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    to_lines = _least(np.hypot(ax + t * (bx - ax), ay + t * (by - ay)) * M_PER_DEGREE, counts[bridge])

    half = np.array([b.length_m for b in bridges])[bridge] / 2
    by_line = np.array([b.by_line for b in bridges], dtype=np.bool_)[bridge]
    on_deck = (to_lines + np.minimum(to_points, np.maximum(to_points - half, to_lines))) / 2
    return np.where(
        by_line, np.minimum(to_lines, to_points), np.where(np.isinf(to_lines), to_points, on_deck)
    )


# --- how well a pair fits -----------------------------------------------------------------------------

#: What a bridge of each kind carries, in the words of `Listing.above`.
_ABOVE: dict[Kind, frozenset[str]] = {
    **dict.fromkeys((Kind.BRIDGE, Kind.COVERED_BRIDGE), frozenset({"road"})),
    **dict.fromkeys((Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE), frozenset({"rail"})),
    Kind.FOOTBRIDGE: frozenset({"foot"}),
    **dict.fromkeys((Kind.BUILDING, Kind.BUILDING_PASSAGE), frozenset({"building"})),
    **dict.fromkeys((Kind.AQUEDUCT, Kind.PIPE, Kind.CONVEYOR, Kind.GANTRY), frozenset({"other", "water"})),
    Kind.COVERED: frozenset({"building", "other"}),
    **dict.fromkeys((Kind.LIMIT, Kind.UNKNOWN_CROSSING), frozenset()),
}
_VALUE = {Agreement.AGREE: 1.0, Agreement.UNTOLD: 0.5, Agreement.DIFFER: 0.0}


def _judge(
    listing: Listing, bridge: MapBridge, index: int, number: int, distance: float
) -> tuple[Pair | None, str]:
    """The pair with its score, or None and why it cannot be one."""
    place = float(np.exp(-distance / (_NEAR_M + listing.step_m / 2)))
    where = f"{distance:.0f} m away"
    if listing.either is not None:
        named = max(
            (compare(listing.either, names) for names in (bridge.under_names, bridge.over_names)),
            key=lambda agreement: _VALUE[agreement],
        )
        score = _W_PLACE * place + _W_LIST_NAME * _VALUE[named] + _LIST_REST
        return Pair(index, number, distance, score, f"{where}, name {_WORDS[named]}"), ""

    kind, why = _kind(listing, bridge)
    if kind is None:
        return None, why
    under = compare(listing.under, bridge.under_names) if listing.under else Agreement.UNTOLD
    over = compare(listing.over, bridge.over_names) if listing.over else Agreement.UNTOLD
    if Agreement.DIFFER in (under, over) and Agreement.AGREE not in (under, over):
        return None, f"name beneath {_WORDS[under]}, name above {_WORDS[over]}"
    heading, how = _heading(listing, bridge)
    score = (
        _W_PLACE * place + _W_NAME * (_VALUE[under] + _VALUE[over]) + _W_KIND * kind + _W_HEADING * heading
    )
    reason = f"{where}, name beneath {_WORDS[under]}, name above {_WORDS[over]}, {why}{how}"
    return Pair(index, number, distance, score, reason, Agreement.DIFFER in (under, over)), ""


_WORDS = {Agreement.AGREE: "agrees", Agreement.UNTOLD: "not told", Agreement.DIFFER: "differs"}


def _kind(listing: Listing, bridge: MapBridge) -> tuple[float | None, str]:
    """How well what is above and beneath fits; None where it cannot be, with the reason."""
    tunnel = bridge.kinds == {Kind.TUNNEL}
    if listing.tunnel != tunnel and Kind.LIMIT not in bridge.kinds:
        return None, "one is a tunnel, the other is not"
    above = frozenset[str]().union(*(_ABOVE.get(kind, frozenset({"none"})) for kind in bridge.kinds))
    if above == {"none"} and not tunnel:
        return None, f"the map has a {' and '.join(sorted(bridge.kinds))} there, no bridge"
    if listing.above and above and not tunnel and listing.above.isdisjoint(above):
        told = " and ".join(sorted(listing.above))
        return None, f"the list has a {told} above, the map a {' and '.join(sorted(above))}"
    road_beneath = listing.route_under or "road" in listing.beneath
    if road_beneath and not bridge.under:
        return None, "the list has a road beneath, the map has none there"
    if listing.beneath and not road_beneath and bridge.public and not listing.beneath & {"other"}:
        told = " and ".join(sorted(listing.beneath))
        return None, f"the list has only {told} beneath, the map a road"
    if bridge.unsure:
        return 0.0, "the map does not tell that there is a bridge"
    if tunnel or (listing.above and above):
        return 1.0, "kind agrees"
    return 0.5, "kind not told"


def _turned(one: float, other: float) -> float:
    """The angle between two directions, 0 to 180 degrees."""
    return abs((one - other + 180) % 360 - 180)


def _heading(listing: Listing, bridge: MapBridge) -> tuple[float, str]:
    """How well the directions fit: of travel on the bridge, and of the two ways to each other."""
    if listing.heading is not None and bridge.heading is not None:
        # Signed directions are those of the route as a whole, which may run athwart for a while.
        turned = _turned(listing.heading, bridge.heading)
        if turned <= 75 or turned >= 105:
            return (1.0, ", directions agree") if turned <= 75 else (0.0, ", directions differ")
    votes: list[bool] = []
    if listing.oneway is not None and bridge.oneway is not None:
        votes.append(listing.oneway == bridge.oneway)
    angle = _crossing_angle(bridge) if listing.skew_deg is not None else None
    if listing.skew_deg is not None and angle is not None:
        off = abs(angle - (90 - listing.skew_deg))
        # Neither the map nor the coding of a skew is exact: between the two bounds it tells nothing.
        if off <= 20 or off >= 45:
            votes.append(off <= 20)
    if not votes or (any(votes) and not all(votes)):
        return 0.5, ""
    return (1.0, ", directions agree") if all(votes) else (0.0, ", directions differ")


def _crossing_angle(bridge: MapBridge) -> float | None:
    """The angle between the deck and the first road beneath where they cross, 0 to 90 degrees."""
    if bridge.below is None or not len(bridge.lines) or not len(bridge.points):
        return None
    ax, ay, bx, by = bridge.below
    scale = float(np.cos(np.radians(ay)))
    middle = (bridge.lines[:, :2] + bridge.lines[:, 2:]) / 2
    nearest = int(
        np.argmin(np.hypot((middle[:, 0] - bridge.points[0, 0]) * scale, middle[:, 1] - bridge.points[0, 1]))
    )
    deck = bridge.lines[nearest].tolist()
    road = np.arctan2((bx - ax) * scale, by - ay)
    over = np.arctan2((deck[2] - deck[0]) * scale, deck[3] - deck[1])
    turned = _turned(float(np.degrees(road)), float(np.degrees(over)))
    return min(turned, 180 - turned)


# --- the best pairing ---------------------------------------------------------------------------------


def _connected(pairs: Sequence[Pair]) -> list[list[Pair]]:
    """Pairs in groups that share no listing and no bridge with another group."""
    parent: dict[tuple[str, int], tuple[str, int]] = {}

    def root(key: tuple[str, int]) -> tuple[str, int]:
        parent.setdefault(key, key)
        while parent[key] != key:
            parent[key] = parent[parent[key]]
            key = parent[key]
        return key

    for pair in pairs:
        parent[root(("listing", pair.listing))] = root(("bridge", pair.bridge))
    groups: dict[tuple[str, int], list[Pair]] = defaultdict(list)
    for pair in pairs:
        groups[root(("bridge", pair.bridge))].append(pair)
    return list(groups.values())


@dataclass(frozen=True, slots=True)
class _Solved:
    """The sure pairs of a group, why other listings were left over, bridges that only places tell apart."""

    sure: list[Pair]
    left_over: dict[int, str]
    unclear: set[int]


def _solve(group: list[Pair]) -> _Solved:
    """The best pairing of one group."""
    if len(group) == 1:
        return _Solved(group, {}, set())
    rows = {listing: at for at, listing in enumerate(sorted({p.listing for p in group}))}
    columns = {bridge: at for at, bridge in enumerate(sorted({p.bridge for p in group}))}
    gain = np.zeros((len(rows), len(columns)))
    by_place: dict[tuple[int, int], Pair] = {}
    for pair in group:
        at = rows[pair.listing], columns[pair.bridge]
        gain[at] = pair.score
        by_place[at] = pair
    found = best_pairing(gain)
    solved = _Solved([], dict.fromkeys(rows, "its bridge fits another record of the list better"), set())
    for row, column, slack in zip(
        found.row.tolist(), found.column.tolist(), found.slack.tolist(), strict=True
    ):
        pair = by_place[row, column]
        if slack < _SURE_BY:
            solved.left_over[pair.listing] = f"tie: another pairing fits nearly as well ({pair.reason})"
            continue
        del solved.left_over[pair.listing]
        solved.sure.append(pair)
        if slack < _CERTAIN_BY:
            solved.unclear.add(pair.bridge)
    return solved
