"""What scripts/bench measures: one task by one engine on one input; scripts/bench_run.py measures it.

A task prepares what is not counted (the network opened, the graph in an engine's own form), has the work
timed by `Rounds`, and gives a figure to compare engines by where there is one (how many things were found,
the sum of all labels): engines that disagree on it did not do the same.

    .venv/bin/python scripts/bench_tasks.py EXTRACT TIMES TARGET

keeps the segments of an extract, `TIMES` copies of it side by side, in a file.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from itertools import islice, repeat
from pathlib import Path
from time import perf_counter, process_time
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.drive import Unverified
    from clearance.network.network import Network
    from clearance.routing.mask import Costs
    from clearance.routing.ran import Ran

#: A figure that two engines must agree on, to within rounding.
Told = float | None
#: The coach of every drive; comfort and margin are the defaults.
HEIGHT = "12'10\""
SEED = 7


def worked() -> float:
    """The seconds that processors have worked for this process and those it waited for."""
    import resource

    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return process_time() + children.ru_utime + children.ru_stime


#: What keeps the seconds of searches, where those are what is measured.
_searches: list[Ran] = []


def searched() -> float:
    """The seconds that searches have taken, as ``clearance --explain`` tells them."""
    return sum(ran.seconds.get("search", 0.0) for ran in _searches)


class Rounds:
    """Has work timed by pytest-benchmark, once in a task."""

    def __init__(
        self, pedantic: Callable[..., Any], repeat: int, clock: Callable[[], float] = perf_counter
    ) -> None:
        """By the fixture's `pedantic`, in `repeat` rounds; `clock` is for what counts its own seconds."""
        self._pedantic = pedantic
        self.repeat = repeat
        self.clock = clock

    def time(
        self,
        work: Callable[..., Any],
        inputs: Iterable[Sequence[Any]] | None = None,
        *,
        count: int | None = None,
        warm: int = 0,
    ) -> Any:
        """What the last round gave; each round does the `work` on the next of `inputs`, if there are any.

        There are `count` rounds after `warm` ones that are not counted. Inputs are made as they are needed,
        outside of what is timed.
        """
        held: list[Any] = []
        each = iter(repeat(()) if inputs is None else inputs)

        def ready() -> tuple[tuple[Any, ...], dict[str, Any]]:
            # What the round before gave is let go, or memory would be that of two.
            held.clear()
            try:
                return tuple(next(each)), {}
            except StopIteration:
                raise RuntimeError("fewer inputs than rounds: too few pairs of places have a way") from None

        self._pedantic(
            lambda *given: held.append(work(*given)),
            setup=ready,
            rounds=self.repeat if count is None else count,
            warmup_rounds=warm,
        )
        return held[0]


# --- from a map file to a road file ------------------------------------------------------------------


def read_own(path: Path, rounds: Rounds, processes: int = 1) -> Told:
    """Our reader; an extract has its nodes sorted and its buildings sifted, which pyosmium's pass has not."""
    from clearance.sources.osm_file import read_osm

    rounds.time(lambda: read_osm(path, processes=processes))


def read_pyosmium(path: Path, rounds: Rounds) -> Told:
    """pyosmium's own filtered pass with locations, by the keys that our reader wants."""
    import osmium
    from osmium.osm import Way

    from clearance.sources.wanted import NODE_KEYS, RELATION_KEYS, WAY_KEYS

    keys = sorted({*NODE_KEYS, *WAY_KEYS, *RELATION_KEYS})

    def one() -> list[Any]:
        found: list[Any] = []
        for thing in (
            osmium.FileProcessor(str(path)).with_locations().with_filter(osmium.filter.KeyFilter(*keys))
        ):
            if isinstance(thing, Way):
                found.append((thing.id, [(n.ref, n.x, n.y) for n in thing.nodes], dict(thing.tags)))
            else:
                found.append((thing.id, dict(thing.tags)))
        return found

    rounds.time(one)


def _segments(path: Path) -> tuple[Any, Any]:
    """The segments that prepare_segments kept, and which of them are roads."""
    from clearance.structures.segments import Segments

    with np.load(path) as kept:
        fields = {name: kept[name] for name in kept.files}
    chosen = fields.pop("chosen")
    return Segments(**fields), chosen


