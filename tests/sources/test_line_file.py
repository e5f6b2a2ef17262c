"""Lines made elsewhere: what is read, and what is refused before it can do harm."""

from __future__ import annotations

import json
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.errors import ClearanceError, InputError
from clearance.core.line import Line
from clearance.sources.line_file import read_line

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'


def _read(tmp_path: Path, text: str | bytes, name: str = "line.gpx") -> Line:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_line(path)


def _gpx(*points: tuple[object, object]) -> str:
    inner = "\n".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lon, lat in points)
    return f"{HEAD}<trk><trkseg>\n{inner}\n</trkseg></trk></gpx>"


def test_a_track_with_segments_and_times(tmp_path: Path) -> None:
    line = _read(
        tmp_path,
        f"{HEAD}<metadata><time>2020-01-01T00:00:00Z</time></metadata><wpt lat='1' lon='1'/>"
        "<trk><name>a</name><trkseg>"
        "<trkpt lat='45.1' lon='-40.1'><ele>3</ele><time>1970-01-01T00:00:05Z</time></trkpt>"
        "<trkpt lat='45.2' lon='-40.2'><time>1970-01-01T01:00:06+01:00</time>"
        "<extensions><z:trkpt xmlns:z='u' lat='0' lon='0'/><z:time xmlns:z='u'>1999</z:time></extensions>"
        "</trkpt>"
        "</trkseg><trkseg/><trkseg><trkpt lat='45.3' lon='-40.3'><time>late</time></trkpt></trkseg></trk>"
        "<trk><trkseg><trkpt lat='45.4' lon='-40.4'/></trkseg></trk></gpx>",
    )
    assert line.points.tolist() == [[-40.1, 45.1], [-40.2, 45.2], [-40.3, 45.3], [-40.4, 45.4]]
    assert list(line.spans()) == [(0, 2), (2, 3), (3, 4)]
    assert line.times is not None
    assert line.times[:2].tolist() == [5.0, 6.0]
    assert np.isnan(line.times[2:]).all()
    assert line.source == "line.gpx"
    assert line.notes == ("1 times cannot be read and are left out",)


def test_a_route_where_there_is_no_track_and_a_prefix_before_every_name(tmp_path: Path) -> None:
    route = "<g:rte><g:rtept lat='45.1' lon='-40.1'/><g:rtept lat='45.2' lon='-40.2'/></g:rte>"
    line = _read(tmp_path, f"<g:gpx xmlns:g='http://www.topografix.com/GPX/1/1'>{route}</g:gpx>")
    assert line.points.tolist() == [[-40.1, 45.1], [-40.2, 45.2]]
    assert line.times is None


def test_a_track_counts_before_a_route(tmp_path: Path) -> None:
    text = _gpx((1, 2), (3, 4)).replace("<trk>", "<rte><rtept lat='9' lon='9'/></rte><trk>")
    line = _read(tmp_path, text)
    assert line.points.tolist() == [[1, 2], [3, 4]]
    assert "a route of 1 points" in line.notes[0]


