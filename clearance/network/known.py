"""How much is known of the structures of a network, without decoding them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearance.core.knowledge import AreaKnown

if TYPE_CHECKING:
    from clearance.network.network import Network

__all__ = ["area_known"]


def area_known(network: Network) -> AreaKnown:
    """How many bridges, buildings and tunnels stand over roads, and how many have a height to rely on."""
    known = network.structure_over & network.structure_verified.all(axis=1)
    return AreaKnown(int(network.structure_over.sum()), int(known.sum()))
