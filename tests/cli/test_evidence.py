"""clearance evidence, and heights that `clearance get` takes from elsewhere. All lists are INVENTED."""

from __future__ import annotations

import csv
import gc
import json
import re
import threading
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from clearance.cli.main import cli
from clearance.core.coach import Coach
from clearance.core.errors import (
    ClearanceError,
    DataUnavailableError,
    InputError,
    OutputError,
    RoadFileError,
    UsageError,
)
from clearance.core.lengths import Length
from clearance.core.structure import EvidenceClass, Structure
from clearance.network.build import build_network
from clearance.network.roadfile import open_kept, open_road_file, write_road_file
from clearance.sources.coach_file import coach_text
from clearance.workflow import list_structures
from tests import towns
from tests.sources.test_inventory import HEADER, delimited
from tests.structures import test_fusion_real as real
from tests.towns import LAT0, M_PER_LAT, M_PER_LON, Town

#: Inventories are of the United States: the towns are moved to the open water of the Bay of Fundy.
EAST = -26.5
LON0 = towns.LON0 + EAST

BRIDGE = {"highway": "secondary", "name": "Mill Road", "ref": "SR 7", "bridge": "yes", "layer": "1"}


def town() -> Town:
    """Three streets eastward, 500 m apart, each under Mill Road; the middle one is posted 15'0"."""
    made = Town()
    for k, (name, more) in enumerate(
        [("Heather Street", {}), ("Ash Street", {"maxheight": "15'0\""}), ("Brook Lane", {})]
    ):
        n, y = 10 * (k + 1), 500.0 * k
        made.node(n, -200, y).node(n + 1, 200, y).node(n + 2, 0, y - 20).node(n + 3, 0, y + 20)
        made.way(n, [n, n + 1], {"highway": "residential", "name": name, **more})
        made.way(n + 1, [n + 2, n + 3], BRIDGE)
    return made


def lonlat(x: float, y: float) -> tuple[float, float]:
    lon, lat = towns.lonlat(x, y)
    return round(lon + EAST, 7), lat


def write(made: Town, path: Path) -> Path:
    """The town as a map file, moved."""

    def moved(found: re.Match[str]) -> str:
        return f'lon="{float(found[1]) + EAST:.7f}"'

    path.write_text(re.sub(r'lon="([-.\d]+)"', moved, made.osm_xml()), encoding="utf-8")
    return path


@pytest.fixture
def roads(tmp_path: Path) -> Path:
    write(town(), tmp_path / "town.osm")
    assert run("get", tmp_path / "town.osm", "-o", tmp_path / "town.roads").exit_code == 0
    return tmp_path / "town.roads"


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(arg) for arg in args])


def done(*args: str | Path) -> dict[str, Any]:
    """The JSON of a command that must succeed."""
    result = run(*args, "--json")
    assert result.exception is None, result.output
    told: dict[str, Any] = json.loads(result.stdout)
    return told


