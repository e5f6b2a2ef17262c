"""The cheapest way with the goal in view: A* on the graph of states, bounded by landmarks.

A state is looked at in the order of what it took to come to it and the least that it must still take to the
nearest target, which the times of `network.landmarks` bound from below. Exact: no bound is ever too high,
whatever is closed or charged to a vehicle, and a state to which a better way turns up is looked at again.
So labels are those of `routing.kernels.shortest`, over a part of the network.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.landmarks import NO_WAY
from clearance.routing.ran import searched, stage

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.network.network import F64, I32, Network

    F32 = npt.NDArray[np.float32]

#: Extras of targets above this, in seconds, bound nothing more: they would run into `NO_WAY`.
_HIGHEST_EXTRA_S = 500_000.0

__all__ = ["Guide", "Tried", "engine", "guided"]

#: Between the marks of one search and those of the next: more than there are states.
_ROUND = 2.0**32


def engine(network: Network) -> str:
    """What runs on this network, for those who ask."""
    return f"turn-aware A* with {network.landmark_ms.shape[1] // 2} landmarks, 4-ary heap"


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """Bounds to a set of targets, (m,) milliseconds each, for m landmarks.

    A node from which it takes `x` from landmark i and `y` to it is at least max(low[i] - x, y - high[i]) from
    the target, extra and all, that is cheapest for it.
    """

    low: I32
    high: I32

    @classmethod
    def to(cls, network: Network, targets: I32, target_extra: F64) -> Guide:
        """The bounds to the starts of the arcs of `targets`, each with what it adds in seconds."""
        times = network.landmark_ms[network.arc_tail[network.state_arc[targets]]].astype(np.int64)
        marks = times.shape[1] // 2
        extra = np.floor(np.minimum(target_extra, _HIGHEST_EXTRA_S) * 1000)[:, np.newaxis].astype(np.int64)
        there, back = times[:, :marks], times[:, marks:]
        low = np.where(there == NO_WAY, NO_WAY, there + extra).min(axis=0, initial=NO_WAY)
        high = np.where(back == NO_WAY, NO_WAY, back - extra).max(axis=0, initial=-int(NO_WAY))
        return cls(
            low=np.clip(low, 0, NO_WAY).astype(np.int32), high=np.clip(high, 0, NO_WAY).astype(np.int32)
        )


class Tried:
    """What searches with the same costs and targets have come to in vain: the next one passes it by.

    However many they are, together they look at no more than one search would that fails.
    """

    def __init__(self, network: Network) -> None:
        """Nothing has been tried on this network."""
        # Only pages of it that a search comes to ever take memory.
        self.seen = np.zeros((network.state_arc.size, 2))
        self.base = 0.0

    def is_new(self) -> bool:
        """Whether no search has been made."""
        return not self.base

    def in_vain(self) -> None:
        """The last search found no way."""
        self.base += _ROUND


@stage("search")
def guided(
    network: Network,
    *,
    cost: F64,
    turn_extra: F32,
    sources: I32,
    source_labels: F64,
    targets: I32,
    target_extra: F64,
    tried: Tried | None = None,
) -> tuple[int, float, list[int]] | None:
    """The cheapest way from any source to the best target, None where no way leads to any.

    It is told by the index into `targets`, what it costs with the target's extra, and its states.

    Arguments as of `routing.kernels.shortest`; `cost` must be no less than `arc_seconds` of the network.
    Of ways that cost the same always the same one. `tried` is what earlier searches have found no way by; no
    longer good once one has been found.

    Raises ValueError for a network without landmarks.
    """
    if not network.landmark_ms.shape[1]:
        raise ValueError("this network has no landmarks")
    # Compiled code, loaded where it is needed alone.
    with stage("load"):
        from clearance.routing.guided_kernel import search

    guide = Guide.to(network, targets, target_extra)
    tried = tried or Tried(network)
    found, best, settled = search(
        network.turn_ptr,
        network.turn_to,
        cost,
        turn_extra,
        network.state_arc,
        network.arc_tail,
        network.arc_head,
        network.landmark_ms,
        guide.low,
        guide.high,
        sources,
        source_labels,
        targets,
        target_extra,
        tried.seen,
        tried.base,
    )
    searched(engine(network), int(settled))
    if found < 0:
        tried.in_vain()
        return None
    states = [int(targets[found])]
    while (before := int(abs(tried.seen[states[-1], 1]) - tried.base) - 2) >= 0:
        states.append(before)
    return int(found), float(best), states[::-1]
