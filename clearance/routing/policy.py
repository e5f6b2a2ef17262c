"""What structures that are tight or unverified cost when ways are compared."""

from __future__ import annotations

from dataclasses import dataclass

from clearance.core.drive import Unverified

__all__ = ["COACH_TOP_KMH", "POLICIES", "PROMISED_WEIGHT", "Policy"]

#: No coach gains time above this: about 65 mph (judgement, no source).
COACH_TOP_KMH = 105.0

#: What an unverified structure counts where a country's rule promises what the coach needs: it must be looked
#: at all the same, but is worth a smaller detour than one of which nothing is told. Judgement, no source.
PROMISED_WEIGHT = 0.5


@dataclass(frozen=True, slots=True)
class Policy:
    """Seconds that are added, when ways are compared, for each structure passed; no driving time.

    `refuse_unverified` closes unverified structures instead.
    """

    unverified_s: float
    tight_s: float
    refuse_unverified: bool = False


#: Judgement, no source. ``avoid``: a detour of a quarter of an hour is better than a bridge of unknown
#: height, one of four minutes better than a tight one. ``accept``: all the same, but of two ways alike the
#: one with fewer of them. ``refuse``: unverified is closed.
POLICIES: dict[Unverified, Policy] = {
    Unverified.AVOID: Policy(unverified_s=900.0, tight_s=240.0),
    Unverified.ACCEPT: Policy(unverified_s=1.0, tight_s=1.0),
    Unverified.REFUSE: Policy(unverified_s=0.0, tight_s=240.0, refuse_unverified=True),
}
