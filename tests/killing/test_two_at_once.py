"""Two programs on one road file: both changes count, and whoever reads meanwhile reads a whole file."""

from __future__ import annotations

from pathlib import Path

from clearance.core.whole_file import only_writer
from clearance.network.roadfile import open_kept, open_road_file
from tests.killing.nursery import Nursery
from tests.killing.trials import street


def heights(folder: Path, name: str) -> list[str | Path]:
    path = folder / name
    path.write_text("lat,lon,height,name\n45.0,-39.99936,4.2,Old Street\n", encoding="utf-8")
    return [
        "evidence",
        "add",
        folder / "area.roads",
        path,
        "--height",
        "height",
        "--unit",
        "m",
        "--source",
        name,
    ]


def area(nest: Nursery, folder: Path, name: str = "area.roads", length: int = 400) -> Path:
    osm, roads = folder / f"{name}.osm", folder / name
    osm.write_text(street("Old Street", length), encoding="utf-8")
    nest.run("get", osm, "-o", roads)
    return roads


def test_of_two_lists_added_at_once_neither_is_lost(nest: Nursery, tmp_path: Path) -> None:
    roads = area(nest, tmp_path)
    for turn in range(2):
        both = [nest.start(*heights(tmp_path, f"{turn}{one}.csv")) for one in "ab"]
        assert [one.wait() for one in both] == [0, 0], [one.said() for one in both]
        # The second holds the same heights as the first, and replaces it only if it knows of it.
        assert len(open_kept(roads).lists) == 1
    lists = tmp_path / "other.csv"
    lists.write_text("lat,lon,height,name\n45.0,-39.99936,4.3,Old Street\n", encoding="utf-8")
    more: list[str | Path] = ["evidence", "add", roads, lists, "--height", "height", "--unit", "m"]
    both = [nest.start(*more), nest.start(*heights(tmp_path, "last.csv"))]
    assert [one.wait() for one in both] == [0, 0], [one.said() for one in both]
    assert {each.name for each in open_kept(roads).lists} == {"other.csv", "last.csv"}


def test_a_map_made_anew_while_heights_are_added_is_not_undone(nest: Nursery, tmp_path: Path) -> None:
    """`get` waits for whoever is changing the file, so that the old map never comes back over the new one."""
    roads = area(nest, tmp_path)
    later = tmp_path / "later.osm"
    later.write_text(street("New Street", 900), encoding="utf-8")
    with only_writer(roads):
        child = nest.start("get", later, "-o", roads)
        before = open_road_file(roads)
        assert [way.name for way in before.ways] == ["Old Street"]
    assert child.wait() == 0, child.said()
    assert [way.name for way in open_road_file(roads).ways] == ["New Street"]


def test_readers_read_the_old_file_or_the_new_one(nest: Nursery, tmp_path: Path) -> None:
    roads = area(nest, tmp_path)
    other = area(nest, tmp_path, "other.roads", 900)
    lengths = {round(float(open_road_file(path).arc_length.sum())) for path in (roads, other)}
    found = set()
    for turn in range(2):
        source = tmp_path / ("other.roads.osm" if turn % 2 == 0 else "area.roads.osm")
        child = nest.start("get", source, "-o", roads)
        for _ in range(20):
            found.add(round(float(open_road_file(roads).arc_length.sum())))
        assert child.wait() == 0, child.said()
    assert found <= lengths