def prepare_segments(path: Path, times: int, target: Path) -> None:
    """Keep the segments of an extract, `times` copies of it side by side, in a file."""
    from make_network import tiled

    from clearance.core.access import is_road
    from clearance.sources.osm_file import read_osm
    from clearance.structures.kinds import line_kind
    from clearance.structures.segments import Segments, segments_of

    extract = tiled(read_osm(path), times)
    ways = [w for w in extract.ways if is_road(w.tags) or line_kind(w.tags) is not None]
    roads = np.array([is_road(w.tags) for w in ways])
    found = segments_of(extract, ways)
    arrays = {name: getattr(found, name) for name in Segments.__slots__}
    np.savez(target, chosen=roads[found.way], **arrays)


def cross_own(path: Path, rounds: Rounds) -> Told:
    """Crossings on grids of cells."""
    from clearance.structures.segments import cross

    segments, chosen = _segments(path)
    cross(segments, chosen[:] & False)  # loads the compiled kernel
    return float(len(rounds.time(lambda: cross(segments, chosen)).first))


def cross_shapely(path: Path, rounds: Rounds) -> Told:
    """Shapely's index with its exact predicate, then the same rules on nodes and on one line."""
    import shapely

    s, chosen = _segments(path)

    def one() -> int:
        ends = np.stack((s.ax, s.ay, s.bx, s.by), axis=1).astype(np.float64).reshape(-1, 2, 2)
        lines = shapely.linestrings(ends)
        picked = np.flatnonzero(chosen)
        first, second = shapely.STRtree(lines).query(lines[picked], predicate="intersects")
        first = picked[first]
        once = np.where(chosen[second], first < second, True)
        first, second = first[once], second[once]
        apart = ~np.any(
            [a[first] == b[second] for a in (s.node_a, s.node_b) for b in (s.node_a, s.node_b)], axis=0
        )
        first, second = first[apart], second[apart]
        dx, dy = s.bx[first] - s.ax[first], s.by[first] - s.ay[first]
        a = dx * (s.ay[second] - s.ay[first]) - dy * (s.ax[second] - s.ax[first])
        b = dx * (s.by[second] - s.ay[first]) - dy * (s.bx[second] - s.ax[first])
        ex, ey = s.bx[second] - s.ax[second], s.by[second] - s.ay[second]
        c = ex * (s.ay[first] - s.ay[second]) - ey * (s.ax[first] - s.ax[second])
        d = ex * (s.by[first] - s.ay[second]) - ey * (s.bx[first] - s.ax[second])
        return int((((a != 0) | (b != 0)) & ((c != 0) | (d != 0))).sum())

    return float(rounds.time(one))


def stages(path: Path, rounds: Rounds, stage: str) -> Told:
    """One stage from a map file to a road file."""
    from clearance.network.build import build_network
    from clearance.network.roadfile import write_road_file
    from clearance.sources.osm_file import read_osm
    from clearance.sources.place_names import named_places
    from clearance.structures.find import find_structures

    extract = read_osm(path)
    if stage == "structures":
        return float(len(rounds.time(lambda: find_structures(extract))))
    structures = find_structures(extract)
    if stage == "places":
        return float(len(rounds.time(lambda: named_places(extract))))
    if stage == "build":
        return float(rounds.time(lambda: build_network(extract, structures)).arc_tail.size)
    network = build_network(extract, structures, named_places(extract))
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        rounds.time(lambda: write_road_file(network, Path(folder) / "out.roads"))
    return None


# --- on a road file ----------------------------------------------------------------------------------


def opened(path: Path, rounds: Rounds) -> Told:
    """Open a road file, its checks with it; the system may hold it in memory."""
    from clearance.network.roadfile import open_road_file

    return float(rounds.time(lambda: open_road_file(path)).arc_tail.size)


def _coach() -> tuple[Coach, Unverified]:
    from clearance.core.coach import Coach
    from clearance.core.drive import Unverified
    from clearance.core.lengths import Length

    return Coach(height=Length.from_feet(12, 10)), Unverified.AVOID


def _costs(path: Path) -> tuple[Network, Costs]:
    from clearance.network.roadfile import open_road_file
    from clearance.routing.mask import coach_costs

    network = open_road_file(path)
    return network, coach_costs(network, *_coach(), None)


