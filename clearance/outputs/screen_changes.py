"""What changed since an earlier screening, in words and as JSON values."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from clearance.core.changes import Cause, CauseKind, Changes, Moved, StructureChange, StructureChanged
from clearance.core.drive import Verdict
from clearance.core.structure import Kind, Structure
from clearance.outputs.json_values import clearance_value
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.screen_words import NOT_SCREENED
from clearance.outputs.wording import kind_text, plain, structure_text, verdict_word

__all__ = [
    "cause_text",
    "causes_counted",
    "causes_text",
    "changes_headline",
    "changes_json",
    "moved_text",
    "structure_change_text",
    "was_text",
]

_CHANGED = {
    StructureChanged.NEW: "new in the map data",
    StructureChanged.GONE: "no longer in the map data",
    StructureChanged.LOWERED: "lower than before",
    StructureChanged.RAISED: "higher than before",
    StructureChanged.KNOWN: "height known now",
    StructureChanged.UNKNOWN: "height not known any more",
}

#: What a structure is called that has neither name nor road.
_NAMELESS = {kind_text(kind) for kind in Kind}


def changes_headline(changes: Changes) -> str:
    """How much changed, as sentences."""
    counts = Counter(c.changed for c in changes.structures)
    told = [f"{counts[kind]} {word}" for kind, word in _CHANGED.items() if counts[kind]]
    dated = f" of {plain(changes.data_date)[:10]}" if changes.data_date else ""
    count = len(changes.moved)
    moved = "1 verdict" if count == 1 else f"{count or 'no'} verdicts"
    parts = [
        f"Compared with the screening on map data{dated} from {plain(changes.source)}: "
        f"{moved} moved, {changes.same} as before.",
        f"Structures: {', '.join(told)}." if told else "No structure changed.",
    ]
    if changes.new_coaches:
        parts.append(f"Not screened then, so not compared: {', '.join(map(plain, changes.new_coaches))}.")
    return " ".join(parts)


def _verdict(verdict: Verdict | None) -> str:
    return NOT_SCREENED if verdict is None else verdict_word(verdict)


def was_text(moved: Moved) -> str:
    """What the verdict was."""
    return _verdict(moved.before)


def moved_text(moved: Moved, known: Mapping[str, Structure], units: Units = Units.FEET) -> str:
    """A destination whose verdict moved, what it was and is, and why."""
    first = (
        f"{plain(moved.name)} ({plain(moved.label)}): {_verdict(moved.now)}, was {_verdict(moved.before)}."
    )
    return f"{first} {causes_text(moved.causes, known, units)}".strip()


def causes_text(causes: Sequence[Cause], known: Mapping[str, Structure], units: Units = Units.FEET) -> str:
    """The reasons as sentences."""
    return " ".join(cause_text(cause, count, known, units) for cause, count in causes_counted(causes, known))


def causes_counted(causes: Sequence[Cause], known: Mapping[str, Structure]) -> list[tuple[Cause, int]]:
    """The reasons without those that would be told in the same words, and how many each stands for."""
    texts = [tuple(_cause_text(cause, known, units) for units in Units) for cause in causes]
    counts = Counter(texts)
    return [(causes[texts.index(text)], count) for text, count in counts.items()]


def cause_text(cause: Cause, count: int, known: Mapping[str, Structure], units: Units = Units.FEET) -> str:
    """A reason that stands for `count` alike, as a sentence."""
    text = _cause_text(cause, known, units)
    return text if count == 1 else f"{text.removesuffix('.')}, {count} of them."


def _cause_text(cause: Cause, known: Mapping[str, Structure], units: Units) -> str:
    match cause.kind:
        case CauseKind.STRUCTURE:
            assert cause.change is not None, "a structure is told"
            return f"{_capital(_change_text(cause.change, known, units))}."
        case CauseKind.COACH:
            return f"The coach is another one: {cause.text}."
        case CauseKind.POLICY:
            return f"Structures of unknown height were to be treated otherwise: {cause.text}."
        case CauseKind.HOME:
            return "Home is another place."
        case CauseKind.ROADS:
            return "No structure on the way changed: the roads themselves did, or limits other than height."


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def structure_change_text(
    change: StructureChange, known: Mapping[str, Structure], units: Units = Units.FEET
) -> str:
    """A structure in words, where it is if it has neither name nor road, how it changed, and its heights."""
    return _change_text(change, known, units, located=True)


def _change_text(
    change: StructureChange, known: Mapping[str, Structure], units: Units, *, located: bool = False
) -> str:
    name = next((structure_text(known[key]) for key in sorted(change.keys) if key in known), change.text)
    heights = [
        "no height" if height is None else clearance_text(height, units)
        for height in (change.before, change.now)
    ]
    match change.changed:
        case StructureChanged.NEW:
            told = heights[1]
        case StructureChanged.GONE:
            told = heights[0]
        case _:
            told = heights[1] if heights[0] == heights[1] else f"{heights[1]}, was {heights[0]}"
            if change.changed is StructureChanged.UNKNOWN and change.now is not None:
                told += ", not to be relied on"
    if located and name in _NAMELESS:
        name = f"{name} at {change.lat:.5f},{change.lon:.5f}"
    return f"{plain(name)}: {_CHANGED[change.changed]} ({told})"


def changes_json(
    changes: Changes | None, known: Mapping[str, Structure], units: Units = Units.FEET
) -> dict[str, Any] | None:
    """The changes as values that json.dumps takes; None where nothing was compared.

    - `source`, `data_date` of the earlier screening, `same`, `new_coaches`, `text`
    - `structures`: [`changed`, `text`, `lon`, `lat`, `keys`, `before`, `now` (lengths)]
    - `moved`: [`name`, `coach` (label), `number` (null: not listed any more), `before`, `now` (verdicts,
      null: not screened), `why`: [`kind`, `text`, `keys` of the structure]]
    """
    if changes is None:
        return None
    return {
        "source": changes.source,
        "data_date": changes.data_date,
        "same": changes.same,
        "new_coaches": list(changes.new_coaches),
        "text": changes_headline(changes),
        "structures": [
            {
                "changed": c.changed.value,
                "text": structure_change_text(c, known, units),
                "lon": c.lon,
                "lat": c.lat,
                "keys": sorted(c.keys),
                "before": clearance_value(c.before),
                "now": clearance_value(c.now),
            }
            for c in changes.structures
        ],
        "moved": [
            {
                "name": m.name,
                "coach": m.label,
                "number": m.number,
                "before": None if m.before is None else m.before.value,
                "now": None if m.now is None else m.now.value,
                "why": [
                    {
                        "kind": cause.kind.value,
                        "text": _cause_text(cause, known, units),
                        "keys": [] if cause.change is None else sorted(cause.change.keys),
                    }
                    for cause in m.causes
                ],
            }
            for m in changes.moved
        ],
    }
