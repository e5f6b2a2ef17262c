"""What is kept of a map is enough to bring lists to it: nothing comes out differently."""

from __future__ import annotations

import pytest

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
