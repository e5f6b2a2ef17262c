"""Many destinations screened from the command line."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.cli.test_commands import SAMPLE, YARD, run

COACH = ["--height", "13'0\"", "--margin", "6in", "--comfort", "14ft"]
NONE = {"XDG_DATA_HOME": "/nonexistent"}


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    assert run("get", SAMPLE, "-o", path).code == 0
    return path


@pytest.fixture
def places(tmp_path: Path) -> Path:
    path = tmp_path / "places.csv"
    path.write_text(
        "name,place,lat,lon\nMill,Mill House,,\nlost,No Such Place,,\nQuay,Harbor Quay Visitor Lot,,\n"
        "north,,north,1\nCamp,Lighthouse Camp,,\n",
        encoding="utf-8",
    )
    return path


@pytest.fixture
def coaches(tmp_path: Path) -> list[str | Path]:
    told: list[str | Path] = []
    for name, height in (("Heron", "13ft"), ("Wren", "10ft 6in")):
        path = tmp_path / f"{name.lower()}.toml"
        path.write_text(f'name = "{name}"\nheight = "{height}"\n', encoding="utf-8")
        told += ["--coach", path]
    return told


def test_bad_rows_are_told_by_their_line_and_the_rest_is_screened(roads: Path, places: Path) -> None:
    done = run("screen", roads, places, "--from", YARD, *COACH, env=NONE)
    assert done.code == 0, done.err
    told = [line for line in done.err.splitlines() if line.startswith("not screened: ")]
    assert [line.split(":")[1].strip() for line in told] == ["line 5", "line 3"]
    for said in ("1 blocked, 2 not screened", "Mill House", "Harbor Quay Visitor Lot", "Lighthouse Camp"):
        assert said in done.out, said


def test_several_coaches_in_every_format(
    roads: Path, places: Path, coaches: list[str | Path], tmp_path: Path
) -> None:
    endings = ("csv", "geojson", "json", "txt", "gpkg", "html", "pdf")
    files = [tmp_path / f"season.{ending}" for ending in endings]
    outputs = [arg for file in files for arg in ("-o", file)]
    done = run("screen", roads, places, "--from", YARD, *coaches, *outputs, env=NONE)
    assert done.code == 0, done.err
    assert [line for line in done.err.splitlines() if line.startswith("written")] == [
        f"written: {file}" for file in files
    ]
    with files[0].open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    verdicts = {(r["coach"], r["name"]): r["verdict"] for r in rows}
    assert verdicts["Heron", "Lighthouse Camp"] == "BLOCKED"
    assert verdicts["Wren", "Lighthouse Camp"] != "BLOCKED"
    assert json.loads(files[1].read_text(encoding="utf-8"))["type"] == "FeatureCollection"
    report = json.loads(files[2].read_text(encoding="utf-8"))
    assert [c["label"] for c in report["coaches"]] == ["Heron", "Wren"]
    assert len(report["rows"]) == 6
    assert files[3].read_text(encoding="utf-8") == done.out
    assert files[4].read_bytes().startswith(b"SQLite format 3\0")
    assert "Lighthouse Camp" in files[5].read_text(encoding="utf-8")
    assert files[6].read_bytes().startswith(b"%PDF")
    printed = run("screen", roads, places, "--from", YARD, *coaches, "--json", env=NONE)
    assert json.loads(printed.out) == report


def test_the_same_list_in_other_orders_holds_the_same(roads: Path, places: Path) -> None:
    orders = []
    for by in ("list", "time", "name"):
        done = run("screen", roads, places, "--from", YARD, *COACH, "--sort", by, "--json", env=NONE)
        orders.append([r["number"] for r in json.loads(done.out)["rows"]])
    assert orders[0] == sorted(orders[0])
    assert len({tuple(sorted(order)) for order in orders}) == 1
    assert len({tuple(order) for order in orders}) > 1


def test_only_blocked_destinations_give_the_code_of_blocked(roads: Path, tmp_path: Path) -> None:
    one = tmp_path / "one.csv"
    one.write_text("place\nLighthouse Camp\n", encoding="utf-8")
    done = run("screen", roads, one, "--from", YARD, *COACH, env=NONE)
    assert (done.code, "BLOCKED" in done.out) == (3, True)


def test_no_destination_screened_is_no_good_news(roads: Path, tmp_path: Path) -> None:
    """All rows can be read, and all lie elsewhere: latitude and longitude are the wrong way round."""
    swapped = tmp_path / "swapped.csv"
    swapped.write_text("name,lat,lon\nQuay,-40.00444,44.99892\n", encoding="utf-8")
    done = run("screen", roads, swapped, "--from", YARD, *COACH, env=NONE)
    assert (done.code, "check the order (lat,lon)" in done.err) == (3, True)


def test_a_list_without_a_row_to_use_names_some_of_them(roads: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("name,lat,lon\n" + "Somewhere,north,west\n" * 1200, encoding="utf-8")
    done = run("screen", roads, bad, "--from", YARD, *COACH, env=NONE)
    assert (done.code, "line 2: " in done.err, "; and 1,190 more" in done.err) == (1, True, True)
    assert len(done.err) < 2000


def test_mistakes_write_nothing(roads: Path, places: Path, coaches: list[str | Path], tmp_path: Path) -> None:
    empty = tmp_path / "empty.csv"
    empty.write_text("name,place\nlost,No Such Place\n", encoding="utf-8")
    out = tmp_path / "out.csv"
    for arguments, code, said in (
        ([roads, places, "--from", YARD], 2, "--height or --coach is needed"),
        ([roads, places, *COACH], 2, "--from"),
        ([roads, places, "--from", YARD, *COACH, "-o", tmp_path / "x.doc"], 2, "ending says the format"),
        ([roads, places, "--from", YARD, *coaches, "--height", "12ft"], 2, "several --coach"),
        ([roads, places, "--from", "Nowhere At All", *COACH], 1, "Nowhere At All"),
        ([roads, empty, "--from", YARD, *COACH], 1, "no row can be used"),
        ([roads, tmp_path / "absent.csv", "--from", YARD, *COACH], 1, "absent.csv"),
        ([roads, places, "--from", YARD, "--coach", tmp_path / "absent.toml"], 1, "absent.toml"),
    ):
        done = run("screen", *arguments, "-o", out, env=NONE)
        assert (done.code, said in done.err) == (code, True), done.err
        assert not out.exists()


def test_the_tallest_coach_on_every_road_agrees_with_the_rows(
    roads: Path, places: Path, tmp_path: Path
) -> None:
    """A row's place lies on a road that admits what the row says."""
    tall, report = tmp_path / "tall.geojson", tmp_path / "season.json"
    asked: list[str | Path] = ["screen", roads, places, "--from", YARD, *COACH]
    packed = tmp_path / "tall.gpkg"
    done = run(*asked, "--tallest", tall, "--tallest", packed, "-o", report, env=NONE)
    assert done.code == 0, done.err
    found = json.loads(tall.read_text(encoding="utf-8"))["features"]
    ways = {f["properties"]["way"] for f in found if f["properties"]["role"] == "road"}
    assert len(ways) > 20
    admitted = {f["properties"].get("tallest_clearance_m") for f in found}
    rows = json.loads(report.read_text(encoding="utf-8"))["rows"]
    known = [r["tallest"]["clearance"]["metres"] for r in rows if r["tallest"]["clearance"]]
    assert known
    assert set(known) <= admitted
    assert run(*asked, "--tallest", tmp_path / "tall.csv", env=NONE).code == 2
    twice = run(*asked, "--tallest", tmp_path / "two.gpkg", "-o", tmp_path / "two.gpkg", env=NONE)
    assert (twice.code, "give two names" in twice.err) == (2, True)
    assert packed.read_bytes().startswith(b"SQLite format 3\0")


