"""Places as users write them."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from clearance.core.errors import AmbiguousPlaceError, ClearanceError, PlaceError
from clearance.core.place_text import find_place, folded, lat_lon_text, parse_lat_lon
from clearance.core.places import Place

PLACES = (
    Place(lon=-40.0, lat=45.0, name="Mill Lane", kind="street", osm="way/1"),
    Place(lon=-40.1, lat=45.1, name="Mill Lane", kind="street", osm="way/2"),
    Place(lon=-40.0, lat=45.2, name="Café Été", kind="cafe", osm="node/3"),
    Place(lon=-40.2, lat=45.2, name="St. Orla's Ferry", kind="village", osm="node/4"),
    Place(lon=-40.3, lat=45.2, name="Quarry Road", kind="street", osm="way/5"),
    Place(lon=-40.4, lat=45.2, name="Quarry Road North", kind="street", osm="way/6"),
    Place(lon=-40.5, lat=45.2, name="Old Quarry Bend", kind="street", osm="way/7"),
    Place(lon=-40.6, lat=45.3, name="Twin Pumps", kind="fuel", osm="node/8"),
    Place(lon=-40.6, lat=45.3005, name="Twin Pumps", kind="fuel", osm="way/9"),
    Place(lon=-40.7, lat=45.3, name="", kind="parking", osm="way/10"),
    Place(lon=-40.8, lat=45.3, name="R 12", kind="road", osm="way/11"),
)


@given(
    lat=st.floats(-90, 90).map(lambda v: round(v, 7)),
    lon=st.floats(-180, 180).map(lambda v: round(v, 7)),
    between=st.sampled_from([",", " ", ", ", ";", "  ,  ", "\t"]),
)
def test_a_printed_point_is_read_back(lat: float, lon: float, between: str) -> None:
    place = parse_lat_lon(f" {lat:.7f}{between}{lon:+.7f} ")
    assert place is not None
    assert (place.lat, place.lon) == (lat, lon)
    assert parse_lat_lon(lat_lon_text(place)) == place


@given(st.text(max_size=40) | st.text("0123456789.,+- °'NSEW", max_size=20))
def test_any_text_is_a_point_in_range_or_no_point_or_a_place_error(text: str) -> None:
    try:
        place = parse_lat_lon(text)
    except PlaceError as error:
        assert text.strip() in str(error) or repr(text) in str(error)  # noqa: PT017
        return
    if place is not None:
        assert -90 <= place.lat <= 90
        assert -180 <= place.lon <= 180


@given(st.text(max_size=30))
def test_any_text_finds_a_place_or_raises_on_purpose(text: str) -> None:
    try:
        place = find_place(text, PLACES)
    except ClearanceError as error:
        assert isinstance(error, PlaceError)  # noqa: PT017
        return
    assert place in PLACES or place.kind == "point"


@pytest.mark.parametrize("text", ["45.5,-40.25", "45.5 -40.25", "+45.50 , -40.25", "45.5;−40.25"])
def test_forms_of_a_pair(text: str) -> None:
    assert parse_lat_lon(text) == Place(lon=-40.25, lat=45.5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("120.5,45", "look swapped, latitude comes first: 45,120.5"),
        ("-120.5 45", "look swapped"),
        ("95,200", "latitude 95 is outside -90 to 90 and longitude 200"),
        ("45,-181", "longitude -181 is outside"),
        ("45°30', -40°", "degree signs"),
        ("45° N", "degree signs"),
        ("45,5 -40,25", "cannot be read as coordinates"),
        ("45.1 N 40.2 W", "cannot be read as coordinates"),
        ("45.1.2,3", "cannot be read as coordinates"),
        ("", "names nothing"),
        (" . ", "names nothing"),
        ("Nowhere Street", "not in the map data"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_a_hint(text: str, says: str) -> None:
    with pytest.raises(PlaceError, match=says):
        find_place(text, PLACES)


@pytest.mark.parametrize(
    ("text", "osm"),
    [
        ("cafe ete", "node/3"),
        ("CAFÉ  ÉTÉ", "node/3"),
        ("st orlas ferry", "node/4"),
        ("St. Orla", "node/4"),
        ("Quarry Road", "way/5"),
        ("quarry road n", "way/6"),
        ("ry bend", "way/7"),
        ("R12", "way/11"),
        ("twin pumps", "node/8"),
    ],
)
def test_names_are_found_whatever_case_accents_and_stops(text: str, osm: str) -> None:
    assert find_place(text, PLACES).osm == osm


def test_an_ambiguous_name_lists_coordinates_that_can_be_used() -> None:
    with pytest.raises(AmbiguousPlaceError) as caught:
        find_place("mill lane", PLACES)
    lines = str(caught.value).splitlines()
    assert len(lines) == 3
    for line, place in zip(lines[1:], PLACES[:2], strict=True):
        pasted = line.split("  ")[1]
        assert find_place(pasted, ()) == Place(lon=place.lon, lat=place.lat)
        assert "Mill Lane (street)" in line


def test_no_more_than_ten_are_listed() -> None:
    many = [Place(lon=-40 + i / 10, lat=45, name="Elm Row", kind="street") for i in range(14)]
    with pytest.raises(AmbiguousPlaceError, match="and 4 more") as caught:
        find_place("Elm Row", many)
    assert len(str(caught.value).splitlines()) == 12


def test_close_names_are_proposed() -> None:
    with pytest.raises(PlaceError, match="close names: Quarry Road"):
        find_place("Quary Raod", PLACES)


@example("\N{MATHEMATICAL MONOSPACE CAPITAL A}")
@given(st.text(max_size=30))
def test_folding_twice_is_folding_once(name: str) -> None:
    assert folded(folded(name)) == folded(name)


@pytest.mark.parametrize("text", ["90,180", "-90,-180", "90 -180", "0,0"])
def test_the_bounds_themselves_are_places(text: str) -> None:
    place = parse_lat_lon(text)
    assert place is not None
    assert abs(place.lat) <= 90
    assert abs(place.lon) <= 180


@pytest.mark.parametrize(
    ("text", "says", "not_said"),
    [
        ("90,181", "longitude 181 is outside -180 to 180", "latitude 90"),
        ("90.5,181", "latitude 90.5 is outside -90 to 90 and longitude 181", "swapped"),
        ("91,180.5", "latitude 91 is outside", "swapped"),
        ("91,90", "look swapped", "longitude 90 is"),
        ("180,90", "look swapped", "longitude"),
        ("180.5,90", "latitude 180.5 is outside", "swapped"),
    ],
)
def test_what_is_told_just_outside_the_bounds(text: str, says: str, not_said: str) -> None:
    with pytest.raises(PlaceError) as caught:
        parse_lat_lon(text)
    assert says in str(caught.value)
    assert not_said not in str(caught.value).replace("latitude comes first", "")


def test_letters_that_unicode_keeps_whole_fold_to_plain_ones() -> None:
    assert folded("Ørsted Łąka Đorđe Þingvellir Æble Œuvre Kırık Guðrún") == (
        "orsted laka dorde thingvellir aeble oeuvre kirik gudrun"
    )


def test_places_of_one_name_that_stand_apart_are_several() -> None:
    def twins(metres: float, kind: str = "fuel") -> list[Place]:
        here = Place(lon=-40.6, lat=45.3, name="Twin Pumps", kind="fuel")
        return [here, Place(lon=-40.6, lat=45.3 + metres / 111_200, name="Twin Pumps", kind=kind)]

    assert find_place("twin pumps", twins(149)) == twins(149)[0]
    east = [twins(0)[0], Place(lon=-40.6 + 149 / 78_300, lat=45.3, name="Twin Pumps", kind="fuel")]
    assert find_place("twin pumps", east) == east[0]
    far = [twins(0)[0], Place(lon=-40.6 + 152 / 78_300, lat=45.3, name="Twin Pumps", kind="fuel")]
    for places in (twins(151), twins(10, "cafe"), far):
        with pytest.raises(AmbiguousPlaceError):
            find_place("twin pumps", places)


def test_two_letters_are_the_beginning_of_a_name_and_no_part_of_one() -> None:
    assert find_place("tw", PLACES).name == "Twin Pumps"
    with pytest.raises(PlaceError, match="not in the map data"):
        find_place("mp", PLACES)
    assert find_place("umps", PLACES).name == "Twin Pumps"
    assert find_place("ump", PLACES).name == "Twin Pumps"


def test_ten_places_are_listed_and_no_more_is_said() -> None:
    many = [Place(lon=-40 + i / 10, lat=45, name="Elm Row", kind="street") for i in range(10)]
    with pytest.raises(AmbiguousPlaceError) as caught:
        find_place("Elm Row", many)
    assert "more" not in str(caught.value)
    assert len(str(caught.value).splitlines()) == 11
