"""Lists of places: every usable entry is read, every other one is told with its line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from clearance.core.errors import ClearanceError, InputError
from clearance.core.places import Place, StopList, StopRequest
from clearance.sources import place_list
from clearance.sources.place_list import read_stops

GPX = '<?xml version="1.0"?>\n<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">\n'


def _read(tmp_path: Path, text: str | bytes, name: str = "stops.csv") -> StopList:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_stops(path)


def _point(lon: float, lat: float, name: str = "") -> Place:
    return Place(lon=lon, lat=lat, name=name)


def test_a_table_of_places_and_points(tmp_path: Path) -> None:
    found = _read(
        tmp_path,
        "name,lat,lon,place,minutes\n"
        "Mill,45.1234,-40.5678,,20\n"
        ",45.1,-40.2,,\n"
        "\n"
        '"Old, quay",,,Harbour Street,7.5 min\n',
    )
    assert found.stops == (
        StopRequest(place=_point(-40.5678, 45.1234, "Mill"), minutes=20.0, where="line 2"),
        StopRequest(place=_point(-40.2, 45.1), where="line 3"),
        StopRequest(place="Harbour Street", minutes=7.5, where="line 5"),
    )
    assert not found.problems
    assert len(found.notes) == 1
    assert "line 3" in found.notes[0]


@pytest.mark.parametrize(
    "text",
    [
        "lat;lon;title\n45,5001;-40,5001;Quay\n",
        "Latitude\tLongitude\tStop\r\n45.5001\t-40.5001\tQuay\r\n",
        "\ufeffLNG|LAT|Name|other\n-40.5001|45.5001|Quay|x\n",
        '"lon","lat","name"\n"-40.5001","45.5001","Quay"\n',
        "\n\nname,y,x\nQuay,45.5001,\u221240.5001\n",
    ],
)
def test_separators_and_names_of_columns_are_found_out(tmp_path: Path, text: str) -> None:
    assert _read(tmp_path, text).stops[0].place == _point(-40.5001, 45.5001, "Quay")


def test_utf16_with_its_mark_is_read(tmp_path: Path) -> None:
    assert _read(tmp_path, "place\nMühle\n".encode("utf-16")).stops[0].place == "Mühle"


def test_a_list_of_names_alone_is_a_list_of_places(tmp_path: Path) -> None:
    assert [s.place for s in _read(tmp_path, "name\nMill Lane\nQuay\n").stops] == ["Mill Lane", "Quay"]


def test_each_bad_row_is_told_with_its_line_and_the_others_are_kept(tmp_path: Path) -> None:
    found = _read(
        tmp_path,
        "name,lat,lon,minutes\n"
        "good,45.1234,-40.1234,\n"
        '"two\nlines",45.1234,-40.1234,\n'
        "swapped,-140.1234,45.1234,\n"
        "range,45.1,-200,\n"
        "grid,5432100,432100,\n"
        "degrees,45°12',-40,\n"
        "half,45.1234,,\n"
        "none,,,\n"
        "nan,nan,-40.1,\n"
        "long,45.1234,-40.1234,ages\n"
        "week,45.1234,-40.1234,99999\n"
        "minus,45.1234,-40.1234,-5\n"
        "cells,45,1234,-40,1234,\n"
        "last,45.1234,-40.1234,\n",
    )
    assert [s.where for s in found.stops] == ["line 2", "line 3", "line 16"]
    for number, words in {
        5: "swapped",
        6: "longitude -200 is outside",
        7: "degrees (WGS84)",
        8: "is no number",
        9: "longitude is empty",
        10: "neither lat and lon nor a place",
        11: "is no number",
        12: "minutes 'ages'",
        13: "more than a week",
        14: "minutes '-5'",
        15: "decimal comma",
    }.items():
        assert any(p.startswith(f"line {number}: ") and words in p for p in found.problems), number
    assert len(found.problems) == 11


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("\n \n", "blank lines"),
        ("45.1,-40.2\n45.2,-40.3\n", "must name the columns"),
        ("lat,lon\n", "holds no places"),
        ("lat,latitude,lon\n1,2,3\n", "two columns stand for lat"),
        (b"name,lat,lon\nM\xfchle,45.1,-40.2\n", "UTF-8"),
        ('place\n"Mill\n', "line 2.*quotes"),
        ("x" * 20_000, "must name the columns"),
        ("place\n" + "x" * 200_000, "cannot be told apart"),
        ("name,lat\nQuay,45.5\n", "names a column for lat but none for lon"),
        ("name,longitude,place\nQuay,-40.5,Mill\n", "names a column for lon but none for lat"),
    ],
)
def test_tables_that_cannot_be_read_are_refused(tmp_path: Path, text: str | bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        _read(tmp_path, text)


def test_waypoints_and_routes_of_gpx(tmp_path: Path) -> None:
    points = '<wpt lat="45.1" lon="-40.2"><name> Old\n quay </name></wpt>\n<wpt lat="45.3" lon="-40.4"/>\n'
    found = _read(tmp_path, f"{GPX}{points}</gpx>", "stops.gpx")
    assert found.stops == (
        StopRequest(place=_point(-40.2, 45.1, "Old quay"), where="line 3"),
        StopRequest(place=_point(-40.4, 45.3), where="line 5"),
    )
    route = '<rte><name>r</name><rtept lat="45.5" lon="-40.6"><name>Mill</name></rtept></rte>'
    found = _read(tmp_path, f"{GPX}{points}{route}</gpx>", "stops.gpx")
    assert [s.place for s in found.stops] == [_point(-40.6, 45.5, "Mill")]
    assert "2 waypoints" in found.notes[0]


def test_a_track_is_no_list_of_stops(tmp_path: Path) -> None:
    track = '<trk><trkseg><trkpt lat="45.5" lon="-40.6"/></trkseg></trk>'
    with pytest.raises(InputError, match="a track of 1 points"):
        _read(tmp_path, f"{GPX}{track}</gpx>", "stops.gpx")
    with pytest.raises(InputError, match="no places"):
        _read(tmp_path, f"{GPX}</gpx>", "stops.gpx")


def test_points_of_geojson(tmp_path: Path) -> None:
    content = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"Name": "Quay", "minutes": 12, "other": None},
                "geometry": {"type": "Point", "coordinates": [-40.5, 45.5, 3.0]},
            },
            {
                "type": "Feature",
                "properties": None,
                "geometry": {"type": "MultiPoint", "coordinates": [[1, 2], [3, 4]]},
            },
            {
                "type": "Feature",
                "properties": {},
                "geometry": {"type": "LineString", "coordinates": [[1, 2], [3, 4]]},
            },
            {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [10, 120]}},
            {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [True, "x"]}},
            {
                "type": "Feature",
                "properties": {"minutes": "soon"},
                "geometry": {"type": "Point", "coordinates": [1, 2]},
            },
        ],
    }
    found = _read(tmp_path, json.dumps(content), "stops.geojson")
    assert found.stops == (
        StopRequest(place=_point(-40.5, 45.5, "Quay"), minutes=12.0, where="feature 1"),
        StopRequest(place=_point(1.0, 2.0), where="feature 2"),
        StopRequest(place=_point(3.0, 4.0), where="feature 2"),
    )
    assert [p.split(":")[0] for p in found.problems] == ["feature 3", "feature 4", "feature 5", "feature 6"]
    assert "swapped" in found.problems[1]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "line 1, column 2"),
        ("[" * 200_000, "nested too deeply"),
        ('{"type": "Point", "coordinates": [NaN, 1]}', "NaN"),
        ('{"type": "Point", "coordinates": [' + "9" * 5000 + ", 1]}", "number"),
        ('{"type": ["x"]}', "no GeoJSON feature"),
        ('{"type": "Feature", "geometry": {"type": {}}}', "no GeoJSON geometry"),
        ('{"type": "FeatureCollection", "features": 3}', "no list of features"),
        ('{"type": "FeatureCollection", "features": []}', "no places"),
        (
            '{"type": "Point", "crs": {"properties": {"name": "EPSG:3857"}}, "coordinates": [1, 2]}',
            "reference system",
        ),
    ],
)
def test_geojson_that_cannot_be_read_is_refused(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        _read(tmp_path, text, "stops.geojson")


def test_an_unknown_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="none of"):
        _read(tmp_path, "x", "stops.xyz")


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857"])
def test_points_of_a_geopackage_in_any_reference_system(tmp_path: Path, crs: str) -> None:
    geopandas = pytest.importorskip("geopandas")
    from shapely.geometry import Point

    path = tmp_path / "stops.gpkg"
    frame = geopandas.GeoDataFrame(
        {"Name": ["Quay", None], "Minutes": [15.0, float("nan")]},
        geometry=[Point(-40.5, 45.5), Point(-40.25, 45.25)],
        crs="EPSG:4326",
    )
    frame.to_crs(crs).to_file(path, layer="stops")
    found = read_stops(path)
    assert [(s.label, s.minutes, s.where) for s in found.stops] == [
        ("Quay", 15.0, "row 1"),
        ("row 2", 0.0, "row 2"),
    ]
    for stop, (lon, lat) in zip(found.stops, [(-40.5, 45.5), (-40.25, 45.25)], strict=True):
        assert isinstance(stop.place, Place)
        assert (stop.place.lon, stop.place.lat) == pytest.approx((lon, lat), abs=1e-9)
    path.write_bytes(path.read_bytes()[:5000])
    with pytest.raises(InputError, match="GeoPackage"):
        read_stops(path)


def test_a_thousand_destinations_are_read(tmp_path: Path) -> None:
    rows = "".join(f"p{i},{45 + i / 10_000:.4f},-40.1234\n" for i in range(1000))
    found = _read(tmp_path, f"name,lat,lon\n{rows}")
    assert len(found.stops) == 1000
    assert not found.problems


CSV = "name;lat;lon;place;minutes\nMill;45,1234;-40,5;;20\n;;;Quay;\n"
JSON = (
    '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "a", "minutes":'
    ' 3}, "geometry": {"type": "Point", "coordinates": [-40.5, 45.5]}}]}'
)
XML = f'{GPX}<wpt lat="45.1" lon="-40.2"><time>2026-01-01T00:00:00Z</time><name>a</name></wpt></gpx>'


def _mutated(text: str) -> st.SearchStrategy[bytes]:
    return st.tuples(st.integers(0, len(text)), st.integers(0, 15), st.text(max_size=8)).map(
        lambda cut: (text[: cut[0]] + cut[2] + text[cut[0] + cut[1] :]).encode("utf-8", "surrogatepass")
    )


@pytest.mark.parametrize(("name", "seed"), [("s.csv", CSV), ("s.geojson", JSON), ("s.gpx", XML)])
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_no_content_raises_anything_but_our_own_error(
    tmp_path: Path, name: str, seed: str, data: st.DataObject
) -> None:
    content = data.draw(st.binary(max_size=200) | _mutated(seed))
    try:
        found = _read(tmp_path, content, name)
    except ClearanceError:
        return
    for stop in found.stops:
        if isinstance(stop.place, Place):
            assert -180 <= stop.place.lon <= 180
            assert -90 <= stop.place.lat <= 90
        assert 0 <= stop.minutes <= 10_080


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.sampled_from(["Point", "Feature", "x"]),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(
                st.sampled_from(["type", "features", "geometry", "properties", "coordinates", "crs"]), inner
            )
        ),
        max_leaves=12,
    )
)
@example({"type": "Feature", "geometry": {"type": "GeometryCollection", "geometries": [None]}})
def test_no_json_raises_anything_but_our_own_error(tmp_path: Path, content: object) -> None:
    try:
        _read(tmp_path, json.dumps(content), "s.json")
    except ClearanceError:
        return


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '{"type": "Point", "coordinates": [1, 2], "coordinates": [3, 4]}',
            "the name 'coordinates' stands twice",
        ),
        (
            '{"type": "Feature", "geometry": {"type": "Point", "type": "Point"}}',
            "the name 'type' stands twice",
        ),
    ],
)
def test_a_name_that_stands_twice_in_an_object_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        _read(tmp_path, text, "a.geojson")


def test_two_properties_of_one_name_must_agree(tmp_path: Path) -> None:
    def read(minutes: int) -> StopList:
        told = {"minutes": 5, "Minutes": minutes, "name": "Mill"}
        point = {"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2]}, "properties": told}
        return _read(tmp_path, json.dumps(point), "a.geojson")

    assert [stop.minutes for stop in read(5).stops] == [5]
    assert read(50).problems == (
        "feature 1: the property minutes stands there twice and differs; keep one of them",
    )


def test_rows_that_cannot_be_used_do_not_fill_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(place_list, "MOST_STOPS", 20)
    assert len(_read(tmp_path, "lat,lon\n" + "x,y\n" * 20).problems) == 20
    with pytest.raises(InputError, match=r"more than 20 entries cannot be used.*line 2: longitude 'y'"):
        _read(tmp_path, "lat,lon\n" + "x,y\n" * 21)
