"""Which exit of a roundabout a route takes, counted as a driver counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from clearance.network.network import ACCESS_CLOSED
from clearance.network.sorted_rows import rows_of

if TYPE_CHECKING:
    from clearance.network.network import Network

__all__ = ["exit_numbers", "is_circle"]

#: Values of junction=* for roads driven round (OSM wiki, Key:junction; from memory).
_CIRCLES = frozenset({"roundabout", "circular"})


def is_circle(network: Network, arc: int) -> bool:
    """Whether an arc is part of a road driven round."""
    return network.ways[int(network.arc_way[arc])].tags.get("junction") in _CIRCLES


def exit_numbers(network: Network, arcs: Sequence[int]) -> dict[int, int]:
    """The number of the exit for each circle of a route that is driven into and out of.

    Keys are positions in `arcs` (the arcs of the route in order) of the last arc on the circle. Exits count
    from 1 at the place of entry; one counts where a coach or a car may leave by it. A circle whose count
    would be a guess is left out: where two roads leave at the place of the exit, where the circle parts or
    may be driven both ways.
    """
    round_ = [is_circle(network, arc) for arc in arcs]
    numbers: dict[int, int] = {}
    count: int | None = None
    for i in range(1, len(arcs)):
        if round_[i] and not round_[i - 1]:
            count = 0
        if not round_[i] or count is None:
            count = None
            continue
        on, off = _leaving(network, int(network.arc_head[arcs[i]]))
        last = i + 1 == len(arcs) or not round_[i + 1]
        if on > 1 or (last and off != 1):
            count = None
            continue
        count += off
        if last and i + 1 < len(arcs):
            numbers[i] = count
    return numbers


def _leaving(network: Network, node: int) -> tuple[int, int]:
    """How many arcs lead on from a node round a circle, and how many away from it."""
    begin, stop = rows_of(network.arc_tail, node)
    on = off = 0
    for arc in range(begin, stop):
        if is_circle(network, arc):
            on += 1
        elif min(network.arc_access[arc], network.arc_access_car[arc]) < ACCESS_CLOSED:
            off += 1
    return on, off
