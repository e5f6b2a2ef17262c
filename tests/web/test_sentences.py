"""Sentences with places in them: known as a whole, never half translated, names left alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.structure import Kind
from clearance.outputs.directions import Step, StepKind, Turn, step_text
from clearance.structures.implied import RULES
from clearance.web.languages import languages
from clearance.web.sentences import Sentences

WORDS = {"bridge": "puente", "tunnel": "túnel", "the ramp": "el ramal", "and": "y", "Stop": "Pare"}
SENTENCES = {
    "{kind:w}, {road}": "{kind}, {road}",
    "Read the sign.": "Lea la señal.",
    "It needs {h:n}.": "Necesita {h}.",
    "Left onto {road:u}": "Izquierda a {road}",
    "Left onto {road}": "Izquierda a {road}",
    "In the way: {what:l}.": "Lo impide: {what}.",
    "Seen: {what:a}.": "Vistos: {what}.",
    "It is {what:c}.": "Es {what}.",
    "Note: {what:o}.": "Nota: {what}.",
}
KNOWN = Sentences(WORDS, SENTENCES)
SPANISH = languages()["es"]


@pytest.mark.parametrize(
    ("english", "said"),
    [
        ("bridge", "puente"),
        ("Bridge, Mill Street", "Puente, Mill Street"),
        ("It needs 13'6\". Read the sign.", "Necesita 13'6\". Lea la señal."),
        ("It needs courage.", None),
        ("Left onto the ramp", "Izquierda a el ramal"),
        # A street that is called like a text of the pages keeps its name.
        ("Left onto Stop", "Izquierda a Stop"),
        ("In the way: bridge, Mill Street; tunnel.", "Lo impide: puente, Mill Street; túnel."),
        ("In the way: bridge, Mill Street; a whale.", None),
        ("Seen: bridge and tunnel.", "Vistos: puente y túnel."),
        ("It is bridge, tunnel.", "Es puente, túnel."),
        ("Note: a whale.", "Nota: a whale."),
        ("13'6\", 4.11 m (6 in), 1 h 05 min", "13'6\", 4.11 m (6 in), 1 h 05 min"),
        ("{whale}", None),
        ("", ""),
    ],
)
def test_what_is_known(english: str, said: str | None) -> None:
    assert KNOWN.of(english) == said


def test_what_is_not_known_stays_english_sentence_by_sentence() -> None:
    assert KNOWN.pieces("Read the sign. Beware of the whale. It needs 14'0\". Read the sign.") == [
        ("Lea la señal.", True),
        ("Beware of the whale.", False),
        ("Necesita 14'0\". Lea la señal.", True),
    ]
    told = SPANISH.told("Turn off before it. Beware of the <whale>.")
    assert told == 'Desvíese antes. <span lang="en">Beware of the &lt;whale&gt;.</span>'


def test_a_pattern_that_is_none() -> None:
    with pytest.raises(ValueError, match="no kind of place"):
        Sentences({}, {"It is {x:z}": "{x}"})


@given(st.text(max_size=60))
def test_any_text_comes_back_or_is_known(text: str) -> None:
    pieces = SPANISH._known.pieces(text)
    if not any(known for _, known in pieces):
        assert " ".join(said for said, _ in pieces) == text
    assert str(SPANISH.told(text)) is not None


_NAMES = st.text(st.characters(categories=["Lu", "Ll", "Nd"]), min_size=3, max_size=12).map(str.title)


@given(road=_NAMES, kind=st.sampled_from(list(Kind)))
def test_names_of_the_map_are_never_translated(road: str, kind: Kind) -> None:
    told = str(SPANISH.told(f"{kind.value} ({road}), {road} Street"))
    assert told.endswith(f"({road}), {road} Street")
    assert "<span" not in told


MORE: list[dict[str, object]] = [{}, {"again": True}, {"road": ""}, {"roundabout": True}, {"exit": 2}]


@pytest.mark.parametrize("turn", list(Turn))
@pytest.mark.parametrize("more", MORE, ids=str)
def test_every_turn_has_words(turn: Turn, more: dict[str, object]) -> None:
    values = {"kind": StepKind.TURN, "leg": 0, "lon": 0.0, "lat": 0.0, "distance_m": 0.0, "road": "Mill Lane"}
    step = Step(**{**values, "turn": turn, **more})  # type: ignore[arg-type]
    assert "<span" not in str(SPANISH.told(step_text(step))), step_text(step)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.country}{rule.region}")
def test_every_rule_of_a_country_has_words(rule: object) -> None:
    meaning = getattr(rule, "meaning", "")
    told = SPANISH.told(f"By a general rule, not by a height: {meaning}; look for a sign.")
    assert "<span" not in str(told)
    assert "busque una señal" in str(told)


def test_one_bar_before_most_destinations_has_words() -> None:
    told = str(
        SPANISH.told(
            "7 of 9 destinations are blocked by one thing: railway bridge (Dock Lane). "
            "Is home the place where the coach stands?"
        )
    )
    assert "<span" not in told
    assert told.startswith("A 7 de 9 destinos")
    assert "(Dock Lane)" in told
