"""How a structure stands for a coach: the one rule, used by listings, drives and searches."""

from __future__ import annotations

from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.core.structure import Direction, Standing, Structure

__all__ = ["judge", "standing"]


def judge(lowest: Length | None, *, verified: bool, coach: Coach) -> Standing:
    """The standing of a clearance: `lowest` is the least figure that may hold, None where there is none.

    A figure below the need condemns, wherever it comes from; only a verified one can do better than
    unverified. A clearance equal to the need is not too low, one equal to the comfort is clear.

    >>> coach = Coach(height=Length.from_feet(13))
    >>> str(judge(Length.from_feet(13, 6), verified=True, coach=coach))
    'tight'
    >>> str(judge(None, verified=False, coach=coach))
    'unverified'
    """
    if lowest is not None and lowest < coach.need:
        return Standing.TOO_LOW
    if lowest is None or not verified:
        return Standing.UNVERIFIED
    if lowest < coach.comfort_or_need:
        return Standing.TIGHT
    return Standing.CLEAR


def standing(structure: Structure, direction: Direction, coach: Coach) -> Standing:
    """The standing of `structure` for `coach` driven in `direction` along its way.

    Conditions are assumed to hold. BOTH takes the lowest figure of either direction and asks that
    each of the two be verified: for lists of structures, where nobody drives yet.
    """
    return judge(structure.lowest(direction), verified=structure.verified(direction), coach=coach)
