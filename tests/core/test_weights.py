"""Weight texts: exact kilograms rounded down, and a refusal list."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.lengths import UnreadableError
from clearance.core.weights import parse_weight


# Pound of 0.45359237 kg, exact (agreement of 1959; NIST Handbook 44, appendix C; from memory): a short ton of
# 2000 lb is 907.18474 kg, a long ton of 2240 lb 1016.0469088 kg. Tonnes where no unit is written: OSM wiki,
# Key:maxweight.
@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("7.5", 7500),
        ("7.5 t", 7500),
        ("7.5t", 7500),
        ("7,5", 7500),
        ("3.5 tonnes", 3500),
        ("7500 kg", 7500),
        ("1 st", 907),
        ("10 st", 9071),
        ("20 lt", 20320),
        ("16000 lbs", 7257),
        ("16000 lb", 7257),
        ("10,000 lbs", 4535),
        ("7,500 kg", 7500),
        ("12;7.5", 7500),
        ("12|7.5 t", 7500),
        ("3 tons", 2721),
        ("0.5", 500),
        ("12;none", 12000),
    ],
)
def test_weights_read_to_whole_kilograms_rounded_down(text: str, kg: int) -> None:
    assert parse_weight(text).kg == kg


@pytest.mark.parametrize("text", ["7500", "0.1", "250", "100 kg", "3 lbs", "12;7500"])
def test_what_cannot_be_meant_gives_no_weight_but_a_reason(text: str) -> None:
    reading = parse_weight(text)
    assert reading.kg is None
    assert repr(text) in reading.implausible


@pytest.mark.parametrize(
    "text",
    [
        "",
        ";",
        "0",
        "0 t",
        "-3",
        "~4",
        ">4",
        "3.5-4",
        "3.5.1",
        "4 x",
        "4 cwt",
        "4 m",
        "none",
        "no",
        "7,500",
        "7,500 t",
        "12;~4",
        "٣",
        "3.5 t (hgv)",
        "9" * 7,
        "9" * 300,
        "3.5\n",
    ],
)
def test_the_refused_are_refused_with_the_text_shown(text: str) -> None:
    with pytest.raises(UnreadableError) as error:
        parse_weight(text)
    assert repr(text[:40])[1:-1] in str(error.value)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("7,5", "comma"),
        ("7.5t", "glued"),
        ("3 tons", "lightest"),
        ("12;7.5", "lowest"),
        ("10,000 lbs", "thousands"),
    ],
)
def test_irregular_texts_say_what_is_irregular(text: str, reason: str) -> None:
    assert reason in parse_weight(text).irregular


@given(st.one_of(st.text(max_size=30), st.text(alphabet="0123456789., tskglb;|", max_size=12)))
def test_any_text_reads_to_a_weight_that_prints_back_or_is_refused(text: str) -> None:
    try:
        reading = parse_weight(text)
    except UnreadableError:
        return
    assert (reading.kg is None) == bool(reading.implausible)
    if reading.kg is not None:
        assert parse_weight(f"{reading.kg} kg").kg == reading.kg


@given(st.integers(1000, 99999))
def test_pounds_round_down_by_less_than_a_kilogram(pounds: int) -> None:
    kg = parse_weight(f"{pounds} lbs").kg
    assert kg is not None
    assert 0 <= pounds * Decimal("0.45359237") - kg < 1
