"""Heights as people write them down, and records as evidence."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.errors import UsageError
from clearance.core.lengths import Length
from clearance.core.record import (
    Record,
    elements_of_structure,
    parse_date,
    parse_seen_height,
    record_evidence,
    uid_of,
)
from clearance.core.structure import EvidenceClass, Kind, Span, Structure

TODAY = datetime.date(2026, 6, 15)


@pytest.mark.parametrize(
    ("text", "tenths"),
    [("13'4\"", 40640), ("13 ft 4 in", 40640), ("160in", 40640), ("4.05m", 40500), ("405 cm", 40500)],
)
def test_heights_with_their_unit(text: str, tenths: int) -> None:
    assert parse_seen_height(text) == Length(tenths)


def test_a_height_seen_is_never_rounded_up() -> None:
    """A clearance is rounded down where a measure of the coach is rounded up."""
    assert parse_seen_height("4.05678m") == Length(40567)


@pytest.mark.parametrize(
    "text", ["4.05", "13", "13'4\";12'0\"", "13'14\"", "", "high", "0.4m", "45m", "default", "4.05m|", "none"]
)
def test_what_is_no_height_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(UsageError, match="write it like"):
        parse_seen_height(text)


@given(st.integers(10_000, 300_000))
def test_what_a_length_prints_is_read_back(tenths: int) -> None:
    assert parse_seen_height(str(Length(tenths))) == Length(tenths)


@pytest.mark.parametrize("text", ["2026-06-15", "2026-06-16", " 2001-02-03 "])
def test_days(text: str) -> None:
    assert parse_date(text, TODAY) == text.strip()


@pytest.mark.parametrize(
    "text", ["2026-06-17", "2026-13-01", "15.6.2026", "20260615", "2026-6-15", "today", ""]
)
def test_days_that_cannot_be_meant(text: str) -> None:
    with pytest.raises(UsageError, match="--date"):
        parse_date(text, TODAY)


def test_a_record_is_measured_evidence_with_its_origin() -> None:
    record = Record(
        uid="ab" * 16,
        height=Length(40640),
        raw="13'4\"",
        date="2026-06-01",
        who="Ines",
        lon=-40,
        lat=45,
        photo="p1.jpg",
        note="left lane",
    )
    told = record_evidence(record)
    assert (told.evidence_class, told.figure, told.can_clear) == (EvidenceClass.MEASURED, Length(40640), True)
    assert (told.source, told.date, told.raw) == ("recorded by Ines", "2026-06-01", "13'4\"")
    assert told.note == "left lane, photo p1.jpg"
    assert not told.condition


def test_uids_are_of_the_content() -> None:
    assert uid_of(1, "a") == uid_of(1, "a")
    assert uid_of(1, "a") != uid_of(1, "b")
    assert len(uid_of()) == 32


@pytest.mark.parametrize("end", ["", " m", ";4 m"])
def test_long_texts_are_cut_in_messages(end: str) -> None:
    """Sixty signs of a height, forty of a day."""
    text = "9" * 70 + end
    with pytest.raises(UsageError) as told:
        parse_seen_height(text)
    assert repr("9" * 60) in str(told.value)
    with pytest.raises(UsageError) as day:
        parse_date("8" * 50, TODAY)
    assert repr("8" * 40) in str(day.value)
    assert "8" * 41 not in str(day.value)


def test_what_a_record_is_called() -> None:
    plain = Record(
        uid="ab" * 16, height=Length(40640), raw="13'4\"", date="2026-06-01", who="Ines", lon=-40, lat=45
    )
    assert plain.label == "record abababab (height at 45.00000,-40.00000, 2026-06-01 by Ines)"
    named = replace(plain, kind="bridge", road="Mill Lane", number=7)
    assert named.label == "record 7 (bridge over Mill Lane at 45.00000,-40.00000, 2026-06-01 by Ines)"
    told = record_evidence(plain)
    assert (told.note, told.element, told.key) == ("", "record/abababab", "height seen")


def test_uids_stay_what_they_are_from_version_to_version() -> None:
    """SHA-256 of the content as JSON without spaces: a record kept by an earlier version is known again."""
    text = '["4.05 m","2027-07-04",null,1.5]'
    assert uid_of("4.05 m", "2027-07-04", None, 1.5) == hashlib.sha256(text.encode()).hexdigest()[:32]
    assert uid_of("é") == hashlib.sha256('["é"]'.encode()).hexdigest()[:32]


def test_messages_name_the_option_and_cut_the_text() -> None:
    """Sixty signs of a height, whatever is amiss with it, and forty of a day."""
    for text in ("9" * 70, "9" * 70 + " m", "x" * 70):
        for what in ("--height", "seen"):
            with pytest.raises(UsageError) as told:
                parse_seen_height(text) if what == "--height" else parse_seen_height(text, what=what)
            assert str(told.value).startswith(f"{what} {text[:60]!r} ")
    with pytest.raises(UsageError, match=r"^--height '9' has no unit"):
        parse_seen_height("9")
    with pytest.raises(UsageError, match=r"^--height '3 m;4 m' cannot be meant: it is more than one figure"):
        parse_seen_height("3 m;4 m")
    with pytest.raises(UsageError, match=r"^--date '15.6.2026' is no day"):
        parse_date("15.6.2026", TODAY)
    with pytest.raises(UsageError, match=r"^seen 2026-06-17 is yet to come"):
        parse_date("2026-06-17", TODAY, what="seen")


def test_the_elements_by_which_a_structure_is_known_again() -> None:
    plain = Structure(key="a", kind=Kind.BRIDGE, lon=0, lat=0, upper="way/9")
    assert elements_of_structure(plain) == ()
    assert elements_of_structure(replace(plain, nodes=(7,))) == ("node/7", "way/9")
    spans = (Span(way=3, start=0, end=1), Span(way=12, start=0, end=1), Span(way=3, start=1, end=2))
    assert elements_of_structure(replace(plain, spans=spans)) == ("way/12", "way/3", "way/9")
    assert elements_of_structure(replace(plain, spans=spans, upper="")) == ("way/12", "way/3")
