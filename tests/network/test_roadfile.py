"""The road file: the same network comes back, and nothing else is taken for one."""

from __future__ import annotations

import bz2
import dataclasses
import gc
import json
import os
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.errors import OutputError, RoadFileError
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network import roadfile
from clearance.network.build import build_network
from clearance.network.kept import Kept
from clearance.network.network import Network
from clearance.network.roadfile import check_road_file, open_kept, open_road_file, write_road_file
from clearance.network.rows import DECODERS, Rows, packed
from tests.network.moves import network_of
from tests.routing.grid_towns import GridTown, grid_towns
from tests.towns import Town

STRUCTURE = Structure(
    key="bridge:way/11:way/12",
    kind=Kind.RAIL_BRIDGE,
    lon=-40.0,
    lat=45.0,
    name='Viaduct "Äöß"',
    road="Mill Lane",
    evidence=(
        Evidence(
            evidence_class=EvidenceClass.POSTED,
            figure=Length(41148),
            direction=Direction.FORWARD,
            element="way/11",
            key="maxheight:forward",
            raw="13'6\"",
            condition="Mo-Fr, \\ wet",
            can_clear=False,
            note="a, b",
            date="2026-01-01",
        ),
        Evidence(evidence_class=EvidenceClass.NONE),
    ),
    spans=(Span(way=11, start=0.25, end=1 / 3, whole_way=True),),
    nodes=(1, 2),
    upper="way/12",
    ambiguous_order=True,
    tags={"way/11": {"maxheight": "13'6\"", "name": "Mill\nLane"}},
    warnings=("one", "two"),
)


def _town() -> Town:
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 100, 0)
        .node(3, 200, 0, {"barrier": "gate", "access:conditional": "no @ wet"})
    )
    town.node(4, 300, 0).way(11, [1, 2, 3, 4], {"highway": "residential", "name": "Mill Lane"})
    town.node(8, 150, -50).node(9, 160, 50).way(13, [8, 9], {"railway": "rail", "name": "Coast Line"})
    return town.way(12, [2, 4], {"highway": "service", "maxweight": "x"})


def _network() -> Network:
    places = (Place(lon=1.5, lat=2.5, name="Mill Lane", kind="street", osm="way/11"), Place(lon=0, lat=0))
    return build_network(_town().extract(), [STRUCTURE], places)


@pytest.fixture
def road_file(tmp_path: Path) -> Path:
    path = tmp_path / "area.roads"
    write_road_file(_network(), path)
    return path


def _assert_same(one: Network, other: Network) -> None:
    for field in dataclasses.fields(Network):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype
            assert a.shape == b.shape
            np.testing.assert_array_equal(a, b, err_msg=field.name)
        elif field.name == "info":
            assert a == b
        else:
            assert list(a) == list(b)
            assert [b[i] for i in range(len(b))] == list(a)


# --- there and back ----------------------------------------------------------------------------------


def test_a_network_comes_back_equal_in_every_field(road_file: Path) -> None:
    network = _network()
    assert [line.name for line in network.backdrop] == ["Coast Line"]
    _assert_same(network, open_road_file(road_file))
    check_road_file(road_file)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(grid_towns())
def test_random_networks_come_back_equal(tmp_path: Path, town: GridTown) -> None:
    network = build_network(town.town().extract(), town.structures())
    path = tmp_path / "random.roads"
    write_road_file(network, path)
    _assert_same(network, open_road_file(path))


def test_an_empty_network_comes_back(tmp_path: Path) -> None:
    network = network_of(Town().node(1, 0, 0).node(2, 1, 1).way(11, [1, 2], {"highway": "footway"}))
    write_road_file(network, tmp_path / "empty.roads")
    _assert_same(network, open_road_file(tmp_path / "empty.roads"))


