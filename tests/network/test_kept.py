"""What a road file keeps for heights that come later is read back as it was, or refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from clearance.core.errors import RoadFileError
from clearance.core.extract import Extract
from clearance.core.inventory import EvidenceList
from clearance.network import roadfile
from clearance.network.build import build_network
from clearance.network.kept import Kept, decode_kept, encode_kept
from clearance.network.roadfile import check_road_file, open_kept, open_road_file, write_road_file
from tests.structures.inventories import MISSING, RIVER, at, figure, listed
from tests.towns import Town

INVENTORY = EvidenceList(
    name="XX24.txt",
    source="National Bridge Inventory 2024",
    added="2026-01-02T03:04:05Z",
    records=(
        at("1", 0, 0, item_54=figure("4.52"), carried="SR 7", skew_deg=30, lanes_on=2),
        at("2", 5.5, 0, item_53=figure("5.02", "R"), item_54=RIVER, item_10=MISSING, edition=2022),
    ),
    outside=3,
    unused=2,
)
COUNTY = EvidenceList(
    name="county.csv",
    source="Invented County",
    added="2026-01-02",
    records=(listed(1, 2, "4.1", "Élm “Street”"),),
)


def town() -> Extract:
    made = Town().node(1, 0.01, 0).node(2, 100, 0, {"highway": "crossing"}).node(3, 50, 50)
    made.way(10, [1, 2, 3], {"highway": "residential", "name": "Ösel \\ Weg"})
    return made.relation(7, [("w", 10, "outer")], {"man_made": "bridge", "type": "multipolygon"}).extract()


def same(one: Extract, other: Extract) -> None:
    for name in ("node_ids", "lon", "lat"):
        a, b = getattr(one, name), getattr(other, name)
        assert a.dtype == b.dtype
        assert np.array_equal(a, b)
    for name in ("info", "ways", "node_tags", "relations"):
        assert getattr(one, name) == getattr(other, name)


def test_what_is_kept_comes_back() -> None:
    kept = Kept(ground=town(), lists=(INVENTORY, COUNTY, replace(COUNTY, name="none", records=())))
    back = decode_kept(encode_kept(kept))
    same(back.ground, kept.ground)
    assert back.lists == kept.lists
    assert encode_kept(back) == encode_kept(kept)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "town.roads"


def test_it_goes_through_a_road_file_and_leaves_the_network_alone(path: Path) -> None:
    network = build_network(town(), ())
    write_road_file(network, path)
    with pytest.raises(RoadFileError, match="what adding heights needs"):
        open_kept(path)
    kept = Kept(ground=town(), lists=(INVENTORY,))
    write_road_file(network, path, kept)
    check_road_file(path)
    assert list(open_road_file(path).ways) == list(network.ways)
    same(open_kept(path).ground, kept.ground)
    assert open_kept(path).lists == kept.lists


def test_a_changed_byte_is_found_when_it_matters(path: Path) -> None:
    write_road_file(build_network(town(), ()), path, Kept(ground=town(), lists=(COUNTY,)))
    content = path.read_bytes()
    at_name = content.index(b"Invented County")
    path.write_bytes(content[:at_name] + b"J" + content[at_name + 1 :])
    open_road_file(path)
    with pytest.raises(RoadFileError, match="has changed"):
        open_kept(path)
    with pytest.raises(RoadFileError, match="has changed"):
        check_road_file(path)


def test_other_files_are_refused(path: Path) -> None:
    with pytest.raises(RoadFileError, match="no such file"):
        open_kept(path)
    path.write_text("lat,lon,height")
    with pytest.raises(RoadFileError, match="not a road file"):
        open_kept(path)


@pytest.mark.parametrize(
    "text",
    [b"[" * 100_000, b"[]", b"7", b"null", b"{}", b'{"info": {"warnings": []}, "nodes": [[9e99], [], []]}'],
)
@pytest.mark.parametrize("part", ["ground", "lists"])
def test_what_is_kept_and_means_nothing_is_damage(
    path: Path, monkeypatch: pytest.MonkeyPatch, part: str, text: bytes
) -> None:
    sound = encode_kept(Kept(ground=town(), lists=(INVENTORY,)))
    odd = b"[[]]" if part == "lists" and text in (b"[]", b"{}") else text
    monkeypatch.setattr(roadfile, "encode_kept", lambda _kept: sound | {part: odd})
    write_road_file(build_network(town(), []), path, Kept(ground=town()))
    with pytest.raises(RoadFileError, match="what it keeps of the map cannot be read"):
        open_kept(path)
