"""The sheet, its text read back by pypdf, and by poppler's pdftotext where that is installed."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from clearance.core.drive import Drive, InOut, InOutAnswer
from clearance.core.facility import Facility, FacilityKind
from clearance.core.structure import Standing
from clearance.outputs.directions import directions, step_text
from clearance.outputs.measures import Units, clearance_text, coach_text
from clearance.outputs.sheet import Paper, drive_sheet
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    facility_brief,
    facility_text,
    facility_title,
    structure_text,
    turn_off_text,
    verdict_sentence,
)
from tests.outputs import samples

MADE = datetime(2026, 3, 4, tzinfo=UTC)
DRIVES: dict[str, Callable[[], Drive]] = {
    "care": lambda: samples.care_drive(datetime(2026, 5, 1, 8, 30)),
    "clear": samples.clear_drive,
    "blocked": samples.blocked_drive,
    "inspected": samples.inspected_line,
    "hostile": samples.hostile_drive,
    "long": samples.long_drive,
    "long with facilities": lambda: replace(samples.long_drive(40, 6), along=many_facilities(30)),
}


def read(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data))


def text(data: bytes) -> str:
    """All text, with single spaces, so that line breaks do not matter."""
    return " ".join(" ".join(page.extract_text() for page in read(data).pages).split())


def test_it_holds_all_that_a_driver_needs() -> None:
    drive = samples.care_drive(datetime(2026, 5, 1, 8, 30))
    said = text(drive_sheet(drive, made=MADE))
    assert verdict_sentence(drive) in said
    assert coach_text(drive.coach.height) in said
    assert f"needs {coach_text(drive.coach.need)}" in said
    assert coach_text(drive.coach.height, Units.METRES) in said
    for finding in drive.findings:
        what = structure_text(finding.structure, finding.road)
        assert what[0].upper() + what[1:] in said
        if finding.clearance is not None:
            assert clearance_text(finding.clearance) in said
        if finding.standing is not Standing.CLEAR:
            assert advice(finding, drive.coach) in said
            assert turn_off_text(finding) in said
    for step in directions(drive):
        assert step_text(step) in said.replace("\u00a0", " ")
    assert all(caution in said for caution in CAUTIONS)
    assert "Map data of 2026-01-01" in said
    assert drive.info.attribution in said
    assert "leaving 8:30 AM" in said
    assert "at 3.9 mi, 8:38 AM to 9:23 AM" in said
    assert "The nearest road for the coach is 400 ft from it." in said


def test_without_a_departure_the_stay_is_told() -> None:
    assert "at 3.9 mi, 45 min there" in text(drive_sheet(samples.care_drive(), made=MADE))


def test_a_place_far_from_its_road_is_told_even_of_two() -> None:
    drive = samples.clear_drive()
    b = samples.Builder().stop("Here", (0, 0), off_road_m=60)
    b.road("A", "residential", [(0, 0), (0, 500)]).stop("There", (0, 500))
    two = replace(drive, stops=b.drive(drive.verdict).stops, places=tuple(s.place for s in b.stops))
    assert "The nearest road for the coach is 200 ft from it." in text(drive_sheet(two, made=MADE))


def many_facilities(count: int) -> tuple[Facility, ...]:
    """Facilities with ever longer detours and a full tank among them, half of them dead ends."""
    dead_end = InOut(answer=InOutAnswer.NEEDS_ROOM, reason="The yard is a dead end.", dead_end_m=120)
    through = InOut(answer=InOutAnswer.DRIVES_THROUGH)
    return tuple(
        samples.facility(
            list(FacilityKind)[n % 5],
            f"Place {n}.",
            (n * 60, 30),
            1000 + n * 60,
            35 + 30 * n,
            notes=("hours told: Mo-Su 08:00-20:00", "for a fee"),
            in_out=dead_end if n % 2 else through,
            full_tank=n == count // 2,
        )
        for n in range(count)
    )


def test_facilities_along_the_way_stand_in_full_where_there_is_room() -> None:
    drive = samples.care_drive()
    said = text(drive_sheet(drive, made=MADE))
    assert "Along the way" in said
    assert said.index("Stops") < said.index("Along the way") < said.index("Directions")
    for facility in drive.along:
        words = facility_text(facility, drive.coach)
        assert f"{facility_title(facility)} {words[0].upper()}{words[1:]}" in said
    assert "not printed" not in said
    assert "Along the way" not in text(drive_sheet(samples.clear_drive(), made=MADE))


def test_facilities_are_told_in_brief_where_room_is_short() -> None:
    drive = replace(samples.long_drive(turns=60, findings=4), along=many_facilities(30))
    said = text(drive_sheet(drive, made=MADE))
    tank = next(f for f in drive.along if f.full_tank)
    assert facility_text(tank, drive.coach)[1:] in said
    others = [f for f in drive.along if not f.full_tank]
    told = [f for f in others if facility_brief(f, drive.coach) in said]
    assert len(told) > 5
    assert "needs room to turn" in facility_brief(others[1], drive.coach)
    # Dead ends and long detours go first, and the sheet says how many.
    owned = re.search(r"(\d+) facilities are not printed here, of longer detours or harder", said)
    assert owned
    assert len(others) - len(told) == int(owned[1])
    gone = [f for f in others if f not in told]
    assert all(f.in_out.answer is InOutAnswer.NEEDS_ROOM for f in gone)
    assert all(step_text(step) in said for step in directions(drive))
    assert len(read(drive_sheet(drive, made=MADE)).pages) == 2


def test_the_full_tank_and_the_best_of_each_kind_are_never_left_out() -> None:
    drive = replace(samples.long_drive(turns=200, findings=24), along=many_facilities(9))
    said = text(drive_sheet(drive, made=MADE))
    assert "Full tank before the end: Place 4." in said
    # The others are four kinds twice over, once to drive through and once a dead end.
    for number in (0, 1, 2, 3, 5, 6, 7, 8):
        printed = facility_brief(drive.along[number], drive.coach) in said
        assert printed == (drive.along[number].in_out.answer is InOutAnswer.DRIVES_THROUGH)
    assert "4 facilities are not printed here, of longer detours or harder to get out of. The HTML" in said
    assert len(read(drive_sheet(drive, made=MADE)).pages) == 2


def test_findings_stand_in_driving_order() -> None:
    said = text(drive_sheet(samples.care_drive(), made=MADE))
    places = [said.index(at) for at in ("at 1.3 mi", "at 2.4 mi", "at 3.8 mi", "at 4.9 mi")]
    assert places == sorted(places)


def test_the_height_is_the_largest_thing_on_the_sheet() -> None:
    sizes: dict[float, str] = {}

    def note(part: str, _cm: object, _tm: object, _font: object, size: float) -> None:
        if part.strip():
            sizes[size] = sizes.get(size, "") + part

    read(drive_sheet(samples.care_drive(), made=MADE)).pages[0].extract_text(visitor_text=note)
    assert sizes[max(sizes)].strip() == "12'10\""
    assert max(sizes) >= 60


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("name", DRIVES)
def test_two_pages_at_most_in_the_size_asked_for(name: str, paper: Paper) -> None:
    pages = read(drive_sheet(DRIVES[name](), paper=paper, made=MADE)).pages
    assert len(pages) <= 2
    # ISO 216 A4 is 210 mm x 297 mm; Letter is 8.5 in x 11 in (ANSI/ASME Y14.1, from memory).
    width, height = (210 / 25.4 * 72, 297 / 25.4 * 72) if paper is Paper.A4 else (612, 792)
    for page in pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.1)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.1)


@pytest.mark.parametrize("count", [24, 70])
def test_no_finding_is_dropped_and_left_out_steps_are_owned_up_to(count: int) -> None:
    drive = samples.long_drive(turns=200, findings=count)
    data = drive_sheet(drive, made=MADE)
    said = text(data)
    for finding in drive.findings:
        # At the head of an entry the first letter is a capital; in the list of the clear ones it is not.
        rest = structure_text(finding.structure, finding.road)[1:]
        assert re.search(rf"{re.escape(rest)}(?!\d)", said), finding.number
    owned = re.search(r"(\d+) steps are not printed here, of (\d+)", said)
    assert owned
    left_out, whole = int(owned[1]), int(owned[2])
    assert whole == len(directions(drive))
    assert sum(int(n) for n in re.findall(r"\.\.\. (\d+) steps? not printed", said)) == left_out
    assert "HTML page and the GPX file" in said
    steps = directions(drive)
    printed = sum(bool(re.search(rf"{re.escape(step_text(s))}(?!\d)", said)) for s in steps)
    assert printed == whole - left_out
    assert step_text(steps[0]) in said
    assert step_text(steps[-1]) in said


def test_nothing_is_left_out_of_an_ordinary_day() -> None:
    drive = samples.long_drive(turns=60, findings=6)
    said = text(drive_sheet(drive, made=MADE))
    assert "not printed" not in said
    assert all(step_text(step) in said for step in directions(drive))


def test_a_blocked_sheet() -> None:
    drive = samples.blocked_drive()
    said = text(drive_sheet(drive, made=MADE))
    assert verdict_sentence(drive) in said
    assert "Aqueduct (Neck Aqueduct), Neck Road" in said
    assert "maxweight=10 st" in said


def test_an_inspected_line_names_what_was_not_checked() -> None:
    assert "Not checked for 1050 ft" in text(drive_sheet(samples.inspected_line(), made=MADE))


def test_units() -> None:
    drive = samples.care_drive()
    said = text(drive_sheet(drive, Units.METRES, made=MADE))
    assert "4.20 m" in said
    assert verdict_sentence(drive, Units.METRES) in said
    assert not re.search(r"\d mi\b", said)


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("Улица Мельничная", "Улица Мельничная"),
        ("Οδός Μύλου", "Οδός Μύλου"),
        ("Łąkowa Straße", "Łąkowa Straße"),
        ("水車通り", "□□□□"),
        ("ถนนโรงสี 7", "□"),
        ("Rue 🚚", "Rue □"),
    ],
)
def test_letters_of_many_scripts_are_printed_or_shown_as_missing(name: str, printed: str) -> None:
    drive = samples.clear_drive()
    said = text(drive_sheet(replace(drive, pieces=(replace(drive.pieces[0], road=name),)), made=MADE))
    assert printed in said
    assert ("cannot print" in said) == ("□" in printed)


def test_arabic_is_joined_and_runs_from_right_to_left() -> None:
    """Read back in reading order; joined letters still carry their plain code points."""
    drive = samples.clear_drive()
    data = drive_sheet(replace(drive, pieces=(replace(drive.pieces[0], road="شارع الطاحونة"),)), made=MADE)
    words = text(data)
    assert "الطاحونة" in words
    assert "شارع" in words


@pytest.mark.parametrize("face", ["Regular", "Bold"])
def test_the_zero_is_plain(face: str) -> None:
    """A stroke through it makes it an eight to a hurried reader: one line outside, one inside, no more."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    path = files("clearance.outputs") / "assets" / "fonts" / "plex" / f"{face}.ttf"
    with TTFont(str(path)) as font:
        contours = {c: font["glyf"][font.getBestCmap()[ord(c)]].numberOfContours for c in "08"}
    assert contours == {"0": 2, "8": 3}


