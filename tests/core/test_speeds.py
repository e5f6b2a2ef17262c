"""Speeds from maxspeed texts or from the kind of road."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.access import is_road
from clearance.core.speeds import DEFAULT_SPEEDS, road_speeds


def speed(maxspeed: str, highway: str = "residential") -> float:
    forward, backward = road_speeds({"highway": highway, "maxspeed": maxspeed})
    assert forward == backward
    return forward


# The forms of the OSM wiki, Key:maxspeed. One mile is 1.609344 km exactly (agreement of 1959; NIST
# Handbook 44, appendix C; from memory).
@pytest.mark.parametrize(
    ("text", "kmh"),
    [
        ("50", 50),
        ("50 km/h", 50),
        ("30 mph", 48.28032),
        ("65mph", 104.60736),
        ("walk", 7),
        ("none", 130),
        ("DE:urban", 50),
        ("GB:nsl_single", 96.56064),
        ("GB:nsl_dual", 112.65408),
        ("DE:zone30", 30),
        ("FR:zone:20", 20),
        ("50;30", 30),
        ("50|70", 50),
        (" 80 ", 80),
    ],
)
def test_speeds_that_are_told(text: str, kmh: float) -> None:
    assert speed(text) == pytest.approx(kmh, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "signals",
        "variable",
        "10 knots",
        "fast",
        "0",
        "-50",
        "999",
        "1",
        "5 mph;",
        "50 @ wet",
        "XX:what",
        "٥٠",
        "zone:٥٠",
        "DE:zone:٥٠",
        "ДЕ:urban",
    ],
)
def test_what_cannot_be_read_gives_the_speed_of_the_kind_of_road(text: str) -> None:
    expected = 5 * 1.609344 if text.startswith("5 mph") else DEFAULT_SPEEDS["residential"]
    assert speed(text) == pytest.approx(expected)


def test_directions_have_their_own_speeds() -> None:
    tags = {"highway": "primary", "maxspeed": "60", "maxspeed:forward": "80", "maxspeed:backward": "signals"}
    assert road_speeds(tags) == (80, 60)
    assert road_speeds({"highway": "primary", "maxspeed:backward": "30 mph"})[1] == pytest.approx(48.28032)


def test_the_zone_tells_where_maxspeed_does_not() -> None:
    assert road_speeds({"highway": "primary", "maxspeed:type": "LI:urban"}) == (50, 50)
    assert road_speeds({"highway": "primary", "maxspeed:type": "sign"}) == (DEFAULT_SPEEDS["primary"],) * 2
    assert road_speeds({"highway": "primary", "maxspeed:type": "LI:urban", "maxspeed": "60"}) == (60, 60)


def test_a_cap_holds_for_whatever_is_told() -> None:
    assert road_speeds({"highway": "motorway", "maxspeed": "none"}, cap=100) == (100, 100)
    assert road_speeds({"highway": "motorway"}, cap=90) == (90, 90)
    assert road_speeds({"highway": "service"}, cap=90) == (DEFAULT_SPEEDS["service"],) * 2


def test_every_kind_of_road_has_a_speed_and_greater_roads_are_not_slower() -> None:
    for highway in (
        "motorway",
        "trunk",
        "primary",
        "secondary",
        "tertiary",
        "unclassified",
        "residential",
        "service",
    ):
        assert is_road({"highway": highway})
    order = [
        "motorway",
        "trunk",
        "primary",
        "secondary",
        "tertiary",
        "unclassified",
        "residential",
        "service",
    ]
    speeds = [road_speeds({"highway": highway})[0] for highway in order]
    assert speeds == sorted(speeds, reverse=True)
    assert road_speeds({"highway": "service", "service": "parking_aisle"})[0] < DEFAULT_SPEEDS["service"]


@given(
    st.dictionaries(
        st.sampled_from(
            ["maxspeed", "maxspeed:forward", "maxspeed:backward", "maxspeed:type", "highway", "service"]
        ),
        st.one_of(st.text(max_size=12), st.text(alphabet="0123456789. mphk;", max_size=8)),
    ),
    st.floats(10, 200),
)
def test_any_tags_give_speeds_between_walking_and_the_cap(tags: dict[str, str], cap: float) -> None:
    for kmh in road_speeds(tags, cap=cap):
        assert 3 <= kmh <= cap
        assert isinstance(kmh, float)


@pytest.mark.parametrize("text", ["zone:٣٠", "٣٠", "ßa:urban", "de:urbañ"])
def test_digits_and_letters_of_other_scripts_are_not_read(text: str) -> None:
    assert road_speeds({"highway": "residential", "maxspeed": text}) == (30, 30)


@pytest.mark.parametrize("text", ["Zone:30", "DE:ZONE30", "de:zone:30", "30 KMH", "30 Km/h", " 30 KPH "])
def test_capitals_do_not_matter(text: str) -> None:
    assert road_speeds({"highway": "primary", "maxspeed": text}) == (30, 30)