def test_what_changed_since_the_last_map(roads: Path, places: Path, tmp_path: Path) -> None:
    """The tunnel to the camp is measured anew and found higher; the report tells that, and why it matters."""
    old, new, table = tmp_path / "old.json", tmp_path / "new.json", tmp_path / "new.csv"
    assert run("screen", roads, places, "--from", YARD, *COACH, "-o", old, env=NONE).code == 0
    text = SAMPLE.read_text(encoding="utf-8")
    tunnel = text[: text.index('v="Point Tunnel"')].rindex("<way ")
    changed = text[:tunnel] + text[tunnel:].replace('k="maxheight" v="4.0"', 'k="maxheight" v="4.8"', 1)
    assert changed != text
    (tmp_path / "later.osm").write_text(changed, encoding="utf-8")
    later = tmp_path / "later.roads"
    assert run("get", tmp_path / "later.osm", "-o", later).code == 0
    asked: list[str | Path] = ["screen", later, places, "--from", YARD, *COACH, "--since", old]
    done = run(*asked, "-o", new, "-o", table, env=NONE)
    assert done.code == 0, done.err
    said = " ".join(done.out.split())
    assert "1 verdict moved, 2 as before. Structures: 1 higher than before." in said
    assert "was BLOCKED. Tunnel (Point Tunnel), Shore Road: higher than before (15'8\", was 13'1\")." in said
    changes = json.loads(new.read_text(encoding="utf-8"))["changes"]
    assert [m["name"] for m in changes["moved"]] == ["Lighthouse Camp"]
    assert changes["moved"][0]["why"][0]["kind"] == "structure"
    with table.open(encoding="utf-8", newline="") as file:
        moved = {r["name"]: r["was"] for r in csv.DictReader(file) if r["was"]}
    assert moved == {"Lighthouse Camp": "BLOCKED"}
    # Nothing changed since itself.
    again = run("screen", roads, places, "--from", YARD, *COACH, "--since", old, env=NONE)
    assert "no verdicts moved, 3 as before. No structure changed." in " ".join(again.out.split())
    bad = run("screen", roads, places, "--from", YARD, *COACH, "--since", table, env=NONE)
    assert (bad.code, "is not JSON" in bad.err) == (1, True)
