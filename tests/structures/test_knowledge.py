"""How much is known: counts that can be checked by hand on tiny towns."""

from __future__ import annotations

from clearance.core.structure import Kind
from clearance.structures.find import find_structures
from clearance.structures.fusion import fuse
from clearance.structures.implied import with_implied
from clearance.structures.knowledge import knowledge_text, summary
from tests.structures.inventories import at, figure
from tests.towns import Town

BRIDGE = {"highway": "primary", "ref": "US 2", "bridge": "yes", "layer": "1"}
RAIL = {"railway": "rail", "bridge": "yes", "layer": "1"}


def street() -> Town:
    """One street a row, each under something: posted, listed, unreadable, unknown, in conflict, untold."""
    town = Town()
    rows: list[tuple[dict[str, str], dict[str, str]]] = [
        ({"name": "A Street", "maxheight": "13'6\""}, BRIDGE),
        ({"name": "B Street"}, BRIDGE),
        ({"name": "C Street", "maxheight": "low"}, RAIL),
        ({"name": "D Street"}, RAIL),
        ({"name": "E Street", "maxheight": "4.9"}, BRIDGE),
        ({"name": "F Street"}, {"highway": "primary", "ref": "US 2"}),
    ]
    for k, (road, upper) in enumerate(rows):
        n, y = 10 * k, 500.0 * k
        town.node(n, -100, y).node(n + 1, 100, y).node(n + 2, 0, y - 50).node(n + 3, 0, y + 50)
        town.way(n, [n, n + 1], {"highway": "residential", **road}).way(n + 1, [n + 2, n + 3], upper)
    # A height bar on a side street and a multi-storey car park without one.
    town.node(90, 0, 3000).node(91, 50, 3000, {"barrier": "height_restrictor", "maxheight": "2.1"})
    town.node(92, 100, 3000).way(90, [90, 91, 92], {"highway": "service"})
    outline = [(0, 3100), (20, 3100), (20, 3120), (0, 3120)]
    for k, (x, y) in enumerate(outline):
        town.node(100 + k, x, y)
    return town.way(99, [100, 101, 102, 103, 100], {"amenity": "parking", "parking": "multi-storey"})


def test_every_structure_is_counted_where_it_belongs() -> None:
    extract = street().extract()
    records = [
        at("1", 0, 500, carried="US 2", features="B ST", item_54=figure("4.5")),
        at("2", 0, 2000, carried="US 2", features="E ST", item_54=figure("4.1")),
    ]
    found = summary(fuse(find_structures(extract), records, extract).structures)
    assert found.counts == {
        Kind.BRIDGE: {"posted": 2, "measured": 1},
        Kind.RAIL_BRIDGE: {"none": 2},
        Kind.HEIGHT_BAR: {"posted": 1},
        Kind.UNKNOWN_CROSSING: {"none": 2},
    }
    assert (found.crossings, found.known, found.share) == (5, 3, 0.6)
    assert (found.unsure_order, found.conflicts, found.unreadable, found.beside) == (2, 1, 1, 1)
    assert (found.oldest, found.newest, found.undated) == ("2023-06", "2026-01-01T00:00:00Z", 0)


def test_the_words_say_the_limit_first() -> None:
    extract = street().extract()
    lines = knowledge_text(summary(find_structures(extract)))
    assert lines[0] == (
        "Of 5 bridges and tunnels over roads, 2 have a known height (40 %); "
        "the others must be looked at on the spot."
    )
    assert "At 2 places the map does not tell which way is above." in lines
    assert "1 structure has a height that cannot be read." in lines
    assert "The heights are from 2026-01-01." in lines
    assert "railway bridge: 2 of unknown height." in lines
    assert "bridge: 2 posted, 1 of unknown height." in lines


def test_a_share_is_never_rounded_up() -> None:
    town = Town()
    for k in range(300):
        n, y = 10 * k, 500.0 * k
        town.node(n, -100, y).node(n + 1, 100, y).node(n + 2, 0, y - 50).node(n + 3, 0, y + 50)
        height = {} if k == 7 else {"maxheight": "4.5"}
        town.way(n, [n, n + 1], {"highway": "residential", **height}).way(n + 1, [n + 2, n + 3], BRIDGE)
    assert "(99 %)" in knowledge_text(summary(find_structures(town.extract())))[0]


def test_rules_count_as_implied_only() -> None:
    extract = street().extract()
    found = summary(with_implied(find_structures(extract), extract, lambda _lon, _lat: "US"))
    assert found.counts[Kind.RAIL_BRIDGE] == {"implied": 2}
    assert found.known == 2
    assert "railway bridge: 2 by a general rule only." in knowledge_text(found)


def test_nothing_known_of_nothing() -> None:
    assert summary(()).share is None
    assert knowledge_text(summary(())) == ("No structure over a road is known here.",)
