from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.structure import Structure
from clearance.outputs.csv_table import DRIVE_COLUMNS, STRUCTURE_COLUMNS, drive_csv, structures_csv
from tests.outputs import samples


def _rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def _structures() -> list[Structure]:
    return [f.structure for f in samples.long_drive().findings]


def test_lines_end_in_crlf_and_all_have_the_same_fields() -> None:
    """RFC 4180, section 2."""
    for text, columns in (
        (drive_csv(samples.care_drive()), DRIVE_COLUMNS),
        (structures_csv(_structures(), samples.INFO), STRUCTURE_COLUMNS),
        (drive_csv(samples.hostile_drive()), DRIVE_COLUMNS),
    ):
        assert text.endswith("\r\n")
        assert "\n" not in text.replace("\r\n", "")
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert lines[0] == list(columns)
        assert {len(line) for line in lines} == {len(columns)}


def test_only_flagged_structures_of_a_drive_in_driving_order() -> None:
    rows = _rows(drive_csv(samples.care_drive()))
    assert [(r["where"], r["number"], r["standing"]) for r in rows] == [
        ("on the drive", "6", "TIGHT"),
        ("on the drive", "7", "TIGHT"),
        ("on the drive", "8", "NOT VERIFIED"),
        ("on the car drive", "1", "TOO LOW"),
    ]
    low = rows[-1]
    assert (low["clearance_ft_in"], low["clearance_m"], low["above_coach_m"]) == ("12'6\"", "3.81", "-0.1016")
    assert low["what_to_do"].startswith("Do not go under.")
    assert low["ways"] == "203"
    unknown = rows[2]
    assert (unknown["clearance_ft_in"], unknown["clearance_m"], unknown["above_coach_m"]) == ("", "", "")
    assert 'maxheight="default" on way/402' in unknown["evidence"]


def test_a_blocked_drive_lists_what_is_in_the_way() -> None:
    rows = _rows(drive_csv(samples.blocked_drive()))
    assert [r["where"] for r in rows] == ["in the way", "in the way", "on the car drive"]


def test_nothing_flagged_is_a_header_alone() -> None:
    assert drive_csv(samples.clear_drive()) == ",".join(DRIVE_COLUMNS) + "\r\n"
    assert structures_csv([], samples.INFO) == ",".join(STRUCTURE_COLUMNS) + "\r\n"


def test_an_area_lists_every_structure_with_its_elements() -> None:
    structures = _structures()
    rows = _rows(structures_csv(structures, samples.INFO))
    assert [r["key"] for r in rows] == [s.key for s in structures]
    assert all(r["ways"] for r in rows)
    assert {r["standing"] for r in rows} == {""}
    judged = _rows(structures_csv(structures, samples.INFO, samples.COACH))
    assert {r["standing"] for r in judged} >= {"TIGHT", "NOT VERIFIED", "CLEAR"}
    assert {r["verified"] for r in rows} == {"yes", "no"}


def test_every_line_says_where_it_is_from_and_that_signs_win() -> None:
    for row in _rows(drive_csv(samples.care_drive())) + _rows(structures_csv(_structures(), samples.INFO)):
        assert row["data_date"] == "2026-01-01T00:00:00Z"
        assert "OpenStreetMap" in row["attribution"]
        assert "Posted signs" in row["caution"]


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+44", "-2", "@SUM(A1)", "  =cmd|' /C calc'!A0", "＝1", "\t=1", "\r=1", "\u200b=1", "'=1"],
)
def test_no_text_of_the_map_can_begin_a_formula(text: str) -> None:
    structure = replace(_structures()[0], name=text, road=text, key=text)
    (row,) = _rows(structures_csv([structure], samples.INFO))
    for column in ("name", "road", "key"):
        assert row[column].startswith("'")
        assert row[column].lstrip("'").strip() == text.strip("\t\r\u200b '")


def test_numbers_stay_numbers() -> None:
    assert _rows(drive_csv(samples.care_drive()))[-1]["above_coach_m"] == "-0.1016"


@given(st.text())
def test_any_name_comes_back_in_its_own_cell(name: str) -> None:
    structure = replace(_structures()[0], name=name, road=name)
    (row,) = _rows(structures_csv([structure], samples.INFO))
    assert row["kind"] == structure.kind.value
    assert row["name"] == row["road"]
    assert row["attribution"] == samples.INFO.attribution
    assert row["name"].isprintable()


def test_pandas_reads_the_same_table(tmp_path: object) -> None:
    pandas = pytest.importorskip("pandas")
    structures = _structures()
    frame = pandas.read_csv(io.StringIO(structures_csv(structures, samples.INFO, samples.COACH), newline=""))
    assert list(frame.columns) == list(STRUCTURE_COLUMNS)
    assert list(frame["key"]) == [s.key for s in structures]
    assert frame["clearance_m"].dtype == float
    told = [s.lowest() for s in structures]
    assert [h is None for h in told] == list(frame["clearance_m"].isna())
    assert frame["lat"].between(44, 46).all()
