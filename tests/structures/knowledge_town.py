"""A tiny town with one structure for each way in which a height is known or not."""

from __future__ import annotations

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