@pytest.mark.parametrize("encoding", ["utf-16", "iso-8859-1", "utf-8-sig"])
def test_declared_encodings_are_read(tmp_path: Path, encoding: str) -> None:
    text = (
        _gpx((1, 2), (3, 4))
        .replace("UTF-8", encoding.removesuffix("-sig"))
        .replace("<trk>", "<trk><name>ü</name>")
    )
    assert len(_read(tmp_path, text.encode(encoding)).points) == 2


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "lol">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 20}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    + "]><gpx><name>&i;</name></gpx>"
)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        (BOMB, "declares a document type"),
        ('<!DOCTYPE gpx SYSTEM "file:///etc/passwd"><gpx/>', "line 1: declares a document type"),
        ("<html><body/></html>", "a web page"),
        ("<kml/>", "KML"),
        ("plain text", "line 1: is not whole XML"),
        (f"{HEAD}<trk>", "line 2: is not whole XML"),
        (f"{HEAD}&nbsp;</gpx>", "line 2: is not whole XML"),
        (f"{HEAD}" + "<a>" * 1000, "nested 100 deep"),
        (f"{HEAD}</gpx>", "holds no points"),
        (f"{HEAD}<wpt lat='1' lon='2'/></gpx>", "1 waypoints but no track"),
        (_gpx((1, 2)), "a line needs two"),
        (_gpx((1, 2), ("nan", 4)), "line 4: <trkpt> longitude 'nan' is no number"),
        (_gpx((1, 2), ("inf", 4)), "is no number"),
        (_gpx((1, 2), ("1e99", 4)), "line 4: <trkpt> longitude 1e.99 is outside"),
        (_gpx((1, 2), (45.5, 139.5)), "look swapped"),
        (_gpx((1, 2), (200, 4)), "longitude 200 is outside"),
        (_gpx((1, 2), ("", 4)), "longitude is empty"),
        (_gpx((1, 2), (3, 4)).replace('lon="3"', ""), "has no lon"),
        (_gpx((1, 2)).replace("UTF-8", "klingon"), "unknown encoding|cannot be decoded"),
        (_gpx((1, 2)).encode().replace(b"\n", b"\n\xff\n"), "line 2: is not whole XML"),
    ],
)
def test_gpx_that_cannot_be_read_is_refused(tmp_path: Path, text: str | bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        _read(tmp_path, text)


def test_several_bad_points_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, _gpx((1, 2), ("x", 4), (3, 4), (5, 99), *[("y", 0)] * 50))
    assert "line 4" in str(caught.value)
    assert "line 6" in str(caught.value)
    assert len(str(caught.value)) < 1000


def test_a_file_of_fifty_megabytes_is_read(tmp_path: Path) -> None:
    inside = "<ele>431.2</ele><time>2026-07-04T08:30:00Z</time>"
    point = f'<trkpt lat="45.{{0:06d}}" lon="-40.{{0:06d}}">{inside}</trkpt>\n'
    path = tmp_path / "line.gpx"
    count = 0
    with path.open("w", encoding="utf-8") as file:
        file.write(f"{HEAD}<trk><trkseg>")
        while file.tell() < 50_000_000:
            file.write("".join(point.format(i % 1_000_000) for i in range(count, count + 10_000)))
            count += 10_000
        file.write("</trkseg></trk></gpx>")
    line = read_line(path)
    assert len(line.points) == count


