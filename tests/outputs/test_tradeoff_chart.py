"""The chart of ways to choose from: whole XML, bars as long as the times, words for who cannot see it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.tradeoff import TradeOff
from clearance.outputs.tradeoff_chart import trade_offs_line, way_chart, way_chart_rows, worth_showing
from tests.outputs.samples import care_drive

BASE = care_drive()


def choices(*counts_and_minutes: tuple[int, float]) -> list[TradeOff]:
    return [
        TradeOff(unverified=count, drive=replace(BASE, duration_s=60 * minutes))
        for count, minutes in counts_and_minutes
    ]


def test_the_line_has_the_quickest_first() -> None:
    assert trade_offs_line(choices((0, 55), (2, 41))) == "2 unverified: 41 min; 0 unverified: 55 min"
    assert trade_offs_line(choices((1, 61))) == "1 unverified: 1 h 01 min"
    assert trade_offs_line([]) == ""


def test_the_chart_is_whole_xml_with_a_bar_for_each_way() -> None:
    svg = ElementTree.fromstring(str(way_chart(choices((0, 55), (1, 50), (2, 41)))))
    bars = list(svg.iter("rect"))
    texts = ["".join(text.itertext()) for text in svg.iter("text")]
    assert texts == [
        "nothing unverified: 55 min",
        "1 unverified structure: 50 min",
        "2 unverified structures: 41 min",
    ]
    assert svg.attrib["aria-label"] == "; ".join(texts)
    assert svg.attrib["role"] == "img"
    assert [bar.attrib["class"] for bar in bars] == ["none", "some", "some"]
    widths = [float(bar.attrib["width"].removesuffix("%")) for bar in bars]
    assert widths == pytest.approx([100, 100 * 50 / 55, 100 * 41 / 55], abs=0.01)
    assert int(svg.attrib["height"]) == 3 * 52


def test_no_time_at_all_draws_no_bar() -> None:
    assert [row["share"] for row in way_chart_rows(choices((0, 0)))] == [0]


@given(st.lists(st.integers(0, 300), min_size=1, max_size=8, unique=True))
def test_each_way_shown_saves_a_minute_and_none_left_out_does(tenths_of_minutes: list[int]) -> None:
    told = choices(*((n, m / 10) for n, m in enumerate(sorted(tenths_of_minutes, reverse=True))))
    shown = worth_showing(told)
    assert shown[0] is told[0]
    for before, after in pairwise(shown):
        assert after.drive.duration_s <= before.drive.duration_s - 60
    for choice in told:
        if choice not in shown:
            above = [s for s in shown if s.unverified < choice.unverified][-1]
            assert choice.drive.duration_s > above.drive.duration_s - 60
