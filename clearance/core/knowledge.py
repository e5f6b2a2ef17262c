"""How much is known of the heights of an area: the honest limit of every answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from clearance.core.structure import Kind

__all__ = ["AreaKnown", "Knowledge"]


@dataclass(frozen=True, slots=True)
class AreaKnown:
    """Of `crossings` bridges, buildings and tunnels over roads, `known` have a height to rely on."""

    crossings: int
    known: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """Counts of the structures of an area that a road passes.

    `counts` gives for each kind how many structures are known in which way: ``posted`` or ``measured``
    where such a figure may clear the structure in both directions, ``doubtful`` where there is a figure
    but none that may, ``implied`` where only a rule tells, ``none``. `known` of `crossings` things over a
    road have a posted or measured height; `unsure_order` more places may be such crossings or not.
    `oldest` and `newest` are dates of figures, ISO 8601, empty where none tells one; `undated` counts
    structures with a figure of no known date. `conflicts` and `unreadable` count structures.
    `beside` counts structures that no road of the map is known to pass.
    """

    counts: Mapping[Kind, Mapping[str, int]]
    crossings: int
    known: int
    unsure_order: int
    conflicts: int
    unreadable: int
    undated: int
    oldest: str
    newest: str
    beside: int

    @property
    def share(self) -> float | None:
        """The part of the crossings with a known height, 0 to 1; None where there are no crossings."""
        return self.known / self.crossings if self.crossings else None