def costs(path: Path, rounds: Rounds) -> Told:
    """What every arc and turn costs one coach."""
    from clearance.network.roadfile import open_road_file
    from clearance.routing.mask import coach_costs

    network = open_road_file(path)
    return float(np.isfinite(rounds.time(lambda: coach_costs(network, *_coach(), None)).cost).sum())


def _pairs(costs: Costs) -> Iterator[tuple[int, int]]:
    """Random pairs of open states, always the same ones."""
    random = np.random.default_rng(SEED)
    open_states = np.flatnonzero(np.isfinite(costs.cost))
    while True:
        start, end = random.choice(open_states, 2)
        yield int(start), int(end)


def _labels(network: Network, costs: Costs, start: int, ends: list[int]) -> tuple[Any, int]:
    from clearance.routing.kernels import shortest

    labels, _, found = shortest(
        network.turn_ptr,
        network.turn_to,
        cost=costs.cost,
        turn_extra=costs.turn_extra,
        sources=np.array([start], dtype=np.int32),
        source_labels=np.zeros(1),
        targets=np.array(ends, dtype=np.int32),
        target_extra=np.zeros(len(ends)),
    )
    return labels, found


def _sum_of(labels: Any) -> float:
    return float(labels[np.isfinite(labels)].sum())


def _hub(network: Network, costs: Costs) -> int:
    """The first state, drawn as the pairs are, that leads to half of the network: none in a dead end.

    Raises RuntimeError where fifty draws find none.
    """
    for start, _ in islice(_pairs(costs), 50):
        if 2 * int(np.isfinite(_labels(network, costs, start, [])[0]).sum()) > costs.cost.size:
            return start
    raise RuntimeError("no state leads to half of the network")


def one_to_all_own(path: Path, rounds: Rounds) -> Told:
    """Our search with no target, from one state to all."""
    network, own = _costs(path)
    start = _hub(network, own)
    return _sum_of(rounds.time(lambda: _labels(network, own, start, []))[0])


def turn_matrix(network: Network, costs: Costs) -> Any:
    """The graph of states for scipy: an entry for each open turn, what its first arc and the turn cost."""
    from scipy.sparse import csr_array

    states = network.turn_ptr.size - 1
    came = np.repeat(np.arange(states), np.diff(network.turn_ptr))
    weight = costs.cost[came] + costs.turn_extra
    is_open = np.isfinite(weight)
    ptr = np.concatenate(([0], np.cumsum(is_open)))[network.turn_ptr]
    turn_to = np.asarray(network.turn_to)[is_open]
    return csr_array((weight[is_open], turn_to, ptr.astype(np.int32)), shape=(states, states))


def one_to_all_scipy(path: Path, rounds: Rounds) -> Told:
    """scipy.sparse.csgraph.dijkstra from the same state, on the same graph."""
    from scipy.sparse.csgraph import dijkstra

    network, own = _costs(path)
    start = _hub(network, own)
    matrix = turn_matrix(network, own)
    return _sum_of(rounds.time(lambda: dijkstra(matrix, indices=start)))


#: Pairs that a search from one to one is measured on.
PAIRS = 15


def _reached(network: Network, costs: Costs, count: int) -> list[tuple[int, int]]:
    """Random pairs that a way joins."""
    found: list[tuple[int, int]] = []
    for start, end in _pairs(costs):
        if start != end and _labels(network, costs, start, [end])[1] == 0:
            found.append((start, end))
        if len(found) == count:
            break
    return found


def one_to_one_own(path: Path, rounds: Rounds) -> Told:
    """Our search from a state to another, by the engine that a drive on this network uses."""
    from clearance.routing.way import best_way

    network, own = _costs(path)
    pairs = _reached(network, own, PAIRS)
    zero = np.zeros(1)

    def one(start: int, end: int) -> float:
        way = best_way(
            network,
            own,
            sources=np.array([start], dtype=np.int32),
            source_labels=zero,
            targets=np.array([end], dtype=np.int32),
            target_extra=zero,
        )
        assert way is not None, "another search found one"
        return way.cost

    return _over_pairs(one, pairs, rounds)


def one_to_one_plain(path: Path, rounds: Rounds) -> Told:
    """The same pairs by our search without landmarks."""
    network, own = _costs(path)
    pairs = _reached(network, own, PAIRS)
    return _over_pairs(lambda start, end: float(_labels(network, own, start, [end])[0][end]), pairs, rounds)


