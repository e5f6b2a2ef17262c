"""How much is known of the heights of an area: the honest limit of every answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from clearance.core.heights import height_is_unread
from clearance.core.structure import EvidenceClass, Kind, Structure
from clearance.structures.fusion import CONFLICT

__all__ = ["Knowledge", "knowledge_text", "summary"]

#: Kinds that stand over a road at one place; the others are at the road or beside it.
_CROSSINGS = frozenset(
    {
        *(Kind.BRIDGE, Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE, Kind.FOOTBRIDGE, Kind.AQUEDUCT, Kind.PIPE),
        *(Kind.CONVEYOR, Kind.GANTRY, Kind.BUILDING, Kind.BUILDING_PASSAGE, Kind.TUNNEL),
    }
)


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


def summary(structures: Iterable[Structure]) -> Knowledge:
    """What is known of the heights of these structures, counted.

    >>> summary(()).share is None
    True
    """
    counts: dict[Kind, Counter[str]] = {}
    crossings = known = unsure = conflicts = unreadable = undated = beside = 0
    dates: list[str] = []
    for s in structures:
        if not s.spans and not s.nodes:
            beside += 1
            continue
        how = _how(s)
        counts.setdefault(s.kind, Counter())[how] += 1
        unsure += s.ambiguous_order
        if s.kind in _CROSSINGS and not s.ambiguous_order:
            crossings += 1
            known += how in ("posted", "measured")
        conflicts += any(w.startswith(CONFLICT) for w in s.warnings)
        unreadable += any(height_is_unread(e) for e in s.evidence)
        figured = [e for e in s.evidence if e.figure is not None]
        dates += [e.date for e in figured if e.date]
        undated += bool(figured) and not any(e.date for e in figured)
    return Knowledge(
        counts={kind: dict(counts[kind]) for kind in Kind if kind in counts},
        crossings=crossings,
        known=known,
        unsure_order=unsure,
        conflicts=conflicts,
        unreadable=unreadable,
        undated=undated,
        oldest=min(dates, default=""),
        newest=max(dates, default=""),
        beside=beside,
    )


def _how(structure: Structure) -> str:
    """The best way in which the height is known."""
    if structure.verified():
        clearing = {e.evidence_class for e in structure.figures() if e.can_clear and not e.condition}
        return "posted" if EvidenceClass.POSTED in clearing else "measured"
    if structure.figures():
        return "doubtful"
    implied = any(e.evidence_class is EvidenceClass.IMPLIED for e in structure.evidence)
    return "implied" if implied else "none"


def knowledge_text(knowledge: Knowledge) -> tuple[str, ...]:
    """The same in plain words, one sentence a line, the most important first."""
    k = knowledge
    if not k.counts:
        return ("No structure over a road is known here.",)
    lines = []
    if k.crossings:
        # Down, so that 99.6 % is not shown as all.
        percent = 100 * k.known // k.crossings
        lines.append(
            f"Of {_number(k.crossings, 'bridge or tunnel', 'bridges and tunnels')} over roads, "
            f"{k.known} have a known height ({percent} %); the others must be looked at on the spot."
        )
    if k.unsure_order:
        lines.append(
            f"At {_number(k.unsure_order, 'place', 'places')} the map does not tell which way is above."
        )
    if k.conflicts:
        lines.append(
            f"{_number(k.conflicts, 'structure has', 'structures have')} heights that disagree: "
            "the lower counts."
        )
    if k.unreadable:
        lines.append(
            f"{_number(k.unreadable, 'structure has', 'structures have')} a height that cannot be read."
        )
    if k.oldest:
        since = f"from {k.oldest[:10]}" + (f" to {k.newest[:10]}" if k.newest[:10] != k.oldest[:10] else "")
        lines.append(f"The heights are {since}.")
    if k.undated:
        lines.append(f"{_number(k.undated, 'structure has', 'structures have')} a height of unknown date.")
    lines += [f"{kind.value}: {_listed(ways)}." for kind, ways in k.counts.items()]
    return tuple(lines)


_ORDER: Sequence[tuple[str, str]] = (
    ("posted", "posted"),
    ("measured", "measured"),
    ("doubtful", "with a height that cannot be relied on"),
    ("implied", "by a general rule only"),
    ("none", "of unknown height"),
)


def _listed(ways: Mapping[str, int]) -> str:
    return ", ".join(f"{ways[key]} {words}" for key, words in _ORDER if ways.get(key))


def _number(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
