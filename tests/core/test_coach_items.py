"""What is asked about a coach, and what an answer may be."""

from __future__ import annotations

import pytest

from clearance.core.coach import Fuel
from clearance.core.coach_items import (
    ITEMS,
    Item,
    ItemKind,
    Value,
    coach_of,
    item_value,
    measure_text,
    values_of,
)
from clearance.core.errors import UsageError
from clearance.core.lengths import Length, parse_measure

BY_KEY: dict[str, Item] = {item.key: item for item in ITEMS}
FT = Length.from_feet

#: Key, field of Coach, kind, and what the example of the item is.
TABLE = [
    ("name", "name", ItemKind.TEXT, "Heron"),
    ("height", "height", ItemKind.MEASURE, FT(12, 10)),
    ("height_at", "height_at", ItemKind.TEXT, "rear air conditioner"),
    ("margin", "margin", ItemKind.MEASURE, FT(0, 6)),
    ("comfort", "comfort", ItemKind.MEASURE, FT(14)),
    ("width", "width", ItemKind.MEASURE, FT(8, 6)),
    ("length", "own_length", ItemKind.MEASURE, FT(38)),
    ("wheelbase", "wheelbase", ItemKind.MEASURE, FT(24)),
    ("rear_overhang", "rear_overhang", ItemKind.MEASURE, FT(10)),
    ("weight", "weight_kg", ItemKind.WEIGHT, 11793),
    ("fuel", "fuel", ItemKind.FUEL, Fuel.GASOLINE),
    ("propane", "propane", ItemKind.YES_NO, True),
    ("towed.name", "towed_name", ItemKind.TEXT, "small car on a dolly"),
    ("towed.length", "towed_length", ItemKind.MEASURE, FT(17)),
    ("towed.reversible", "tow_reversible", ItemKind.YES_NO, False),
]


def test_all_items_in_their_order() -> None:
    assert [(i.key, i.field, i.kind) for i in ITEMS] == [row[:3] for row in TABLE]
    assert [i.key for i in ITEMS if i.needed] == ["height"]
    assert all(i.ask and i.how and all(i.how) and i.example for i in ITEMS)


@pytest.mark.parametrize(("key", "field", "kind", "value"), TABLE)
def test_each_example_is_an_answer(key: str, field: str, kind: ItemKind, value: object) -> None:
    item = BY_KEY[key]
    raw: object = item.example
    if kind is ItemKind.YES_NO:
        raw = item.example == "true"
    assert item_value(item, raw) == value
    values = {"height": FT(13), "length": FT(38), key: item_value(item, raw)}
    towed = {"towed.length": FT(17)} if key.startswith("towed.") else {}
    assert getattr(coach_of({**towed, **values}, towing=bool(towed)), field) == value


@pytest.mark.parametrize("key", [i.key for i in ITEMS if i.kind is ItemKind.MEASURE])
def test_measures_need_a_unit_and_may_not_be_numbers(key: str) -> None:
    item = BY_KEY[key]
    for raw in (3, 3.5):
        with pytest.raises(UsageError, match=f"{key} = {raw} has no unit") as told:
            item_value(item, raw)
        assert item.example in str(told.value)
    with pytest.raises(UsageError, match="no unit"):
        item_value(item, "3")
    with pytest.raises(UsageError, match="is no text"):
        item_value(item, True)
    with pytest.raises(UsageError, match="cannot be read"):
        item_value(item, "high")


def test_only_the_margin_may_be_nothing() -> None:
    assert item_value(BY_KEY["margin"], "0") == Length(0)
    assert item_value(BY_KEY["margin"], "0in") == Length(0)
    for key in ("height", "comfort", "width"):
        with pytest.raises(UsageError):
            item_value(BY_KEY[key], "0in")


