"""The texts of the pages in the reader's language.

English stands in the templates themselves. A file ``languages/xx.toml`` holds the same texts in another
language, English on the left, and the sentences of the outputs as patterns (see `web.sentences`); a text that
is missing there is shown in English and marked so.
"""

from __future__ import annotations

import html
import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup, escape

from clearance.web.sentences import Sentences

__all__ = ["ENGLISH", "Language", "language", "languages", "negotiated"]


#: A text in both units, as `outputs.page_view.dual` makes it.
_DUAL = re.compile(r'<span class="ft">(.*?)</span><span class="m">(.*?)</span>', re.DOTALL)


@dataclass(frozen=True, slots=True)
class Language:
    """A language: its code (BCP 47), its own name for itself, and its words for the English ones.

    `coach` holds ``ask`` and ``how`` of the questions about a coach, by the key of each; `parts` and
    `sentences` are words and patterns of the outputs.
    """

    code: str
    name: str
    words: dict[str, str]
    coach: dict[str, dict[str, str]]
    parts: dict[str, str] = field(default_factory=dict)
    sentences: dict[str, str] = field(default_factory=dict)
    _known: Sentences = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Make the patterns ready."""
        object.__setattr__(self, "_known", Sentences(self.words | self.parts, self.sentences))

    def say(self, text: str, **values: object) -> str:
        """A text of the pages in this language, with values put in where braces stand."""
        said = self.words.get(text, text)
        if not values:
            return said
        if any(isinstance(value, Markup) for value in values.values()):
            return Markup(said).format(**values)
        return said.format(**values)

    def asked(self, key: str, part: str, english: str) -> Any:
        """The ``ask`` or ``how`` of a question about a coach, in English where there are no other words."""
        return self.coach.get(key, {}).get(part) or self.told(english)

    def told(self, text: Any) -> Any:
        """A text of the outputs: translated where it is known, else marked as English.

        Screen readers then speak it as what it is (WCAG 2.1, 3.1.2 Language of Parts).
        """
        if text is None or self.code == "en" or text == "":
            return text
        if not isinstance(text, Markup):
            return self._marked(str(text))
        if dual := _DUAL.fullmatch(text):
            feet, metres = (self._marked(html.unescape(part)) for part in dual.groups())
            return Markup('<span class="ft">{}</span><span class="m">{}</span>').format(feet, metres)
        if "<" in text:
            return Markup('<span lang="en">{}</span>').format(text)
        return self._marked(html.unescape(text))

    def plainly(self, text: str) -> str:
        """A text of the outputs for places that take no marks: in English where it is not known."""
        return text if self.code == "en" else " ".join(said for said, _ in self._known.pieces(text))

    def _marked(self, text: str) -> Any:
        pieces = self._known.pieces(text)
        if len(pieces) == 1 and pieces[0][1]:
            return pieces[0][0]
        english = Markup('<span lang="en">{}</span>')
        return Markup(" ").join(escape(said) if known else english.format(said) for said, known in pieces)


ENGLISH = Language("en", "English", {}, {})


@cache
def languages() -> dict[str, Language]:
    """Every language by its code, English first.

    Raises ValueError for a file that is no such list: they are part of the program.
    """
    known = {"en": ENGLISH}
    for file in sorted((files("clearance.web") / "languages").iterdir(), key=lambda f: f.name):
        if not file.name.endswith(".toml"):
            continue
        held = tomllib.loads(file.read_text(encoding="utf-8"))
        texts = [held[table] for table in ("words", "parts", "sentences")]
        if not all(isinstance(v, str) and v for table in texts for v in table.values()):
            raise ValueError(f"{file.name}: every text needs its words")
        code = file.name.removesuffix(".toml")
        known[code] = Language(
            code, held["name"], held["words"], held["coach"], held["parts"], held["sentences"]
        )
    return known


def language(code: str | None) -> Language | None:
    """The language of a code, None where there is none."""
    return languages().get(code or "")


def negotiated(accept: str) -> Language:
    """The language that an Accept-Language header asks for most (RFC 9110, 12.5.4), English where none fits.

    >>> negotiated("fr, es-MX;q=0.8, en;q=0.5").code
    'es'
    """
    best, weight = ENGLISH, 0.0
    for part in accept[:1000].split(","):
        tag, _, quality = part.strip().partition(";")
        code = tag.strip().lower().partition("-")[0]
        try:
            asked = float(quality.strip().removeprefix("q=")) if quality else 1.0
        except ValueError:
            continue
        found = language("en" if code == "*" else code)
        if found is not None and asked > weight:
            best, weight = found, asked
    return best
