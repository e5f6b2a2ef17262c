"""Whether a goal lies in a pocket: a small part of the network that nothing open leads into.

A search forwards finds out that no way leads to its goal once it has seen all else there is. Looking
backwards from the goal for a moment tells the same where the goal is hemmed in, as behind a bridge that is
too low.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.routing.ran import searched, stage

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.network.network import F64, I32, Network

    F32 = npt.NDArray[np.float32]

__all__ = ["ENGINE", "in_pocket"]

#: What ran, for those who ask.
ENGINE = "a look backwards from the goal"
#: States looked at, at most: a pocket is no larger, and where there is none no time is lost to speak of.
MOST_STATES = 1000


@stage("search")
def in_pocket(
    network: Network, *, cost: F64, turn_extra: F32, sources: I32, targets: I32, most: int = MOST_STATES
) -> bool:
    """Whether surely no way leads from `sources` to any of `targets`.

    False where one may: a source was met, or more than `most` states lead to a target. `cost` (s,) and
    `turn_extra` (t,) as of `routing.kernels.shortest`; infinite is closed.
    """
    with stage("load"):
        from clearance.routing.pocket_kernel import looked_at

    arcs = network.arc_tail.size
    copied = network.state_arc[arcs:]
    order = np.argsort(copied, kind="stable").astype(np.int32)
    count = looked_at(
        network.turn_ptr,
        network.turn_to,
        cost,
        turn_extra,
        network.state_arc,
        network.arc_tail,
        network.into_ptr,
        network.into_arc,
        copied[order],
        order + np.int32(arcs),
        sources,
        targets,
        most,
    )
    searched(ENGINE, abs(int(count)))
    return bool(count > 0)
