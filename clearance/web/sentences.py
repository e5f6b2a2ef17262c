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
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

__all__ = ["Sentences"]

#: Figures, units and signs, which are the same in every language.
_NEUTRAL = re.compile(r"(?:[^A-Za-z\u00c0-\u024f]|\b(?:mi|ft|in|m|km|cm|mm|h|min|lb|kg|t|AM|PM|OK)\b)*")
_BETWEEN = {"l": ("; ", "; "), "c": (", ", ", "), "a": (" and ", " {and_} ")}
_DEEPEST = 6


@dataclass(frozen=True, slots=True)
class _Pattern:
    """One sentence: how it is known, what it says instead, and how its places are filled."""

    begins: str
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
        self.of = lru_cache(maxsize=20_000)(self._of)

    def pieces(self, text: str) -> list[tuple[str, bool]]:
        """The text in this language, sentence by sentence; those marked False are not known, and English."""
        whole = self.of(text)
        if whole is not None:
            return [(whole, True)]
        found: list[tuple[str, bool]] = []
        for sentence in re.split(r"(?<=[.!?]) (?=[A-Z0-9\"'])", text):
            said = self.of(sentence)
            piece = (sentence, False) if said is None else (said, True)
            if found and found[-1][1] is piece[1]:
                found[-1] = (f"{found[-1][0]} {piece[0]}", piece[1])
            else:
                found.append(piece)
        return found

    def _of(self, text: str, depth: int = 0, *, again: bool = True) -> str | None:
        """The text in this language; None where it is not known, nor with its first letter the other size."""
        if depth > _DEEPEST or len(text) > 4000:
            return None
        if text in self._words:
            return self._words[text]
        if _NEUTRAL.fullmatch(text):
            return text
        for pattern in self._patterns:
            if text.startswith(pattern.begins):
                said = self._filled(pattern, text, depth)
                if said is not None:
                    return said
        # Outputs begin a line with a capital where a sentence would not, and the other way round.
        other = text[0].swapcase() + text[1:]
        said = self._of(other, depth + 1, again=False) if again and other != text else None
        return (
            None if said is None else (said[0].upper() if text[0].isupper() else said[0].lower()) + said[1:]
        )

    def _filled(self, pattern: _Pattern, text: str, depth: int) -> str | None:
        found = pattern.known.fullmatch(text)
        if found is None:
            return None
        values: dict[str, str] = {}
        for name, kind in pattern.kinds.items():
            said = self._place(found[name], kind, depth + 1)
            if said is None:
                return None
            values[name] = said
        whole = pattern.said.format(**values)
        rest = found["rest_"] if "rest_" in pattern.known.groupindex else None
        if rest is None:
            return whole
        more = self._of(rest, depth)
        return None if more is None else f"{whole} {more}"

    def _place(self, text: str, kind: str, depth: int) -> str | None:
        match kind:
            case "":
                return text
            case "t":
                return self._of(text, depth)
            case "w":
                return self._words.get(text)
            case "n":
                return text if _NEUTRAL.fullmatch(text) else self._words.get(text)
            case "u":
                return self._words.get(text) if text.startswith(("the ", "a ", "an ")) else None
            case "o":
                return self._of(text, depth) or text
        between, joined = _BETWEEN[kind]
        said = [self._of(part, depth) for part in text.split(between)]
        if any(part is None for part in said):
            return None
        return joined.format(and_=self._and).join(part for part in said if part is not None)


def _pattern(english: str, said: str) -> _Pattern:
    """A pattern of a language file. Raises ValueError where it is none: they are part of the program."""
    known, kinds, begins = "", {}, None
    for literal, name, kind, _ in string.Formatter().parse(english):
        known += re.escape(literal)
        if begins is None:
            begins = literal
        if name is not None:
            if (kind or "") not in {"", "t", "w", "n", "u", "o", *_BETWEEN}:
                raise ValueError(f"{english!r}: {kind!r} is no kind of place")
            known += f"(?P<{name}>.+?)"
            kinds[name] = kind or ""
    if english.endswith((".", "!", "?")):
        known += r"(?: (?P<rest_>.+))?"
    return _Pattern(begins or "", re.compile(known, re.DOTALL), said, kinds)