def test_arrays_are_mapped_where_they_lie_and_cannot_be_written(road_file: Path) -> None:
    network = open_road_file(road_file)
    assert network.arc_length.ctypes.data % 64 == 0
    assert not network.arc_length.flags.owndata
    with pytest.raises(ValueError, match="read-only"):
        network.arc_length[0] = 0.0


def test_the_same_network_gives_the_same_bytes(road_file: Path, tmp_path: Path) -> None:
    write_road_file(open_road_file(road_file), tmp_path / "again.roads")
    assert (tmp_path / "again.roads").read_bytes() == road_file.read_bytes()


def test_an_open_network_outlives_its_file(road_file: Path, tmp_path: Path) -> None:
    network = open_road_file(road_file)
    write_road_file(network_of(Town().node(1, 0, 0).node(2, 9, 0).way(1, [1, 2])), road_file)
    assert list(network.structures) == [STRUCTURE]
    assert network.arc_tail.size == _network().arc_tail.size
    assert open_road_file(road_file).arc_tail.size == 2
    assert [p.name for p in tmp_path.iterdir()] == [road_file.name]


@pytest.mark.parametrize("over", [b"", b"\0" * 5000, b"other"], ids=["emptied", "zeros", "text"])
def test_a_file_written_over_in_place_changes_nothing_that_is_open(road_file: Path, over: bytes) -> None:
    """As `cp` does it, which does not replace a file but empties and fills it."""
    network = open_road_file(road_file)
    with road_file.open("r+b") as file:
        file.truncate(len(over))
        file.write(over)
    _assert_same(_network(), network)
    with pytest.raises(RoadFileError):
        open_road_file(road_file)