def test_fonts_are_inside() -> None:
    fonts = read(drive_sheet(samples.care_drive(), made=MADE)).pages[0]["/Resources"]["/Font"]  # type: ignore[index]
    assert len(fonts) >= 2
    for font in fonts.values():
        descriptor = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in descriptor


def test_the_same_drive_makes_the_same_file() -> None:
    drive = samples.clear_drive()
    first = read(drive_sheet(drive, made=MADE))
    assert text(drive_sheet(drive, made=MADE)) == text(drive_sheet(drive, made=MADE))
    assert first.metadata is not None
    assert first.metadata.title == "Ridge Highway west to Quarry Road"
    assert first.metadata.creation_date == MADE


@settings(max_examples=12, deadline=None)
@given(st.text(max_size=60), st.text(st.characters(codec=None), max_size=300))
def test_any_name_makes_a_sheet(road: str, place: str) -> None:
    drive = samples.clear_drive()
    places = (replace(drive.places[0], name=place), drive.places[1])
    pieces = (replace(drive.pieces[0], road=road),)
    assert read(drive_sheet(replace(drive, places=places, pieces=pieces), made=MADE)).pages


def boxes(data: bytes, tmp_path: Path) -> list[tuple[int, str, float, float, float, float]]:
    """Page, text and box in points of every word, as poppler sees them."""
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext is not installed; scripts/browser installs it")
    (tmp_path / "sheet.pdf").write_bytes(data)
    out = tmp_path / "words.xml"
    subprocess.run([tool, "-bbox", str(tmp_path / "sheet.pdf"), str(out)], check=True, capture_output=True)
    root = ET.fromstring(re.sub(r"<!DOCTYPE[^>]*>|<meta[^>]*>", "", out.read_text(encoding="utf-8")))
    found = []
    for number, page in enumerate(root.iter("{http://www.w3.org/1999/xhtml}page")):
        for word in page.iter("{http://www.w3.org/1999/xhtml}word"):
            corners = [float(word.get(key, "")) for key in ("xMin", "yMin", "xMax", "yMax")]
            found.append((number, word.text or "", *corners))
    return found  # type: ignore[return-value]


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("name", DRIVES)
def test_no_words_overlap_or_leave_the_page(name: str, paper: Paper, tmp_path: Path) -> None:
    data = drive_sheet(DRIVES[name](), paper=paper, made=MADE)
    page = read(data).pages[0].mediabox
    found = boxes(data, tmp_path)
    assert len(found) > 60
    for number, word, left, top, right, bottom in found:
        assert 30 < left < right < float(page.width) - 30, (number, word)
        assert 25 < top < bottom < float(page.height) - 25, (number, word)
    # Poppler's boxes reach from the ascent to the descent of the font; what must not touch is the part
    # between the tops of the capitals and the base line, the middle half of the box.
    for (page_a, a, *box_a), (page_b, b, *box_b) in combinations(found, 2):
        if page_a != page_b:
            continue
        wide = min(box_a[2], box_b[2]) - max(box_a[0], box_b[0])
        (top_a, low_a), (top_b, low_b) = middle(box_a), middle(box_b)
        assert wide <= 0.5 or min(low_a, low_b) - max(top_a, top_b) <= 0.5, (a, b)


def middle(box: list[float]) -> tuple[float, float]:
    """Top and bottom of the middle half of a box."""
    quarter = (box[3] - box[1]) / 4
    return box[1] + quarter, box[3] - quarter


def test_poppler_reads_the_same_words(tmp_path: Path) -> None:
    drive = samples.care_drive()
    words = " ".join(word for _, word, *_ in boxes(drive_sheet(drive, made=MADE), tmp_path))
    for expected in ("12'10\"", "Right onto Harbor Street", "Posted signs and local rules win over anything"):
        assert expected in words
