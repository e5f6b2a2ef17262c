"""Cleaning and showing of texts from the map."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.valuetext import UnreadableError, cleaned, decimal, listed, shown


def test_quotes_and_spaces_are_made_plain_and_told() -> None:
    assert cleaned("12'6\"") == ("12'6\"", ())
    assert cleaned("  12'   6\" ") == ("12' 6\"", ())
    text, reasons = cleaned("12’\u00a06''")
    assert text == "12' 6\""
    assert len(reasons) == 3


@given(st.text(max_size=50))
def test_cleaning_twice_changes_nothing_but_doubled_quotes(text: str) -> None:
    once, _ = cleaned(text)
    if "''" not in once and not once.endswith("'") and "\"'" not in once:
        assert cleaned(once)[0] == once


def test_lists_part_at_semicolons_and_bars() -> None:
    assert listed("4; 3.8 |x") == ("4", "3.8", "x")
    assert listed("") == ("",)


def test_a_comma_is_a_decimal_mark_unless_it_may_part_thousands() -> None:
    assert decimal("3,85") == (Decimal("3.85"), "comma as decimal mark")
    assert decimal("3.8") == (Decimal("3.8"), "")
    assert decimal("7,500", thousands=True)[0] == 7500
    with pytest.raises(UnreadableError, match="7,500"):
        decimal("7,500")


@given(st.text(max_size=400))
def test_shown_texts_are_short_and_on_one_line(text: str) -> None:
    assert "\n" not in shown(text)
    assert len(shown(text)) < 900


def test_each_mark_and_space_by_itself() -> None:
    """And nothing else is one."""
    for marks, plain, reason in (
        ("’‘′´`ʹ", "'", "curly quotes or prime marks"),
        ("”“″ʺ", '"', "curly quotes or prime marks"),
        ("\u00a0\u2009\u202f\t", " ", "unusual spaces"),
    ):
        for mark in marks:
            assert cleaned(f"a{mark}b") == (f"a{plain}b", (reason,))
    for text in ("XX", "12x6", "a-b", "a_b", "a\nb"):
        assert cleaned(text) == (text, ())
    assert cleaned("6''") == ('6"', ("two single quotes for inches",))
    assert cleaned(" a ") == ("a", ())


def test_texts_of_eighty_signs_are_shown_whole() -> None:
    assert shown("x" * 80) == repr("x" * 80)
    assert shown("x" * 81) == f"{'x' * 60!r}... (81 characters)"


@pytest.mark.parametrize(
    ("text", "number"),
    [("1,2", "1.2"), ("1,23", "1.23"), ("1,2345", "1.2345"), ("1234,567", "1234.567"), ("0,5", "0.5")],
)
def test_commas_that_part_no_thousands(text: str, number: str) -> None:
    for thousands in (False, True):
        assert decimal(text, thousands=thousands) == (Decimal(number), "comma as decimal mark")
    assert decimal("123,456", thousands=True) == (Decimal(123456), "comma between thousands")