def test_a_large_file_is_mapped_and_no_other_answer(road_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(roadfile, "_READ_BYTES", 0)
    network = open_road_file(road_file)
    _assert_same(_network(), network)
    assert network.arc_length.ctypes.data % 64 == 0
    with pytest.raises(ValueError, match="read-only"):
        network.arc_length[0] = 0.0


def test_other_programs_can_read_it(road_file: Path) -> None:
    with zipfile.ZipFile(road_file) as container:
        assert container.testzip() is None
        manifest = json.loads(container.read("manifest.json"))
        with container.open("arrays/arc_length.npy") as member:
            np.testing.assert_array_equal(np.load(member), _network().arc_length)
        with container.open("tables/structures.parquet") as member:
            structures = pq.read_table(member).to_pylist()
        with container.open("tables/ways.parquet") as member:
            ways = pq.read_table(member).to_pylist()
    assert manifest["info"]["attribution"] == "© OpenStreetMap contributors, ODbL 1.0"
    assert manifest["info"]["source"] == "invented town"
    assert manifest["counts"]["structures"] == 1
    assert structures[0]["kind"] == "railway bridge"
    assert str(structures[0]["lowest_m"]) == "4.1148"
    assert [(way["id"], way["name"]) for way in ways] == [(11, "Mill Lane"), (12, "")]


# --- rows --------------------------------------------------------------------------------------------


def test_rows_are_a_sequence() -> None:
    places = [Place(lon=float(i), lat=0.0, name=f'"{i},') for i in range(5000)]
    rows: Rows[Place] = Rows("places", *packed(places))
    assert len(rows) == 5000
    assert rows == places
    assert rows[-1] == places[-1]
    assert rows[10:13] == tuple(places[10:13])
    assert rows[13:10] == ()
    assert rows[::-2500] == tuple(places[::-2500])
    assert rows != places[1:]
    with pytest.raises(IndexError):
        rows[5000]
    assert list(Rows[Place]("places", *packed([]))) == []


@given(
    st.lists(st.builds(Place, lon=st.floats(-180, 180), lat=st.floats(-90, 90), name=st.text()), max_size=5)
)
def test_any_text_survives(places: list[Place]) -> None:
    assert Rows[Place]("places", *packed(places)) == places


# --- what is refused ---------------------------------------------------------------------------------


def _refused(path: Path) -> str:
    with pytest.raises(RoadFileError) as refusal:
        open_road_file(path)
    message = str(refusal.value)
    assert str(path) in message
    assert "\n" not in message
    return message


def test_a_missing_file_a_folder_and_an_empty_file(tmp_path: Path) -> None:
    assert "no such file" in _refused(tmp_path / "none.roads")
    assert "is a folder" in _refused(tmp_path)
    (tmp_path / "empty.roads").touch()
    assert "is empty" in _refused(tmp_path / "empty.roads")


@pytest.mark.parametrize(
    ("content", "telling"),
    [
        (b"\x00\x00\x00\x0d\x0a\x09OSMHeader\x18\x8e\x01" + bytes(300), "OpenStreetMap data (PBF)"),
        (b'<?xml version="1.0"?>\n<osm version="0.6">\n</osm>\n', "OpenStreetMap data (XML)"),
        (bz2.compress(b"<osm/>"), "compressed"),
        (b"hello", "not a road file"),
        (b"{}", "not a road file"),
    ],
)
def test_other_files_are_told_from_road_files(tmp_path: Path, content: bytes, telling: str) -> None:
    path = tmp_path / "other"
    path.write_bytes(content)
    message = _refused(path)
    assert telling in message
    assert "clearance get" in message


def test_a_zip_file_of_something_else(tmp_path: Path) -> None:
    path = tmp_path / "other.zip"
    with zipfile.ZipFile(path, "w") as container:
        container.writestr("a.txt", "a")
    assert "a ZIP file but not a road file" in _refused(path)
    with zipfile.ZipFile(path, "w") as container:
        container.writestr("manifest.json", '{"format": "something", "schema": 1}')
    assert "a ZIP file but not a road file" in _refused(path)


def _rewritten(path: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The same container with changed members, aligned no longer where that matters not."""
    with zipfile.ZipFile(path) as container:
        members = {name: container.read(name) for name in container.namelist()}
    change(members)
    other = path.with_name("changed.roads")
    with zipfile.ZipFile(other, "w") as container:
        for name, content in members.items():
            container.writestr(name, content)
    return other


@pytest.mark.parametrize(("schema", "telling"), [(0, "an older version"), (999, "another version")])
def test_another_version_is_told(road_file: Path, schema: int, telling: str) -> None:
    def change(members: dict[str, bytes]) -> None:
        manifest = json.loads(members["manifest.json"])
        manifest["schema"] = schema
        members["manifest.json"] = json.dumps(manifest).encode()

    message = _refused(_rewritten(road_file, change))
    assert telling in message
    assert "make it anew with `clearance get`" in message


@pytest.mark.parametrize("manifest", [b"", b"[]", b"null", b'{"schema": 1}', b"\xff\xfe", b"[" * 100_000])
def test_a_broken_manifest(road_file: Path, manifest: bytes) -> None:
    def change(members: dict[str, bytes]) -> None:
        members["manifest.json"] = manifest

    assert "manifest" in _refused(_rewritten(road_file, change))


def test_a_missing_or_foreign_member(road_file: Path) -> None:
    def lose(members: dict[str, bytes]) -> None:
        del members["arrays/turn_to.npy"]

    def gain(members: dict[str, bytes]) -> None:
        members["more"] = b"x"

    for change in (lose, gain):
        assert "its parts are not those" in _refused(_rewritten(road_file, change))


def test_every_cut_is_found(road_file: Path, tmp_path: Path) -> None:
    whole = road_file.read_bytes()
    cut = tmp_path / "cut.roads"
    for size in [1, 3, 30, 100, *range(1000, len(whole) - 1, 2771), len(whole) - 1]:
        cut.write_bytes(whole[:size])
        _refused(cut)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_flipped_bits_are_found_or_harmless(road_file: Path, tmp_path: Path, data: st.DataObject) -> None:
    """Wherever a bit flips, the file is refused or holds the same network."""
    whole = bytearray(road_file.read_bytes())
    at = data.draw(st.integers(0, len(whole) - 1))
    whole[at] ^= 1 << data.draw(st.integers(0, 7))
    path = tmp_path / "flipped.roads"
    path.write_bytes(whole)
    try:
        network = open_road_file(path)
    except RoadFileError as refusal:
        assert str(path) in str(refusal)  # noqa: PT017, either outcome is right
        return
    _assert_same(_network(), network)


def _flip(path: Path, member: str) -> None:
    """Change one bit in the middle of a member."""
    with zipfile.ZipFile(path) as container:
        entry = container.getinfo(member)
    whole = bytearray(path.read_bytes())
    header = entry.header_offset
    names = int.from_bytes(whole[header + 26 : header + 28], "little")
    extra = int.from_bytes(whole[header + 28 : header + 30], "little")
    whole[header + 30 + names + extra + entry.file_size - 1] ^= 1
    path.write_bytes(whole)


#: What says how high and how limited a road is, and where.
DECISIVE = (
    *("arrays/structure_", "arrays/hit_", "arrays/nodehit_", "arrays/profile_", "rows/structures"),
    *("arrays/more_", "arrays/rule_", "arrays/noderule_", "rows/rules"),
)


@pytest.mark.parametrize("large", [False, True])
def test_beyond_the_budget_all_that_a_clearance_hangs_on_is_still_checked(
    road_file: Path, monkeypatch: pytest.MonkeyPatch, *, large: bool
) -> None:
    """Of a large file the rest is checked as far as the budget goes, and all of it by `check_road_file`."""
    monkeypatch.setattr(roadfile, "_LARGE_BYTES", 0 if large else 2**30)
    whole = road_file.read_bytes()
    with zipfile.ZipFile(road_file) as container:
        sizes = {e.filename: e.file_size for e in container.infolist()}
    decisive = [name for name in sizes if name.startswith(DECISIVE)]
    assert len(decisive) > 25
    monkeypatch.setattr(roadfile, "CHECKED_BYTES", sum(sizes[name] for name in decisive))
    for name in decisive:
        _flip(road_file, name)
        told = _refused(road_file)
        # Of a large file the sums come last: what no longer fits may be told first.
        assert f"its part {name} has changed" in told or (large and "is damaged" in told)
        road_file.write_bytes(whole)
    for name in ("arrays/arc_seconds.npy", "tables/ways.parquet"):
        _flip(road_file, name)
        open_road_file(road_file)
        with pytest.raises(RoadFileError, match=f"its part {name} has changed"):
            check_road_file(road_file)
        road_file.write_bytes(whole)


@pytest.mark.parametrize("kept", [True, False], ids=["with what is kept", "without"])
def test_a_flipped_bit_in_any_part_is_found(tmp_path: Path, *, kept: bool) -> None:
    """Files of small states lie below the budget: all of them is checked before anything is believed."""
    path = tmp_path / "area.roads"
    extract = _town().extract()
    write_road_file(_network(), path, Kept(ground=extract, lists=()) if kept else None)
    whole = path.read_bytes()
    with zipfile.ZipFile(path) as container:
        names = container.namelist()
    for name in names:
        _flip(path, name)
        read = open_kept if name.startswith("kept/") else open_road_file
        with pytest.raises(RoadFileError, match="damaged"):
            read(path)
        path.write_bytes(whole)
    assert any(name.startswith("kept/") for name in names) == kept


def test_a_damaged_row_is_told_when_it_is_read(road_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(roadfile, "CHECKED_BYTES", 0)
    whole = bytearray(road_file.read_bytes())
    at = whole.index(b'"Mill Lane","","residential"')
    whole[at] = 0
    road_file.write_bytes(whole)
    network = open_road_file(road_file)
    with pytest.raises(RoadFileError, match="ways cannot be read"):
        network.ways[0]
    assert network.ways[1].id == 12


def test_arrays_that_do_not_fit_together_are_refused(tmp_path: Path) -> None:
    network = _network()
    path = tmp_path / "misfit.roads"
    for change in (
        {"turn_to": network.turn_to + 10_000},
        {"turn_ptr": network.turn_ptr[:-1]},
        {"turn_ptr": network.turn_ptr[::-1].copy()},
        {"arc_head": network.arc_head[:-1]},
        {"hit_arc": network.hit_arc - 10_000},
        {"structure_low": network.structure_low[:0]},
    ):
        write_road_file(dataclasses.replace(network, **change), path)
        assert "do not fit together" in _refused(path) or "differ in size" in _refused(path)


@pytest.mark.parametrize("part", [1, 2, 3, 7, 1000])
def test_a_single_fall_of_pointers_is_found_wherever_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: int
) -> None:
    monkeypatch.setattr(roadfile, "_PART", part)
    network = _network()
    path = tmp_path / "fall.roads"
    write_road_file(network, path)
    assert open_road_file(path).turn_ptr.size == network.turn_ptr.size > 4
    for name in ("turn_ptr", "into_ptr"):
        for at in range(1, getattr(network, name).size - 1):
            pointers = getattr(network, name).copy()
            pointers[at] = pointers[at + 1] + 1
            write_road_file(dataclasses.replace(network, **{name: pointers}), path)
            assert "do not fit together" in _refused(path), (name, at)


@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize("wrong", [-1, -(2**31), 2**31 - 1])
def test_a_single_index_out_of_range_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wrong: int, *, large: bool
) -> None:
    monkeypatch.setattr(roadfile, "_LARGE_BYTES", 0 if large else 2**30)
    network = _network()
    path = tmp_path / "wrong.roads"
    write_road_file(network, path)
    assert (open_road_file(path).turn_to == network.turn_to).all()
    for name in ("turn_to", "state_arc", "arc_head", "arc_tail", "into_arc"):
        array = getattr(network, name)
        for at in (0, array.size // 2, array.size - 1):
            changed = array.copy()
            changed[at] = wrong
            write_road_file(dataclasses.replace(network, **{name: changed}), path)
            assert "do not fit together" in _refused(path), name


# --- writing -----------------------------------------------------------------------------------------


def test_a_failure_in_writing_leaves_the_old_file(
    road_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = road_file.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="disk is full"):
        write_road_file(_network(), road_file)
    assert road_file.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [road_file.name]


def test_a_fault_while_rows_are_written_leaves_the_old_file(
    road_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = road_file.read_bytes()

    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(roadfile, "_structures_table", broken)
    with pytest.raises(KeyboardInterrupt):
        write_road_file(_network(), road_file)
    assert road_file.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [road_file.name]


def test_an_interrupt_at_the_end_says_nothing_later(
    road_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A container without its end would try to write it when it is collected, and complain of that."""
    close = zipfile.ZipFile.close
    complaints: list[object] = []
    calls: list[int] = []

    def interrupted(container: zipfile.ZipFile) -> None:
        calls.append(1)
        if len(calls) == 1:
            raise KeyboardInterrupt
        close(container)

    network, before = _network(), road_file.read_bytes()
    monkeypatch.setattr(sys, "unraisablehook", complaints.append)
    monkeypatch.setattr(zipfile.ZipFile, "close", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_road_file(network, road_file)
    gc.collect()
    assert complaints == []
    assert road_file.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [road_file.name]


def test_a_folder_that_is_not_there_and_one_in_the_way(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="folder does not exist"):
        write_road_file(_network(), tmp_path / "none" / "area.roads")
    with pytest.raises(OutputError, match="is a folder"):
        write_road_file(_network(), tmp_path)


def test_a_pipe_is_neither_written_nor_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.roads"
    os.mkfifo(pipe)
    with pytest.raises(OutputError, match="a pipe or a device"):
        write_road_file(_network(), pipe)
    assert pipe.is_fifo()
    assert "a pipe or a device" in _refused(pipe)


def test_a_link_is_followed_and_a_mode_kept(road_file: Path, tmp_path: Path) -> None:
    """Whoever links a road file from elsewhere means the one file."""
    road_file.chmod(0o640)
    link = tmp_path / "link.roads"
    link.symlink_to(road_file)
    write_road_file(network_of(Town().node(1, 0, 0).node(2, 9, 0).way(1, [1, 2])), link)
    assert link.is_symlink()
    assert open_road_file(road_file).arc_tail.size == 2
    assert road_file.stat().st_mode & 0o777 == 0o640


def test_links_that_lead_nowhere(tmp_path: Path) -> None:
    dangling, circle = tmp_path / "dangling.roads", tmp_path / "circle.roads"
    dangling.symlink_to(tmp_path / "absent.roads")
    circle.symlink_to(circle)
    assert "no such file" in _refused(dangling)
    assert "cannot be read" in _refused(circle)
    assert "cannot be read" in _refused(tmp_path / ("x" * 300))
    write_road_file(_network(), dangling)
    assert open_road_file(tmp_path / "absent.roads").arc_tail.size


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *(("rule_index", v) for v in (-1, 1000)),
        *(("rule_arc", v) for v in (-1, 1000)),
        *(("noderule_node", v) for v in (-1, 1000)),
        *(("turn_rule", v) for v in (-2, 1000, 2**31 - 1)),
        *(("arc_reverse", v) for v in (-2, 1000)),
        ("arc_way", -1),
        ("arc_geom", 1000),
        *(("geom_ptr", v) for v in (-1, 2**62)),
        ("hit_side", 3),
        *(("hit_share", v) for v in (float("nan"), float("inf"), -1.0)),
        *(("arc_seconds", v) for v in (float("nan"), -1.0)),
        *(("geom_lat", v) for v in (float("nan"), float("-inf"), 91.0)),
        ("node_lon", 181.0),
    ],
)
def test_arrays_whose_sums_are_right_but_lead_nowhere_are_refused(
    tmp_path: Path, name: str, value: float
) -> None:
    town = _town().relation(
        1,
        [("w", 11, "from"), ("n", 2, "via"), ("w", 12, "to")],
        {"type": "restriction", "restriction:conditional": "no_left_turn @ wet"},
    )
    town.way(14, [4, 2], {"highway": "service", "maxweight": "7.5", "maxweight:conditional": "3.5 @ wet"})
    span = dataclasses.replace(STRUCTURE.spans[0], start=0.25, end=0.75)
    network = build_network(town.extract(), [dataclasses.replace(STRUCTURE, spans=(span,))])
    array = getattr(network, name)
    assert array.size, f"the town has no {name}"
    path = tmp_path / "lie.roads"
    for at in (0, array.size // 2, array.size - 1):
        false = array.copy()
        false[at] = value
        write_road_file(dataclasses.replace(network, **{name: false}), path)
        assert "do not fit together" in _refused(path), at


def test_a_manifest_that_unfolds_without_end_is_not_read(road_file: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(road_file) as container:
        members = {name: container.read(name) for name in container.namelist()}
    path = tmp_path / "bomb.roads"
    for manifest in (members["manifest.json"], b" " * (32 << 20)):
        members["manifest.json"] = manifest
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as container:
            for name, content in members.items():
                container.writestr(name, content)
        assert path.stat().st_size < 1 << 20
        assert "its manifest is packed" in _refused(path)


@pytest.mark.parametrize("text", [b"[" * 100_000, b"[1, 2]", b"7", b"{}", b"null", b'"ways"'])
def test_a_row_that_means_nothing_is_damage(text: bytes) -> None:
    for table in DECODERS:
        blob = np.frombuffer(text + b",", np.uint8)
        rows = Rows[object](table, blob, np.array([0, blob.size], np.int64))
        with pytest.raises(RoadFileError, match=f"of its {table} cannot be read"):
            rows[0]
