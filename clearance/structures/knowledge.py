"""Counting how much is known of the heights of an area."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from clearance.core.heights import height_is_unread
from clearance.core.knowledge import Knowledge
from clearance.core.structure import EvidenceClass, Kind, Structure
from clearance.structures.fusion import CONFLICT

__all__ = ["summary"]

#: Lists of anybody's may write dates in any way; only ISO 8601 sorts.
_BEGINS_WITH_A_YEAR = re.compile(r"\d{4}(?!\d)", re.ASCII)


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
        if s.over_road:
            crossings += 1
            known += how in ("posted", "measured")
        conflicts += any(w.startswith(CONFLICT) for w in s.warnings)
        unreadable += any(height_is_unread(e) for e in s.evidence)
        figured = [e for e in s.evidence if e.figure is not None]
        told = [e.date for e in figured if _BEGINS_WITH_A_YEAR.match(e.date)]
        dates += told
        undated += bool(figured) and not told
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
