"""A screening as list, table, GeoJSON and report, each read by what users read it with."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from clearance.core.lengths import Length
from clearance.core.screening import Admitted, SortBy, sorted_rows, totals
from clearance.outputs.measures import Units
from clearance.outputs.screen_csv import SCREEN_COLUMNS, screen_csv
from clearance.outputs.screen_geojson import screen_geojson
from clearance.outputs.screen_json import screen_json
from clearance.outputs.screen_table import screen_text
from clearance.outputs.screen_words import clock_span, coach_names, common_bar_text, tallest_text
from tests.outputs.screen_samples import CAMP, HERON, LOW, MILL, QUAY, ROWS, SCREENING, UNKNOWN, WREN

pd = pytest.importorskip("pandas")


def test_the_list_fits_a_terminal_and_tells_every_row_and_problem() -> None:
    text = screen_text(SCREENING)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert text.endswith("\n")
    for said in (
        "3 destinations screened there and back from Coach Yard",
        "Heron: 13'0\" high",
        "1 clear, 1 with care, 1 blocked, 2 not screened",
        "BLOCKED",
        "No way back fits the coach",
        "line 5: 'north' is no latitude",
        "no road near (for Heron)",
        "2 heights from your records",
        "Needs room to turn",
        "weight limit on Pier: 3.5 (way/9)",
    ):
        assert said in " ".join(text.split()), said
    # Rows in the order of the screening, times there and back apart.
    assert text.index("Camp") < text.index("Quay; Lot") < text.index("=Mill")
    quay = next(line for line in text.splitlines() if "Quay; Lot" in line)
    assert quay.split()[-7:] == ["0:07", "3.1", "0:08", "3.9", "0:05", "13'9\"", "1"]


@pytest.mark.parametrize("units", list(Units))
def test_the_list_has_other_units(units: Units) -> None:
    text = screen_text(SCREENING, units)
    assert ("km" in text) is (units is not Units.FEET)
    assert ("13'9\"" in text) is (units is not Units.METRES)


def test_pandas_reads_the_table() -> None:
    table = pd.read_csv(io.StringIO(screen_csv(SCREENING), newline=""))
    assert tuple(table.columns) == SCREEN_COLUMNS
    assert len(table) == len(SCREENING.rows) + len(SCREENING.problems)
    screened = table[table.verdict != "NOT SCREENED"]
    assert screened.verdict.tolist()[:3] == ["BLOCKED", "TAKE CARE", "CLEAR"]
    assert screened.there_minutes.tolist()[1:3] == [6.7, 5.5]
    assert screened.back_minutes.tolist()[1:3] == [8.3, 6.0]
    assert screened.extra_minutes.isna().tolist() == [True, False, True, False, False, False]
    quay = screened.iloc[1]
    assert (quay.unverified, quay.unverified_keys) == (1, UNKNOWN.key)
    assert quay.ceiling_m == pytest.approx(4.191)
    assert quay.tallest_coach == "no known limit"
    assert screened.iloc[0].tallest_coach == "11'3\""  # 3.6 m less 6 in, rounded down
    assert table[table.verdict == "NOT SCREENED"]["where"].tolist() == ["line 5", "line 6"]


def test_no_cell_is_a_formula() -> None:
    rows = list(csv.DictReader(io.StringIO(screen_csv(SCREENING), newline="")))
    assert not any(value.startswith(("=", "+", "@")) for one in rows for value in one.values() if value)
    assert rows[2]["name"] == "'=Mill"


def test_geojson_holds_rows_structures_and_home() -> None:
    found = json.loads(json.dumps(screen_geojson(SCREENING)))
    features = found["features"]
    assert len({f["id"] for f in features}) == len(features)
    rows = [f for f in features if f["properties"]["role"] == "destination"]
    assert len(rows) == len(SCREENING.rows)
    assert rows[0]["geometry"]["coordinates"] == [round(CAMP.lon, 7), round(CAMP.lat, 7)]
    assert rows[0]["properties"]["title"] == "BLOCKED: Camp, Heron"
    assert rows[2]["properties"]["extra_minutes"] is None
    structures = {f["id"]: f["properties"] for f in features if f["properties"]["role"] == "structure"}
    assert structures[LOW.key]["blocks"] == 1
    assert structures[UNKNOWN.key]["unverified_for"] == 1
    # A mark tells the gravest of what a structure is to anybody.
    assert structures[LOW.key]["marker-symbol"] != structures[UNKNOWN.key]["marker-symbol"]
    assert [f["properties"]["title"] for f in features if f["id"] == "home"] == ["Home: Coach Yard"]
    assert len(found["not_screened"]) == 2
    assert found["attribution"] == SCREENING.info.attribution


def test_the_report_holds_every_fact() -> None:
    found = json.loads(json.dumps(screen_json(SCREENING)))
    assert found["format"] == "clearance screening"
    assert [c["label"] for c in found["coaches"]] == ["Heron", "Wren"]
    first = found["rows"][0]
    assert (first["verdict"], first["blocked"], first["there"]) == ("blocked", "back", None)
    assert first["in_the_way"][0] == {
        "key": LOW.key,
        "standing": "too low",
        "clearance": {"metres": 3.6, "tenths_of_mm": 36000, "feet": "11'9\""},
    }
    quay = found["rows"][1]
    assert quay["there"]["duration_s"] + quay["back"]["duration_s"] == quay["duration_s"] == 900.0
    assert quay["extra_s"] == 300.0
    assert quay["tallest"] == {"way": True, "clearance": None}
    passed = {s["key"]: s["passed_by"] for s in found["structures"]}
    assert passed[UNKNOWN.key] == [1]
    assert set(passed) == {s.key for s in SCREENING.structures}
    assert [sums["blocked"] for sums in found["totals"]] == [1, 0]


def test_sums_are_those_of_the_rows() -> None:
    heron, wren = totals(SCREENING)
    assert (heron.clear, heron.care, heron.blocked, heron.problems) == (1, 1, 1, 2)
    assert (wren.clear, wren.rows, wren.problems) == (3, 3, 1)
    assert heron.duration_s == 400 + 500 + 330 + 360
    # A row where a car has no drive adds nothing to the extra.
    assert heron.extra_s == 300.0
    assert (heron.unverified, heron.not_through) == (1, 1)


def test_coaches_of_one_name_are_told_apart() -> None:
    assert coach_names(SCREENING) == ("Heron", "Wren")
    same = replace(SCREENING, coaches=(HERON, replace(WREN, name="Heron")))
    assert coach_names(same) == ("Heron (1)", "Heron (2)")


def test_orders_of_rows() -> None:
    def names(by: SortBy) -> list[str]:
        return [r.place.name for r in sorted_rows(SCREENING.rows, by) if r.coach == 0]

    assert names(SortBy.VERDICT) == [p.name for p in (CAMP, QUAY, MILL)]
    assert names(SortBy.TIME) == [p.name for p in (QUAY, MILL, CAMP)]
    assert names(SortBy.LIST) == [p.name for p in (QUAY, MILL, CAMP)]
    assert names(SortBy.NAME) == [p.name for p in (MILL, CAMP, QUAY)]
    assert names(SortBy.EXTRA)[0] == QUAY.name


@pytest.mark.parametrize(
    ("admitted", "said"),
    [
        (Admitted(way=False), "no way"),
        (Admitted(way=True), "no known limit"),
        (Admitted(way=True, clearance=Length.from_metres("4.1")), "12'11\""),
        (Admitted(way=True, clearance=Length.from_feet(0, 6)), "none"),
    ],
)
def test_the_tallest_coach_is_rounded_down(admitted: Admitted, said: str) -> None:
    assert tallest_text(admitted, Length.from_feet(0, 6)) == said


def test_spans_of_time() -> None:
    assert [clock_span(s) for s in (0, 29, 30, 3_570, 3_599, 36_000)] == [
        "0:00", "0:00", "0:01", "1:00", "1:00", "10:00",
    ]  # fmt: skip


def test_one_thing_that_blocks_most_is_told_and_home_is_doubted() -> None:
    blocked = ROWS[0]
    rows = (*(replace(blocked, number=n) for n in range(1, 6)), replace(ROWS[2], number=6))
    hemmed_in = replace(SCREENING, rows=rows)
    told = common_bar_text(hemmed_in, 0)
    assert told == (
        "5 of 6 destinations are blocked by one thing: railway bridge (Coast Line), 11'9\". "
        "Is home the place where the coach stands?"
    )
    assert "Is home the place where the coach stands?" in " ".join(screen_text(hemmed_in).split())
    # Half of them, two of them, or none: nothing to say of home.
    for few, coach in (((*rows[:3], *[ROWS[2]] * 3), 0), (rows[:2], 0), (rows, 1)):
        assert not common_bar_text(replace(SCREENING, rows=few), coach)
