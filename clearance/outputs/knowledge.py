"""How much is known of an area, as text and as JSON values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from clearance.core.extract import ExtractInfo
    from clearance.core.knowledge import Knowledge

__all__ = ["knowledge_json", "knowledge_text"]


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


def knowledge_json(knowledge: Knowledge, info: ExtractInfo) -> dict[str, Any]:
    """The same as values that json.dumps takes.

    `crossings`, `known` and `share` (0 to 1, null without crossings) are of bridges, buildings and tunnels
    over roads; `unsure_order`, `conflicts`, `unreadable`, `undated` and `beside` count structures; `oldest`
    and `newest` are ISO 8601 texts, empty where no date is told; `kinds` gives for each kind how many are
    known in which way: ``posted``, ``measured``, ``doubtful``, ``implied``, ``none``. `text` are sentences.
    """
    k = knowledge
    return {
        "crossings": k.crossings,
        "known": k.known,
        "share": k.share,
        "unsure_order": k.unsure_order,
        "conflicts": k.conflicts,
        "unreadable": k.unreadable,
        "undated": k.undated,
        "oldest": k.oldest,
        "newest": k.newest,
        "beside": k.beside,
        "kinds": {kind.value: dict(ways) for kind, ways in k.counts.items()},
        "text": list(knowledge_text(k)),
        "source": info.source,
        "data_date": info.data_date,
        "attribution": info.attribution,
    }