def _over_pairs(one: Callable[[int, int], float], pairs: list[tuple[int, int]], rounds: Rounds) -> Told:
    """The mean of what a search for each pair costs."""
    found: list[float] = []
    rounds.time(
        lambda start, end: found.append(one(start, end)),
        pairs * rounds.repeat,
        count=len(pairs) * rounds.repeat,
    )
    return sum(found) / len(found)


def one_to_one_scipy(path: Path, rounds: Rounds) -> Told:
    """The same pairs by scipy, which always goes on to all."""
    from scipy.sparse.csgraph import dijkstra

    network, own = _costs(path)
    pairs = _reached(network, own, PAIRS)
    matrix = turn_matrix(network, own)
    return _over_pairs(lambda start, end: float(dijkstra(matrix, indices=start)[end]), pairs, rounds)


def one_to_one_networkx(path: Path, rounds: Rounds) -> Told:
    """The same pairs by networkx, stopped at the target."""
    import networkx as nx

    network, own = _costs(path)
    pairs = _reached(network, own, PAIRS)
    matrix = turn_matrix(network, own).tocoo()
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(
        zip(matrix.row.tolist(), matrix.col.tolist(), matrix.data.tolist(), strict=True)
    )
    return _over_pairs(lambda start, end: float(nx.dijkstra_path_length(graph, start, end)), pairs, rounds)


def widest_own(path: Path, rounds: Rounds) -> Told:
    """The tallest coach from one state to all."""
    from clearance.network.network import NO_LIMIT
    from clearance.routing.kernels import widest

    network, own = _costs(path)
    width = np.full(network.arc_tail.size, NO_LIMIT, np.int32)
    np.minimum.at(width, network.hit_arc, own.low[network.hit_structure, network.hit_side])
    states = width[network.state_arc]
    turns = np.full(network.turn_to.size, NO_LIMIT, np.int32)
    start = np.array([_hub(network, own)], dtype=np.int32)
    top = np.array([NO_LIMIT], dtype=np.int32)

    def one() -> Any:
        return widest(
            network.turn_ptr,
            network.turn_to,
            width=states,
            turn_width=turns,
            sources=start,
            source_labels=top,
        )

    one()
    return float((rounds.time(one)[0] >= 0).sum())


def tallest_roads(path: Path, rounds: Rounds) -> Told:
    """The tallest coach on every road from one home: each direction by itself, there and back in turn.

    What both directions share (turns read backwards, clearances of arcs) is made before.
    """
    from clearance.assess.case import Case
    from clearance.assess.reach import Ground, Reach
    from clearance.assess.tallest import arc_heights
    from clearance.core.screening import Leg
    from clearance.network.roadfile import open_road_file
    from clearance.routing.fan import Weights
    from clearance.routing.plan import Widths
    from clearance.routing.snap import Snap

    network = open_road_file(path)
    free = Case.of(network, *_coach(), None).lifting(frozenset({"height"})).costs
    arc = int(network.state_arc[_hub(network, free)])
    home = [Snap(arc=arc, fraction=0.5, distance_m=0.0, lon=0.0, lat=0.0)]
    weights = Weights.of_widths(network, free, Widths.of(network, free, unverified_passable=True))
    ground = Ground(network)

    def one(leg: Leg) -> Any:
        return arc_heights(Reach(ground, weights), leg, home)

    reached = sum(float((one(leg) >= 0).sum()) for leg in Leg)
    legs = [(leg,) for leg in Leg] * rounds.repeat
    rounds.time(one, legs, count=len(legs))
    return reached


#: Destinations and coaches of a screening.
SCREENED, COACHES = 1000, ("12'10\"", "11'")


def _screening(path: Path) -> Callable[[], Any]:
    """Destinations at random nodes there and back for two coaches, to be screened."""
    from clearance.assess.screen import screen
    from clearance.core.coach import Coach
    from clearance.core.lengths import parse_measure
    from clearance.core.place_text import find_place
    from clearance.core.screening import Destination

    coach, unverified = _coach()
    coaches = [coach, *(Coach(height=parse_measure(height)) for height in COACHES[1:])]
    at_home, network, texts = _screened_places(path)
    home = find_place(at_home, ())
    destinations = [Destination(place=find_place(text, ()), where=text) for text in texts]
    return lambda: screen(network, coaches, home, destinations, unverified=unverified)


