"""maxheight tags become evidence and warnings, and none is dropped."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.heights import HeightWord, has_height, read_heights
from clearance.core.lengths import Length, UnreadableError, parse_length
from clearance.core.structure import Direction, Evidence, EvidenceClass

WAY = "way/12"


def only(tags: dict[str, str]) -> Evidence:
    """The evidence of tags that must yield just one piece, without a warning."""
    read = read_heights(tags, WAY)
    assert read.warnings == ()
    (evidence,) = read.evidence
    return evidence


def figures(tags: dict[str, str]) -> list[tuple[str, str, bool]]:
    """(metres, direction, can_clear) of each figure, in order."""
    read = read_heights(tags, WAY).evidence
    return [(str(e.figure), e.direction.value, e.can_clear) for e in read if e.figure is not None]


def test_a_posted_height_keeps_its_origin() -> None:
    assert read_heights({"maxheight": "13'6\"", "name": "Mill Lane"}, WAY, "2026-01-02").evidence == (
        Evidence(
            evidence_class=EvidenceClass.POSTED,
            figure=Length(41148),
            element=WAY,
            key="maxheight",
            raw="13'6\"",
            date="2026-01-02",
        ),
    )


def test_nothing_comes_from_tags_without_a_height() -> None:
    for tags in ({}, {"height": "4"}, {"maxwidth": "2"}, {"source:maxheight": "survey"}):
        assert not has_height(tags)
        assert read_heights(tags, WAY).evidence == ()
        assert read_heights(tags, WAY).warnings == ()


@pytest.mark.parametrize("key", ["maxheight", "maxheight:physical", "maxheight:foo", "maxheight_1"])
def test_every_key_that_begins_so_is_a_height(key: str) -> None:
    assert has_height({"highway": "service", key: "4"})


@pytest.mark.parametrize(
    ("key", "evidence_class", "direction"),
    [
        ("maxheight", EvidenceClass.POSTED, Direction.BOTH),
        ("maxheight:legal", EvidenceClass.POSTED, Direction.BOTH),
        ("maxheight:physical", EvidenceClass.MEASURED, Direction.BOTH),
        ("maxheight:forward", EvidenceClass.POSTED, Direction.FORWARD),
        ("maxheight:backward", EvidenceClass.POSTED, Direction.BACKWARD),
        ("maxheight:physical:forward", EvidenceClass.MEASURED, Direction.FORWARD),
        ("maxheight:legal:backward", EvidenceClass.POSTED, Direction.BACKWARD),
        ("maxheight:lanes", EvidenceClass.POSTED, Direction.BOTH),
        ("maxheight:lanes:forward", EvidenceClass.POSTED, Direction.FORWARD),
        ("maxheight:physical:lanes:backward", EvidenceClass.MEASURED, Direction.BACKWARD),
        ("maxheight:motor_vehicle", EvidenceClass.POSTED, Direction.BOTH),
        ("maxheight:motorhome:forward", EvidenceClass.POSTED, Direction.FORWARD),
    ],
)
def test_known_keys(key: str, evidence_class: EvidenceClass, direction: Direction) -> None:
    evidence = only({key: "4.1"})
    assert (evidence.evidence_class, evidence.direction) == (evidence_class, direction)
    assert (evidence.figure, evidence.can_clear, evidence.key) == (Length(41000), True, key)


def test_of_lanes_the_lowest_counts() -> None:
    assert figures({"maxheight:lanes": "4.5|3.8|4.0"}) == [("3.8 m", "both", True)]


@pytest.mark.parametrize("value", ["4.5||", "|4.5", "4.5|default", "none|4.5"])
def test_lanes_without_a_figure_keep_the_others_from_clearing(value: str) -> None:
    assert figures({"maxheight:lanes": value}) == [("4.5 m", "both", False)]


def test_several_heights_are_all_kept() -> None:
    tags = {
        "maxheight": "3.8",
        "maxheight:physical": "4.0",
        "maxheight:forward": "3.8",
        "maxheight:backward": "3.5",
    }
    assert figures(tags) == [
        ("3.8 m", "both", True),
        ("3.5 m", "backward", True),
        ("3.8 m", "forward", True),
        ("4 m", "both", True),
    ]


@pytest.mark.parametrize("word", list(HeightWord))
@pytest.mark.parametrize("key", ["maxheight", "maxheight:physical", "maxheight:forward"])
def test_words_are_no_figure_and_say_so(word: HeightWord, key: str) -> None:
    read = read_heights({key: word.value}, WAY)
    (evidence,) = read.evidence
    assert (evidence.evidence_class, evidence.figure) == (EvidenceClass.NONE, None)
    assert evidence.note
    assert bool(read.warnings) == (word is HeightWord.BELOW_DEFAULT)


def test_lanes_of_words_alone_are_words() -> None:
    assert only({"maxheight:lanes": "default|none"}).figure is None
    assert len(read_heights({"maxheight:lanes": "default|below_default"}, WAY).warnings) == 1
    assert len(read_heights({"maxheight:lanes": "4.5|below_default"}, WAY).warnings) == 1


@pytest.mark.parametrize(
    "text", ["", "~4", "0", "-3", "13.6.1", "12'14\"", "no", "unlimited", "3.5-4", "150", "0.5"]
)
def test_unreadable_and_implausible_texts_warn_with_element_key_and_text(text: str) -> None:
    read = read_heights({"maxheight:forward": text}, WAY)
    (evidence,) = read.evidence
    assert (evidence.evidence_class, evidence.figure, evidence.raw) == (EvidenceClass.NONE, None, text)
    assert evidence.direction is Direction.FORWARD
    (warning,) = read.warnings
    assert warning.startswith(f"{WAY}: maxheight:forward={text!r}: ")


def test_what_can_be_read_of_a_bad_list_condemns_but_never_clears() -> None:
    for text in ("150;3.5", "3.5;~4", "3.5|no"):
        read = read_heights({"maxheight": text}, WAY)
        assert [e.figure for e in read.evidence] == [None, Length(35000)]
        assert not read.evidence[1].can_clear
        assert len(read.warnings) == 1


def test_beside_a_text_that_cannot_be_read_no_figure_clears() -> None:
    assert figures({"maxheight": "~3.5", "maxheight:physical": "4.6"}) == [("4.6 m", "both", False)]
    assert figures({"maxheight:forward": "~3.5", "maxheight": "4.6"}) == [("4.6 m", "both", False)]
    assert figures({"maxheight:forward": "~3.5", "maxheight:backward": "4.6"}) == [
        ("4.6 m", "backward", True)
    ]
    assert figures({"maxheight": "below_default", "maxheight:physical": "4.1"}) == [("4.1 m", "both", True)]


def test_irregular_texts_are_used_and_noted() -> None:
    evidence = only({"maxheight": "3,8"})
    assert (evidence.figure, evidence.can_clear) == (Length(38000), True)
    assert "comma" in evidence.note


def test_a_bare_number_above_any_sign_may_not_clear() -> None:
    for text in ("12.6", "13", "7.01"):
        read = read_heights({"maxheight": text}, WAY)
        (evidence,) = read.evidence
        assert evidence.figure == parse_length(text).length
        assert not evidence.can_clear
        assert len(read.warnings) == 1
    for text in ("7", "12.6 m", "13'6\"", "20'"):
        assert only({"maxheight": text}).can_clear


def test_each_condition_is_evidence_that_never_clears() -> None:
    read = read_heights(
        {"maxheight:conditional": "3.5 @ (Mo-Fr 07:00-09:00; Sa); 12'6\" @ wet; none @ winter"}, WAY
    )
    assert [(e.figure, e.condition, e.can_clear) for e in read.evidence] == [
        (Length(35000), "Mo-Fr 07:00-09:00; Sa", False),
        (Length(38100), "wet", False),
        (None, "winter", False),
    ]
    assert read.warnings == ()


def test_conditions_keep_direction_and_kind() -> None:
    evidence = only({"maxheight:physical:forward:conditional": "3.5 @ wet"})
    assert (evidence.direction, evidence.evidence_class) == (Direction.FORWARD, EvidenceClass.MEASURED)


@pytest.mark.parametrize(
    ("text", "lowest"),
    [("3.5", 35000), ("2.3 @ level 0; 3.5", 23000), ("3.5 @ (wet", 35000), ("3.5 @", 35000)],
)
def test_a_condition_that_cannot_be_read_leaves_its_figures_to_condemn(text: str, lowest: int) -> None:
    read = read_heights({"maxheight:conditional": text}, WAY)
    assert min(e.figure for e in read.evidence if e.figure is not None) == Length(lowest)
    assert not any(e.condition or (e.figure is not None and e.can_clear) for e in read.evidence)
    assert len(read.warnings) == 1


def test_a_value_that_cannot_be_read_under_a_condition_warns() -> None:
    read = read_heights({"maxheight:conditional": "~3 @ wet; 3.8 @ snow"}, WAY)
    assert [(e.figure, e.condition) for e in read.evidence] == [(None, "wet"), (Length(38000), "snow")]
    assert len(read.warnings) == 1


@pytest.mark.parametrize(
    "key", ["maxheight:hgv", "maxheight:bus:forward", "maxheight:foo", "maxheight_1", "maxheight:"]
)
def test_unknown_keys_warn_and_their_figures_never_clear(key: str) -> None:
    read = read_heights({key: "4.0"}, WAY)
    (evidence,) = read.evidence
    assert (evidence.figure, evidence.can_clear) == (Length(40000), False)
    assert len(read.warnings) == 1
    assert key in read.warnings[0]


def test_heights_that_are_not_on_a_sign_or_not_surveyed_never_clear() -> None:
    assert figures({"maxheight": "4.5", "maxheight:signed": "no"}) == [("4.5 m", "both", False)]
    assert figures({"maxheight": "4.5", "maxheight:signed": "yes"}) == [("4.5 m", "both", True)]
    assert figures({"maxheight:physical": "4.5", "maxheight:signed": "no"}) == [("4.5 m", "both", True)]
    for key in ("source:maxheight", "maxheight:source"):
        assert figures({"maxheight": "4.5", key: "estimated"}) == [("4.5 m", "both", False)]
        assert figures({"maxheight": "4.5", key: "survey"}) == [("4.5 m", "both", True)]
    assert figures({"maxheight:physical": "4.5", "source:maxheight:physical": "Estimate"}) == [
        ("4.5 m", "both", False)
    ]


def test_whether_there_is_a_sign_is_a_note() -> None:
    assert only({"maxheight:signed": "no"}).note == "no height sign"
    assert only({"maxheight:signed": "yes"}).figure is None
    assert len(read_heights({"maxheight:signed": "perhaps"}, WAY).warnings) == 1


def test_remarks_are_kept_as_notes() -> None:
    assert only({"maxheight:note": "measured at the kerb"}).figure is None
    assert figures({"maxheight:note": "3.5"}) == [("3.5 m", "both", False)]


SUFFIX = st.sampled_from(
    [
        "physical",
        "legal",
        "signed",
        "forward",
        "backward",
        "lanes",
        "conditional",
        "hgv",
        "source",
        "foo",
        "",
        "1",
    ]
)
KEYS = st.one_of(
    st.lists(SUFFIX, max_size=4).map(lambda parts: ":".join(["maxheight", *parts])),
    st.text(max_size=8).map(lambda text: "maxheight" + text),
)
VALUES = st.one_of(
    st.text(max_size=20),
    st.sampled_from(
        ["3.8", "13'6\"", "default", "below_default", "4|3.8", "3,9", "150", "yes", "no", "12.6"]
    ),
    st.text(alphabet="0123456789.'\"@;|() m", max_size=12),
    st.tuples(
        st.sampled_from(["3.5", "~3", "none", "12'6\""]),
        st.sampled_from(["wet", "(Mo-Fr 07:00-09:00)", "(", ""]),
    ).map(" @ ".join),
)


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_no_height_is_dropped_whatever_the_tags(tags: dict[str, str]) -> None:
    read = read_heights(tags, WAY)
    assert {e.key for e in read.evidence} == set(tags)
    assert has_height(tags) == bool(tags)
    for e in read.evidence:
        assert e.raw == tags[e.key]
        assert e.element == WAY
        assert (e.figure is None) == (e.evidence_class is EvidenceClass.NONE)
        assert e.figure is not None or e.note
        assert not (e.condition and e.can_clear)
    for warning in read.warnings:
        assert warning.startswith(f"{WAY}: maxheight")


@given(KEYS, VALUES)
def test_a_readable_value_is_never_lost_nor_raised(key: str, value: str) -> None:
    try:
        length = parse_length(value).length
    except UnreadableError:
        return
    if length is not None:
        found = [e.figure for e in read_heights({key: value}, WAY).evidence if e.figure is not None]
        assert found
        assert min(found) <= length


@pytest.mark.parametrize(
    ("key", "part"),
    [("maxheight_1", "_1"), ("maxheight:", "none"), ("maxheight:foo", "foo"), ("maxheight:foo:x", "foo:x")],
)
def test_the_unknown_part_of_a_key_is_shown(key: str, part: str) -> None:
    read = read_heights({key: "4.2"}, "way/1")
    assert read.warnings == (
        f"way/1: {key}='4.2': key with the unknown part {part}; the figure may not clear",
    )
    assert [e.can_clear for e in read.evidence] == [False]
