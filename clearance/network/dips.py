"""What a coach loses of its headroom where the road dips or humps under the structures of a network."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.core.lengths import Length
from clearance.core.profile import lost_under, with_sag

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.structure import Structure
    from clearance.network.network import I32, Network

__all__ = ["lost_heights", "structures_for"]


def lost_heights(network: Network, coach: Coach) -> I32:
    """By structure (k,), in tenths of a millimetre: 0 where the ground is not known.

    All are 0 for a coach whose wheelbase is not told.
    """
    lost = np.zeros(len(network.structure_low), np.int32)
    if coach.wheelbase is not None and network.profile_structure.size:
        front, rear = coach.overhangs
        lost[network.profile_structure] = lost_under(
            network.profile_height,
            wheelbase_m=float(coach.wheelbase.metres),
            front_m=float(front.metres),
            rear_m=float(rear.metres),
        )
    return lost


def structures_for(network: Network, coach: Coach | None) -> tuple[Structure, ...]:
    """All structures, each with what this coach loses there, see `core.profile.with_sag`."""
    if coach is None or coach.wheelbase is None or not network.profile_structure.size:
        return tuple(network.structures)
    base = float(coach.wheelbase.metres)
    lost = lost_heights(network, coach).tolist()
    return tuple(
        with_sag(structure, Length(tenths), wheelbase_m=base)
        for structure, tenths in zip(network.structures, lost, strict=True)
    )
