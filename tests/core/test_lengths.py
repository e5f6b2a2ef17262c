"""Length texts: an ordered list, a refusal list, published figures, and properties of any text."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from clearance.core.errors import InputError, UsageError
from clearance.core.lengths import (
    HeightWord,
    Length,
    UnreadableError,
    height_word,
    parse_length,
    parse_measure,
)

# Each entry is higher than the one before it; texts of one entry are the same length.
ORDERED = [
    ["1", "1 m", "1.0", "100 cm", "1000 mm"],
    ['42"', "3'6\"", "3.5'"],  # 42" is a documented form: OSM wiki, Key:maximum_height_requirement
    ["4'", '48"', "4 ft"],  # 4' likewise
    ["6'7\""],  # documented: OSM wiki, Key:maxheight, How to map
    ["2.3"],
    ["3", "3 m", "3.00 metres", "300cm"],  # both documented: OSM wiki, Key:maxheight, How to map
    ["11'4\"", "11 ' 4 ''", "11’ 4”", "11′4″", "11 ft 4 in"],
    ["3.5", "3,5", "3,5 m"],
    ["12'", "12 ft", "12'0\"", "12 feet", "144in"],
    [
        "3.8",
        "3.8 m",
        "3.8m",
        "380 cm",
        "3,8",
        "4.0;3.8",
        "4.0|3.8",
        "3.8;4.0",
        "3.80 m;12'6\"",
        "|3.8|default",
    ],
    [
        "12'6\"",
        "12' 6\"",
        "12'-6\"",
        "12'6",
        "12 ft 6 in",
        "12ft6in",
        "12ft 6in",
        '150"',
        "12.5 ft",
        "12’6”",
        "381 cm",
    ],
    ["12'6.5\""],
    ["13 feet", "13'0\"", "3.9624"],
    ["4.11"],
    ["4.1147"],
    ["13'6\"", "13 feet 6 inches", "13 FT 6 IN", "4.1148", "162 inches", "13'6''"],
    ["4.12"],
    ["16'3\""],  # documented: OSM wiki, Key:length
    ["30", "30 m", "3000 cm"],
]

REFUSED = [
    "",
    " ",
    ";",
    "||",
    "0",
    "0.0",
    "0 m",
    "0'0\"",
    "-3",
    "-3.8 m",
    "- 3",
    "+3.8",
    "12'14\"",
    "12'12\"",
    "13'14\"",
    "~4",
    "~3.5",
    ">4",
    "<4",
    "3.5-4",
    "3.5 - 4",
    "13.6.1",
    "4 x",
    "4 knots",
    "4 mph",
    "4 km",
    "4 t",
    "m",
    "'",
    '"',
    "12'6\" m",
    "12.5'6\"",
    "6\"12'",
    "12'6'2\"",
    "3.",
    ".5",
    "3. 8",
    "1e1",
    "0x4",
    "inf",
    "nan",
    "four",
    "yes",
    "no",
    "unlimited",
    "default",
    "none",
    "default;none",
    "3.8;~4",
    "~4|3.8",
    "3.8;no",
    "3,800",
    "3,800 m",
    "3.8,4.0",
    "3/8",
    "12'6 1/2\"",
    "٣.٨",
    "３.８",
    "³",
    "3.8\n",
    "3.8\x00",
    "9" * 7,
    "3." + "8" * 20,
    "9" * 300,
    "3.8 " * 200,
    "3.8 m (measured)",
    "ca. 3.8",
    "3.8?",
    "DE:265[3.8]",
    '12\'6""',
    "12''6\"",
]


@pytest.mark.parametrize("text", [t for texts in ORDERED for t in texts])
def test_every_accepted_form_reads_to_its_place_in_the_order(text: str) -> None:
    place = next(i for i, texts in enumerate(ORDERED) if text in texts)
    length = parse_length(text).length
    assert length is not None
    for i, texts in enumerate(ORDERED):
        for other in texts:
            other_length = parse_length(other).length
            assert other_length is not None
            assert (length > other_length, length == other_length) == (place > i, place == i)


@pytest.mark.parametrize("text", REFUSED)
def test_the_refused_are_refused_with_the_text_shown(text: str) -> None:
    with pytest.raises(UnreadableError) as error:
        parse_length(text)
    assert isinstance(error.value, InputError)
    assert repr(text[:40])[1:-1] in str(error.value)
    assert len(str(error.value)) < 400


@pytest.mark.parametrize(
    "text", ["150", "31", "0.5", "0.99", "6in", "31 m", "99 cm", "100'", "4000", "150;3.8", "3.8;150"]
)
def test_what_cannot_be_meant_gives_no_length_but_a_reason(text: str) -> None:
    reading = parse_length(text)
    assert reading.length is None
    assert repr(text) in reading.implausible


def test_the_bounds_may_be_set_for_other_measures() -> None:
    assert parse_length("45").length is None
    assert parse_length("45", high=Length.from_metres("60")).length == Length.from_metres("45")
    assert parse_length("0.6", low=Length.from_metres("0.5")).length == Length.from_metres("0.6")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("3,8", "comma"),
        ("12’6”", "curly"),
        ("12'6", "no mark"),
        ("12'-6\"", "dash"),
        ("11 ' 4 ''", "two single quotes"),
        ("12 ft", "words"),
        ("6 in;3.8 m", "words"),
        ("3.8m", "glued"),
        ("4.0;3.8", "lowest"),
        ("4.0|", "without a figure"),
        ("4.0;default", "without a figure"),
        ("3.8\u00a0m", "spaces"),
    ],
)
def test_irregular_texts_say_what_is_irregular(text: str, reason: str) -> None:
    assert reason in parse_length(text).irregular


@pytest.mark.parametrize("text", ["3.8", "3.8 m", "380 cm", "12'6\"", "12' 6\"", "12'", '150"'])
def test_regular_texts_are_not_flagged(text: str) -> None:
    reading = parse_length(text)
    assert (reading.irregular, reading.implausible, reading.partial) == ("", "", False)


def test_a_list_with_parts_that_tell_nothing_says_so() -> None:
    assert parse_length("3.8|default|4").partial
    assert parse_length("|3.8").partial
    assert not parse_length("3.8|4").partial


# International foot of 0.3048 m and inch of 0.0254 m, exact (agreement of 1959; NIST Handbook 44, appendix C;
# from memory), so that every product below is exact.
FOOT_INCH = [
    (8, 6, "2.5908"),
    (10, 0, "3.0480"),
    (11, 8, "3.5560"),
    (12, 6, "3.8100"),
    (13, 0, "3.9624"),
    (13, 6, "4.1148"),
    (14, 0, "4.2672"),
    (14, 6, "4.4196"),
    (15, 0, "4.5720"),
    (16, 0, "4.8768"),
    (16, 6, "5.0292"),
]


@pytest.mark.parametrize(("feet", "inches", "metres"), FOOT_INCH)
def test_exact_values_of_feet_and_inches(feet: int, inches: int, metres: str) -> None:
    length = parse_length(f"{feet}'{inches}\"").length
    assert (
        length == Length.from_feet(feet, inches) == parse_length(metres).length == Length.from_metres(metres)
    )
    assert length is not None
    assert length.metres == Decimal(metres)
    assert length.floor_inches() == length.ceil_inches() == (feet, inches)


# A figure shown on a sign is to the nearest inch not above the actual clearance: MUTCD 2009, section 2C.27.
# The rule is the source; the pairs follow from 1 in = 0.0254 m.
FLOORED = [
    ("3.0", 9, 10),
    ("3.5", 11, 5),
    ("3.8", 12, 5),
    ("3.9", 12, 9),
    ("4.0", 13, 1),
    ("4.11", 13, 5),
    ("4.12", 13, 6),
    ("4.2", 13, 9),
    ("4.3", 14, 1),
    ("4.5", 14, 9),
    ("5.03", 16, 6),
]


@pytest.mark.parametrize(("metres", "feet", "inches"), FLOORED)
def test_clearances_are_shown_to_the_inch_not_above(metres: str, feet: int, inches: int) -> None:
    length = Length.from_metres(metres)
    assert length.floor_inches() == (feet, inches)
    assert Length.from_feet(feet, inches) <= length < Length.from_feet(feet, inches + 1)


# Traffic Signs Manual, chapter 4 (United Kingdom, 2013), paragraph 7.11: at least 3 in are taken off the
# measured headroom, then down to a multiple of 3 in; 15'2" gives 14'9", 14'6" gives 14'3".
@pytest.mark.parametrize(("measured", "signed"), [("15'2\"", (14, 9)), ("14'6\"", (14, 3))])
def test_imperial_sign_examples_follow_from_floored_inches(measured: str, signed: tuple[int, int]) -> None:
    length = parse_length(measured).length
    assert length is not None
    feet, inches = (length - Length.from_feet(0, 3)).floor_inches()
    whole = feet * 12 + inches
    assert divmod(whole - whole % 3, 12) == signed


# Paragraph 7.12: the headroom in metres is taken down to 0.01 m; a last digit of 8 or 9 is dropped, with any
# other a further 0.1 m goes too; 4.19 gives 4.1.
@pytest.mark.parametrize(
    ("measured", "signed_dm"), [("4.19", 41), ("4.1999", 41), ("4.1799", 40), ("4.18", 41)]
)
def test_metric_sign_examples_follow_from_floored_centimetres(measured: str, signed_dm: int) -> None:
    decimetres, last = divmod(Length.from_metres(measured).floor_cm(), 10)
    assert (decimetres if last >= 8 else decimetres - 1) == signed_dm


def test_limits_with_more_than_four_decimals_round_down_and_coaches_up() -> None:
    assert parse_length("3.80009").length == Length(38000)
    assert parse_measure("3.80001m") == Length(38001)
    assert parse_length("12'6.001\"").length == Length(38100)
    assert parse_measure("12'6.001\"") == Length(38101)


@pytest.mark.parametrize(
    ("text", "tenths"),
    [
        ("12'10\"", 39116),
        ("154in", 39116),
        ("3.9m", 39000),
        ("391cm", 39100),
        ("6in", 1524),
        ("14ft", 42672),
        ("13 ft 2 in", 40132),
        ("12’10”", 39116),
        ("150mm", 1500),
    ],
)
def test_measures_that_users_type(text: str, tenths: int) -> None:
    assert parse_measure(text) == Length(tenths)


@pytest.mark.parametrize("text", ["3.9", "13", "154", "13.0"])
def test_a_measure_without_a_unit_is_refused_with_the_unit_to_add(text: str) -> None:
    with pytest.raises(UsageError, match=f"{text}m or {text}ft"):
        parse_measure(text, what="height")


@pytest.mark.parametrize(
    "text", ["", "3,9m", "3.9m;4m", "4m|5m", "-3m", "0", "0m", "tall", "12'14\"", "9" * 999 + "m"]
)
def test_measures_that_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match="height"):
        parse_measure(text, what="height")


def test_zero_is_a_measure_only_where_asked_for() -> None:
    assert parse_measure("0", zero=True) == parse_measure("0in", zero=True) == Length(0)
    with pytest.raises(UsageError):
        parse_measure("0")
    with pytest.raises(UsageError):
        parse_measure("-0.1m", zero=True)


def test_the_words_are_distinct_and_no_others_are() -> None:
    words = ["default", "below_default", "none", "no_sign", "unsigned", "no_indications"]
    read = [height_word(word) for word in words]
    assert len(set(read)) == len(words)
    assert set(read) == set(HeightWord)
    assert height_word("No sign") is HeightWord.NO_SIGN
    assert [height_word(word) for word in ("", "no", "unknown", "3.8", "default;none")] == [None] * 5


ANY_TEXT = st.one_of(
    st.text(max_size=40),
    st.text(alphabet="0123456789.,'\" mcftin;|-’”″|", max_size=12),
    st.from_regex(r"\A[0-9]{1,3}'[0-9]{1,2}(\.[0-9])?\"\Z"),
    st.from_regex(r"\A[0-9]{1,2}[.,][0-9]{0,5} ?(m|cm|mm|ft|in|')?\Z"),
)


@given(ANY_TEXT)
@example("12'" + "6" * 90)
def test_any_text_reads_to_a_length_that_prints_back_or_is_refused(text: str) -> None:
    try:
        reading = parse_length(text)
    except UnreadableError:
        return
    assert (reading.length is None) == bool(reading.implausible)
    if reading.length is not None:
        again = parse_length(str(reading.length))
        assert again.length == reading.length
        assert (again.irregular, again.bare) == ("", False)


@given(ANY_TEXT)
def test_any_text_is_a_measure_not_below_the_limit_of_the_same_text_or_refused(text: str) -> None:
    try:
        measure = parse_measure(text, zero=True)
    except UsageError:
        return
    if measure.tenths:
        limit = parse_length(text, low=Length(0), high=Length(10**12)).length
        assert limit is not None
        assert limit <= measure <= limit + Length(1)


@given(st.integers(4, 90), st.integers(0, 11))
def test_feet_and_metres_agree_exactly(feet: int, inches: int) -> None:
    # 0.3048 m to the foot and 0.0254 m to the inch: the agreement of 1959.
    metres = Fraction(3048, 10000) * feet + Fraction(254, 10000) * inches
    decimal = Decimal(metres.numerator) / metres.denominator
    assert parse_length(f"{feet}'{inches}\"").length == parse_length(f"{decimal:f} m").length


@given(st.integers(0, 600_000))
def test_shown_clearances_are_never_above_and_shown_heights_never_below(tenths: int) -> None:
    length = Length(tenths)
    down, up = Length.from_feet(*length.floor_inches()), Length.from_feet(*length.ceil_inches())
    assert down <= length <= up
    assert up - down in (Length(0), Length(254))
    assert length.floor_cm() * 100 <= tenths <= length.ceil_cm() * 100
    assert length.ceil_cm() - length.floor_cm() == (tenths % 100 > 0)


@given(
    st.lists(st.sampled_from(["3.8", "4", "12'6\"", "13 ft", "3,9", "410 cm"]), min_size=1, max_size=5),
    st.sampled_from(";|"),
)
def test_a_list_gives_its_lowest(parts: list[str], separator: str) -> None:
    lengths = [parse_length(part).length for part in parts]
    lowest = min(length for length in lengths if length is not None)
    assert parse_length(separator.join(parts)).length == lowest
    assert parse_length(f" {separator} ".join(parts)).length == lowest


def test_messages_show_the_whole_text_and_the_part() -> None:
    with pytest.raises(UnreadableError, match=r"^'high' is no length; read are 3.8, "):
        parse_length("high")
    with pytest.raises(
        UnreadableError, match=r"^'4;high' cannot be read: 'high' is no length; read are 3.8, "
    ):
        parse_length("4;high")
    with pytest.raises(UnreadableError, match=r"^'0' is no length above nothing$"):
        parse_length("0")
    assert (
        parse_length("150").implausible == "'150' would be 150.0000 m, outside 1 m to 30 m; was a unit lost?"
    )
    assert parse_length("150 m").implausible == "'150 m' would be 150.0000 m, outside 1 m to 30 m"
    assert parse_length("4; 0.5").implausible.startswith("'4; 0.5' would be 0.50000 m,")
