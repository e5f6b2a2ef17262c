"""Random grid towns for hypothesis, and what a slow reader of their raw elements says of them.

The second half is written from the rules alone and shares no code with the package: it walks from road
segment to road segment with the whole of what it drove last in hand, and leaves the searching to networkx.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import networkx as nx
from hypothesis import strategies as st
from pyproj import Geod

from clearance.core.lengths import Length
from clearance.core.structure import Evidence, EvidenceClass, Kind, Span, Structure
from tests.towns import Town, lonlat

STEP = 120.0
SPEEDS = (20, 50, 80)
#: Tenths of a millimetre; the coach of these tests needs 40000 and would rather have 43000.
FIGURES = (36000, 39999, 40000, 42000, 43000, 50000)
NEED, COMFORT = 40000, 43000
UNVERIFIED_S, TIGHT_S = 900.0, 240.0
#: Below it lie the ids of nodes.
FIRST_WAY = 1000


@dataclass(frozen=True)
class Street:
    ref: int
    nodes: tuple[int, ...]
    oneway: str
    speed: int


@dataclass(frozen=True)
class Sign:
    """A turn restriction; `via` is a node, or a way where it is FIRST_WAY or more."""

    only: bool
    from_way: int
    via: int
    to_way: int


@dataclass(frozen=True)
class Bridge:
    """Something over a street, a quarter or three quarters into a segment; no figure: unverified."""

    street: int
    position: float
    tenths: int | None


@dataclass(frozen=True)
class GridTown:
    width: int
    height: int
    streets: tuple[Street, ...]
    signs: tuple[Sign, ...] = ()
    bridges: tuple[Bridge, ...] = ()
    start: tuple[int, int] = (0, 1)
    by_ref: dict[int, Street] = field(default_factory=dict, compare=False)

    def place(self, node: int) -> tuple[float, float]:
        return lonlat(node % self.width * STEP, node // self.width * STEP)

    def middle(self, segment: tuple[int, int]) -> tuple[float, float]:
        (ax, ay), (bx, by) = self.place(segment[0]), self.place(segment[1])
        return (ax + bx) / 2, (ay + by) / 2

    def town(self) -> Town:
        town = Town()
        for node in range(self.width * self.height):
            town.node(node + 1, node % self.width * STEP, node // self.width * STEP)
        for street in self.streets:
            tags = {"highway": "residential", "maxspeed": str(street.speed), "oneway": street.oneway}
            town.way(street.ref, [node + 1 for node in street.nodes], tags)
        for i, sign in enumerate(self.signs):
            via = ("w", sign.via, "via") if sign.via >= FIRST_WAY else ("n", sign.via + 1, "via")
            # The second word is of no matter where ways end at the via.
            town.relation(
                5000 + i,
                [("w", sign.from_way, "from"), via, ("w", sign.to_way, "to")],
                {"type": "restriction", "restriction": f"{'only' if sign.only else 'no'}_left_turn"},
            )
        return town

    def structures(self) -> tuple[Structure, ...]:
        return tuple(
            Structure(
                key=f"bridge {i}",
                kind=Kind.BRIDGE,
                lon=0.0,
                lat=0.0,
                evidence=()
                if bridge.tenths is None
                else (Evidence(evidence_class=EvidenceClass.POSTED, figure=Length(bridge.tenths)),),
                spans=(Span(way=bridge.street, start=bridge.position, end=bridge.position),),
            )
            for i, bridge in enumerate(self.bridges)
        )


@st.composite
def grid_towns(draw: st.DrawFn) -> GridTown:
    """Straight streets on a small grid, with one-ways, signs and bridges."""
    width, height = draw(st.sampled_from(((2, 2), (3, 2), (2, 4), (3, 3), (4, 3))))
    lines = [[y * width + x for x in range(width)] for y in range(height)]
    lines += [[y * width + x for y in range(height)] for x in range(width)]
    streets: list[Street] = []
    for line in lines:
        at = 0
        while at < len(line) - 1:
            length = draw(st.integers(1, len(line) - 1 - at))
            if draw(st.integers(0, 11)) < 11:
                oneway = draw(st.sampled_from(("no", "no", "no", "no", "yes", "-1")))
                streets.append(
                    Street(
                        ref=FIRST_WAY + len(streets),
                        nodes=tuple(line[at : at + length + 1]),
                        oneway=oneway,
                        speed=draw(st.sampled_from(SPEEDS)),
                    )
                )
            at += length
    if not streets:
        streets = [Street(FIRST_WAY, tuple(lines[0][:2]), "no", 20)]
    at_corners, over_streets = _possible_signs(streets)
    signs = draw(st.lists(st.sampled_from(at_corners), max_size=4)) if at_corners else []
    signs += draw(st.lists(st.sampled_from(over_streets), max_size=5)) if over_streets else []
    bridges = [
        Bridge(
            street.ref,
            draw(st.integers(0, len(street.nodes) - 2)) + draw(st.sampled_from((0.25, 0.75))),
            draw(st.sampled_from((None, *FIGURES))),
        )
        for street in draw(st.lists(st.sampled_from(streets), max_size=8))
    ]
    return GridTown(
        width=width,
        height=height,
        streets=tuple(streets),
        signs=tuple(dict.fromkeys(signs)),
        bridges=tuple(bridges),
        start=draw(st.sampled_from([pair for street in streets for pair in pairwise(street.nodes)])),
        by_ref={street.ref: street for street in streets},
    )


def _possible_signs(streets: list[Street]) -> tuple[list[Sign], list[Sign]]:
    """Every restriction whose ways end where they meet: through a corner, and over a street."""
    ends: dict[int, list[Street]] = {}
    for street in streets:
        for node in (street.nodes[0], street.nodes[-1]):
            ends.setdefault(node, []).append(street)
    at_corners = [
        Sign(only, a.ref, node, b.ref)
        for node, here in ends.items()
        for a in here
        for b in here
        if a is not b
        for only in (False, True)
    ]
    over_streets = [
        Sign(only, a.ref, via.ref, b.ref)
        for via in streets
        for p, q in ((via.nodes[0], via.nodes[-1]), (via.nodes[-1], via.nodes[0]))
        for a in ends[p]
        for b in ends[q]
        if len({a.ref, via.ref, b.ref}) == 3
        for only in (False, True)
    ]
    return at_corners, over_streets


# --- the slow reader ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """One segment driven: from a corner to the next along a street."""

    a: int
    b: int
    street: int


def _steps(town: GridTown) -> list[Step]:
    found = []
    for street in town.streets:
        for a, b in pairwise(street.nodes):
            if street.oneway in ("no", "yes"):
                found.append(Step(a, b, street.ref))
            if street.oneway in ("no", "-1"):
                found.append(Step(b, a, street.ref))
    return found


def _allowed(town: GridTown, driven: tuple[Step, ...], new: Step) -> bool:
    """Whether `new` may follow the steps driven so far."""
    last = driven[-1]
    if new.b == last.a:
        return False  # no turning round
    demands: list[set[int]] = []
    wanted: dict[tuple[int, ...], set[int]] = {}
    for sign in town.signs:
        if sign.via < FIRST_WAY:
            if last.street == sign.from_way and last.b == sign.via:
                if not sign.only and new.street == sign.to_way:
                    return False
                if sign.only and _leaves(town, sign.to_way, sign.via):
                    wanted.setdefault((sign.from_way, sign.via), set()).add(sign.to_way)
            continue
        run = _via_run(town, sign)
        if run is None:
            continue
        # How much of the run the last steps make up, counted from the step on the from street.
        for done in range(len(run) + 1):
            tail = driven[-(done + 1) :]
            if len(tail) < done + 1 or tail[0].street != sign.from_way or tail[0].b != run[0].a:
                continue
            if tuple(tail[1:]) != run[:done]:
                continue
            if not sign.only and done == len(run) and new.street == sign.to_way:
                return False
            if sign.only:
                follow = run[done].street if done < len(run) else sign.to_way
                key = (sign.from_way, run[0].a, *(s.a for s in run[:done]), *(s.b for s in run[:done]))
                wanted.setdefault(key, set()).add(follow)
    demands += wanted.values()
    return all(new.street in demand for demand in demands)


def _leaves(town: GridTown, street: int, node: int) -> bool:
    return any(step.street == street and step.a == node for step in _steps(town))


def _via_run(town: GridTown, sign: Sign) -> tuple[Step, ...] | None:
    """The steps over the whole via street, from the end at the from street to the one at the to street."""
    via, start, stop = (town.by_ref[ref] for ref in (sign.via, sign.from_way, sign.to_way))
    for nodes in (via.nodes, via.nodes[::-1]):
        if nodes[0] in (start.nodes[0], start.nodes[-1]) and nodes[-1] in (stop.nodes[0], stop.nodes[-1]):
            run = tuple(Step(a, b, via.ref) for a, b in pairwise(nodes))
            open_ = set(_steps(town)) >= set(run)
            return run if open_ and _leaves(town, stop.ref, nodes[-1]) else None
    return None


def _seconds(town: GridTown, step: Step, start: float, end: float, need: int) -> float | None:
    """Seconds of a step between two fractions of it, with the policy's; None where something closes it."""
    street = town.by_ref[step.street]
    (ax, ay), (bx, by) = town.place(step.a), town.place(step.b)
    metres = float(Geod(ellps="WGS84").inv(ax, ay, bx, by)[2])
    seconds = metres * (end - start) / (street.speed / 3.6)
    for bridge in town.bridges:
        if bridge.street != step.street:
            continue
        at = int(bridge.position)
        pair = (street.nodes[at], street.nodes[at + 1])
        fraction = bridge.position - at
        if pair == (step.b, step.a):
            fraction = 1 - fraction
        elif pair != (step.a, step.b):
            continue
        if not start <= fraction <= end:
            continue
        if bridge.tenths is None:
            seconds += UNVERIFIED_S
        elif bridge.tenths < need:
            return None
        elif bridge.tenths < COMFORT:
            seconds += TIGHT_S
    return seconds