def test_reading_needs_little_more_than_the_points(tmp_path: Path) -> None:
    path = tmp_path / "line.gpx"
    text = _gpx(*[(i / 1000, 45) for i in range(100_000)])
    path.write_text(text, encoding="utf-8")
    tracemalloc.start()
    try:
        read_line(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    # Three arrays of 0.8 MB grown by steps, the array of points, and chunks of one megabyte.
    assert peak < 12_000_000


def test_too_many_points_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("clearance.sources.line_file.MOST_POINTS", 10)
    many = [(i, 1) for i in range(11)]
    coordinates = [[lon, lat] for lon, lat in many]
    for name, text in {
        "l.gpx": _gpx(*many),
        "l.geojson": json.dumps({"type": "LineString", "coordinates": coordinates}),
        "l.csv": "lon,lat\n" + "".join(f"{lon},{lat}\n" for lon, lat in many),
    }.items():
        with pytest.raises(InputError, match="more than 10 points"):
            _read(tmp_path, text, name)


LINE = {"type": "LineString", "coordinates": [[-40.1, 45.1], [-40.2, 45.2, 3]]}
MULTI = {"type": "MultiLineString", "coordinates": [[[1, 2], [3, 4]], [[5, 6], [7, 8], [9, 9]]]}


@pytest.mark.parametrize(
    ("content", "spans"),
    [
        (LINE, [(0, 2)]),
        (MULTI, [(0, 2), (2, 5)]),
        ({"type": "Feature", "properties": {}, "geometry": LINE}, [(0, 2)]),
        ({"type": "GeometryCollection", "geometries": [LINE, MULTI]}, [(0, 2), (2, 4), (4, 7)]),
        (
            {
                "type": "FeatureCollection",
                "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}},
                "features": [
                    {"type": "Feature", "properties": None, "geometry": MULTI},
                    {"type": "Feature", "properties": {}, "geometry": None},
                    {
                        "type": "Feature",
                        "properties": {},
                        "geometry": {"type": "Point", "coordinates": [1, 2]},
                    },
                    {"type": "Feature", "properties": {}, "geometry": LINE},
                ],
            },
            [(0, 2), (2, 5), (5, 7)],
        ),
    ],
)
def test_lines_of_geojson(tmp_path: Path, content: object, spans: list[tuple[int, int]]) -> None:
    line = _read(tmp_path, json.dumps(content), "line.geojson")
    assert list(line.spans()) == spans
    assert line.points.dtype == np.float64
    assert line.points[spans[-1][0]].tolist() in ([-40.1, 45.1], [5.0, 6.0])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"type": "Point", "coordinates": [1, 2]}, "holds no line .Point"),
        ({"type": "LineString", "coordinates": [[1, 2]]}, "fewer than two"),
        ({"type": "LineString", "coordinates": 7}, "fewer than two"),
        ({"type": "LineString", "coordinates": [[1, 2], [45, 120]]}, "position 2: .*swapped"),
        ({"type": "LineString", "coordinates": [[1, 2], [4.5e6, 1.2e6]]}, "metres of a grid"),
        ({"type": "LineString", "coordinates": [[1, 2], [None, 2]]}, "is no position"),
        ({"type": "LineString", "coordinates": [[1, 2], [10**400, 2]]}, "larger than"),
    ],
)
def test_geojson_that_holds_no_good_line_is_refused(tmp_path: Path, content: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        _read(tmp_path, json.dumps(content), "line.geojson")


def test_a_table_of_points(tmp_path: Path) -> None:
    line = _read(
        tmp_path,
        "time;lat;lon;segment\n1970-01-01T00:00:05;45,1;-40,1;1\n;45,2;-40,2;1\nx;45,3;-40,3;2\n",
        "line.csv",
    )
    assert line.points.tolist() == [[-40.1, 45.1], [-40.2, 45.2], [-40.3, 45.3]]
    assert list(line.spans()) == [(0, 2), (2, 3)]
    assert line.times is not None
    assert line.times[0] == 5.0
    assert line.notes == ("1 times cannot be read and are left out",)


def test_bad_rows_of_a_table_are_told_with_their_lines(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "lat,lon\n45.1,-40.1\nx,-40\n45.2,-40.2,9\n45.3,-40.3\n", "line.csv")
    assert "line 3: latitude 'x'" in str(caught.value)
    assert "line 4: has 3 cells" in str(caught.value)


def test_an_unknown_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="none of"):
        _read(tmp_path, "x", "line.fit")


SEEDS = {
    "l.gpx": _gpx((1, 2), (3, 4)),
    "l.geojson": json.dumps({"type": "Feature", "properties": {}, "geometry": MULTI}),
    "l.csv": "time,lat,lon,part\n2026-01-01T00:00:00Z,45.1,-40.1,a\n,45.2,-40.2,b\n",
}


@pytest.mark.parametrize("name", SEEDS)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_no_content_raises_anything_but_our_own_error(tmp_path: Path, name: str, data: st.DataObject) -> None:
    seed = SEEDS[name]
    cuts = st.tuples(st.integers(0, len(seed)), st.integers(0, 15), st.text(max_size=8))
    mutated = cuts.map(lambda c: (seed[: c[0]] + c[2] + seed[c[0] + c[1] :]).encode("utf-8", "surrogatepass"))
    try:
        line = _read(tmp_path, data.draw(st.binary(max_size=200) | mutated), name)
    except ClearanceError:
        return
    assert line.points.shape == (len(line.points), 2)
    assert np.isfinite(line.points).all()
    assert (np.abs(line.points) <= [180, 90]).all()
    assert line.parts[0] == 0
    assert all(first < behind for first, behind in line.spans())


@pytest.mark.parametrize(("begin", "end"), [("<!--", "-->"), ('<wpt x="', '"/>'), ("<?x ", "?>")])
def test_a_tag_or_comment_without_end_is_refused(tmp_path: Path, begin: str, end: str) -> None:
    """The parser would begin it anew with every part of the file that it is given."""
    with pytest.raises(InputError, match=r"line 2: a tag or comment of more than 8 MiB"):
        _read(tmp_path, f"{HEAD}{begin}{'a' * (10 << 20)}{end}<trk/></gpx>")
