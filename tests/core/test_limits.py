"""Width, length and weight limits: the lowest that may bind a coach, and what cannot be read."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.lengths import Length
from clearance.core.limits import ConditionalLimit, LimitTags, read_limits
from clearance.core.structure import Direction

WAY = "way/12"


def test_each_kind_of_limit_binds_both_ways() -> None:
    limits = read_limits({"maxwidth": "2.2", "maxlength": "10", "maxweight": "3.5 t"}, WAY)
    assert limits == LimitTags(
        max_width=(Length(22000), Length(22000)),
        max_length=(Length(100000), Length(100000)),
        max_weight_kg=(3500, 3500),
    )


def test_no_tags_no_limits() -> None:
    assert read_limits({"highway": "residential", "maxheight": "3", "maxspeed": "50"}, WAY) == LimitTags()


def test_of_several_the_lowest_binds_in_its_direction() -> None:
    tags = {
        "maxwidth": "3",
        "maxwidth:physical": "2.8",
        "maxwidth:forward": "2.5",
        "maxwidth:legal:backward": "2.9",
    }
    assert read_limits(tags, WAY).max_width == (Length(25000), Length(28000))
    assert read_limits({"maxweight:backward": "7.5"}, WAY).max_weight_kg == (None, 7500)
    assert read_limits({"maxwidth:lanes": "3|2.5|"}, WAY).max_width == (Length(25000), Length(25000))


@pytest.mark.parametrize(
    ("key", "text", "tenths"),
    [
        ("maxwidth", "7'", 21336),
        ("maxwidth", "8'6\"", 25908),
        ("maxwidth", "0.9", 9000),
        ("maxlength", "40 ft", 121920),
        ("maxlength", "35", 350000),
    ],
)
def test_lengths_in_either_unit(key: str, text: str, tenths: int) -> None:
    read = read_limits({key: text}, WAY)
    assert (read.max_width if key == "maxwidth" else read.max_length)[0] == Length(tenths)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("maxwidth", ""),
        ("maxwidth", "~2"),
        ("maxwidth", "220"),
        ("maxwidth", "narrow"),
        ("maxlength", "600"),
        ("maxlength", "0"),
        ("maxweight", "7500"),
        ("maxweight", "heavy"),
        ("maxweight", "below_default"),
        ("maxweight", "7,500"),
    ],
)
def test_what_cannot_be_read_or_meant_warns_and_sets_no_limit(key: str, text: str) -> None:
    read = read_limits({key: text}, WAY)
    assert (read.max_width, read.max_length, read.max_weight_kg) == ((None, None),) * 3
    (warning,) = read.warnings
    assert warning.startswith(f"{WAY}: {key}={text!r}: ")


def test_the_readable_part_of_a_list_still_binds() -> None:
    read = read_limits({"maxweight": "7.5;heavy"}, WAY)
    assert read.max_weight_kg == (7500, 7500)
    assert len(read.warnings) == 1


@pytest.mark.parametrize("text", ["none", "default", "unsigned", "no_sign"])
def test_words_are_no_limit_and_no_warning(text: str) -> None:
    assert read_limits({"maxweight": text, "maxwidth": text}, WAY) == LimitTags()


def test_other_modes_do_not_bind_a_motorhome_and_unknown_suffixes_do() -> None:
    assert (
        read_limits({"maxweight:hgv": "3.5", "maxlength:bus": "8", "maxweight:signed": "no"}, WAY)
        == LimitTags()
    )
    assert read_limits({"maxweight:motorhome": "3.5"}, WAY).max_weight_kg == (3500, 3500)
    odd = read_limits({"maxweight:foo": "3.5"}, WAY)
    assert odd.max_weight_kg == (3500, 3500)
    assert len(odd.warnings) == 1


def test_ratings_are_named_but_not_judged() -> None:
    read = read_limits({"maxweightrating": "3.5"}, WAY)
    assert read.max_weight_kg == (None, None)
    assert len(read.warnings) == 1
    assert read_limits({"maxweightrating:hgv": "3.5"}, WAY) == LimitTags()


def test_conditional_limits_stand_apart() -> None:
    raw = "3.5 @ (22:00-06:00); none @ wet; 5 @ (Mo-Fr)"
    read = read_limits({"maxweight:forward:conditional": raw, "maxweight": "7.5"}, WAY)
    assert read.max_weight_kg == (7500, 7500)
    assert read.conditional == tuple(
        ConditionalLimit(
            target="weight",
            value=value,
            direction=Direction.FORWARD,
            condition=condition,
            key="maxweight:forward:conditional",
            raw=raw,
        )
        for value, condition in ((3500, "22:00-06:00"), (5000, "Mo-Fr"))
    )
    assert read.warnings == ()


def test_a_condition_that_cannot_be_read_is_taken_to_hold() -> None:
    read = read_limits({"maxwidth:conditional": "2.5"}, WAY)
    assert read.max_width == (Length(25000), Length(25000))
    assert len(read.warnings) == 1
    assert len(read_limits({"maxweight:conditional": "no @ CAM"}, WAY).warnings) == 1  # as mapped in Monaco


KEYS = st.tuples(
    st.sampled_from(["maxwidth", "maxlength", "maxweight"]),
    st.sampled_from(["", ":physical", ":forward", ":backward", ":conditional", ":foo", ":lanes", ":"]),
).map("".join)


@given(
    st.dictionaries(
        KEYS, st.one_of(st.text(max_size=15), st.text(alphabet="0123456789.;|@( tm'", max_size=8))
    )
)
def test_any_text_gives_limits_or_a_warning_and_never_raises(tags: dict[str, str]) -> None:
    read = read_limits(tags, WAY)
    told = [*read.max_width, *read.max_length, *read.max_weight_kg, *read.conditional]
    words = {"", *("default", "none", "no_sign", "unsigned", "no_indications")}
    for value in tags.values():
        if not {part.strip() for part in value.replace("|", ";").split(";")} <= words:
            assert read.warnings or any(t is not None for t in told)


@pytest.mark.parametrize("mode", ["motorhome", "motorcar", "vehicle", "motor_vehicle"])
@pytest.mark.parametrize("kind", ["physical", "legal", ""])
def test_modes_that_bind_a_coach_need_no_warning(mode: str, kind: str) -> None:
    key = ":".join(filter(None, ("maxwidth", kind, mode)))
    assert read_limits({key: "2.5"}, WAY) == LimitTags(max_width=(Length(25000), Length(25000)))


@pytest.mark.parametrize(("suffix", "shown"), [(":foo", "foo"), (":", "none"), (":foo:", "foo")])
def test_an_unknown_part_of_a_key_is_shown(suffix: str, shown: str) -> None:
    read = read_limits({f"maxwidth{suffix}": "2.5"}, WAY)
    assert read.max_width == (Length(25000), Length(25000))
    assert f"key with the unknown part {shown}; taken to bind" in read.warnings[0]


@pytest.mark.parametrize(
    ("text", "kg", "warnings"),
    [
        ("7.5|", 7500, 0),
        ("|7.5", 7500, 0),
        ("7.5;below_default", 7500, 1),
        ("below_default;7.5", 7500, 1),
        ("none;7.5", 7500, 0),
        ("heavy;7.5;8", 7500, 1),
        ("1;7.5", 1000, 0),
        ("0.1;7.5", 7500, 1),
        (" ", None, 1),
        ("|", None, 0),
    ],
)
def test_each_part_of_a_list_by_itself(text: str, kg: int | None, warnings: int) -> None:
    read = read_limits({"maxweight": text}, WAY)
    assert read.max_weight_kg == (kg, kg)
    assert len(read.warnings) == warnings


def test_bounds_of_widths_and_lengths() -> None:
    for text, fits in (("0.5", True), ("0.49", False), ("30", True), ("30.1", False)):
        assert (read_limits({"maxwidth": text}, WAY).max_width[0] is not None) is fits
    for text, fits in (("1", True), ("0.99", False), ("60", True), ("60.1", False)):
        assert (read_limits({"maxlength": text}, WAY).max_length[0] is not None) is fits


def test_both_directions_in_one_key_bind_both() -> None:
    assert read_limits({"maxweight:forward:backward": "3"}, WAY).max_weight_kg == (3000, 3000)
    assert read_limits({"maxweight:forward": "3"}, WAY).max_weight_kg == (3000, None)
