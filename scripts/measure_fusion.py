"""Measures 100,000 invented records brought to 50,000 structures: scripts/measure_fusion.py [REPEAT]

Streets cross over one another on a grid 150 m wide, each with a name of its own. Every crossing has a record
near it, and as many records again lie between crossings, over a river. Shown are the median and the least,
and how many records were matched.
"""

from __future__ import annotations

import random
import statistics
import sys
from pathlib import Path
from time import perf_counter

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from clearance.core.inventory import InventoryRecord
from clearance.structures.find import find_structures
from clearance.structures.fusion import fuse
from tests.structures.inventories import RIVER, at, figure
from tests.towns import Town

COLUMNS, ROWS, STEP_M = 250, 200, 150


def word(n: int) -> str:
    """An invented street name, another for each of some 50,000 numbers."""
    syllables = (
        "ba",
        "del",
        "fir",
        "go",
        "hul",
        "ka",
        "lem",
        "mi",
        "nor",
        "pes",
        "quo",
        "ra",
        "sul",
        "ti",
        "vo",
    )
    return "".join(syllables[n // 15**i % 15] for i in range(4)).title()


def main() -> None:
    """Make both sides once, fuse them as often as asked, and print what it took."""
    chance = random.Random(1)
    town = Town()
    records: list[InventoryRecord] = []
    for n in range(COLUMNS * ROWS):
        x, y = STEP_M * (n % COLUMNS), STEP_M * (n // COLUMNS)
        node = 4 * n + 1
        town.node(node, x - 60, y).node(node + 1, x + 60, y).node(node + 2, x, y - 15).node(
            node + 3, x, y + 15
        )
        town.way(2 * n + 1, [node, node + 1], {"highway": "residential", "name": f"{word(n)} Street"})
        town.way(
            2 * n + 2, [node + 2, node + 3], {"highway": "secondary", "ref": f"SR {n % 900}", "bridge": "yes"}
        )
        off = chance.uniform(-8, 8)
        records.append(
            at(
                str(2 * n + 1),
                x + off,
                y + off,
                carried=f"SR {n % 900}",
                features=f"{word(n).upper()} ST",
                item_54=figure("4.5"),
            )
        )
        records.append(
            at(
                str(2 * n + 2),
                x + 75,
                y + 75,
                carried=f"CR {n % 900}",
                features="RIVER",
                item_54=RIVER,
                service_under="5",
            )
        )
    extract = town.extract()
    structures = find_structures(extract)
    times = []
    for _ in range(int(sys.argv[1]) if len(sys.argv) > 1 else 3):
        begun = perf_counter()
        fused = fuse(structures, records, extract)
        times.append(perf_counter() - begun)
    print(
        f"{len(records):,} records, {len(structures):,} structures: median {statistics.median(times):.1f} s, "
        f"least {min(times):.1f} s of {len(times)}; {len(fused.matches):,} matched, "
        f"{len(fused.unmatched):,} left over"
    )


if __name__ == "__main__":
    main()