def slow_answers(town: GridTown, need: int = NEED) -> dict[tuple[int, int], float]:
    """Seconds of the best drive from the middle of the town's first segment to that of each other one.

    Segments that no drive leads to are left out; so is the first one itself.
    """
    memory = 1 + max((len(s.nodes) for s in town.streets), default=1)
    steps = _steps(town)
    graph: nx.DiGraph[object] = nx.DiGraph()
    graph.add_node("start")
    waiting: list[tuple[Step, ...]] = []

    def join(origin: object, to: object, seconds: float | None) -> None:
        if seconds is None:
            return
        if isinstance(to, tuple) and to not in graph and isinstance(to[-1], Step):
            waiting.append(to)
        if not graph.has_edge(origin, to) or graph[origin][to]["weight"] > seconds:
            graph.add_edge(origin, to, weight=seconds)

    # A node of the graph is what was driven last; at it, its last step is still to be driven.
    for first in steps:
        if {first.a, first.b} != set(town.start):
            continue
        for step in steps:
            if step.a == first.b and _allowed(town, (first,), step):
                join("start", (first, step), _seconds(town, first, 0.5, 1.0, need))
    while waiting:
        driven = waiting.pop()
        last = driven[-1]
        join(driven, (min(last.a, last.b), max(last.a, last.b)), _seconds(town, last, 0.0, 0.5, need))
        whole = _seconds(town, last, 0.0, 1.0, need)
        for step in steps:
            if whole is not None and step.a == last.b and _allowed(town, driven, step):
                join(driven, (*driven, step)[-memory:], whole)
    found = nx.single_source_dijkstra_path_length(graph, "start")
    return {
        (to[0], to[1]): seconds
        for to, seconds in found.items()
        if isinstance(to, tuple) and isinstance(to[0], int) and set(to) != set(town.start)
    }


def segments(town: GridTown) -> list[tuple[int, int]]:
    """All segments of the streets, the lower corner first."""
    return [pair for street in town.streets for pair in pairwise(street.nodes)]