def county(path: Path, *rows: str) -> Path:
    """A list whose first row fits Heather Street, whose second is Ash Street lower than posted."""
    fits = [
        f"{place(2, 3)},12'6\",Heather Street,2023-04-01",
        f"{place(0, 498)},13.5,Ash Street,2023-04-02",
    ]
    lines = ["LATITUDE,LONGITUDE,MIN_CLR,ROAD,SEEN", *fits, *rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def place(x: float, y: float) -> str:
    lon, lat = lonlat(x, y)
    return f"{lat},{lon}"


COLUMNS = (
    *("--height", "min clr", "--unit", "ft", "--lat", "LATITUDE", "--lon", "LONGITUDE"),
    *("--name", "ROAD", "--date", "SEEN"),
)


def structures(path: Path) -> dict[str, Structure]:
    return {s.road: s for s in list_structures(path)[0]}


def added(structure: Structure) -> list[tuple[str, str]]:
    return [(e.source, e.raw) for e in structure.evidence if e.source != "OpenStreetMap"]


# --- lists ------------------------------------------------------------------------------------------


def test_a_list_is_added_without_the_map_file(roads: Path, tmp_path: Path) -> None:
    (tmp_path / "town.osm").unlink()
    far = f"{place(0, 750)},14,Brook Lane,2020-01-01"
    off = f"{LAT0 + 1},{LON0},14,Elsewhere,"
    path = county(
        tmp_path / "county.csv", far, off, "91,-40,14,Broken,", f"{place(0, 0)},tall,Heather Street,"
    )
    left = tmp_path / "left.csv"
    result = run("evidence", "add", roads, path, *COLUMNS, "--unmatched", left)
    assert result.exception is None, result.output
    for words in (
        "county.csv, read 20",
        "3 records in the area of the map, 1 outside it, 2 rows could not be used",
        "2 bridges matched, 1 not matched",
        "county.csv, line 2 (Heather Street): matched with score",
        "name agrees",
        "county.csv, line 4 (Brook Lane): not matched, no bridge of the map within 150 m",
        "heights disagree: way/20 maxheight=15'0\"",
        "line 6: latitude 91 is outside",
        "line 7: 'tall'",
        "Of 3 bridges and tunnels over roads, 2 have a height to rely on, 1 without the lists",
    ):
        assert words in result.stdout, (words, result.stdout)
    found = structures(roads)
    assert added(found["Heather Street"]) == [("county.csv", "12'6\"")]
    assert found["Heather Street"].lowest() == Length.from_feet(12, 6)
    assert found["Heather Street"].verified()
    assert found["Heather Street"].evidence[-1].date == "2023-04-01"
    assert found["Ash Street"].lowest() == Length.from_feet(13, 6)  # the lower counts
    assert added(found["Brook Lane"]) == []
    rows = list(csv.DictReader(left.read_text(encoding="utf-8").splitlines()))
    assert [(r["what"], r["where"]) for r in rows] == [
        ("not matched", "line 4"),
        ("not usable", "line 6"),
        ("not usable", "line 7"),
    ]
    assert rows[0]["heights"] == "min clr: 4.2672 m"
    assert all(row["reason"] for row in rows)


def test_the_drive_keeps_to_a_height_that_was_added(roads: Path, tmp_path: Path) -> None:
    there = ("drive", roads, "--from", place(-150, 0), "--to", place(150, 0), "--height", "13'0\"")
    assert run(*there, "--unverified", "accept").exit_code == 0
    done("evidence", "add", roads, county(tmp_path / "county.csv"), *COLUMNS)
    blocked = run(*there, "--unverified", "accept")
    assert "BLOCKED" in blocked.stdout
    assert "12'6\"" in blocked.stdout
    assert "county.csv" in blocked.stdout


def test_adding_twice_does_not_double(roads: Path, tmp_path: Path) -> None:
    path = county(tmp_path / "county.csv")
    first = done("evidence", "add", roads, path, *COLUMNS)
    once = structures(roads)
    again = done("evidence", "add", roads, path, *COLUMNS)
    assert structures(roads) == once
    assert again["matches"] == first["matches"]
    assert again["before"] == first["before"]
    assert again["notes"][0].startswith("it replaces county.csv as read on ")
    # The same content under another name is the same list.
    copy = path.rename(tmp_path / "copy of it.csv")
    third = done("evidence", "add", roads, copy, *COLUMNS)
    assert third["notes"] == ["it holds the same as county.csv, which it replaces"]
    assert [each["name"] for each in done("evidence", "list", roads)["lists"]] == ["copy of it.csv"]
    assert added(structures(roads)["Heather Street"]) == [("copy of it.csv", "12'6\"")]


def test_a_corrected_list_replaces_the_wrong_one(roads: Path, tmp_path: Path) -> None:
    path = county(tmp_path / "county.csv")
    done("evidence", "add", roads, path, *COLUMNS)
    path.write_text(f"lat,lon,h,name\n{place(2, 3)},3.7,Heather Street\n", encoding="utf-8")
    done("evidence", "add", roads, path, "--height", "h", "--unit", "m")
    found = structures(roads)
    assert found["Heather Street"].lowest() == Length.from_metres("3.7")
    assert found["Ash Street"].lowest() == Length.from_feet(15)
    assert not any("disagree" in w for s in found.values() for w in s.warnings)


def test_what_is_taken_away_leaves_the_file_as_it_was(roads: Path, tmp_path: Path) -> None:
    before = roads.read_bytes()
    done("evidence", "add", roads, county(tmp_path / "county.csv"), *COLUMNS, "--source", "County survey")
    assert roads.read_bytes() != before
    unknown = run("evidence", "remove", roads, "county.csv")
    assert isinstance(unknown.exception, UsageError)
    assert "County survey" in str(unknown.exception)
    done("evidence", "remove", roads, "County survey")
    assert roads.read_bytes() == before
    assert "No list of heights has been added." in run("evidence", "list", roads).stdout


def test_geojson_and_web_addresses_are_read_too(roads: Path, tmp_path: Path, site: str) -> None:
    lon, lat = lonlat(2, 3)
    feature = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [lon, lat]},
        "properties": {"clearance": 3.81, "name": "Heather Street"},
    }
    document = {"type": "FeatureCollection", "features": [feature]}
    (tmp_path / "heights.geojson").write_text(json.dumps(document), encoding="utf-8")
    told = done("evidence", "add", roads, f"{site}/heights.geojson", "--height", "clearance", "--unit", "m")
    assert [each["name"] for each in told["lists"]] == ["heights.geojson"]
    assert structures(roads)["Heather Street"].lowest() == Length.from_metres("3.81")


