"""One search from some states to the best of others, by the engine that suits the network."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.routing.guided import Tried, guided
from clearance.routing.kernels import shortest
from clearance.routing.pocket import in_pocket

if TYPE_CHECKING:
    from clearance.network.network import F64, I32, Network
    from clearance.routing.mask import Costs

__all__ = ["Tried", "Way", "best_way"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The best way found: its index into the targets, what it costs with the target's extra, its states."""

    target: int
    cost: float
    states: list[int]


def best_way(
    network: Network,
    costs: Costs,
    *,
    sources: I32,
    source_labels: F64,
    targets: I32,
    target_extra: F64,
    tried: Tried | None = None,
) -> Way | None:
    """The cheapest way from any source to the best target; None where no way leads to any.

    `sources` are states that are come to at `source_labels` seconds, `targets` states that add `target_extra`
    seconds from the start of their arc, see `routing.kernels.shortest`. Exact, by whichever engine: bounded
    by landmarks where the network has some. `routing.ran` tells which it was. `tried` spares the bounded one
    what others with the same costs and targets came to in vain.
    """
    if network.landmark_ms.shape[1]:
        # Where no way leads, a search forwards sees all else before it knows.
        first = tried is None or tried.is_new()
        if first and in_pocket(
            network, cost=costs.cost, turn_extra=costs.turn_extra, sources=sources, targets=targets
        ):
            return None
        found = guided(
            network,
            cost=costs.cost,
            turn_extra=costs.turn_extra,
            sources=sources,
            source_labels=source_labels,
            targets=targets,
            target_extra=target_extra,
            tried=tried,
        )
        return None if found is None else Way(target=found[0], cost=found[1], states=found[2])
    labels, before, best = shortest(
        network.turn_ptr,
        network.turn_to,
        cost=costs.cost,
        turn_extra=costs.turn_extra,
        sources=sources,
        source_labels=source_labels,
        targets=targets,
        target_extra=target_extra,
    )
    if best < 0:
        return None
    states = [int(targets[best])]
    while before[states[-1]] >= 0:
        states.append(int(before[states[-1]]))
    return Way(target=best, cost=float(labels[states[0]]) + float(target_extra[best]), states=states[::-1])
