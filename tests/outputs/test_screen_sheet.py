"""The page for the glove box, its text read back by pypdf."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from clearance.core.drive import Verdict
from clearance.core.screening import Problem, Row, Screening
from clearance.outputs.measures import Units
from clearance.outputs.screen_sheet import screen_sheet
from clearance.outputs.sheet_canvas import Paper
from tests.outputs.screen_samples import ROWS, SCREENING

MADE = datetime(2026, 3, 4, tzinfo=UTC)


def pages(data: bytes) -> list[str]:
    """The text of each page with single spaces."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages]


def many(clear: int, care: int, blocked: int) -> Screening:
    """One coach with so many rows of each verdict, in the order of a list."""
    models = {row.verdict: row for row in ROWS if row.coach == 0}
    rows: list[Row] = []
    for verdict, count in ((Verdict.CLEAR, clear), (Verdict.CARE, care), (Verdict.BLOCKED, blocked)):
        for _ in range(count):
            place = replace(models[verdict].place, name=f"{verdict.value}-{len(rows) + 1:04}")
            rows.append(replace(models[verdict], number=len(rows) + 1, place=place))
    return replace(SCREENING, coaches=SCREENING.coaches[:1], rows=tuple(rows), problems=())


def test_a_page_for_each_coach_holds_its_rows() -> None:
    heron, wren = pages(screen_sheet(SCREENING, made=MADE))
    for said in (
        "Destinations from Coach Yard",
        "13'0\"",
        "1 BLOCKED · 1 TAKE CARE · 1 CLEAR · 2 not screened",
        "No way back fits the coach.",
        "Quay; Lot (needs room to turn)",
        "Posted signs and local rules win",
        "Map data of 2026-01-01",
        "page 1 of 2",
    ):
        assert said in heron, said
    assert heron.index("No way back") < heron.index("Quay; Lot") < heron.index("=Mill")
    assert "Wren" in wren
    assert "0 BLOCKED" in wren
    assert "Wren" not in heron


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize(("clear", "care", "blocked"), [(0, 0, 0), (20, 3, 2), (60, 10, 5), (900, 60, 25)])
def test_it_is_one_page_and_tells_what_it_leaves_out(
    paper: Paper, clear: int, care: int, blocked: int
) -> None:
    found = many(clear, care, blocked)
    [text] = pages(screen_sheet(found, paper=paper, made=MADE))
    shown = [row for row in found.rows if row.place.name in text]
    left = [row for row in found.rows if row not in shown]
    told = {
        "blocked": sum(r.verdict is Verdict.BLOCKED for r in left),
        "to take care at": sum(r.verdict is Verdict.CARE for r in left),
        "clear": sum(r.verdict is Verdict.CLEAR for r in left),
    }
    assert ("Not on this page" in text) is bool(left)
    if left:
        words = ", ".join(f"{count} {word}" for word, count in told.items() if count)
        assert f"Not on this page for want of room: {words}." in text
    # What is worse is never left out for what is better.
    worst = [Verdict.BLOCKED, Verdict.CARE, Verdict.CLEAR]
    if left:
        graver = min(worst.index(r.verdict) for r in left)
        assert all(worst.index(r.verdict) <= graver for r in shown)
    if blocked:
        assert "blocked" not in text.partition("Not on this page")[2][:80]


def test_reasons_of_what_is_flagged_outlast_clear_places() -> None:
    [text] = pages(screen_sheet(many(300, 3, 3), made=MADE))
    assert text.count("No way back fits the coach.") == 3
    assert "clear. They are in every other file" in text


def test_what_just_fits_is_not_left_out_to_keep_room_for_saying_so() -> None:
    """29 rows fill the page to the last line, the 30th does not fit: nothing is left out, nothing says so."""
    fits, too_many = (pages(screen_sheet(many(n, 6, 5), made=MADE))[0] for n in (29, 30))
    assert "Not on this page" not in fits
    assert "Not on this page" in too_many


def test_the_line_on_what_is_left_out_takes_no_room_from_what_is_worse() -> None:
    """On letter paper 11 flagged rows in the largest letters fill the page, with no line to spare."""
    [text] = pages(screen_sheet(many(28, 6, 5), paper=Paper.LETTER, made=MADE))
    assert "to take care at" not in text
    assert text.count("care-") == 6


def test_blocked_places_tell_why_however_many_there_are() -> None:
    [text] = pages(screen_sheet(many(900, 60, 25), made=MADE))
    assert text.count("In the way: railway bridge") == 25
    assert "No way back fits the coach." not in text


def test_what_could_not_be_screened_is_named() -> None:
    heron, wren = pages(screen_sheet(SCREENING, made=MADE))
    assert "Not screened, so nothing is known of the way there: line 5; Isle." in heron
    assert "Not screened, so nothing is known of the way there: line 5." in wren
    problems = tuple(Problem(where=f"line {n}", name=f"Place {n}", text="far off") for n in range(500))
    heron = pages(screen_sheet(replace(SCREENING, problems=problems), made=MADE))[0]
    named = heron.partition("Not screened, so ")[2].partition("Times are h:mm")[0]
    assert "Place 3;" in named
    assert f"{500 - named.count('Place ')} more." in named


def test_other_units_and_letters() -> None:
    text = pages(screen_sheet(SCREENING, Units.METRES, made=MADE))[0]
    assert "3.97 m" in text
    assert "km" in text
    assert "'" not in text.replace("'north'", "").partition("Map data")[0].replace("car's", "")
    home = replace(SCREENING.home, name="ساحة الحافلات")
    assert PdfReader(io.BytesIO(screen_sheet(replace(SCREENING, home=home), made=MADE))).pages


def test_the_same_screening_gives_the_same_bytes() -> None:
    assert screen_sheet(SCREENING, made=MADE) == screen_sheet(SCREENING, made=MADE)
