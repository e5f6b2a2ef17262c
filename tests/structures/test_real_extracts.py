"""Real extracts: no height is lost, and the known hard cases are there.

Data © OpenStreetMap contributors, ODbL 1.0; read from ../shared/data where that folder stands.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from clearance.core.extract import Extract
from clearance.core.structure import Kind, Structure
from clearance.sources.osm_file import read_osm
from clearance.structures.find import find_structures

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
FILES = [
    "monaco.osm.pbf",
    "monaco-small.osm.pbf",
    "liechtenstein.osm.pbf",
    "bangor-maine.osm.pbf",
    "leeds.osm",
    "seattle-northgate.osm",
    "kings-lynn-fuel.osm",
]
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="../shared/data is not here")


@cache
def read(name: str) -> tuple[Extract, tuple[Structure, ...]]:
    extract = read_osm(DATA / name)
    return extract, find_structures(extract)


@pytest.mark.parametrize("name", FILES)
def test_every_height_of_the_file_is_in_a_structure(name: str) -> None:
    """Counted apart from our readers, by a plain pass of pyosmium over the file."""
    import osmium

    extract, structures = read(name)
    told = {
        (element, key): raw
        for s in structures
        for element, tags in s.tags.items()
        for key, raw in tags.items()
        if key.startswith("maxheight")
    }
    known = {f"way/{w.id}" for w in extract.ways} | {f"node/{n}" for n in extract.node_ids.tolist()}
    words = {"n": "node", "w": "way"}
    missing = []
    # Most nodes have no tags, and so no height.
    for thing in osmium.FileProcessor(str(DATA / name)).with_filter(osmium.filter.EmptyTagFilter()):
        if thing.type_str() not in words:
            continue
        element = f"{words[thing.type_str()]}/{thing.id}"
        for tag in thing.tags:
            # A way cut off at the edge of the file has no place; the reader names it in a warning.
            wanted = tag.k.startswith("maxheight") and element in known
            if wanted and told.get((element, tag.k)) != tag.v:
                missing.append((element, tag.k, tag.v))
    assert missing == []


@pytest.mark.parametrize("name", FILES)
def test_every_height_text_is_evidence_or_a_warning(name: str) -> None:
    for structure in read(name)[1]:
        for element, tags in structure.tags.items():
            for key, raw in tags.items():
                if key.startswith("maxheight") and key != "maxheight:signed":
                    evidenced = any(e.element == element and e.key == key for e in structure.evidence)
                    warned = any(element in w and raw in w for w in structure.warnings)
                    assert evidenced or warned, (structure.key, key, raw)


def test_railway_bridges_of_bangor_are_over_roads_and_unverified() -> None:
    """The usual US case: no railway bridge over a road has a posted height there."""
    rails = [s for s in read("bangor-maine.osm.pbf")[1] if s.kind in {Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE}]
    assert len(rails) >= 10
    assert all(s.spans and not s.verified() for s in rails)


def test_feet_of_seattle_are_read_exactly() -> None:
    raw = {
        e.raw: e.figure.tenths
        for s in read("seattle-northgate.osm")[1]
        for e in s.evidence
        if e.figure is not None
    }
    # 1 ft = 0.3048 m exactly (international foot, 1959)
    for text, tenths in {"6'8\"": 20320, "7'6\"": 22860, "8'2\"": 24892, "13'6\"": 41148}.items():
        assert raw[text] == tenths
