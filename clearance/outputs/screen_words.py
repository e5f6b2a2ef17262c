"""The words of a screening: coaches by name, what sets a verdict, how tall a coach gets there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from clearance.core.coach import Coach
from clearance.core.drive import InOutAnswer, Unverified, Verdict
from clearance.core.lengths import Length
from clearance.core.screening import Admitted, Flag, Leg, Problem, Row, Screening, Totals
from clearance.core.structure import Standing, Structure
from clearance.outputs.measures import Units, clearance_text, distance_text, duration_text
from clearance.outputs.wording import (
    aside_text,
    in_out_text,
    obstacle_text,
    plain,
    structure_text,
    verdict_word,
)

__all__ = [
    "NOT_SCREENED",
    "by_key",
    "clock_span",
    "coach_names",
    "common_bar_text",
    "driven_text",
    "headline",
    "named_structures",
    "names_of",
    "problem_text",
    "reason_parts",
    "tallest_parts",
    "tallest_text",
    "totals_text",
    "verdict_of_row",
]

NOT_SCREENED = "NOT SCREENED"
#: So many structures are named one by one in a sentence; files hold all of them.
_MOST_NAMED = 3
#: Fewer blocked destinations than this say nothing of home.
_COMMON = 3

_POLICY = {
    Unverified.AVOID: "avoided where another way is not much longer",
    Unverified.ACCEPT: "taken as they come",
    Unverified.REFUSE: "never driven under",
}


def coach_names(screening: Screening) -> tuple[str, ...]:
    """What each coach of a screening is called."""
    return names_of(screening.coaches)


def names_of(coaches: Sequence[Coach]) -> tuple[str, ...]:
    """What each coach is called; coaches of one name are told apart by a number."""
    names = [plain(coach.name) or "coach" for coach in coaches]
    again = Counter(names)
    return tuple(f"{name} ({n})" if again[name] > 1 else name for n, name in enumerate(names, 1))


def by_key(screening: Screening) -> Mapping[str, Structure]:
    """The structures of the area by their key."""
    return {structure.key: structure for structure in screening.structures}


def headline(screening: Screening) -> str:
    """What was screened and by which rule, as a sentence or two."""
    count = len({row.number for row in screening.rows})
    places = "1 destination" if count == 1 else f"{count} destinations"
    return (
        f"{places} screened there and back from {plain(screening.home.name) or _lat_lon(screening)}. "
        f"Structures with no known height are {_POLICY[screening.unverified]}. No time of day is set: "
        "every limit of the map that holds at certain hours counts."
    )


def _lat_lon(screening: Screening) -> str:
    return f"{screening.home.lat:.5f},{screening.home.lon:.5f}"


def verdict_of_row(row: Row) -> str:
    """The verdict as a label."""
    return verdict_word(row.verdict)


def clock_span(seconds: float) -> str:
    """A time spent as hours and minutes, to the minute: ``0:09``, ``1:05``."""
    minutes = int(seconds / 60 + 0.5)
    return f"{minutes // 60}:{minutes % 60:02d}"


def named_structures(keys: Sequence[str], known: Mapping[str, Structure], most: int = _MOST_NAMED) -> str:
    """Structures in words, the first `most` of them one by one."""
    named = [structure_text(known[key]) for key in keys[:most] if key in known]
    if len(keys) > most:
        named.append(f"{len(keys) - most} more")
    return "; ".join(named)


def reason_parts(row: Row, known: Mapping[str, Structure], units: Units = Units.FEET) -> list[str]:
    """What makes a row what it is, as sentences; empty where there is nothing to say."""
    told = _blocked_parts if row.verdict is Verdict.BLOCKED else _driven_parts
    parts = told(row, known, units)
    parts.append(aside_text(row.off_road_m, units))
    parts += [_sentence(plain(note)) for note in row.notes]
    return [part for part in parts if part]


def _driven_parts(row: Row, known: Mapping[str, Structure], units: Units) -> list[str]:
    parts = []
    if row.ceiling is not None and row.ceiling_key in known:
        parts.append(
            f"Lowest known height {clearance_text(row.ceiling, units)}: "
            f"{structure_text(known[row.ceiling_key])}."
        )
    for keys, word in ((row.unverified, "not verified"), (row.tight, "tight")):
        if keys:
            parts.append(f"{len(keys)} {word}: {named_structures(keys, known)}.")
    if row.avoided:
        told = "; ".join(_flag_text(flag, known, units) for flag in row.avoided[:_MOST_NAMED])
        more = len(row.avoided) - _MOST_NAMED
        parts.append(f"Keeps away from {told}{f'; {more} more' if more > 0 else ''}, on a car's way.")
    if row.in_out is not None and row.in_out.answer is not InOutAnswer.DRIVES_THROUGH:
        parts.append(in_out_text(row.in_out, units))
    return parts


def _blocked_parts(row: Row, known: Mapping[str, Structure], units: Units) -> list[str]:
    way = "way back" if row.blocked is Leg.BACK else "way there"
    parts = [f"No {way} fits the coach."]
    if row.in_the_way:
        told = "; ".join(_flag_text(flag, known, units) for flag in row.in_the_way[:_MOST_NAMED])
        more = len(row.in_the_way) - _MOST_NAMED
        parts.append(f"In the way: {told}{f'; {more} more' if more > 0 else ''}.")
    if row.gets_through is not None:
        parts.append(f"The most that gets through is {clearance_text(row.gets_through, units)}.")
    closing = "; ".join(obstacle_text(obstacle) for obstacle in row.obstacles[:_MOST_NAMED])
    if closing:
        parts.append(f"Closed by {closing}.")
    return parts


def _flag_text(flag: Flag, known: Mapping[str, Structure], units: Units) -> str:
    what = structure_text(known[flag.key]) if flag.key in known else flag.key
    if flag.clearance is not None:
        return f"{what}, {clearance_text(flag.clearance, units)}"
    return f"{what}, no height" if flag.standing is Standing.UNVERIFIED else what


def _sentence(text: str) -> str:
    return text if not text or text.endswith((".", "!", "?")) else f"{text}."


def problem_text(problem: Problem, names: Sequence[str]) -> str:
    """A destination that was not screened: where it was read, its name, why, for which coach."""
    who = "" if problem.coach is None else f" (for {names[problem.coach]})"
    return ": ".join(filter(None, (plain(problem.where), plain(problem.name), plain(problem.text)))) + who


def tallest_text(admitted: Admitted, margin: Length, units: Units = Units.FEET) -> str:
    """The tallest coach that keeps `margin`, rounded down; or that nothing known limits it, or no way."""
    if not admitted.way:
        return "no way"
    height = admitted.coach_height(margin)
    if height is None:
        return "no known limit"
    return clearance_text(height, units) if height.tenths > 0 else "none"


def totals_text(sums: Totals, units: Units = Units.FEET) -> str:
    """The sums of one coach as sentences: the verdicts, then what is driven."""
    parts = [f"{sums.clear} clear", f"{sums.care} with care", f"{sums.blocked} blocked"]
    if sums.problems:
        parts.append(f"{sums.problems} not screened")
    return " ".join([f"{', '.join(parts)}.", *filter(None, [driven_text(sums, units)])])


def driven_text(sums: Totals, units: Units = Units.FEET) -> str:
    """What is driven there and back by one coach, as sentences; empty where nothing can be."""
    told = []
    if sums.clear or sums.care:
        extra = f", {duration_text(sums.extra_s)} more than a car" if sums.extra_s >= 30 else ""
        told.append(
            f"All driven once there and back: {distance_text(sums.distance_m, units)}, "
            f"{duration_text(sums.duration_s)}{extra}."
        )
        passed = "1 structure" if sums.unverified == 1 else f"{sums.unverified or 'No'} structures"
        told.append(f"{passed} of unknown height {'is' if sums.unverified == 1 else 'are'} passed.")
    if sums.not_through:
        cannot = "1 place cannot" if sums.not_through == 1 else f"{sums.not_through} places cannot"
        told.append(f"{cannot} be driven in and out of forward.")
    return " ".join(told)


def common_bar_text(screening: Screening, coach: int, units: Units = Units.FEET) -> str:
    """The one thing that blocks most of a coach's destinations, where there is one; else empty.

    It is then as a rule by home: home is a place that the coach cannot get out of, or back to.
    """
    rows, known = screening.of_coach(coach), by_key(screening)
    told: dict[str, str] = {}
    counts: Counter[str] = Counter()
    for row in rows:
        bars = {flag.key: _flag_text(flag, known, units) for flag in row.in_the_way}
        bars |= {obstacle.element: obstacle_text(obstacle) for obstacle in row.obstacles}
        counts.update(bars.keys())
        told |= bars
    most = counts.most_common(1)
    if not most or most[0][1] < _COMMON or 2 * most[0][1] <= len(rows):
        return ""
    bar, count = most[0]
    return (
        f"{count} of {len(rows)} destinations are blocked by one thing: {told[bar]}. "
        "Is home the place where the coach stands?"
    )


def tallest_parts(row: Row, margin: Length, units: Units = Units.FEET) -> str:
    """How tall a coach gets there and back, and how tall with nothing unverified on the way."""
    text = f"Tallest coach: {tallest_text(row.tallest, margin, units)}"
    if row.tallest == row.tallest_verified:
        return f"{text}."
    return f"{text}; with nothing unverified on the way: {tallest_text(row.tallest_verified, margin, units)}."
