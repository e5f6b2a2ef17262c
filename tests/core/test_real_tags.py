"""Every tag that the grammar is for, as found in real extracts (© OpenStreetMap contributors, ODbL 1.0).

The extracts lie in ../shared/data; where they do not, these tests skip.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from clearance.core.access import Vehicle, is_road, node_access, road_access
from clearance.core.conditions import parse_conditional
from clearance.core.heights import has_height, read_heights
from clearance.core.limits import read_limits
from clearance.core.oneway import directions
from clearance.core.speeds import road_speeds

DATA = Path(__file__).parents[3] / "shared" / "data"
FILES = sorted([*DATA.glob("*.osm.pbf"), *DATA.glob("*.osm")]) if DATA.is_dir() else []

#: What maxheight values of these extracts cannot be read as a figure: words, all documented in the OSM wiki.
WORDS = {"default", "none", "below_default"}

pytestmark = pytest.mark.skipif(not FILES, reason=f"no extracts in {DATA}")


@pytest.fixture(scope="module")
def elements() -> list[tuple[str, dict[str, str]]]:
    """(element, tags) of every tagged node and way of every extract."""
    import osmium

    found = []
    for file in FILES:
        wanted = osmium.osm.NODE | osmium.osm.WAY
        for item in osmium.FileProcessor(str(file), wanted).with_filter(osmium.filter.EmptyTagFilter()):
            kind = "node" if isinstance(item, osmium.osm.Node) else "way"
            found.append((f"{file.name}:{kind}/{item.id}", {tag.k: tag.v for tag in item.tags}))
    return found


def test_every_height_gives_evidence_or_a_warning(elements: list[tuple[str, dict[str, str]]]) -> None:
    count = 0
    for element, tags in elements:
        read = read_heights(tags, element)
        keys = {key for key in tags if key.startswith("maxheight")}
        assert has_height(tags) == bool(keys)
        assert {e.key for e in read.evidence} == keys
        for evidence in read.evidence:
            count += 1
            if evidence.figure is None:
                assert evidence.raw in WORDS or evidence.key == "maxheight:signed"
            else:
                # A plain sum beside the grammar: metres, or feet and inches of 0.3048 m and 0.0254 m.
                feet = re.fullmatch(r"(\d+)'(\d+)\"", evidence.raw)
                metres = (
                    int(feet[1]) * 0.3048 + int(feet[2]) * 0.0254
                    if feet
                    else float(evidence.raw.split(" ")[0])
                )
                assert abs(float(evidence.figure.metres) - metres) < 1e-9
        assert bool(read.warnings) == ("below_default" in tags.values() and bool(keys))
    assert count > 200


def test_every_limit_is_read_or_warned_of(elements: list[tuple[str, dict[str, str]]]) -> None:
    read = [(tags, read_limits(tags, element)) for element, tags in elements]
    warned = {warning.split(": ", 1)[1].split("=")[0] for _, limits in read for warning in limits.warnings}
    assert warned == {"maxweight:conditional"}  # "no @ CAM"
    for tags, limits in read:
        if "maxweight" in tags:
            assert limits.max_weight_kg[0] == round(float(tags["maxweight"].split(" ")[0]) * 1000)
        if "maxlength" in tags:
            assert limits.max_length[0] is not None


def test_every_way_and_barrier_is_judged(elements: list[tuple[str, dict[str, str]]]) -> None:
    roads = 0
    for element, tags in elements:
        for vehicle in Vehicle:
            if "/way/" in element.replace(":", "/"):
                reading = road_access(tags, vehicle)
                assert reading.access <= 1 or reading.key or tags.get("service")
                roads += is_road(tags)
                directions(tags, vehicle)
            elif "barrier" in tags:
                assert node_access(tags, vehicle).key
        assert min(road_speeds(tags)) >= 3
    assert roads > 10_000


def test_every_conditional_tag_is_clauses(elements: list[tuple[str, dict[str, str]]]) -> None:
    texts = [v for _, tags in elements for k, v in tags.items() if k.endswith(":conditional")]
    assert len(set(texts)) > 10
    for text in texts:
        assert parse_conditional(text)
