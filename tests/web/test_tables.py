"""Tables sorted by links."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from clearance.web.tables import Order, columns, fits, ordered

KEYS = ("name", "there")


@given(
    st.lists(st.one_of(st.just(""), st.integers(-5, 5)), max_size=12),
    st.sampled_from(["there-up", "there-down"]),
)
def test_rows_are_sorted_and_what_is_not_told_comes_last(values: list[Any], text: str) -> None:
    rows = [{"sorted": {"there": value}, "nth": n} for n, value in enumerate(values)]
    found = [row["sorted"]["there"] for row in ordered(rows, Order(text, KEYS))]
    told = [value for value in found if value != ""]
    assert found == told + [""] * values.count("")
    assert told == sorted((v for v in values if v != ""), reverse=text.endswith("down"))
    assert sorted(row["nth"] for row in ordered(rows, Order(text, KEYS))) == list(range(len(values)))


def test_an_order_that_is_none_changes_nothing() -> None:
    rows = [{"sorted": {"there": 2}}, {"sorted": {"there": 1}}]
    for text in ("", "there", "there-", "there-sideways", "secret-up", "-up", "there-up-up"):
        order = Order(text, KEYS)
        assert order.text == "", text
        assert ordered(rows, order) == rows


def test_a_column_links_to_the_other_way_round() -> None:
    heads = columns("rows", Order("there-up", KEYS), KEYS, {"find": "a&b"}, "list")
    assert heads["columns"] == {
        "name": "?find=a%26b&rows=name-up#list",
        "there": "?find=a%26b&rows=there-down#list",
    }
    assert (heads["key"], heads["way"]) == ("there", "ascending")


def test_what_is_looked_for_is_text_and_no_markup() -> None:
    texts = ("Mill Street", '<span class="ft">13&#39;</span> over the quay')
    assert fits(texts, "MILL")
    assert fits(texts, "the quay")
    assert not fits(texts, "span")
