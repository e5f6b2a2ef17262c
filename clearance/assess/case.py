"""What a question is about: one network, one coach, one policy, one time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from clearance.routing.mask import coach_costs, open_ends

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.conditions import Window
    from clearance.core.drive import Unverified
    from clearance.network.network import Network
    from clearance.routing.mask import Costs

__all__ = ["Case"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A network as it is to one coach in one window of time (None: at a time not known).

    `costs` are those of the coach, or of a car or with limits lifted where a function says so.
    """

    network: Network
    coach: Coach
    unverified: Unverified
    window: Window | None
    costs: Costs

    @classmethod
    def of(cls, network: Network, coach: Coach, unverified: Unverified, window: Window | None) -> Case:
        """The case of the coach itself."""
        costs = coach_costs(network, coach, unverified, window)
        return cls(network=network, coach=coach, unverified=unverified, window=window, costs=costs)

    def as_car(self) -> Case:
        """The same for a plain car; standings stay the coach's."""
        costs = coach_costs(self.network, self.coach, self.unverified, self.window, car=True)
        return replace(self, costs=costs)

    def lifting(self, limits: frozenset[str]) -> Case:
        """The same with some limits lifted, see `routing.mask.coach_costs`."""
        own = self.costs if self.costs.vehicle.coach is not None else None
        costs = coach_costs(
            self.network, self.coach, self.unverified, self.window, ignore=limits, driven_as=own
        )
        return replace(self, costs=costs)

    def opened(self, *places: Iterable[int]) -> Case:
        """The same with the ends-only roads opened that drives between these places (arcs) need."""
        return replace(self, costs=open_ends(self.network, self.costs, *places))
