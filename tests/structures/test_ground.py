"""What is kept of a map is enough to bring lists to it: nothing comes out differently."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.core.extract import ExtractInfo
from clearance.core.matches import HeightRecord
from clearance.structures.find import find_structures
from clearance.structures.fusion import fuse
from clearance.structures.ground import fusion_ground
from clearance.structures.map_bridges import map_bridges
from tests.structures import test_fusion_real as real
from tests.structures.inventories import at, figure, listed
from tests.structures.knowledge_town import street
from tests.towns import Town


def test_what_is_kept_is_small_and_gives_the_same() -> None:
    town = street().node(200, 5000, -4000).node(201, 6000, -4000).way(200, [200, 201])
    town.node(300, -20, 480).node(301, 20, 480).node(302, 20, 520).node(303, -20, 520)
    town.way(300, [300, 301, 302, 303, 300], {"man_made": "bridge"})
    extract = town.extract()
    structures = find_structures(extract)
    ground = fusion_ground(structures, extract)
    assert 200 not in {way.id for way in ground.ways}  # a road under nothing
    assert len(ground.node_ids) < len(extract.node_ids)
    for bound in (min, max):
        assert bound(ground.lon) == bound(extract.lon)
        assert bound(ground.lat) == bound(extract.lat)
    records: list[HeightRecord] = [
        at("1", 0, 500, carried="US 2", features="B ST", item_54=figure("4.5")),
        at("2", 0, 2000, carried="US 2", features="E ST", item_54=figure("4.1")),
        at("3", 5900, -3900, item_54=figure("4.1")),
        at("4", 9900, -3900, item_54=figure("4.1")),
        listed(2, 1503, "4.4", "D Street"),
    ]
    whole = fuse(structures, records, extract)
    assert len(whole.matches) == 3
    assert (len(whole.unmatched), whole.outside) == (1, 1)
    assert fuse(structures, records, ground) == whole


def test_nothing_gives_nothing() -> None:
    extract = Town().extract()
    assert fusion_ground((), extract).ways == ()


@pytest.mark.skipif(not real.DATA.is_dir(), reason="../shared/data is not here")
def test_a_real_map_gives_the_same_in_full() -> None:
    """Map data © OpenStreetMap contributors, ODbL 1.0; all records are invented."""
    extract, structures = real.bangor()
    right, wrong, whole = real.laid_over()
    ground = fusion_ground(structures, extract)
    assert len(ground.ways) < len(extract.ways) / 10
    assert fuse(structures, [*wrong, *(r for r, _ in right)], ground) == whole
    assert len(map_bridges(structures, ground)) == len(map_bridges(structures, extract))


def test_what_is_kept_way_by_way() -> None:
    """Decks of any sort, outlines of bridges with their parts, roads under something; nothing else."""
    town = Town()
    for n in range(40):
        town.node(n, 100 * n, 7 * n)
    bridge = {"bridge": "yes", "layer": "1"}
    town.way(10, [0, 1], {"highway": "residential", "tunnel": "yes"})  # under something
    town.way(11, [1, 2], {"highway": "residential"})
    town.way(12, [3, 4], {"highway": "primary"} | bridge)
    town.way(13, [5, 6], {"railway": "rail"} | bridge)
    town.way(14, [7, 8], {"highway": "footway"} | bridge)
    town.way(15, [9, 10], {"highway": "footway"})
    town.way(16, [11, 12], {"power": "line"} | bridge)
    town.way(17, [13, 14, 15, 13], {"man_made": "bridge"})
    town.way(18, [16, 17, 18], {"source": "survey"}).way(19, [18, 16], {"source": "survey"})
    town.way(20, [19, 20, 21, 19], {"building": "yes"})
    town.way(30, [22, 23], {"source": "survey"})
    town.relation(
        50,
        [("w", 18, "outer"), ("w", 19, "outer"), ("n", 30, "label")],
        {"type": "multipolygon", "man_made": "bridge"},
    )
    town.relation(51, [("w", 20, "outer")], {"type": "multipolygon", "building": "yes"})
    town.node(40, 1, 1, {"barrier": "gate"})
    extract = replace(town.extract(), info=ExtractInfo(source="invented", warnings=("odd",)))
    structures = [s for s in find_structures(extract) if s.spans]
    ground = fusion_ground(structures, extract)
    assert [way.id for way in ground.ways] == [10, 12, 13, 14, 17, 18, 19]
    assert [relation.id for relation in ground.relations] == [50]
    assert ground.node_tags == {}
    assert ground.info == ExtractInfo(source="invented")
    kept = {node for way in ground.ways for node in way.nodes}
    assert set(ground.node_ids.tolist()) == kept | {0, 39}
    assert ground.node_ids.tolist() == sorted(ground.node_ids.tolist())
    for lon, lat, ref in zip(ground.lon, ground.lat, ground.node_ids, strict=True):
        at_ref = extract.node_ids.tolist().index(ref)
        assert (lon, lat) == (extract.lon[at_ref], extract.lat[at_ref])


@pytest.mark.parametrize(("x", "y"), [(-900, 0), (900, 0), (0, -900), (0, 900)])
def test_the_outermost_node_on_each_side_is_kept(x: float, y: float) -> None:
    town = Town().node(1, -50, 0).node(2, 50, 0).way(10, [1, 2], {"highway": "residential", "tunnel": "yes"})
    extract = town.node(3, x, y).node(4, x / 2, y / 2).extract()
    ground = fusion_ground(find_structures(extract), extract)
    assert ground.node_ids.tolist() == [1, 2, 3]
