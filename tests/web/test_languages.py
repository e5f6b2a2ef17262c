"""Every text of the pages has words in every language, and no language holds words that nobody shows."""

from __future__ import annotations

import re
import string
from collections.abc import Iterator
from pathlib import Path

import pytest
from markupsafe import Markup

from clearance.core.coach_items import ITEMS
from clearance.core.structure import Kind, Standing
from clearance.web import asked, forms, page, pages, screen_pages, server, structure_pages, work
from clearance.web.languages import ENGLISH, Language, languages, negotiated
from clearance.web.packed import templates

OTHERS = [known for code, known in languages().items() if code != "en"]
#: Texts of the outputs that are the same whatever a drive holds.
TOLD = {"CLEAR", "TAKE CARE", "BLOCKED", "TOO LOW", "NOT VERIFIED", "TIGHT", "HEIGHT KNOWN", "no height"}
TOLD |= {*page.STEPS, "clear"}
TOLD |= {"too low: do not pass", "not verified: stop and read the sign", "tight: go slowly"}


def said() -> Iterator[str]:
    """Every text that the templates and the pages say."""
    for text in templates().values():
        for found in re.finditer(r'\bsay\("((?:[^"\\]|\\.)*)"', text):
            yield found[1].replace('\\"', '"')
        for found in re.finditer(r"say\(\{([^}]*)\}", text):
            yield from re.findall(r': "([^"]*)"', found[1])
    yield from page.SCRIPT_WORDS.values()
    for _, name, how in (*pages.FORMATS, *screen_pages.SCREEN_FORMATS):
        yield from (name, how)
    yield from ("Change this screening", "Change this drive", "Change the line or the coach")
    yield from ("{start} to {end}", "{start} to {end} by {via}")
    for kind in (*Kind, *Standing):
        yield kind.value


def written(module: object) -> set[str]:
    """Sentences that stand in a module."""
    source = Path(str(getattr(module, "__file__", ""))).read_text(encoding="utf-8")
    return set(re.findall(r'"([A-Z][^"{}\n]*[.])"', source))


@pytest.mark.parametrize("known", OTHERS, ids=lambda known: known.code)
def test_nothing_is_missing(known: Language) -> None:
    missing = sorted((set(said()) | TOLD) - set(known.words))
    assert missing == []
    assert sorted({item.key for item in ITEMS} - set(known.coach)) == []
    for item in ITEMS:
        assert set(known.coach[item.key]) == {"ask", "how"}


@pytest.mark.parametrize("known", OTHERS, ids=lambda known: known.code)
def test_nothing_is_left_over(known: Language) -> None:
    from clearance.outputs.wording import CAUTIONS

    shown = set(said()) | TOLD | set(CAUTIONS)
    for module in (asked, forms, page, pages, screen_pages, server, structure_pages, work):
        shown |= written(module)
    assert sorted(set(known.words) - shown) == []
    assert sorted(set(known.coach) - {item.key for item in ITEMS}) == []


@pytest.mark.parametrize("known", OTHERS, ids=lambda known: known.code)
def test_values_keep_their_places(known: Language) -> None:
    def names(text: str) -> set[str]:
        return {name for _, name, _, _ in string.Formatter().parse(text) if name}

    for text, words in (*known.words.items(), *known.sentences.items()):
        assert names(text) == names(words), text


def test_a_text_without_words_is_shown_in_english_and_marked() -> None:
    spanish = languages()["es"]
    assert spanish.told("Turn left <now>") == '<span lang="en">Turn left &lt;now&gt;</span>'
    assert spanish.told(Markup("<b>1</b>")) == '<span lang="en"><b>1</b></span>'
    assert spanish.told("TAKE CARE") == "CON CUIDADO"
    assert ENGLISH.told("Turn left <now>") == "Turn left <now>"


def test_values_are_escaped_beside_markup_and_only_there() -> None:
    text = ENGLISH.say("{a} and {b}", a=Markup("<b>1</b>"), b="<i>")
    assert text == "<b>1</b> and &lt;i&gt;"
    assert not isinstance(ENGLISH.say("{a}", a="<i>"), Markup)


@pytest.mark.parametrize(
    ("accept", "code"),
    [
        ("", "en"),
        ("es", "es"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("en-US,en;q=0.9,es;q=0.8", "en"),
        ("fr,de;q=0.9", "en"),
        ("fr, es;q=0.2", "es"),
        ("*", "en"),
        ("es;q=0", "en"),
        ("es;q=x, en;q=0.1", "en"),
        (";;;,,,q=", "en"),
        ("es;q=0.5, en;q=0.7", "en"),
    ],
)
def test_the_language_asked_for_most_is_chosen(accept: str, code: str) -> None:
    """RFC 9110, sections 12.4.2 and 12.5.4: the higher weight wins, 0 means not at all."""
    assert negotiated(accept).code == code
