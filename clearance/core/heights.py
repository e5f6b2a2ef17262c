"""What the maxheight tags of one element tell: evidence for each, warnings for what is amiss.

Sources: OSM wiki, Key:maxheight, Key:maxheight:physical, Key:maxheight:signed, Tag:maxheight=default,
Conditional restrictions; the lane suffix from memory (OSM wiki, Lanes).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from clearance.core.conditions import parse_conditional
from clearance.core.lengths import HeightWord, Length, LengthReading, height_word, parse_length
from clearance.core.modes import OWN_MODES
from clearance.core.structure import Direction, Evidence, EvidenceClass
from clearance.core.valuetext import UnreadableError, listed, shown

__all__ = [
    "HIGHEST_SIGN",
    "HeightTags",
    "HeightWord",
    "has_height",
    "height_is_unread",
    "read_heights",
    "tells_below_default",
]

#: No sign shows more (the largest normal sign in the United Kingdom is 16'0", Traffic Signs Manual
#: chapter 4, 2013, paragraph 7.11; US signs up to 20 ft, common practice): a larger bare number may be feet
#: and inches. The bound itself is a judgement.
HIGHEST_SIGN = Length.from_metres("7")

_PREFIX = "maxheight"
_KINDS = frozenset({"physical", "legal", "signed"})
_DIRECTIONS = {"forward": Direction.FORWARD, "backward": Direction.BACKWARD}
_SHAPES = frozenset({"lanes", "conditional"})
#: Modes that every coach belongs to: their figures count like the plain ones (OSM wiki, Key:access).
_COACH_MODES = OWN_MODES | {"motorhome"}
#: Keys about the tag, not a figure.
_REMARKS = frozenset(
    {"source", "note", "description", "ref", "date", "check_date", "fixme", "type", "survey"}
)
_NOT_SURVEYED = ("estimat", "guess", "approx", "assum", "calculat")

_UNREADABLE = "unreadable height"
_IMPLAUSIBLE = "implausible height"

_WORD_NOTES = {
    HeightWord.DEFAULT: "no sign; said to meet the country's ordinary height, no figure",
    HeightWord.BELOW_DEFAULT: "said to be lower than the country's ordinary height, by how much is not told",
    HeightWord.NONE: "said to have no limit; under a structure that is no clearance",
    HeightWord.NO_SIGN: "no height sign",
    HeightWord.UNSIGNED: "no height sign",
    HeightWord.NO_INDICATIONS: "no height sign, and not known whether lower than ordinary",
}


@dataclass(frozen=True, slots=True)
class HeightTags:
    """Everything the maxheight tags of an element tell, in the order of their keys."""

    evidence: tuple[Evidence, ...]
    warnings: tuple[str, ...]


def has_height(tags: Mapping[str, str]) -> bool:
    """Whether any tag speaks of a greatest height: every key that begins with ``maxheight``."""
    return any(key.startswith(_PREFIX) for key in tags)


def height_is_unread(evidence: Evidence) -> bool:
    """Whether a height of the map stands here whose text could not be read or cannot be meant."""
    return evidence.figure is None and evidence.note.startswith((_UNREADABLE, _IMPLAUSIBLE))


def tells_below_default(evidence: Evidence) -> bool:
    """Whether the map says that it is lower than ordinary, without a figure."""
    return evidence.figure is None and _WORD_NOTES[HeightWord.BELOW_DEFAULT] in evidence.note


@dataclass(frozen=True, slots=True)
class _Key:
    """The suffixes of one key, sorted by what they mean."""

    evidence_class: EvidenceClass
    direction: Direction
    conditional: bool
    signed: bool
    remark: bool
    #: Why a figure under this key may condemn only; empty where it may clear.
    doubt: str


def _key(key: str) -> _Key:
    suffixes = key[len(_PREFIX) :].split(":")
    # "maxheight_1" and the like: no colon after the prefix, so nothing the wiki knows.
    odd = [suffixes[0]] if suffixes[0] else []
    directions = {_DIRECTIONS[s] for s in suffixes if s in _DIRECTIONS}
    for suffix in suffixes[1:]:
        if suffix not in _KINDS | _SHAPES | _COACH_MODES | _REMARKS | _DIRECTIONS.keys():
            odd.append(suffix)
    return _Key(
        evidence_class=EvidenceClass.MEASURED if "physical" in suffixes else EvidenceClass.POSTED,
        direction=directions.pop() if len(directions) == 1 else Direction.BOTH,
        conditional="conditional" in suffixes,
        signed="signed" in suffixes,
        remark=not _REMARKS.isdisjoint(suffixes),
        doubt=f"key with the unknown part {':'.join(odd) or 'none'}; the figure may not clear" if odd else "",
    )


def _doubts(tags: Mapping[str, str], key: str, parts: _Key) -> list[str]:
    """Why no figure under `key` may clear, from the tags beside it."""
    doubts = [parts.doubt] if parts.doubt else []
    for told in (f"source:{_PREFIX}", f"source:{key}", f"{_PREFIX}:source", f"{key}:source"):
        how = tags.get(told, "").lower()
        if any(word in how for word in _NOT_SURVEYED):
            doubts.append(f"not surveyed ({told}={tags[told]}); the figure may not clear")
            break
    if (
        parts.evidence_class is EvidenceClass.POSTED
        and tags.get(f"{_PREFIX}:signed", "").strip().lower() == "no"
    ):
        doubts.append("said not to be on a sign; the figure may not clear")
    return doubts


def read_heights(tags: Mapping[str, str], element: str, date: str = "") -> HeightTags:
    """Evidence and warnings from every maxheight tag of `element` (``way/12``, ``node/7``).

    Figures become posted evidence, under ``physical`` measured; words become evidence without a figure;
    of lanes the lowest counts. Unreadable and implausible texts, ``below_default`` and unknown keys give
    a warning as well. No figure is dropped and none is made up: each maxheight key yields at least one
    piece of evidence. A figure under a condition, under an unknown key, not surveyed, not on a sign, or
    perhaps in feet may condemn the structure but never clear it.

    >>> read_heights({"maxheight": "13'6\\""}, "way/1").evidence[0].figure
    Length(tenths=41148)
    >>> read_heights({}, "way/1")
    HeightTags(evidence=(), warnings=())

    Never raises, whatever the tags.
    """
    evidence: list[Evidence] = []
    warnings: list[str] = []
    unread: set[Direction] = set()
    for key in sorted(key for key in tags if key.startswith(_PREFIX)):
        parts = _key(key)
        base = Evidence(
            evidence_class=parts.evidence_class,
            direction=parts.direction,
            element=element,
            key=key,
            raw=tags[key],
            date=date,
        )
        if parts.signed and not parts.conditional:
            found, amiss = _signed(base)
        elif parts.conditional:
            found, amiss = _conditional(base)
        else:
            found, amiss = _value(base, tags[key], remark=parts.remark)
        if parts.doubt and not parts.remark:
            amiss.append(parts.doubt)
        if any(e.note.startswith((_UNREADABLE, _IMPLAUSIBLE)) for e in found):
            unread.add(parts.direction)
        evidence += _doubted(found, _doubts(tags, key, parts))
        warnings += [f"{element}: {key}={shown(tags[key])}: {text}" for text in amiss]
    return HeightTags(tuple(_beside_unread(e, unread) for e in evidence), tuple(warnings))


def _beside_unread(evidence: Evidence, unread: set[Direction]) -> Evidence:
    """A text that cannot be read may hide a lower figure, so that none beside it may clear."""
    if not unread or evidence.figure is None:
        return evidence
    if Direction.BOTH not in unread | {evidence.direction} and evidence.direction not in unread:
        return evidence
    note = "another height of this element cannot be read; the figure may not clear"
    return replace(evidence, can_clear=False, note=_joined(evidence.note, note))


def _doubted(found: Iterable[Evidence], doubts: list[str]) -> list[Evidence]:
    if not doubts:
        return list(found)
    return [
        e if e.figure is None else replace(e, can_clear=False, note=_joined(e.note, *doubts)) for e in found
    ]


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)


def _nothing(base: Evidence, note: str) -> Evidence:
    return replace(base, evidence_class=EvidenceClass.NONE, figure=None, note=note)


def _signed(base: Evidence) -> tuple[list[Evidence], list[str]]:
    """``maxheight:signed``: whether there is a sign, no figure (OSM wiki, Key:maxheight:signed)."""
    match base.raw.strip().lower():
        case "no":
            return [_nothing(base, "no height sign")], []
        case "yes":
            return [_nothing(base, "there is a height sign")], []
    return _value(base, base.raw)


def _conditional(base: Evidence) -> tuple[list[Evidence], list[str]]:
    """Each clause as evidence with its condition; a text that is none as if it always held."""
    try:
        clauses = parse_conditional(base.raw)
    except UnreadableError as error:
        note = f"{_UNREADABLE} under a condition; what it means is not known"
        return [_nothing(base, note), *_readable_parts(base, base.raw.replace("@", ";"))], [str(error)]
    evidence: list[Evidence] = []
    warnings: list[str] = []
    for clause in clauses:
        found, amiss = _value(base, clause.value)
        evidence += [replace(e, condition=clause.condition, can_clear=False) for e in found]
        warnings += amiss
    return evidence, warnings


def _value(base: Evidence, text: str, *, remark: bool = False) -> tuple[list[Evidence], list[str]]:
    """One value, word or figure or neither, as evidence and warnings; never empty evidence."""
    word = height_word(text)
    if word is not None:
        note = _WORD_NOTES[word]
        return [_nothing(base, note)], [note] if word is HeightWord.BELOW_DEFAULT else []
    words = [height_word(part) for part in listed(text) if part]
    if words and all(words):
        return _words(base, [word for word in words if word is not None])
    try:
        reading = parse_length(text)
    except UnreadableError as error:
        if remark:
            return [_nothing(base, "a remark about the height, no figure")], []
        note = f"{_UNREADABLE}; what it means is not known"
        return [_nothing(base, note), *_readable_parts(base, text)], [f"{_UNREADABLE}: {error}"]
    if reading.length is None:
        note = f"{_IMPLAUSIBLE}, not used: {reading.implausible}"
        return [_nothing(base, note), *_readable_parts(base, text)], [note]
    if remark:
        note = "a number in a remark; it may not clear"
        return [replace(base, figure=reading.length, can_clear=False, note=note)], [note]
    return _figure(base, reading, reading.length)


def _words(base: Evidence, words: list[HeightWord]) -> tuple[list[Evidence], list[str]]:
    """A list of nothing but words, such as one for each lane."""
    notes = dict.fromkeys(_WORD_NOTES[word] for word in words)
    lower = HeightWord.BELOW_DEFAULT in words
    return (
        [_nothing(base, "; ".join(notes))],
        [_WORD_NOTES[HeightWord.BELOW_DEFAULT]] if lower else [],
    )


def _figure(base: Evidence, reading: LengthReading, length: Length) -> tuple[list[Evidence], list[str]]:
    notes = [f"irregular text: {reading.irregular}"] if reading.irregular else []
    warnings = []
    can_clear = True
    if reading.bare and length > HIGHEST_SIGN:
        doubt = f"a number without a unit above {HIGHEST_SIGN}: metres, or feet and inches? It may not clear"
        notes.append(doubt)
        warnings.append(doubt)
        can_clear = False
    if reading.partial:
        notes.append("not every part tells a figure; it may not clear")
        can_clear = False
        if "below" in base.raw.lower():
            warnings.append(_WORD_NOTES[HeightWord.BELOW_DEFAULT])
    return [replace(base, figure=length, can_clear=can_clear, note=_joined(*notes))], warnings


def _readable_parts(base: Evidence, text: str) -> list[Evidence]:
    """The plausible figures of a list that is amiss elsewhere: enough to condemn, not to clear."""
    found = []
    for part in listed(text):
        try:
            length = parse_length(part).length
        except UnreadableError:
            continue
        if length is not None:
            note = "a part of a text that cannot be used whole; it may not clear"
            found.append(replace(base, figure=length, can_clear=False, note=note))
    return found
