"""Trade-offs as a table, lines on a map and a page."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from clearance.core.tradeoff import TradeOff, TradeOffs
from clearance.outputs.measures import Units
from clearance.outputs.tradeoffs import (
    TRADE_OFF_COLUMNS,
    trade_offs_csv,
    trade_offs_geojson,
    trade_offs_json,
    trade_offs_page,
    trade_offs_text,
)
from tests.outputs.samples import care_drive


@pytest.fixture
def found() -> TradeOffs:
    """Three choices: 55 min past none, 41 min past two, and one that saves 20 s more past three."""
    base = care_drive()
    choices = [(0, 3300.0), (2, 2460.0), (3, 2440.0)]
    return TradeOffs(
        places=base.places,
        coach=base.coach,
        info=base.info,
        choices=tuple(
            TradeOff(unverified=count, drive=replace(base, duration_s=seconds)) for count, seconds in choices
        ),
        notes=("a note with\x1b[2J",),
    )


def test_the_table_tells_time_against_count(found: TradeOffs) -> None:
    text = trade_offs_text(found)
    assert "\n2 unverified: 41 min; 0 unverified: 55 min.\n" in text
    assert re.search(r"^ +0  55 min .*#{24}$", text, re.MULTILINE)
    assert re.search(r"^ +2  41 min .*[^#]#{18}$", text, re.MULTILINE)
    assert max(map(len, text.splitlines())) <= 80
    assert text.endswith("\n")
    assert "\x1b" not in text


def test_a_choice_that_saves_less_than_a_minute_is_left_to_the_files(found: TradeOffs) -> None:
    text = trade_offs_text(found)
    assert not re.search(r"^ +3  ", text, re.MULTILINE)
    assert "1 more saves less than a minute" in text
    assert len(list(csv.DictReader(io.StringIO(trade_offs_csv(found))))) == 3


def test_the_table_of_a_single_choice(found: TradeOffs) -> None:
    alone = replace(found, choices=found.choices[:1])
    assert "one drive is quickest and has the fewest" in " ".join(trade_offs_text(alone).split())


def test_csv_has_a_line_for_each(found: TradeOffs) -> None:
    rows = list(csv.DictReader(io.StringIO(trade_offs_csv(found))))
    assert tuple(rows[0]) == TRADE_OFF_COLUMNS
    assert [(r["not_verified"], r["time"], r["minutes"]) for r in rows] == [
        ("0", "55 min", "55.0"),
        ("2", "41 min", "41.0"),
        ("3", "41 min", "40.7"),
    ]


def test_geojson_has_the_line_of_each_choice(found: TradeOffs) -> None:
    collection = trade_offs_geojson(found)
    lines = [f for f in collection["features"] if f["properties"]["role"] == "drive"]
    assert [(f["properties"]["choice"], f["properties"]["unverified"]) for f in lines] == [
        (1, 0),
        (2, 2),
        (3, 3),
    ]
    ids = [f["id"] for f in collection["features"]]
    assert len(set(ids)) == len(ids)
    assert [f["properties"]["role"] for f in collection["features"]].count("start") == 1
    assert collection["choices"][1] == {
        "unverified": 2,
        "duration_s": 2460.0,
        "distance_m": round(found.choices[1].drive.distance_m, 1),
        "verdict": found.choices[1].drive.verdict.value,
    }
    assert collection["attribution"] == found.info.attribution


def test_json_holds_whole_drives(found: TradeOffs) -> None:
    told = trade_offs_json(found)
    assert (told["format"], told["format_version"]) == ("clearance trade-offs", 1)
    assert told["line"] == "2 unverified: 41 min; 0 unverified: 55 min"
    assert [c["drive"]["duration_s"] for c in told["choices"]] == [3300.0, 2460.0, 2440.0]


class _Page(HTMLParser):
    """Tags that would load something, and widths of bars."""

    def __init__(self) -> None:
        super().__init__()
        self.loading: list[str] = []
        self.bars: list[float] = []
        self.policy: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag in {"script", "img", "iframe", "object"} or told.get("src"):
            self.loading.append(tag)
        if (told.get("href") or "data:").split(":")[0] not in {"data"}:
            self.loading.append(tag)
        if told.get("http-equiv") == "Content-Security-Policy":
            self.policy = (told["content"] or "").split("; ")
        if tag == "rect":
            self.bars.append(float((told["width"] or "").removesuffix("%")))


@pytest.mark.parametrize("units", list(Units))
def test_the_page_holds_all_and_loads_nothing(found: TradeOffs, units: Units) -> None:
    text = trade_offs_page(found, units)
    page = _Page()
    page.feed(text)
    assert page.loading == []
    assert {"default-src 'none'", "script-src 'none'"} <= set(page.policy)
    first, second = page.bars
    assert first == 100
    assert second / first == pytest.approx(41 / 55, abs=0.002)
    assert "<span>2 unverified: 41 min;</span> <span>0 unverified: 55 min</span>" in text
    assert "1 more saves less than a minute beside one of these; the table holds all." in text
    assert text.count('<th scope="row"') == 3
    assert (" mi</td>" in text) == (units is not Units.METRES)


def test_texts_of_the_map_are_no_markup(found: TradeOffs) -> None:
    place = replace(found.places[0], name="<script>alert(1)</script>")
    text = trade_offs_page(replace(found, places=(place, found.places[1])))
    assert "<script>" not in text
    assert "&lt;script&gt;" in text