def test_weights_fuels_and_yes_or_no() -> None:
    assert item_value(BY_KEY["weight"], "12t") == 12_000
    with pytest.raises(UsageError, match="weight = 12 has no unit"):
        item_value(BY_KEY["weight"], 12)
    with pytest.raises(UsageError, match="outside 300 to 60000"):
        item_value(BY_KEY["weight"], "100 t")
    assert item_value(BY_KEY["fuel"], " Diesel ") is Fuel.DIESEL
    with pytest.raises(UsageError, match="none of gasoline, diesel"):
        item_value(BY_KEY["fuel"], "steam")
    for key in ("propane", "towed.reversible"):
        assert item_value(BY_KEY[key], True) is True
        assert item_value(BY_KEY[key], False) is False
        for raw in ("true", 1, 0):
            with pytest.raises(UsageError, match="neither true nor false"):
                item_value(BY_KEY[key], raw)


def test_texts_fit_on_one_line_of_a_sheet() -> None:
    item = BY_KEY["name"]
    assert item_value(item, " Heron ") == "Heron"
    assert item_value(item, "x" * 80) == "x" * 80
    for raw in ("x" * 81, "two\nlines", "a\tb"):
        with pytest.raises(UsageError, match="longer than 80 characters or not on one line"):
            item_value(item, raw)
    with pytest.raises(UsageError, match="is no text"):
        item_value(item, ["x"])


def test_long_answers_are_cut_in_messages() -> None:
    def told(text: str) -> str:
        with pytest.raises(UsageError) as error:
            item_value(BY_KEY["fuel"], text)
        return str(error.value)

    assert repr("y" * 78) in told("y" * 78)
    assert "..." not in told("y" * 78)
    assert f"'{'y' * 59}..." in told("y" * 79)


def test_the_length_of_a_coach_is_that_of_its_parts() -> None:
    base = {"height": FT(13)}
    alone = coach_of(base | {"length": FT(38)}, towing=False)
    assert (alone.length, alone.own_length, alone.towed_length, alone.towing) == (FT(38), FT(38), None, False)
    both = coach_of(base | {"length": FT(38), "towed.length": FT(17)}, towing=True)
    assert (both.length, both.own_length, both.towed_length, both.towing) == (FT(55), FT(38), FT(17), True)
    assert coach_of(base, towing=True).length is None
    with pytest.raises(UsageError, match=r"^towed.length is missing"):
        coach_of(base | {"length": FT(38)}, towing=True)
    with pytest.raises(UsageError, match=r"^length is missing"):
        coach_of(base | {"towed.length": FT(17)}, towing=True)
    with pytest.raises(UsageError, match="height is missing"):
        coach_of({"name": "Heron"}, towing=False)


def test_a_coach_without_a_name_has_the_usual_one() -> None:
    assert coach_of({"height": FT(13), "name": ""}, towing=False).name == "coach"
    assert coach_of({"height": FT(13), "name": "Heron"}, towing=False).name == "Heron"


def test_values_are_those_that_make_the_coach_again() -> None:
    told: dict[str, Value] = {"height": FT(13), "name": "Heron", "length": FT(38), "towed.length": FT(17)}
    told |= {"fuel": Fuel.DIESEL, "propane": False, "weight": 11793}
    coach = coach_of(told, towing=True)
    again = values_of(coach)
    assert coach_of(again, towing=True) == coach
    assert {key: again[key] for key in told} == told


def test_measures_as_written_in_a_file_are_read_back() -> None:
    for tenths in (41148, 39116, 40001, 25908, 1, 254):
        text = measure_text(Length(tenths))
        assert parse_measure(text) == Length(tenths)


def test_questions_are_sentences() -> None:
    """Each asks in words of its own; what is needed, and where a unit is shown, are told by the item."""
    assert len({item.ask for item in ITEMS}) == len(ITEMS)
    for item in ITEMS:
        assert item.ask == item.ask.capitalize()
        assert item.needed is (item.key == "height")
        assert all(line == line.strip() for line in item.how)
