"""What a region costs a worker of `clearance screen-many`: bytes, processor seconds and memory.

    scripts/measure_regions.py ROADS... [--homes N] [--destinations N]
    scripts/measure_regions.py ROADS... --borders

For each road file a process of its own screens destinations drawn from its nodes, from several homes for two
coaches, as a worker does it. Printed is a table for DEVELOPERS.md. Road files come from `clearance get` and
scripts/make_network.py.

With --borders the middle of each road file is taken for a region, and drives within it are planned with more
and more of what lies around it: how wide must road files overlap?
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

MIB = 1 << 20


def measure(roads: Path, homes: int, destinations: int, folder: Path) -> dict[str, float]:
    """The figures of one road file, measured in this process."""
    from clearance.core.coach import Coach
    from clearance.core.drive import Unverified
    from clearance.core.jobs import JobHome, JobRegion, Task
    from clearance.core.lengths import Length
    from clearance.network.roadfile import open_road_file
    from clearance.workflow.opened import opened
    from clearance.workflow.screen_task import run_task

    network = open_road_file(roads)
    chance = random.Random(1)
    # Roads of the largest open part alone: an island of the data is no place that anybody drives to.
    on_main = network.arc_tail[network.arc_area == 0]
    nodes = [int(on_main[chance.randrange(on_main.size)]) for _ in range(homes + destinations)]
    points = [f"{network.node_lat[n]:.7f},{network.node_lon[n]:.7f}" for n in nodes]
    places = folder / "places.csv"
    places.write_text("\n".join(["lat,lon", *points[homes:]]), encoding="utf-8")
    region = JobRegion(name="region", roads=str(roads), places=str(places))
    coaches = tuple(Coach(height=Length.from_feet(feet), name=str(feet)) for feet in (12, 13))
    count = network.node_osm.size
    del network
    began = time.process_time()
    opened(roads)
    opening = time.process_time() - began
    seconds, size, rows = [], 0, 0
    for n in range(homes):
        home = JobHome(name=f"home {n}", place=points[n])
        task = Task(home=home, region=region, coaches=coaches, unverified=Unverified.AVOID)
        began = time.process_time()
        result = run_task(task)
        seconds.append(time.process_time() - began)
        assert not result.failure, result.failure
        size += len(result.table)
        rows += result.clear + result.care + result.blocked
    return {
        "nodes": count,
        "file_mib": roads.stat().st_size / MIB,
        "open_s": opening,
        "first_s": seconds[0],
        "next_s": min(seconds[1:], default=seconds[0]),
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "row_bytes": size / max(1, rows),
    }


def borders(roads: Path, drives: int = 200) -> None:
    """Print how drives within the middle of a road file change with the band around it that is kept."""
    from dataclasses import replace

    import numpy as np

    from clearance.core.coach import Coach
    from clearance.core.drive import Unverified
    from clearance.core.lengths import Length
    from clearance.network.roadfile import open_road_file
    from clearance.routing.mask import coach_costs
    from clearance.routing.plan import find_drive
    from clearance.routing.snap import Snap

    network = open_road_file(roads)
    # From the middle, in sides of the whole: the region is the middle half, from -1/4 to 1/4.
    off = np.maximum(
        *(np.abs((v - (v.min() + v.max()) / 2) / np.ptp(v)) for v in (network.node_lon, network.node_lat))
    )
    reach = np.maximum(off[network.arc_tail], off[network.arc_head])
    costs = coach_costs(network, Coach(height=Length.from_feet(13)), Unverified.AVOID, None)
    inside = np.flatnonzero((network.arc_area == 0) & costs.usable & (reach <= 0.25))
    chance = random.Random(5)
    ends = [[_middle(Snap, int(chance.choice(inside))) for _ in range(2)] for _ in range(drives)]

    def planned(band: float) -> list[float]:
        cost = costs.cost.copy()
        cost[reach[network.state_arc] > 0.25 + band / 2] = np.inf
        routes = [find_drive(network, replace(costs, cost=cost), [a], [b]) for a, b in ends]
        return [np.inf if r is None else r.seconds + r.policy_seconds for r in routes]

    whole = planned(1.0)
    there_are = [n for n in range(drives) if whole[n] < np.inf]
    print(f"{roads.stem}: {len(there_are)} drives within the middle half\n")
    print("| band, of the side of the region | area | drives that differ | drives lost |\n|---|---|---|---|")
    for band in (0.0, 0.02, 0.05, 0.1, 0.2, 0.5):
        got = planned(band)
        assert all(got[n] >= whole[n] - 1e-6 for n in there_are), "less road never makes a drive better"
        lost = sum(got[n] == np.inf for n in there_are) / len(there_are)
        other = sum(got[n] > whole[n] + 1e-6 for n in there_are) / len(there_are)
        print(f"| {band:.0%} | x {(1 + 2 * band) ** 2:.2f} | {other:.1%} | {lost:.1%} |", flush=True)


def _middle(snap: Any, arc: int) -> Any:
    return snap(arc=arc, fraction=0.5, distance_m=0.0, lon=0.0, lat=0.0)


def main() -> None:
    """Print the table, or with --one the figures of one road file as JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("roads", nargs="+", type=Path)
    parser.add_argument("--homes", type=int, default=3)
    parser.add_argument("--destinations", type=int, default=1000)
    parser.add_argument("--borders", action="store_true", help="measure how wide regions must overlap")
    parser.add_argument("--one", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        with tempfile.TemporaryDirectory() as folder:
            print(json.dumps(measure(given.roads[0], given.homes, given.destinations, Path(folder))))
        return
    if given.borders:
        for roads in given.roads:
            borders(roads)
        return
    print(f"{given.destinations} destinations, two coaches, from {given.homes} homes in turn\n")
    heads = ("region", "nodes", "road file MiB", "bytes a node", "open s", "first home s", "next home s")
    print("|".join(["", *heads, "peak MiB", "bytes a row", ""]))
    print("|---" * (len(heads) + 2) + "|")
    for roads in given.roads:
        command = [sys.executable, __file__, str(roads), "--one"]
        command += ["--homes", str(given.homes), "--destinations", str(given.destinations)]
        told = json.loads(subprocess.run(command, stdout=subprocess.PIPE, check=True, text=True).stdout)
        print(
            f"| {roads.stem} | {told['nodes']:,.0f} | {told['file_mib']:.1f} "
            f"| {told['file_mib'] * MIB / told['nodes']:.0f} | {told['open_s']:.3f} | {told['first_s']:.1f} "
            f"| {told['next_s']:.1f} | {told['peak_mib']:.0f} | {told['row_bytes']:.0f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
