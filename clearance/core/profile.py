"""A road seen from the side, and the headroom that a long coach loses to its dips and humps.

Between its axles a coach is a stiff chord over the road, so in a dip its roof comes nearer to what is
above; in front of and behind its axles the same happens on a hump. In the United Kingdom headroom over a
dip is measured above a chord of 25 m (Traffic Signs Manual, chapter 4, 2013, paragraphs 7.1 and 7.10);
whether a sign elsewhere allows for the dip nobody knows, so the loss is always counted in full.

Heights and distances are in metres. Distances are taken along the level and the coach's height upright: on a
grade of 10 % a roof 4 m high reaches 2 cm higher than that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.errors import UsageError
from clearance.core.lengths import Length
from clearance.core.structure import Evidence, EvidenceClass, Structure

if TYPE_CHECKING:
    import numpy.typing as npt

    F64 = npt.NDArray[np.float64]

__all__ = [
    "GROUND_SOURCE",
    "PROFILE_REACH_M",
    "STATIONS_M",
    "Profile",
    "lost_headroom",
    "lost_under",
    "sag_of_circle",
    "sag_of_parabola",
    "with_sag",
]

#: Kept profiles reach this far to either side of the structure: a wheelbase and an overhang, see `Coach`.
PROFILE_REACH_M = 21.0
#: Where a kept profile tells the ground, in metres from the structure.
STATIONS_M: F64 = np.arange(-PROFILE_REACH_M, PROFILE_REACH_M + 0.5)
STATIONS_M.flags.writeable = False

#: The source of everything that a profile tells.
GROUND_SOURCE = "heights of the ground"
_DIPS = "the road dips or humps here"


@dataclass(frozen=True, slots=True)
class Profile:
    """A road seen from the side: distances along it and heights, in metres, arrays (n,), at least two.

    Between its points the road is straight. Raises UsageError where the distances do not rise or a value
    is no number.
    """

    distance: F64
    height: F64

    def __post_init__(self) -> None:
        """Refuse what is no profile."""
        if len(self.distance) != len(self.height) or len(self.distance) < 2:
            raise UsageError("a profile needs two points or more, each with a distance and a height")
        if not (np.isfinite(self.distance).all() and np.isfinite(self.height).all()):
            raise UsageError("a profile needs numbers; a height of the ground is missing")
        if not (np.diff(self.distance) > 0).all():
            raise UsageError("the distances of a profile must rise from point to point")

    def at(self, distance: F64) -> F64:
        """Heights at these distances."""
        return np.interp(distance, self.distance, self.height)


def _rounded_up(metres: float) -> Length:
    # A millionth of a millimetre is noise of the arithmetic.
    return Length(max(math.ceil(round(metres * 10_000, 6)), 0))


def sag_of_circle(wheelbase_m: float, radius_m: float) -> Length:
    """Headroom lost midway between the axles in a dip of this radius: R - sqrt(R^2 - L^2 / 4).

    Rounded up to a tenth of a millimetre. Raises UsageError where the chord does not fit the circle.
    """
    if not 0 < wheelbase_m <= 2 * radius_m:
        raise UsageError(f"a wheelbase of {wheelbase_m:g} m does not fit in a dip of radius {radius_m:g} m")
    half = wheelbase_m / 2
    return _rounded_up(half * half / (radius_m + math.sqrt(radius_m * radius_m - half * half)))


def sag_of_parabola(wheelbase_m: float, grade_change: float, curve_m: float) -> Length:
    """Headroom lost anywhere in a parabolic dip: A L^2 / (8 C), for a change of grade A over a curve C.

    `grade_change` is a ratio (0.1 for a change by 10 %), `curve_m` the length of the curve. Holds while
    the coach stands on the curve. Rounded up to a tenth of a millimetre. Raises UsageError otherwise.
    """
    if not (0 < wheelbase_m <= curve_m and grade_change >= 0):
        raise UsageError(
            "the wheelbase must be above zero and fit on the curve, the change of grade not negative"
        )
    return _rounded_up(grade_change * wheelbase_m**2 / (8 * curve_m))


def lost_headroom(
    profile: Profile, at_m: float, *, wheelbase_m: float, front_m: float = 0.0, rear_m: float = 0.0
) -> Length:
    """The most by which the roof of a coach is nearer to what is above at `at_m` than the road's height says.

    Over all places of the coach on the profile, in either direction of travel: exact for the profile as
    given. `front_m` and `rear_m` are what stands out beyond the axles. Never negative; rounded up to a tenth
    of a millimetre.

    Raises UsageError where a measure cannot be meant or the profile does not reach a coach's length to
    either side.
    """
    measures = wheelbase_m, front_m, rear_m
    lost = _lost_both_ways(profile.distance, profile.height[None, :], at_m, measures)
    return _rounded_up(float(lost[0]))


def lost_under(
    heights: F64, *, wheelbase_m: float, front_m: float = 0.0, rear_m: float = 0.0
) -> npt.NDArray[np.int32]:
    """`lost_headroom` for many profiles at once, in tenths of a millimetre, (m,).

    `heights` (m, s) are the heights of the road at `STATIONS_M` from each structure. Empty for none.

    Raises UsageError where a measure cannot be meant.
    """
    lost = _lost_both_ways(STATIONS_M, heights, 0.0, (wheelbase_m, front_m, rear_m))
    return np.maximum(np.ceil(np.round(lost * 10_000, 6)), 0).astype(np.int32)


def _lost_both_ways(distance: F64, heights: F64, at_m: float, measures: tuple[float, float, float]) -> F64:
    """The greatest loss of each profile (m,), driven either way, in metres."""
    base, front, rear = measures
    if not (0 < base < 100 and 0 <= front < 30 and 0 <= rear < 30):
        raise UsageError("wheelbase and overhangs must be lengths of a road vehicle, in metres")
    reach = base + max(front, rear)
    first, last = float(distance[0]), float(distance[-1])
    if not first + reach <= at_m <= last - reach:
        raise UsageError(
            f"the profile, {first:g} to {last:g} m, does not reach {reach:g} m to either side of {at_m:g} m"
        )
    one = _lost(distance, heights, at_m, (base, front, rear))
    return np.maximum(one, one if front == rear else _lost(distance, heights, at_m, (base, rear, front)))


def _lost(distance: F64, heights: F64, at_m: float, measures: tuple[float, float, float]) -> F64:
    """The greatest height of the chord through the axles above the road at `at_m`, by profile (m,).

    With the rear axle at a, that is z(a) + (z(a + L) - z(a)) (p - a) / L - z(p): between the points of
    the profile a parabola in a, greatest at an end of its stretch or at its vertex.
    """
    base, front, rear = measures
    low, high = at_m - base - front, at_m + rear
    knots = np.concatenate([distance, distance - base, [low, high]])
    knots = np.unique(knots[(knots >= low) & (knots <= high)])
    behind, ahead = _at(distance, heights, knots), _at(distance, heights, knots + base)
    a, size = knots[:-1], np.diff(knots)
    rise_a, rise_b = np.diff(behind) / size, np.diff(ahead) / size
    # h(a + t) = z + rise_a t + (d + (rise_b - rise_a) t) (p - a - t) / L, with d the rise of the chord.
    z, d = behind[:, :-1], (ahead - behind)[:, :-1]
    bend = (rise_b - rise_a) / base
    slope = rise_a + bend * (at_m - a) - d / base
    with np.errstate(divide="ignore", invalid="ignore"):
        vertex = np.where(bend > 0, slope / (2 * bend), 0.0)
    highest = np.full(len(heights), -np.inf)
    for t in (np.zeros_like(vertex), np.clip(vertex, 0.0, size), np.broadcast_to(size, vertex.shape)):
        above = z + rise_a * t + (d / base + bend * t) * (at_m - a - t)
        highest = np.maximum(highest, above.max(axis=1))
    return np.asarray(highest - _at(distance, heights, np.array([at_m]))[:, 0])


def _at(distance: F64, heights: F64, wanted: F64) -> F64:
    """Heights (m, w) of each profile at the distances wanted, straight between its points."""
    right = np.clip(np.searchsorted(distance, wanted), 1, len(distance) - 1)
    part = (wanted - distance[right - 1]) / (distance[right] - distance[right - 1])
    return np.asarray(heights[:, right - 1] * (1 - part) + heights[:, right] * part)


def with_sag(
    structure: Structure,
    lost: Length,
    *,
    wheelbase_m: float,
    lowest: Length | None = None,
) -> Structure:
    """The structure with what is left of its lowest figure for a coach of this wheelbase.

    `lowest` is that figure where not all figures count, as at a certain time. What is left may condemn and
    never clear; with nothing lost, or no figure to lose from, the structure gets a warning at most.
    """
    if lost <= Length(0):
        return structure
    text = (
        f"{_DIPS}: a coach with a wheelbase of {wheelbase_m:.1f} m loses {math.ceil(lost.tenths / 100)} cm "
        f"({math.ceil(lost.tenths / 254)} in) of height"
    )
    warnings = (*(w for w in structure.warnings if not w.startswith(_DIPS)), text)
    lowest = structure.lowest() if lowest is None else lowest
    if lowest is None:
        return replace(structure, warnings=warnings)
    left = Evidence(
        evidence_class=EvidenceClass.MEASURED,
        figure=lowest - lost,
        key="vertical profile",
        raw=f"{lowest} less {lost}",
        can_clear=False,
        note=text,
        source=GROUND_SOURCE,
    )
    return replace(structure, evidence=(*structure.evidence, left), warnings=warnings)
