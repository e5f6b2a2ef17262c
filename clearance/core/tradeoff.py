"""The drives between two places that are each the best in some way: quicker, or past fewer unknowns."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from clearance.core.coach import Coach
from clearance.core.drive import Drive
from clearance.core.extract import ExtractInfo
from clearance.core.places import Place

__all__ = ["TradeOff", "TradeOffs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeOff:
    """A drive that no other beats on both driving time and number of unverified structures.

    `unverified` counts each structure once for every passage.
    """

    unverified: int
    drive: Drive


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeOffs:
    """All of them from the first place to the last, the fewest unverified first, each quicker than the last.

    Where no drive fits the coach there are none, and `blocked` tells what stands in the way.
    """

    places: tuple[Place, ...]
    coach: Coach
    info: ExtractInfo
    choices: tuple[TradeOff, ...] = ()
    blocked: Drive | None = None
    departure: datetime | None = None
    notes: tuple[str, ...] = ()

    def at_most(self, unverified: int) -> Drive | None:
        """The quickest drive past no more than so many unverified structures; None where there is none."""
        fitting = [c.drive for c in self.choices if c.unverified <= unverified]
        return fitting[-1] if fitting else None
