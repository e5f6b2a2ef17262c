"""Which rules bind one vehicle at one time: access, limits and turns under conditions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clearance.core.conditions import Window, may_hold, surely_holds
from clearance.network.network import ACCESS_CLOSED

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.network.network import Rule

__all__ = ["LIMIT_KINDS", "Vehicle"]

#: Kinds of limit other than height that a caller may leave out.
LIMIT_KINDS = frozenset({"width", "length", "weight", "hazmat", "access"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """A coach at the time of a drive, or (`coach` None) a plain car. `ignore` are kinds of limit left out."""

    coach: Coach | None
    window: Window | None = None
    ignore: frozenset[str] = frozenset()

    @property
    def modes(self) -> frozenset[str]:
        """What this vehicle is to a rule."""
        if self.coach is None:
            return frozenset({"motorcar"})
        return frozenset({"motorhome", "trailer", "caravan"} if self.coach.towing else {"motorhome"})

    def measure(self, target: str) -> int | None:
        """Width or length in tenths of a millimetre, weight in kilograms; None where not judged."""
        if self.coach is None or target in self.ignore:
            return None
        if target == "weight":
            return self.coach.weight_kg
        measure = {"width": self.coach.width, "length": self.coach.length}[target]
        return None if measure is None else measure.tenths

    @property
    def minds_hazmat_bans(self) -> bool:
        """Whether a ban on dangerous goods closes a road."""
        return self.coach is not None and self.coach.propane and "hazmat" not in self.ignore

    def minds(self, kind: str) -> bool:
        """Whether limits of a kind (one of `LIMIT_KINDS`) can close anything to this vehicle."""
        if kind == "access":
            return "access" not in self.ignore
        return self.minds_hazmat_bans if kind == "hazmat" else self.measure(kind) is not None

    def may_hold(self, condition: str) -> bool:
        """Whether something is to be kept to: it has no condition, or one not surely off at the time."""
        return not condition or may_hold(condition, self.window, self.coach)

    def binds(self, rule: Rule) -> bool:
        """Whether a rule is for this vehicle and may hold at the time."""
        if rule.modes and self.modes.isdisjoint(rule.modes):
            return False
        return self.may_hold(rule.condition)

    def closes(self, rule: Rule) -> bool:
        """Whether a rule on a turn, a limit or a ban closes what it stands on. Not for access."""
        if rule.target == "access" or not self.binds(rule):
            return False
        if rule.target == "turn":
            return True
        if rule.target == "hazmat":
            return self.minds_hazmat_bans
        measure = self.measure(rule.target)
        return measure is not None and measure > rule.value

    def access(self, base: int, rules: Iterable[Rule]) -> int:
        """The access class under the rules of one place, from the class without them.

        An opening rule counts only where it surely holds, a closing one wherever it may, and last.
        """
        if "access" in self.ignore:
            return base
        mine = [r for r in rules if r.target == "access" and (not r.modes or self.modes & set(r.modes))]
        opened = [
            r.value
            for r in mine
            if r.value < base and r.condition and surely_holds(r.condition, self.window, self.coach)
        ]
        access = max(opened) if opened else base
        return min(
            max([access, *(r.value for r in mine if r.value >= base and self.binds(r))]), ACCESS_CLOSED
        )