def screened(path: Path, rounds: Rounds) -> Told:
    """Destinations at random nodes there and back for two coaches, the road file opened before."""
    # The first loads the compiled searches, which one measurement of minutes need not mind.
    return float(len(rounds.time(_screening(path), warm=int(rounds.repeat > 1)).rows))


def screen_searches(path: Path, rounds: Rounds) -> Told:
    """The part of the same that is spent in searches, as ``clearance screen --explain`` tells it."""
    from clearance.routing.ran import Ran, recording

    one = _screening(path)
    ran = Ran(clock=rounds.clock)
    _searches.append(ran)

    def recorded() -> None:
        with recording(ran), ran.stage("rest"):
            one()

    rounds.time(recorded, warm=int(rounds.repeat > 1))


def _screened_places(path: Path) -> tuple[str, Network, list[str]]:
    """Home, the network, and the destinations of a screening, as ``lat,lon`` texts."""
    network, own = _costs(path)
    node = int(network.arc_tail[network.state_arc[_hub(network, own)]])
    home = f"{network.node_lat[node]:.7f},{network.node_lon[node]:.7f}"
    return home, network, [text for pair in _places(network, SCREENED // 2) for text in pair]


#: The farthest that the two places of a drive lie apart, as the crow flies: a morning of driving.
FAR_M = 100_000.0


def _places(network: Network, count: int) -> list[tuple[str, str]]:
    """Pairs of places at random nodes no more than `FAR_M` apart, as ``lat,lon`` texts."""
    random = np.random.default_rng(SEED)
    per_lat = 111_000.0
    pairs: list[tuple[str, str]] = []
    while len(pairs) < count:
        one, other = random.integers(0, network.node_osm.size, 2).tolist()
        north = (network.node_lat[one] - network.node_lat[other]) * per_lat
        wide = np.cos(np.radians(network.node_lat[one])) * per_lat
        east = (network.node_lon[one] - network.node_lon[other]) * wide
        if np.hypot(north, east) <= FAR_M:
            texts = [f"{network.node_lat[i]:.7f},{network.node_lon[i]:.7f}" for i in (one, other)]
            pairs.append((texts[0], texts[1]))
    return pairs


def trade_offs_own(path: Path, rounds: Rounds) -> Told:
    """Every trade-off between time and the number of unverified structures, between random places."""
    from clearance.core.errors import PlaceError
    from clearance.routing.mask import open_ends
    from clearance.routing.snap import snap
    from clearance.routing.tradeoffs import trade_offs

    network, own = _costs(path)

    def joined() -> Iterator[tuple[Network, Costs, Any, Any]]:
        for texts in _places(network, 4 * rounds.repeat):
            try:
                a, b = (
                    snap(network, float(lon), float(lat), own.usable)
                    for lat, _, lon in (text.partition(",") for text in texts)
                )
            except PlaceError:
                continue
            opened_costs = open_ends(network, own, [s.arc for s in a], [s.arc for s in b])
            if trade_offs(network, opened_costs, a, b):
                yield network, opened_costs, a, b

    rounds.time(trade_offs, joined())


def drive_warm(path: Path, rounds: Rounds) -> Told:
    """A whole drive between random places, the road file opened for each as the command does."""
    from clearance.core.errors import ClearanceError
    from clearance.network.roadfile import open_road_file
    from clearance.workflow import plan_drive

    coach, unverified = _coach()

    def plan(start: str, end: str) -> None:
        plan_drive(path, [start, end], coach, unverified=unverified)

    def joined() -> Iterator[tuple[str, str]]:
        for pair in _places(open_road_file(path), 4 * rounds.repeat):
            # Between some there is no way at all, such as out of a dead end.
            with suppress(ClearanceError):
                plan(*pair)
                yield pair

    rounds.time(plan, joined())


def drive_cold(path: Path, rounds: Rounds) -> Told:
    """The command ``clearance drive`` as a process of its own, from start to end."""
    from clearance.network.roadfile import open_road_file

    command = [str(Path(sys.executable).with_name("clearance")), "drive", str(path), "--height", HEIGHT]
    ends = {0, 3}

    def joined() -> Iterator[tuple[list[str], set[int]]]:
        for a, b in _places(open_road_file(path), 4 * rounds.repeat):
            asked = [*command, "--from", a, "--to", b]
            # Between some there is no way at all, such as out of a dead end.
            if _ended(asked) in ends:
                yield asked, ends

    rounds.time(_end_well, joined())


def got(path: Path, rounds: Rounds) -> Told:
    """The command ``clearance get`` on a map file, as a process of its own."""
    command = str(Path(sys.executable).with_name("clearance"))
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        asked = [command, "get", str(path), "-o", str(Path(folder) / "out.roads")]
        rounds.time(lambda: _end_well(asked, {0}))
    return None


def screen_cold(path: Path, rounds: Rounds) -> Told:
    """The command ``clearance screen`` for the destinations of `screened`, from start to end."""
    command = str(Path(sys.executable).with_name("clearance"))
    home, _, places = _screened_places(path)
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "places.csv"
        rows = [f"{number},{text}" for number, text in enumerate(places, start=1)]
        listed.write_text("\n".join(["name,lat,lon", *rows]) + "\n", encoding="utf-8")
        asked = [command, "screen", str(path), str(listed), "--from", home]
        for number, height in enumerate(COACHES):
            coach = Path(folder) / f"coach-{number}.toml"
            coach.write_text(f"height = {json.dumps(height)}\n", encoding="utf-8")
            asked += ["--coach", str(coach)]
        asked += ["-o", str(Path(folder) / "out.csv")]
        rounds.time(lambda: _end_well(asked, {0, 3}))
    return None


def _ended(command: list[str]) -> int:
    """How a process ends that runs quietly."""
    silent = [(os.POSIX_SPAWN_OPEN, stream, os.devnull, os.O_WRONLY, 0) for stream in (1, 2)]
    child = os.posix_spawn(command[0], command, os.environ, file_actions=silent)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def _end_well(command: list[str], good: set[int]) -> None:
    """Run a process to its end, which must be among the `good` ones."""
    code = _ended(command)
    if code not in good:
        raise RuntimeError(f"{' '.join(command)} ended with {code}")


TASKS: dict[tuple[str, str], Callable[[Path, Rounds], Told]] = {
    ("read", "clearance"): read_own,
    ("read", "clearance, by two processes"): lambda path, rounds: read_own(path, rounds, 2),
    ("read", "pyosmium"): read_pyosmium,
    ("read by two", "clearance"): lambda path, rounds: read_own(path, rounds, 2),
    ("crossings", "clearance"): cross_own,
    ("crossings", "shapely"): cross_shapely,
    ("structures", "clearance"): lambda path, rounds: stages(path, rounds, "structures"),
    ("places", "clearance"): lambda path, rounds: stages(path, rounds, "places"),
    ("build", "clearance"): lambda path, rounds: stages(path, rounds, "build"),
    ("write", "clearance"): lambda path, rounds: stages(path, rounds, "write"),
    ("get", "clearance"): got,
    ("open", "clearance"): opened,
    ("costs", "clearance"): costs,
    ("one to one", "clearance"): one_to_one_own,
    ("one to one", "clearance, no landmarks"): one_to_one_plain,
    ("one to one", "scipy"): one_to_one_scipy,
    ("one to one", "networkx"): one_to_one_networkx,
    ("one to all", "clearance"): one_to_all_own,
    ("one to all", "scipy"): one_to_all_scipy,
    ("tallest", "clearance"): widest_own,
    ("tallest roads", "clearance"): tallest_roads,
    ("screen", "clearance"): screened,
    ("screen searches", "clearance"): screen_searches,
    ("screen process", "clearance"): screen_cold,
    ("trade-offs", "clearance"): trade_offs_own,
    ("drive", "clearance"): drive_warm,
    ("drive process", "clearance"): drive_cold,
}


#: Tasks whose work is that of a process of its own.
PROCESSES = frozenset({"get", "drive process", "screen process"})


def peak_mib(task: str) -> float:
    """The most memory in MiB that this process held, or that the one held which did the work of the task."""
    import resource

    # A process that reads for this one begins, for the system, with the memory of this one.
    who = resource.RUSAGE_CHILDREN if task in PROCESSES else resource.RUSAGE_SELF
    return resource.getrusage(who).ru_maxrss / 1024


if __name__ == "__main__":
    prepare_segments(Path(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3]))
