"""Measures a day of six stops, written in every format, as a user runs it: scripts/measure_day.py [REPEAT]

The roads are those of ../shared/data/liechtenstein.osm.pbf (© OpenStreetMap contributors, ODbL 1.0). Each
run is a process of its own, from the start of Python to the last file written; shown are the median and
the least.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).resolve().parent.parent
EXTRACT = ROOT.parent / "shared" / "data" / "liechtenstein.osm.pbf"
#: Places on streets, as name, latitude, longitude and minutes to spend there; six stops between two ends.
STOPS = (
    ("South", 47.0671, 9.5003, ""),
    ("First", 47.1070, 9.5275, "20"),
    ("Second", 47.1393, 9.5228, "45"),
    ("Third", 47.1663, 9.5103, "20"),
    ("Fourth", 47.2122, 9.5062, "15"),
    ("Fifth", 47.2126, 9.5233, "20"),
    ("Sixth", 47.2197, 9.5418, "20"),
    ("North", 47.2398, 9.5263, ""),
)
FORMATS = ("geojson", "gpx", "html", "pdf", "csv")


def day_file(path: Path) -> None:
    """Write the stops as a file for ``clearance drive --day``."""
    rows = [f"{name},{lat},{lon},{minutes}\n" for name, lat, lon, minutes in STOPS]
    path.write_text("name,lat,lon,minutes\n" + "".join(rows), encoding="utf-8")


def command(roads: Path, day: Path, folder: Path) -> list[str]:
    """The command that plans the day and writes every format into `folder`."""
    leaves = (datetime.now() + timedelta(days=1)).strftime("%Y-%m-%dT09:00")
    words = [sys.executable, "-m", "clearance", "drive", str(roads), "--day", str(day)]
    words += ["--height", "10'6\"", "--unverified", "accept", "--depart", leaves]
    words += ["--along", "fuel,dump,camp,water,propane"]
    return words + [word for ending in FORMATS for word in ("-o", str(folder / f"day.{ending}"))]


def main() -> None:
    """Make the roads, run the day, print what it took."""
    repeat = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        roads, day = folder / "area.roads", folder / "stops.csv"
        get = [sys.executable, "-m", "clearance", "get", str(EXTRACT), "-o", str(roads)]
        subprocess.run(get, check=True, capture_output=True)
        day_file(day)
        seconds = []
        for _ in range(repeat):
            begin = perf_counter()
            subprocess.run(command(roads, day, folder), check=True, capture_output=True)
            seconds.append(perf_counter() - begin)
    print(f"a day of six stops, {len(FORMATS)} formats: median {statistics.median(seconds):.2f} s,", end=" ")
    print(f"least {min(seconds):.2f} s of {repeat}")


if __name__ == "__main__":
    main()
