"""Compares what our searches say a drive costs with scipy, for many pairs of places and random coaches.

    .venv/bin/python scripts/compare_costs.py             # 10,000 pairs on each of two networks, some minutes
    .venv/bin/python scripts/compare_costs.py --pairs 500 ROADS...  # on road files

Every coach has its own height, margin, measures, load, policy and hour of departure, so that each closes
and charges other arcs and turns of the same network. Pairs are of two random states, each with a share of
its arc still to be driven, as snapped places have. Both searches, with landmarks and without, must find a
way where scipy.sparse.csgraph.dijkstra finds one, and of the same cost to within 1e-9 of it; the states
of each way must add up to its cost. Prints a table, and fails where they disagree.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from clearance.core.coach import Coach
from clearance.core.conditions import Window
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.network.landmarks import landmark_times
from clearance.network.network import Network
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.way import Way, best_way

ROOT = Path(__file__).resolve().parent.parent
EXTRACT = ROOT.parent / "shared" / "data" / "liechtenstein.osm.pbf"
#: Pairs that one coach drives, and how many of them begin at the same state: scipy searches once for those.
OF_A_COACH, OF_A_START = 50, 5
#: Sums of the same seconds in another order differ by no more than this, as a share.
SAME = 1e-9


@dataclass
class Compared:
    """What came of the pairs on one network."""

    name: str
    states: int
    coaches: int = 0
    pairs: int = 0
    joined: int = 0
    greatest: float = 0.0
    wrong: int = 0

    def row(self) -> str:
        """A row of the table."""
        return (
            f"| {self.name}, {self.states} states | {self.coaches} | {self.pairs} | {self.joined} | "
            f"{self.wrong} | {self.greatest:.1e} |"
        )


HEAD = (
    "| network | coaches | pairs | joined by a way | unequal | greatest difference, as a share |\n"
    "| --- | --- | --- | --- | --- | --- |"
)


def random_coach(random: np.random.Generator) -> tuple[Coach, Unverified, Window | None]:
    """A coach, what it does about structures of unknown height, and when it drives."""

    def metres(low: float, high: float) -> Length:
        return Length.from_metres(f"{random.uniform(low, high):.4f}")

    def maybe(value: Any) -> Any:
        return value if random.random() < 0.5 else None

    height = metres(1.9, 4.6)
    coach = Coach(
        height=height,
        margin=metres(0.0, 0.4),
        comfort=metres(2.5, 5.0),
        width=maybe(metres(1.8, 3.0)),
        length=maybe(metres(5.0, 19.0)),
        weight_kg=maybe(int(random.integers(2000, 25_000))),
        towing=bool(random.random() < 0.5),
        propane=bool(random.random() < 0.5),
    )
    policy = list(Unverified)[int(random.integers(len(Unverified)))]
    begin = datetime(2026, 6, 1) + timedelta(minutes=int(random.integers(60 * 24 * 28)))
    return coach, policy, maybe(Window(begin, begin + timedelta(hours=2)))


def summed(network: Network, costs: Costs, way: Way, first: float, last: float) -> float:
    """What the states of a way add up to; infinite where a turn between two of them is missing or closed."""
    label = first
    for here, there in zip(way.states, way.states[1:], strict=False):
        turns = range(int(network.turn_ptr[here]), int(network.turn_ptr[here + 1]))
        onward = [float(costs.turn_extra[t]) for t in turns if network.turn_to[t] == there]
        label += float(costs.cost[here]) + min(onward, default=math.inf)
    return label + last


def engines_of(network: Network) -> tuple[Network, Network]:
    """The network with landmarks, however small it is, and without."""
    bare = replace(network, landmark_ms=np.zeros((network.node_osm.size, 0), np.int32))
    if network.landmark_ms.shape[1]:
        return network, bare
    times = landmark_times(
        network.arc_tail, network.arc_head, network.arc_seconds, network.node_osm.size, fewest=0
    )
    times.flags.writeable = False
    return replace(network, landmark_ms=times), bare


def compare(name: str, network: Network, pairs: int, seed: int) -> Compared:
    """`pairs` pairs on a network, by our searches and by scipy."""
    from bench_tasks import turn_matrix
    from scipy.sparse.csgraph import dijkstra

    random = np.random.default_rng(seed)
    result = Compared(name, network.state_arc.size)
    engines = engines_of(network)
    while result.pairs < pairs:
        coach, policy, window = random_coach(random)
        costs = coach_costs(network, coach, policy, window)
        result.coaches += 1
        graph = turn_matrix(network, costs)
        wanted = min(OF_A_COACH, pairs - result.pairs)
        open_states = np.flatnonzero(np.isfinite(costs.cost))
        starts = random.choice(open_states, math.ceil(wanted / OF_A_START))
        labels = dijkstra(graph, indices=starts)
        for i in range(wanted):
            row = i // OF_A_START
            start, end = int(starts[row]), int(random.choice(open_states))
            first, last = random.uniform(0, 30, 2).tolist()
            expected = first + float(labels[row, end]) + last
            result.pairs += 1
            result.joined += math.isfinite(expected)
            for searched in engines:
                told = _costs_told(searched, costs, (start, first), (end, last))
                for cost in told:
                    if math.isfinite(cost) and math.isfinite(expected):
                        result.greatest = max(result.greatest, abs(cost - expected) / expected)
                if not all(math.isclose(cost, expected, rel_tol=SAME) for cost in told):
                    result.wrong += 1
                    print(f"{name}: state {start} to {end}, {coach}: {told}, not {expected}", file=sys.stderr)
    return result


def _costs_told(
    network: Network, costs: Costs, start: tuple[int, float], end: tuple[int, float]
) -> tuple[float, ...]:
    """What one of our searches says a way costs and what its states add up to; infinite for none."""
    way = best_way(
        network,
        costs,
        sources=np.array([start[0]], np.int32),
        source_labels=np.array([start[1]]),
        targets=np.array([end[0]], np.int32),
        target_extra=np.array([end[1]]),
    )
    if way is None:
        return (math.inf,)
    return way.cost, summed(network, costs, way, start[1], end[1])


def networks(paths: list[Path]) -> Iterator[tuple[str, Network]]:
    """The road files asked for, else a synthetic network and, where it is there, the real extract."""
    from clearance.network.roadfile import open_road_file

    for path in paths:
        yield path.name, open_road_file(path)
    if paths:
        return
    from make_network import synthetic

    yield "synthetic, 20k nodes", synthetic(20_000)
    if EXTRACT.exists():
        from clearance.network.build import build_network
        from clearance.sources.osm_file import read_osm
        from clearance.structures.find import find_structures

        extract = read_osm(EXTRACT)
        yield "Liechtenstein", build_network(extract, find_structures(extract))


def main() -> None:
    """Compares, prints the table, and fails where anything is unequal."""
    parser = argparse.ArgumentParser(description="Costs of drives compared with scipy; see the head of it.")
    parser.add_argument("roads", type=Path, nargs="*", help="road files; none: two networks of its own")
    parser.add_argument("--pairs", type=int, default=10_000, help="pairs on each network")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    results = [compare(name, network, asked.pairs, asked.seed) for name, network in networks(asked.roads)]
    print("\n".join([HEAD, *(result.row() for result in results)]))
    if any(result.wrong for result in results):
        sys.exit(1)


if __name__ == "__main__":
    main()
