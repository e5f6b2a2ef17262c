"""What matching a line to roads goes by, and what it gives."""

from __future__ import annotations

from dataclasses import dataclass

from clearance.core.drive import Unchecked
from clearance.routing.route import Route

__all__ = ["Match", "MatchSettings", "MatchedPart"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchSettings:
    """What is taken for likely. Metres, and penalties as negative logarithms of probabilities.

    `sigma_m`: how far a point usually is from its road, per axis; where it is None, it is found out from
    the line, between the two of `sigma_range_m`. `radius_m`: farther than this from all roads, and than
    five sigma, a point is on none. Points nearer than `step_sigma` times sigma to the one before tell
    nothing new. `spread_m`: how much longer or shorter than the line a way usually is; where its points
    are more than `dense_m` apart, `spread_share` of what is beyond, since a sparse line cuts corners.
    No way is looked for between points more than `longest_m` apart.

    `heading`: penalty of an arc at right angles to the line. `jump`: of going from road to road where no
    way leads. `leave`: of leaving the roads or coming onto them; `off`: of each point off them.

    Two ends of ways that at most `left_out` points part are joined where the way between fits within
    `join_spreads` spreads. A way that is farther than `stray_m` from the line is a guess.

    The figures are judgement, tried on drives with known truth and added noise.
    """

    sigma_m: float | None = None
    sigma_range_m: tuple[float, float] = (5.0, 20.0)
    radius_m: float = 50.0
    most_candidates: int = 32
    step_sigma: float = 4.0
    spread_m: float = 10.0
    dense_m: float = 75.0
    spread_share: float = 0.2
    longest_m: float = 25_000.0
    heading: float = 1.0
    jump: float = 24.0
    leave: float = 10.0
    off: float = 8.0
    left_out: int = 2
    join_spreads: float = 3.0
    stray_m: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchedPart:
    """A stretch of the line that follows known roads.

    `route` is the way, with policy seconds of 0. `first` and `last` are the indices of the points of the
    line at its ends, `distance_m` is along the line from its start to `first`. `assumed` are the stretches
    of it where the line tells too little or leaves the way: the way there is the likeliest, not the line's.
    """

    route: Route
    first: int
    last: int
    distance_m: float
    assumed: tuple[Unchecked, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A line on the roads. Distances are along the line, from its start.

    `parts` in the order of the line. `unmatched` are the stretches between, before and behind them, of
    which nothing is known. `length_m` is that of the line, `matched_m` the part of it that is matched.
    """

    parts: tuple[MatchedPart, ...]
    unmatched: tuple[Unchecked, ...]
    length_m: float
    matched_m: float
    notes: tuple[str, ...] = ()

    @property
    def assumed(self) -> tuple[Unchecked, ...]:
        """What is assumed in any of the parts, in the order of the line."""
        return tuple(guess for part in self.parts for guess in part.assumed)
