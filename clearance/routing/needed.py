"""States of a route that no way from its start to its end does without, as the one bridge of an island.

To find out that no way leads round one of them takes a search of all that lies before it. One sweep tells it
of every state of a route.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.routing.ran import searched, stage

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from clearance.network.network import I32, Network
    from clearance.routing.mask import Costs

    Bool = npt.NDArray[np.bool_]

__all__ = ["ENGINE", "needed"]

#: What ran, for those who ask.
ENGINE = "a sweep for what no way does without"


@stage("search")
def needed(network: Network, costs: Costs, states: Sequence[int], targets: I32) -> Bool:
    """Which of the `states` (m,) of a route every legal way from its first one to a target passes.

    `targets` are the states in which a way may end, those that are closed to others too. False for the first
    state, and for all where a state is driven more than once: what then lies before it is no matter of order.
    """
    with stage("load"):
        from clearance.routing.needed_kernel import swept

    route = np.array(states, np.int32)
    if np.unique(route).size < route.size:
        return np.zeros(route.size, np.bool_)
    found, count = swept(network.turn_ptr, network.turn_to, costs.cost, costs.turn_extra, route, targets)
    searched(ENGINE, int(count))
    return found  # type: ignore[no-any-return]
