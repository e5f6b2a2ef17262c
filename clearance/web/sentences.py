"""Sentences of the outputs in another language: patterns with places for what the map or the coach tells.

English stands on the left of a language file's ``[sentences]``: ``"The coach needs {h}." = "..."``. What
stands in ``{name}`` is kept as it is. Of the other places a letter tells what they hold:

- ``{name:t}`` a text that is itself translated and must be known
- ``{name:w}`` one of the texts of ``[words]`` or ``[parts]``
- ``{name:u}`` one of them that begins with an article: a road without a name
- ``{name:n}`` figures and units alone, or one of them
- ``{name:l}`` known texts between semicolons, ``{name:c}`` between commas, ``{name:a}`` between "and"
- ``{name:o}`` a text that stays English where it is not known
"""

from __future__ import annotations

import re
import string
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

__all__ = ["Sentences"]

#: Figures, units and signs, which are the same in every language.
_NEUTRAL = re.compile(r"(?:[^A-Za-z\u00c0-\u024f]|\b(?:mi|ft|in|m|km|cm|mm|h|min|lb|kg|t|AM|PM|OK)\b)*")
_BETWEEN = {"l": ("; ", "; "), "c": (", ", ", "), "a": (" and ", " {and_} ")}
_KINDS = frozenset({"", "t", "w", "n", "u", "o", *_BETWEEN})
_ENDS = re.compile(r"(?<=[.!?]) (?=[A-Z0-9\"'])")
#: A name may hold what looks like the end of a sentence (St. Anne); so many pieces are tried as one.
_TOGETHER = 3


@dataclass(frozen=True, slots=True)
class _Pattern:
    """One sentence: how it is known, what it says instead, and how its places are filled.

    `holds` is its longest text without places, by which most others are told from it at once.
    """

    begins: str
    holds: str
    known: re.Pattern[str]
    said: str
    kinds: dict[str, str]


class Sentences:
    """The words and sentences of one language, looked up together."""

    def __init__(self, words: Mapping[str, str], sentences: Mapping[str, str]) -> None:
        """Take the texts that are said whole, and those with places in them."""
        self._words = words
        self._patterns = [_pattern(english, said) for english, said in sentences.items()]
        self._and = words.get("and", "and")
        # The same few hundred texts come again on every row of a list.
        self._one = lru_cache(maxsize=50_000)(self._looked_up)

    def of(self, text: str) -> str | None:
        """The text in this language; None where not all of it is known."""
        pieces = self.pieces(text)
        return pieces[0][0] if len(pieces) == 1 and pieces[0][1] else None

    def pieces(self, text: str) -> list[tuple[str, bool]]:
        """The text in this language, sentence by sentence; those marked False are not known, and English."""
        found: list[tuple[str, bool]] = []
        for piece in self._sentences(text):
            if found and found[-1][1] is piece[1]:
                found[-1] = (f"{found[-1][0]} {piece[0]}", piece[1])
            else:
                found.append(piece)
        return found

    def _sentences(self, text: str) -> Iterator[tuple[str, bool]]:
        parts = _ENDS.split(text)
        n = 0
        while n < len(parts):
            for end in range(n + 1, min(n + _TOGETHER, len(parts)) + 1):
                said = self._one(" ".join(parts[n:end]))
                if said is not None:
                    yield said, True
                    n = end
                    break
            else:
                yield parts[n], False
                n += 1

    def _looked_up(self, text: str) -> str | None:
        """One sentence or a part of one, whatever the size of its first letter; None where it is unknown."""
        said = self._matched(text)
        if said is None and text:
            # Outputs begin a line with a capital where a sentence would not, and the other way round.
            first = text[0].swapcase()
            other = self._matched(first + text[1:]) if first != text[0] else None
            said = other and (other[0].upper() if text[0].isupper() else other[0].lower()) + other[1:]
        return said

    def _matched(self, text: str) -> str | None:
        if text in self._words:
            return self._words[text]
        if _NEUTRAL.fullmatch(text):
            return text
        for pattern in self._patterns:
            if pattern.holds in text and text.startswith(pattern.begins):
                said = self._filled(pattern, text)
                if said is not None:
                    return said
        return None

    def _filled(self, pattern: _Pattern, text: str) -> str | None:
        found = pattern.known.fullmatch(text)
        if found is None:
            return None
        values: dict[str, str] = {}
        for name, kind in pattern.kinds.items():
            said = self._place(found[name], kind)
            if said is None:
                return None
            values[name] = said
        return pattern.said.format(**values)

    def _place(self, text: str, kind: str) -> str | None:
        match kind:
            case "":
                return text
            case "t":
                return self.of(text)
            case "w":
                return self._words.get(text)
            case "n":
                return text if _NEUTRAL.fullmatch(text) else self._words.get(text)
            case "u":
                return self._words.get(text) if text.startswith(("the ", "a ", "an ")) else None
            case "o":
                return self.of(text) or text
        between, joined = _BETWEEN[kind]
        said = [self.of(part) for part in text.split(between)]
        if any(part is None for part in said):
            return None
        return joined.format(and_=self._and).join(part for part in said if part is not None)


def _pattern(english: str, said: str) -> _Pattern:
    """A pattern of a language file. Raises ValueError where it is none: they are part of the program."""
    known, kinds, literals = "", {}, []
    for literal, name, kind, _ in string.Formatter().parse(english):
        known += re.escape(literal)
        literals.append(literal)
        if name is not None:
            if (kind or "") not in _KINDS:
                raise ValueError(f"{english!r}: {kind!r} is no kind of place")
            # A figure begins with a digit, so that words before it stay with the place before.
            known += rf"(?P<{name}>[-+(]?\d.*?|[a-z ]+?)" if kind == "n" else f"(?P<{name}>.+?)"
            kinds[name] = kind or ""
    return _Pattern(literals[0], max(literals, key=len), re.compile(known, re.DOTALL), said, kinds)