# --- failures leave the old file --------------------------------------------------------------------


def test_whatever_goes_wrong_the_old_road_file_stands(
    roads: Path, tmp_path: Path, site: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = roads.read_bytes()
    collects = gc.isenabled()
    path = county(tmp_path / "county.csv")
    table = tmp_path / "county.txt"
    table.write_text("lat,lon\n", encoding="utf-8")

    def refused(kind: type[ClearanceError], *args: str | Path) -> None:
        result = run("evidence", *args)
        assert isinstance(result.exception, kind), (args, result.exception)
        assert roads.read_bytes() == before
        assert gc.isenabled() == collects
        assert sorted(p.suffix for p in tmp_path.iterdir()) == [".csv", ".osm", ".roads", ".txt"]

    refused(InputError, "add", roads, path, "--height", "nothing", "--unit", "m")
    refused(InputError, "add", roads, tmp_path / "none.csv", *COLUMNS)
    refused(InputError, "add", roads, table, *COLUMNS)
    refused(InputError, "inventory", roads, path)
    refused(InputError, "inventory", roads, tmp_path / "none.txt")
    refused(DataUnavailableError, "inventory", roads, f"{site}/none.txt")
    refused(UsageError, "add", roads, path, *COLUMNS, "--source", "OpenStreetMap")
    refused(UsageError, "add", roads, path, *COLUMNS, "--unmatched", tmp_path / "left.xlsx")
    refused(RoadFileError, "add", path, path, *COLUMNS)
    assert run("evidence", "add", roads, path, "--height", "min clr", "--unit", "yards").exit_code == 2

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("clearance.network.roadfile.os.fsync", full)
    refused(OutputError, "add", roads, path, *COLUMNS)


def test_a_damaged_road_file_is_not_written_anew(roads: Path, tmp_path: Path) -> None:
    content = bytearray(roads.read_bytes())
    at = content.index(b"tables/ways.parquet") + 200
    content[at] ^= 1
    roads.write_bytes(content)
    result = run("evidence", "add", roads, county(tmp_path / "county.csv"), *COLUMNS)
    assert isinstance(result.exception, RoadFileError)
    assert roads.read_bytes() == content


def test_a_road_file_that_keeps_nothing_of_its_map_says_so(tmp_path: Path) -> None:
    bare = tmp_path / "bare.roads"
    write_road_file(build_network(town().extract(), ()), bare)
    result = run("evidence", "add", bare, county(tmp_path / "county.csv"), *COLUMNS)
    assert isinstance(result.exception, RoadFileError)
    assert "make it anew" in str(result.exception)


# --- inventories ------------------------------------------------------------------------------------


def coded(x: float, y: float, **items: str) -> str:
    """A row of an invented inventory at metres of the town."""
    lon, lat = lonlat(x, y)
    return delimited(
        {"16": dms(lat, 8), "17": dms(-lon, 9)} | {k.removeprefix("i"): v for k, v in items.items()}
    )


def dms(degrees: float, width: int) -> str:
    hundredths = round(degrees * 360_000)
    minutes, seconds = divmod(hundredths, 6000)
    return f"{minutes // 60:0{width - 6}d}{minutes % 60:02d}{seconds:04d}"


def inventory(path: Path, *rows: str) -> Path:
    fits = coded(3, 4, i8="1", i6A="HEATHER STREET", i7="SR 7", i54B="0452")
    path.write_text("\n".join([HEADER, fits, *rows, ""]), encoding="utf-8")
    return path


def test_an_inventory_is_added_from_a_file_or_an_address(roads: Path, tmp_path: Path, site: str) -> None:
    broken = coded(0, 0, i8="2").replace(dms(LAT0, 8), "99999999")
    inventory(tmp_path / "XX23.txt", broken, coded(0, 60_000, i8="3"))
    told = done("evidence", "inventory", roads, f"{site}/XX23.txt")
    (only,) = told["lists"]
    assert (only["name"], only["source"]) == ("XX23.txt", "National Bridge Inventory 2023")
    assert (only["records"], only["outside"], only["unused_rows"]) == (1, 1, 1)
    (match,) = told["matches"]
    assert match["bridge"]["records"][0]["heights_m"] == {"Item 54": 4.52}
    (row,) = told["unused"]
    assert row["where"] == "line 3, structure 2"
    assert row["dropped"]
    found = structures(roads)["Heather Street"]
    assert found.lowest() == Length.from_metres("4.52")
    assert found.verified()
    told = done("evidence", "inventory", roads, tmp_path / "XX23.txt", "--year", "2021")
    assert told["lists"][0]["source"] == "National Bridge Inventory 2021"


def test_two_files_of_one_year_are_one_inventory(roads: Path, tmp_path: Path) -> None:
    """A record in both counts once, as the file says that was added last; other records stay."""
    done("evidence", "inventory", roads, inventory(tmp_path / "XX23.txt"))
    brook = coded(2, 1000, i8="9", i6A="BROOK LANE", i7="SR 7", i54B="0390")
    lower = coded(3, 4, i8="1", i6A="HEATHER STREET", i7="SR 7", i54B="0410")
    (tmp_path / "YY23.txt").write_text(f"{HEADER}\n{brook}\n{lower}\n", encoding="utf-8")
    done("evidence", "inventory", roads, tmp_path / "YY23.txt")
    found = structures(roads)
    assert added(found["Heather Street"]) == [("National Bridge Inventory 2023", "H 4.1")]
    assert found["Brook Lane"].lowest() == Length.from_metres("3.9")
    assert [each["name"] for each in done("evidence", "list", roads)["lists"]] == ["XX23.txt", "YY23.txt"]
    done("evidence", "remove", roads, "YY23.txt")
    assert structures(roads)["Heather Street"].lowest() == Length.from_metres("4.52")


def test_get_with_an_inventory_is_get_and_then_the_inventory(roads: Path, tmp_path: Path) -> None:
    path = inventory(tmp_path / "list.txt")
    report = done("evidence", "inventory", roads, path, "--year", "2022")
    made = done(
        "get",
        tmp_path / "town.osm",
        "-o",
        tmp_path / "b.roads",
        "--inventory",
        path,
        "--inventory-year",
        "2022",
    )
    assert made["evidence"]["matches"] == report["matches"]
    assert made["evidence"]["after"] == report["after"]
    one, other = open_road_file(roads), open_road_file(tmp_path / "b.roads")
    assert list(one.structures) == list(other.structures)
    assert np.array_equal(one.structure_low, other.structure_low)
    assert open_kept(roads).lists[0].records == open_kept(tmp_path / "b.roads").lists[0].records
    none = run("get", tmp_path / "town.osm", "-o", tmp_path / "c.roads", "--inventory", tmp_path / "no.txt")
    assert isinstance(none.exception, InputError)
    assert not (tmp_path / "c.roads").exists()
    shown = run("get", tmp_path / "town.osm", "-o", tmp_path / "c.roads", "--inventory", path)
    assert "1 bridge matched" in shown.stderr


def test_a_truss_that_only_an_inventory_knows_is_on_the_drive(tmp_path: Path) -> None:
    street = {"highway": "residential", "name": "Heather Street"}
    made = Town().node(1, -200, 0).node(2, -30, 0).node(3, 30, 0).node(4, 200, 0)
    made.way(10, [1, 2], street).way(11, [2, 3], street | {"bridge": "yes"}).way(12, [3, 4], street)
    write(made, tmp_path / "river.osm")
    path = tmp_path / "river.roads"
    assert run("get", tmp_path / "river.osm", "-o", path).exit_code == 0
    there = ("drive", path, "--from", place(-150, 0), "--to", place(150, 0), "--height", "12'0\"")
    assert "nothing over or across" in run(*there).stdout
    row = coded(-28, 3, i7="HEATHER STREET", i6A="OLD BROOK", i42B="5", i53="0360", i54A="N", i54B="0000")
    (tmp_path / "XX24.txt").write_text(f"{HEADER}\n{row}\n", encoding="utf-8")
    before = path.read_bytes()
    done("evidence", "inventory", path, tmp_path / "XX24.txt")
    assert "BLOCKED" in run(*there).stdout
    done("evidence", "remove", path, "XX24.txt")
    assert path.read_bytes() == before


@pytest.mark.skipif(not real.DATA.is_dir(), reason="../shared/data is not here")
def test_an_invented_inventory_over_a_real_map(tmp_path: Path) -> None:
    """Every planted record finds its bridge through the commands, no near-miss does.

    Map data © OpenStreetMap contributors, ODbL 1.0; all records are invented.
    """
    right, wrong, _ = real.laid_over()
    records = [*wrong, *(record for record, _ in right)]
    rows = []
    for r in records:
        cells = {
            "1": "231", "8": r.number, "5A": r.record_type, "5E": "0", "6A": r.features, "7": r.carried,
            "9": "", "10": r.item_10.raw.split(" ")[-1] or "99.99", "16": dms(r.lat, 8),
            "17": dms(-r.lon, 9), "28A": "", "28B": "", "34": "",
            "42A": r.service_on, "42B": r.service_under, "43B": "02", "53": "99.99",
            "54A": r.item_54.raw.split(" ")[0] or "H", "54B": r.item_54.raw.split(" ")[-1] or "0",
            "90": "0623", "101": r.parallel or "N", "102": r.traffic,
        }  # fmt: skip
        rows.append(delimited(cells))
    path = tmp_path / "ME24.txt"
    path.write_text("\n".join([HEADER, *rows, ""]), encoding="utf-8")
    area = tmp_path / "bangor.roads"
    assert run("get", real.DATA / "bangor-maine.osm.pbf", "-o", area).exit_code == 0
    told = done("evidence", "inventory", area, path)
    assert told["lists"][0]["records"] == len(records)
    assert told["unused"] == []
    matched = {m["bridge"]["records"][0]["structure"]: set(m["structures"]) for m in told["matches"]}
    for record, deck in right:
        assert {s.key for s in real.decks()[deck]} <= matched[record.number], record.number
    false = {r.number for r in wrong} & matched.keys()
    assert [number for number in false if matched[number]] == []
    assert all(e.figure != real.WRONG for s in open_road_file(area).structures for e in s.evidence)
    assert told["before"]["known"] == 0
    assert told["after"]["known"] > 30


# --- rules, dips, summary ---------------------------------------------------------------------------


def test_rules_of_the_country_are_told_at_get_and_clear_nothing(tmp_path: Path) -> None:
    street = '<tag k="name" v="Heather Street"/>'
    text = write(town(), tmp_path / "ca.osm").read_text(encoding="utf-8")
    text = text.replace(street, f'{street}<tag k="tiger:county" v="Invented, CA"/>')
    (tmp_path / "ca.osm").write_text(text, encoding="utf-8")
    path = tmp_path / "ca.roads"
    assert run("get", tmp_path / "ca.osm", "-o", path).exit_code == 0
    found = structures(path)["Heather Street"]
    assert [e.evidence_class for e in found.evidence] == [EvidenceClass.IMPLIED] * 2
    assert found.implied == Length.from_feet(15)
    drive = run("drive", path, "--from", place(-150, 0), "--to", place(150, 0), "--height", "12'0\"").stdout
    words = " ".join(drive.split())
    assert "NOT VERIFIED" in words
    assert "By a general rule, not by a height: no sign is required from 15'0\" up" in words
    assert 'rule US=""' not in words
    done("evidence", "add", path, county(tmp_path / "county.csv"), *COLUMNS)
    after = run("drive", path, "--from", place(-150, 0), "--to", place(150, 0), "--height", "10'0\"").stdout
    assert "general rule" not in after
    done("evidence", "remove", path, "county.csv")
    assert structures(path)["Heather Street"] == found


def ground(path: Path, rate: float) -> Path:
    """A grid in which every street dips by rate x^2 at x = 0."""
    rasterio = pytest.importorskip("rasterio")
    step = 1 / M_PER_LAT
    wide, high = 360, 1120
    lon = LON0 + (np.arange(wide) - wide / 2 + 0.5) * step
    heights = np.repeat((rate * ((lon - LON0) * M_PER_LON) ** 2)[None, :], high, axis=0).astype(np.float32)
    transform = rasterio.Affine(step, 0.0, LON0 - wide / 2 * step, 0.0, -step, LAT0 + 1070 * step)
    with rasterio.open(
        path, "w", driver="GTiff", width=wide, height=high, count=1, dtype="float32", crs="EPSG:4326",
        transform=transform,
    ) as file:  # fmt: skip
        file.write(heights, 1)
    return path


def test_a_dip_is_taken_off_the_headroom_of_a_coach_whose_wheelbase_is_told(tmp_path: Path) -> None:
    write(town(), tmp_path / "town.osm")
    grid = ground(tmp_path / "dem.tif", 0.012)
    path = tmp_path / "town.roads"
    made = run("get", tmp_path / "town.osm", "-o", path, "--elevation", grid)
    assert made.exit_code == 0, made.output
    assert "the road's profile is known under 3 structures" in made.stderr
    assert "ground heights from dem.tif" in made.stderr
    found = structures(path)["Ash Street"]
    assert "the road dips or humps here" in found.warnings[-1]
    assert found.lowest() == Length.from_feet(15)
    coach = tmp_path / "coach.toml"
    there = ("drive", path, "--from", place(-150, 500), "--to", place(150, 500), "--coach", coach)
    told = Coach(height=Length.from_feet(14), own_length=Length.from_feet(40))
    coach.write_text(coach_text(told), encoding="utf-8")
    assert run(*there).stdout.startswith("CLEAR")
    long = Coach(
        height=Length.from_feet(14),
        own_length=Length.from_feet(40),
        wheelbase=Length.from_metres("9"),
        rear_overhang=Length.from_metres("2.5"),
    )
    coach.write_text(coach_text(long), encoding="utf-8")
    # 0.012 x 81 / 4 = 24 cm off 15'0" is 14'2", less than the 14'6" needed.
    result = run(*there)
    words = " ".join(result.stdout.split())
    assert words.startswith("BLOCKED")
    assert "wheelbase of 9.0 m loses 25 cm" in words
    listed = json.loads(run("structures", path, "--coach", coach, "--json").stdout)
    stands = {f["properties"]["road"]: f["properties"]["standing"] for f in listed["features"]}
    assert stands["Ash Street"] == "too low"
    done("evidence", "add", path, county(tmp_path / "county.csv"), *COLUMNS)
    assert open_road_file(path).profile_structure.size == 3


def test_a_grid_that_is_none_is_told_before_anything_is_done(tmp_path: Path) -> None:
    pytest.importorskip("rasterio")
    write(town(), tmp_path / "town.osm")
    bad = tmp_path / "dem.tif"
    bad.write_bytes(b"II*\x00 but no more")
    result = run("get", tmp_path / "town.osm", "-o", tmp_path / "x.roads", "--elevation", bad)
    assert isinstance(result.exception, InputError)
    assert not (tmp_path / "x.roads").exists()


def test_the_summary_is_text_and_json(roads: Path, tmp_path: Path) -> None:
    text = run("structures", roads, "--summary").stdout
    assert text.startswith("Of 3 bridges and tunnels over roads, 1 have a known height (33 %)")
    assert "OpenStreetMap contributors" in text
    told = done("structures", roads, "--summary")
    assert (told["crossings"], told["known"]) == (3, 1)
    done("evidence", "add", roads, county(tmp_path / "county.csv"), *COLUMNS)
    told = done("structures", roads, "--summary")
    assert (told["known"], told["conflicts"], told["kinds"]) == (
        2,
        1,
        {"bridge": {"measured": 1, "posted": 1, "none": 1}},
    )
    assert isinstance(run("structures", roads, "--summary", "-o", tmp_path / "s.csv").exception, UsageError)


# --- a server on this machine -----------------------------------------------------------------------


@pytest.fixture
def site(tmp_path: Path) -> Iterator[str]:
    """The address of a server that hands out the files of the test."""

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(tmp_path)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
