"""Boxes around the roads of neighbouring nodes."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings

from clearance.network.blocks import NODES_A_BLOCK, block_boxes
from clearance.network.build import build_network
from tests.network.moves import network_of
from tests.routing.grid_towns import GridTown, grid_towns
from tests.towns import Town


@settings(max_examples=30, deadline=None)
@given(grid_towns())
def test_a_box_holds_all_points_of_its_arcs_and_no_more(drawn: GridTown) -> None:
    network = build_network(drawn.town().extract(), ())
    assert network.block_box.shape == (1, 4)
    west, south, east, north = network.block_box[0].tolist()
    assert (west, east) == (network.geom_lon.min(), network.geom_lon.max())
    assert (south, north) == (network.geom_lat.min(), network.geom_lat.max())


def test_each_block_has_the_arcs_of_its_own_nodes() -> None:
    town = Town()
    count = 5 * NODES_A_BLOCK
    for node in range(count):
        town.node(node + 1, 7 * node, (node % 5) * 3)
        if node:
            town.way(1000 + node, [node, node + 1])
    network = network_of(town)
    assert network.block_box.shape == (5, 4)
    for arc in range(network.arc_tail.size):
        west, south, east, north = network.block_box[network.arc_tail[arc] // NODES_A_BLOCK].tolist()
        begin, end = network.geom_ptr[network.arc_geom[arc] : network.arc_geom[arc] + 2]
        assert west <= network.geom_lon[begin:end].min() <= network.geom_lon[begin:end].max() <= east
        assert south <= network.geom_lat[begin:end].min() <= network.geom_lat[begin:end].max() <= north


def test_a_block_without_arcs_has_no_place_in_it() -> None:
    nothing = np.zeros(0, np.int32)
    for nodes, blocks in ((NODES_A_BLOCK + 1, 2), (0, 0)):
        boxes = block_boxes(
            nothing,
            nothing,
            geom_ptr=np.zeros(1, np.int64),
            lon=np.zeros(0),
            lat=np.zeros(0),
            nodes=nodes,
        )
        assert boxes.tolist() == [[np.inf, np.inf, -np.inf, -np.inf]] * blocks
