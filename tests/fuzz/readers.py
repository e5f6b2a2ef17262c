"""The readers of files, as targets."""

from __future__ import annotations

import bz2
import datetime
import gzip
import io
import json
import math
import sqlite3
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from clearance.core.extract import Extract
from clearance.core.inventory import CodedHeight, HeightState
from clearance.core.lengths import HIGHEST_HEIGHT, LOWEST_HEIGHT, Length
from clearance.core.line import Line
from clearance.core.places import Place
from clearance.core.record import Record
from clearance.sources.coach_file import read_coach
from clearance.sources.guarded import RefusedAnswerError
from clearance.sources.height_list import UNITS, read_height_list
from clearance.sources.inventory import read_inventory
from clearance.sources.job_file import read_jobs
from clearance.sources.line_file import read_line
from clearance.sources.osm_file import read_osm
from clearance.sources.overpass import check_answer, data_date, elements_of
from clearance.sources.place_list import read_stops
from clearance.sources.record_list import read_record_list
from clearance.sources.records import read_records, record_file
from clearance.sources.screen_report import read_report
from tests.fuzz import pbf
from tests.fuzz.grammars import length_texts
from tests.fuzz.mutations import NUMBERS, ODD_TEXTS, coordinates, mutated, mutated_text, spoilt
from tests.fuzz.target import Target, refused
from tests.sources.test_inventory import HEADER, ITEMS, OVERPASS, delimited, fixed
from tests.sources.test_records import record
from tests.towns import Town

__all__ = ["TARGETS"]

_NOW = datetime.datetime(2026, 6, 1, 12, tzinfo=datetime.UTC)


def _on_earth(lon: float, lat: float) -> None:
    assert -180 <= lon <= 180, f"longitude {lon}"
    assert -90 <= lat <= 90, f"latitude {lat}"


def _a_height(length: Length) -> None:
    assert LOWEST_HEIGHT <= length <= HIGHEST_HEIGHT, f"a height of {length}"


def _written(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


# --- OpenStreetMap -------------------------------------------------------------------------------------


def _town() -> Town:
    town = Town().node(1, 0, 0).node(2, 100, 0, {"barrier": "gate", "maxheight": "3.5"}).node(3, 200, 0)
    town.node(4, 150, -50).node(5, 150, 50)
    town.way(10, [1, 2], {"highway": "residential", "maxheight": "4.1", "name": "Mill Lane"})
    town.way(11, [2, 3]).way(12, [4, 5], {"railway": "rail", "bridge": "yes", "layer": "1"})
    members = [("w", 10, "from"), ("n", 2, "via"), ("w", 11, "to")]
    return town.relation(1, members, {"type": "restriction", "restriction": "no_right_turn"})


@st.composite
def _osm_xml(draw: DrawFn) -> bytes:
    """Elements in any order, each attribute and tag now and then wrong, missing or twice."""

    def attributes(pairs: Mapping[str, str]) -> str:
        told = [f'{key}="{value}"' for key, value in pairs.items()]
        kind = draw(st.sampled_from(("as it is",) * 12 + ("less", "twice", "more")))
        if kind == "less":
            told = told[1:]
        elif kind == "twice":
            told += told[:1]
        elif kind == "more":
            told.append(
                draw(st.sampled_from(('visible="false"', 'visible="x"', 'timestamp="x"', 'version="-1"')))
            )
        return " ".join(told)

    def tags() -> str:
        keys = draw(
            st.lists(
                st.sampled_from(("highway", "maxheight", "maxheight", "name", "barrier", "type")), max_size=4
            )
        )
        value = st.one_of(
            st.sampled_from(("residential", "yes", "gate", "restriction", "3.5", "4.2", "multipolygon")),
            st.sampled_from(NUMBERS),
            spoilt(st.just("12'6&quot;")).map(lambda text: text.replace('"', "").replace("<", "")),
        )
        return "".join(f'<tag k="{key}" v="{draw(value)}"/>' for key in keys)

    ref = st.one_of(st.integers(1, 6).map(str), st.integers(1, 6).map(str), st.sampled_from(NUMBERS))
    elements = []
    for _ in range(draw(st.integers(1, 8))):
        kind = draw(st.sampled_from(("node", "node", "node", "way", "way", "relation", "bounds", "a")))
        if kind == "node":
            place = {"id": draw(ref), "lat": draw(coordinates(90)), "lon": draw(coordinates(180))}
            elements.append(f"<node {attributes(place)}>{tags()}</node>")
        elif kind == "way":
            nodes = "".join(f"<nd {attributes({'ref': draw(ref)})}/>" for _ in range(draw(st.integers(0, 4))))
            elements.append(f"<way {attributes({'id': draw(ref)})}>{nodes}{tags()}</way>")
        elif kind == "relation":
            member = {"type": draw(st.sampled_from(("way", "node", "x"))), "ref": draw(ref), "role": "via"}
            elements.append(
                f"<relation {attributes({'id': draw(ref)})}><member {attributes(member)}/>{tags()}</relation>"
            )
        else:
            elements.append(f"<{kind}/>")
    head = draw(st.sampled_from(("",) * 6 + (*ODD_TEXTS[-10:], '<?xml version="1.0" encoding="latin-1"?>')))
    body = "".join(elements)
    nodes = '<node id="1" lat="1" lon="1"/><node id="2" lat="1" lon="2"/>'
    road = f'<way id="9"><nd ref="1"/><nd ref="2"/><tag k="highway" v="residential"/>{tags()}</way>'
    return f'{head}<osm version="0.6">{nodes}{road}{body}</osm>'.encode()


def _osm_texts() -> SearchStrategy[bytes]:
    return st.one_of(_osm_xml(), _osm_xml(), mutated_text([_town().osm_xml()]), st.binary(max_size=200))


def _sound_extract(extract: Extract | None) -> None:
    if extract is None:
        return
    assert np.isfinite(extract.lon).all()
    assert np.isfinite(extract.lat).all()
    assert (np.abs(extract.lon) <= 180).all()
    assert (np.abs(extract.lat) <= 90).all()
    assert (np.diff(extract.node_ids) > 0).all()
    known = set(extract.node_ids.tolist())
    for way in extract.ways:
        assert len(way.nodes) >= 2
        assert known.issuperset(way.nodes)
    for tags in (*(way.tags for way in extract.ways), *extract.node_tags.values()):
        assert all(isinstance(text, str) for pair in tags.items() for text in pair)


def _told_heights(content: bytes) -> dict[str, list[str]] | None:
    """Every value of maxheight by element, as the standard library reads it; of repeated ways the last."""
    try:
        root = ET.fromstring(content)
    except (ET.ParseError, ValueError, LookupError):
        return None
    return {
        f"{item.tag}/{int(item.get('id') or 0)}": [
            tag.get("v", "") for tag in item.findall("tag") if tag.get("k") == "maxheight"
        ]
        for item in root
        if item.tag in ("way", "node") and item.get("visible") != "false"
    }


def _osm(content: bytes, folder: Path) -> None:
    path = _written(folder, "town.osm", content)
    extract = refused(lambda: read_osm(path), names=path.name)
    _sound_extract(extract)
    told = None if extract is None else _told_heights(content)
    if extract is not None and told is not None:
        read = {f"way/{way.id}": way.tags for way in extract.ways}
        for element, tags in read.items():
            for height in told.get(element, []):
                assert height in tags.get("maxheight", ""), f"{element}: the height {height!r} is lost"


@st.composite
def _packed_osm(draw: DrawFn) -> tuple[bool, bytes]:
    zipped = draw(st.booleans())
    content = draw(st.one_of(st.just(_town().osm_xml().encode()), _osm_xml()))
    content = gzip.compress(content) if zipped else bz2.compress(content)
    return zipped, draw(st.one_of(mutated([content]), st.just(content)))


def _packed(value: tuple[bool, bytes], folder: Path) -> None:
    path = _written(folder, "town.osm.gz" if value[0] else "town.osm.bz2", value[1])
    _sound_extract(refused(lambda: read_osm(path), names=path.name))


_WHOLE = st.one_of(st.integers(1, 6), st.integers(1, 6), st.integers(-(2**63), 2**63 - 1))
_FIXED = st.one_of(st.integers(-(10**9), 10**9), st.integers(-(2**63), 2**63 - 1))


@st.composite
def _pbf_blocks(draw: DrawFn) -> bytes:
    """Blocks with sound frames and contents of every kind."""
    table = [b"", b"highway", b"residential", b"maxheight", b"3.5", b"name", draw(st.binary(max_size=12))]
    index = st.one_of(st.integers(0, 6), st.integers(0, 6), st.integers(0, 6), st.integers(0, 2**32))
    pairs = st.lists(st.tuples(index, index), max_size=3)
    groups = [pbf.dense([1, 2, 3], [450_000_000, 450_001_000, 450_002_000], [-400_000_000] * 3)]
    for _ in range(draw(st.integers(0, 3))):
        kind = draw(st.sampled_from(("dense", "way", "relation", "noise")))
        if kind == "dense":
            ids, lats, lons = (draw(st.lists(s, max_size=4)) for s in (_WHOLE, _FIXED, _FIXED))
            groups.append(pbf.dense(ids, lats, lons, draw(st.lists(index, max_size=6))))
        elif kind == "way":
            groups.append(pbf.way(draw(_WHOLE), draw(st.lists(_WHOLE, max_size=4)), [(1, 2), *draw(pairs)]))
        elif kind == "relation":
            members = draw(st.lists(st.tuples(index, _WHOLE, st.integers(0, 4)), max_size=3))
            groups.append(pbf.relation(draw(_WHOLE), members, draw(pairs)))
        else:
            groups.append(draw(st.binary(max_size=30)))
    extra = b""
    if draw(st.booleans()):
        extra = pbf.field(
            draw(st.sampled_from((17, 18, 19, 20))), draw(st.sampled_from((0, 1, 100, 10**9, -1, 2**62)))
        )
    content = pbf.block(table, *groups, pbf.way(9, [1, 2, 3], [(1, 2)]), extra=extra)
    content = draw(st.one_of(st.just(content), mutated([content])))
    claim = draw(st.sampled_from((None,) * 9 + (0, 1, 2**31 - 1, 2**31, 2**63)))
    size = draw(st.sampled_from((None,) * 9 + (0, 2**24, 2**25 - 1, 2**31, 2**63)))
    head: bytes = draw(st.sampled_from((pbf.header(),) * 9 + (pbf.header(b"Made-Up"), b"", pbf.header() * 2)))
    return head + pbf.blob(b"OSMData", content, claim=claim, size=size)


@cache
def _sound_pbf() -> bytes:
    table = [b"", b"highway", b"residential", b"maxheight", b"3.5"]
    nodes = pbf.dense([1, 2, 3], [450_000_000, 450_001_000, 450_002_000], [-400_000_000] * 3)
    return pbf.header() + pbf.blob(
        b"OSMData", pbf.block(table, nodes, pbf.way(9, [1, 2, 3], [(1, 2), (3, 4)]))
    )


def _pbf(content: bytes, folder: Path) -> None:
    path = _written(folder, "town.osm.pbf", content)
    _sound_extract(refused(lambda: read_osm(path), names=path.name))


# --- JSON ----------------------------------------------------------------------------------------------

_SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-200, 200),
    st.floats(),
    st.sampled_from((2**63, -(2**63) - 1, 10**400, 1e308, -0.0, "NaN", "45", "")),
    st.sampled_from(ODD_TEXTS),
    length_texts(),
)
_JSON = st.recursive(
    _SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip


@st.composite
def _twisted(draw: DrawFn, documents: Sequence[Any]) -> bytes:
    """A sound JSON document with up to three values replaced, left out, put in twice; or its text mutated."""
    document = json.loads(json.dumps(draw(st.sampled_from(documents))))
    twice: list[str] = []
    for _ in range(draw(st.integers(0, 3))):
        at: Any = None
        holder: Any = None
        inside: Any = document
        # Walk down to some container and then to a place in it.
        while isinstance(inside, dict | list) and inside and (at is None or draw(st.booleans())):
            holder = inside
            keys = sorted(inside) if isinstance(inside, dict) else range(len(inside))
            at = draw(st.sampled_from(list(keys)))
            inside = inside[at]
        if at is None:
            break
        kind = draw(st.sampled_from(("other", "other", "out", "name", "twice")))
        if kind == "other":
            holder[at] = draw(_JSON)
        elif kind == "out":
            del holder[at]
        elif kind == "twice" and isinstance(at, str):
            twice.append(f"{json.dumps(at)}: {json.dumps(draw(_SCALARS))}, {json.dumps(at)}: ")
        elif isinstance(at, str):
            holder[draw(st.sampled_from(ODD_TEXTS))] = holder[at]
    text = json.dumps(document)
    for pair in twice:
        text = text.replace(pair.split(":")[0] + ": ", pair, 1)
    raw = text.encode("utf-8", "surrogatepass")
    return draw(st.one_of(st.just(raw), st.just(raw), mutated([raw], [t.encode() for t in NUMBERS if t])))


def _feature(kind: str, coordinates_: object, **properties: object) -> dict[str, object]:
    return {
        "type": "Feature",
        "geometry": {"type": kind, "coordinates": coordinates_},
        "properties": properties,
    }


def _collection(*features: dict[str, object]) -> dict[str, object]:
    return {"type": "FeatureCollection", "features": list(features)}


_POINTS = _collection(
    _feature("Point", [-40.0, 45.0], name="Mill", minutes=20, height="13'6\"", date="2026-05-01", who="Ines"),
    _feature(
        "Point", [-40.1, 45.1, 12], name="Quay", height_m=4.1, height="4.1 m", date="2026-05-02", who="Bo"
    ),
)
_GEOJSON = (
    _POINTS,
    _collection(_feature("LineString", [[-40.0, 45.0], [-40.1, 45.1]], name="drive")),
    _collection(_feature("MultiLineString", [[[-40.0, 45.0], [-40.1, 45.1]], [[1, 2], [3, 4]]])),
    _collection(_feature("MultiPoint", [[-40.0, 45.0], [1, 2]], height=4.2, name=None)),
    {"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": [1, 2]}]},
)


def _geojson(content: bytes, folder: Path) -> None:
    path = _written(folder, "file.geojson", content)
    line = refused(lambda: read_line(path), names=path.name)
    _sound_line(line)
    _lists(path)
    if _names_twice(content):
        assert line is None, "one of two values of one name was taken"
        assert refused(lambda: read_height_list(path, unit="m"), names=path.name) is None
        assert refused(lambda: read_stops(path), names=path.name) is None


def _names_twice(content: bytes) -> bool:
    """Whether some object of a JSON text holds a name twice."""
    twice: list[str] = []

    def seen(pairs: list[tuple[str, object]]) -> None:
        names = [name for name, _ in pairs]
        twice.extend(name for name in names if names.count(name) > 1)

    try:
        json.loads(content.decode("utf-8-sig"), object_pairs_hook=seen)
    except (ValueError, RecursionError):
        return False
    return bool(twice)


def _lists(path: Path) -> None:
    """The file as stops, as heights and as records."""
    stops = refused(lambda: read_stops(path), names=path.name)
    for stop in () if stops is None else stops.stops:
        assert 0 <= stop.minutes <= 7 * 24 * 60
        if isinstance(stop.place, Place):
            _on_earth(stop.place.lon, stop.place.lat)
        else:
            assert stop.place.strip()
    for unit in UNITS:
        heights = refused(lambda unit=unit: read_height_list(path, unit=unit), names=path.name)  # type: ignore[misc]
        for listed in () if heights is None else heights.records:
            _on_earth(listed.lon, listed.lat)
            _a_height(listed.height)
            assert any(c in "123456789" for c in listed.raw), f"{listed.raw!r} was read as {listed.height}"
            assert listed.raw.isascii() or any(c in "’‘′´`ʹ”“″ʺ\u00a0\u2009\u202f" for c in listed.raw)
    records = refused(lambda: read_record_list(path, now=_NOW), names=path.name)
    _sound_records(records or ())


def _sound_records(records: Sequence[Record]) -> None:
    for each in records:
        _on_earth(each.lon, each.lat)
        _a_height(each.height)
        assert each.who
        assert len(each.uid) == 32
        assert datetime.date.fromisoformat(each.date).year < 2100
        assert all(
            isinstance(text, str) for text in (each.raw, each.key, each.note, each.added, *each.elements)
        )


def _sound_line(line: Line | None) -> None:
    if line is None:
        return
    assert len(line.points) >= 2
    for lon, lat in line.points.tolist():
        _on_earth(lon, lat)
    assert line.parts[0] == 0
    assert (np.diff(line.parts) >= 0).all()
    assert line.parts.max() < len(line.points)
    assert line.times is None or len(line.times) == len(line.points)


def _report(content: bytes, folder: Path) -> None:
    path = _written(folder, "old.json", content)
    report = refused(lambda: read_report(path), names=path.name)
    if report is None:
        return
    _on_earth(*report.home)
    for row in report.rows:
        _on_earth(row.lon, row.lat)
        assert 0 <= row.coach < len(report.coaches)
    for structure in report.structures:
        _on_earth(structure.lon, structure.lat)
        for known in (structure.forward, structure.backward):
            if known.clearance is not None:
                # What is left where a road dips may be less than any height on a sign.
                assert Length.from_metres("-2") <= known.clearance <= Length.from_metres("100"), (
                    f"{known.clearance}"
                )


@cache
def _sound_report() -> Any:
    from clearance.outputs.screen_json import screen_json
    from tests.outputs.screen_samples import SCREENING

    return json.loads(json.dumps(screen_json(SCREENING)))


_ANSWER = {
    "version": 0.6,
    "osm3s": {"timestamp_osm_base": "2026-01-01T00:00:00Z"},
    "elements": [
        {"type": "node", "id": 1, "lat": 45.0, "lon": -40.0, "tags": {"barrier": "gate"}},
        {"type": "way", "id": 2, "nodes": [1, 3], "tags": {"highway": "residential", "maxheight": "3.5"}},
        {"type": "relation", "id": 4, "members": [{"type": "way", "ref": 2, "role": "from"}], "tags": {}},
    ],
}


def _answer(content: bytes, _: Path) -> None:
    """As the answer of a server of map data, once it is JSON."""
    try:
        answer = json.loads(content.decode())
    except (ValueError, RecursionError):
        return
    date = data_date(answer)
    assert date is None or date.tzinfo is not None
    try:
        check_answer(answer)
    except RefusedAnswerError as error:
        assert len(str(error)) < 1000  # noqa: PT017, either outcome is right
        return
    elements = elements_of([answer])
    assert (np.abs(elements.x) <= 1_800_000_000).all()
    assert (np.abs(elements.y) <= 900_000_000).all()


# --- GPX -----------------------------------------------------------------------------------------------


@st.composite
def _gpx_xml(draw: DrawFn) -> bytes:
    def point(tag: str) -> str:
        told = [f'lat="{draw(coordinates(90))}"', f'lon="{draw(coordinates(180))}"']
        told = draw(st.sampled_from((told, told, told, told[:1], told + told[:1], [*told, 'x:lat="1"'])))
        inner = draw(st.sampled_from(("", "", "<ele>5</ele>", "<time>2026-01-01T08:00:00Z</time>",
                                      "<name>Mill</name>", "<time>x</time>", f"<{tag} lat='1' lon='1'/>",
                                      "<name>a</name><name>b</name>",
                                      "<extensions><trkpt lat='9' lon='9'/></extensions>")))  # fmt: skip
        return f"<{tag} {' '.join(told)}>{inner}</{tag}>"

    parts = []
    for _ in range(draw(st.integers(1, 4))):
        kind = draw(st.sampled_from(("trk", "rte", "wpt", "a")))
        points = draw(st.integers(0, 3))
        if kind == "trk":
            parts.append(f"<trk><trkseg>{''.join(point('trkpt') for _ in range(points))}</trkseg></trk>")
        elif kind == "rte":
            parts.append(f"<rte>{''.join(point('rtept') for _ in range(points))}</rte>")
        elif kind == "wpt":
            parts.append(point("wpt"))
        else:
            parts.append(draw(st.sampled_from(ODD_TEXTS)))
    head = draw(st.sampled_from(("",) * 5 + (*ODD_TEXTS[-10:], '<?xml version="1.0" encoding="utf-16"?>')))
    return (
        f"{head}<gpx version='1.1' xmlns='http://www.topografix.com/GPX/1/1'>{''.join(parts)}</gpx>".encode()
    )


_SOUND_GPX = (
    "<?xml version='1.0'?><gpx version='1.1' creator='a'><wpt lat='45' lon='-40'><name>Mill</name></wpt>"
    "<rte><rtept lat='45' lon='-40'/><rtept lat='45.1' lon='-40.1'/></rte></gpx>",
    "<gpx><trk><trkseg><trkpt lat='45' lon='-40'><time>2026-01-01T08:00:00Z</time></trkpt>"
    "<trkpt lat='45.1' lon='-40.1'/></trkseg></trk></gpx>",
)


def _gpx(content: bytes, folder: Path) -> None:
    path = _written(folder, "line.gpx", content)
    _sound_line(refused(lambda: read_line(path), names=path.name))
    stops = refused(lambda: read_stops(path), names=path.name)
    for stop in () if stops is None else stops.stops:
        assert isinstance(stop.place, Place)
        _on_earth(stop.place.lon, stop.place.lat)


# --- tables --------------------------------------------------------------------------------------------

_CSV_NAMES = (
    "lat",
    "lon",
    "name",
    "minutes",
    "place",
    "height",
    "height_m",
    "date",
    "who",
    "uid",
    "time",
    "part",
    "key",
)


@st.composite
def _csv(draw: DrawFn) -> bytes:
    separator = draw(st.sampled_from((",", ",", ";", "\t", "|")))
    columns = draw(st.lists(st.sampled_from(_CSV_NAMES), min_size=1, max_size=7, unique=draw(st.booleans())))
    columns = draw(
        st.sampled_from((columns, ["lat", "lon", "height", "date", "who", *columns[:1]], ["lat", "lon"]))
    )

    def cell(name: str) -> str:
        if name in ("lat", "lon"):
            text = draw(coordinates(90 if name == "lat" else 180))
        elif name in ("height", "height_m"):
            text = draw(length_texts())
        elif name == "date":
            text = draw(spoilt(st.just("2026-05-01")))
        else:
            text = draw(spoilt(st.sampled_from(("Mill", "20", "2026-05-01", "Ines", "f" * 32))))
        quoted = draw(st.booleans()) or any(c in text for c in f'{separator}"\r\n')
        return '"' + text.replace('"', '""') + '"' if quoted and draw(st.integers(0, 19)) else text

    rows = [separator.join(columns)]
    for _ in range(draw(st.integers(0, 4))):
        told = [cell(name) for name in columns]
        told = draw(st.sampled_from((told,) * 6 + (told[:-1], [*told, "x"], [])))
        rows.append(separator.join(told))
    text = draw(st.sampled_from(("\n", "\n", "\r\n", "\r"))).join(rows)
    encoding = draw(st.sampled_from(("utf-8",) * 6 + ("utf-8-sig", "utf-16")))
    return text.encode(encoding, "surrogatepass")


_SOUND_CSV = (
    'lat,lon,name,minutes,height,date,who\n45.0,-40.0,Mill,20,"13\'6""",2026-05-01,Ines\n'
    "45.1,-40.1,Quay,,4.1 m,2026-05-02,Bo\n",
    "place;minutes\nMill Lane;20\n45.1,-40.1;5\n",
    "lat\tlon\ttime\tpart\n45\t-40\t2026-01-01T08:00:00Z\t1\n45.1\t-40.1\t\t2\n",
)


def _table(content: bytes, folder: Path) -> None:
    path = _written(folder, "list.csv", content)
    _sound_line(refused(lambda: read_line(path), names=path.name))
    _lists(path)


# --- inventories ---------------------------------------------------------------------------------------

_HEADER_2022 = "BID01,BL05,BL06,BF01,BF02,BF03,BH12,BH13"
_ROW_2022 = "000042,44.8012,-68.7712,H01,B,MILL ROAD,99.9,14.3"


@st.composite
def _inventories(draw: DrawFn) -> bytes:
    def values() -> dict[str, str]:
        items = draw(st.lists(st.sampled_from(sorted(OVERPASS)), max_size=4))
        return {
            item: draw(st.one_of(st.sampled_from(NUMBERS), spoilt(st.just(OVERPASS[item])))) for item in items
        }

    def row(form: str) -> str:
        told = values()
        if form == "fixed":
            # No sign may move those behind it.
            cut = {
                i: t[: ITEMS[i][2] - ITEMS[i][1] + 1].replace("\n", " ").replace("\r", " ")
                for i, t in told.items()
            }
            return fixed(cut)
        if form == "delimited":
            return delimited(told)
        return draw(spoilt(st.just(_ROW_2022)))

    form = draw(st.sampled_from(("fixed", "delimited", "2022")))
    head = {"fixed": [], "delimited": [HEADER], "2022": [_HEADER_2022]}[form]
    rows = [*head, *(row(form) for _ in range(draw(st.integers(0, 4))))]
    raw = "\n".join(rows).encode(draw(st.sampled_from(("utf-8", "utf-8", "latin-1"))), "replace")
    raw = draw(st.one_of(st.just(raw), st.just(raw), mutated([raw or b" "])))
    if draw(st.integers(0, 3)):
        return raw
    packed = io.BytesIO()
    with zipfile.ZipFile(
        packed, "w", draw(st.sampled_from((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)))
    ) as archive:
        for name in draw(
            st.lists(
                st.sampled_from(("ME24.txt", "a.csv", "b/", "../c.txt", "x.pdf")), max_size=3, unique=True
            )
        ):
            archive.writestr(name, raw)
    return draw(st.one_of(st.just(packed.getvalue()), mutated([packed.getvalue()])))


def _inventory(content: bytes, folder: Path) -> None:
    path = _written(folder, "ME24.txt", content)
    found = refused(lambda: read_inventory(path), names=path.name)
    if found is None:
        return
    assert found.rows >= len(found.records)
    for each in found.records:
        assert each.number
        assert -180 <= each.lon <= -64, f"longitude {each.lon}"
        assert 17 <= each.lat <= 72, f"latitude {each.lat}"
        for coded in (each.item_10, each.item_53, each.item_54):
            _sound_code(coded)
    assert all(0 < problem.line < 1000 and problem.reason for problem in found.problems)


def _sound_code(coded: CodedHeight) -> None:
    assert (coded.state is HeightState.FIGURE) <= (coded.figure is not None)
    if coded.figure is not None:
        _a_height(coded.figure)
        assert any(c in "123456789" for c in coded.raw)
        assert coded.raw.isascii()


# --- TOML, SQLite, GeoPackage --------------------------------------------------------------------------

_COACH = """\
name = "Heron"
height = "12ft 10in"
margin = "6in"
comfort = "14ft"
width = "8ft 6in"
length = "38ft"
weight = "26000lbs"
propane = false
fuel = "diesel"
[towed]
name = "small car"
length = "17ft"
reversible = false
"""
_JOBS = """\
unverified = "avoid"
[[coach]]
file = "heron.toml"
[[home]]
name = "Mill"
place = "45.0,-40.0"
regions = ["north"]
[[region]]
name = "north"
roads = "north.roads"
places = "north.csv"
"""


@st.composite
def _toml(draw: DrawFn, sound: str) -> bytes:
    lines = sound.splitlines()
    for _ in range(draw(st.integers(0, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        key = lines[at].split("=")[0]
        value = st.one_of(
            length_texts().map(json.dumps), st.sampled_from(NUMBERS), st.sampled_from(ODD_TEXTS),
            st.sampled_from(("{a = 1}", "[1, 2]", "1979-05-27", '"""a\nb"""', "'x'", "1e400", "{a.b = {}}")),
        )  # fmt: skip
        lines[at : at + 1] = draw(
            st.sampled_from(
                ([f"{key}= {draw(value)}"], [lines[at]] * 2, [], [f"x.{lines[at]}"], [f"{key}.a = 1"])
            )
        )
        if not lines:
            break
    text = "\n".join(lines)
    return draw(spoilt(st.just(text))).encode("utf-8", "surrogatepass")


def _coach(content: bytes, folder: Path) -> None:
    path = _written(folder, "heron.toml", content)
    coach = refused(lambda: read_coach(path), names=path.name)
    if coach is not None:
        assert Length.from_metres("1.5") <= coach.height <= Length.from_metres("6")
        assert coach.need >= coach.height
        assert coach.name.isprintable()


def _jobs(content: bytes, folder: Path) -> None:
    _written(folder, "heron.toml", _COACH.encode())
    path = _written(folder, "jobs.toml", content)
    jobs = refused(lambda: read_jobs(path), names=path.name)
    if jobs is not None:
        assert jobs.homes
        assert jobs.regions
        assert jobs.coaches


@cache
def _sound_records_file() -> bytes:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "records.sqlite"
        with record_file(path) as records:
            records.add([record(7), record(8, height=Length(41148), raw="13'6\"")])
        with sqlite3.connect(path) as connection:
            connection.execute("PRAGMA journal_mode = DELETE")
        connection.close()
        return path.read_bytes()


def _sqlite() -> SearchStrategy[bytes]:
    whole = _sound_records_file()
    # Most of the file is empty pages; what is told stands in the last stretch of each.
    return mutated([whole], [b"\x00\x00\x9e\xc0", b"2026-06-01", b"45.0"])


def _records(content: bytes, folder: Path) -> None:
    path = _written(folder, "records.sqlite", content)
    try:
        found = refused(lambda: read_records(path, removed=True), names=path.name)
        _sound_records(found or ())
    finally:
        for left in folder.glob("records.sqlite-*"):
            left.unlink()


@cache
def _sound_package() -> bytes:
    import tempfile

    import pyogrio
    import shapely

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "list.gpkg"
        pyogrio.raw.write(
            path,
            shapely.to_wkb(shapely.points([[-40.0, 45.0], [-40.1, 45.1]])),
            [np.array(["Mill", "Quay"], dtype=object), np.array([4.1, math.nan]), np.array([20, 5])],
            ["name", "height", "minutes"],
            layer="places",
            geometry_type="Point",
            crs="EPSG:4326",
        )
        return path.read_bytes()


def _package(content: bytes, folder: Path) -> None:
    path = _written(folder, "list.gpkg", content)
    try:
        stops = refused(lambda: read_stops(path), names=path.name)
        for stop in () if stops is None else stops.stops:
            assert isinstance(stop.place, Place)
            _on_earth(stop.place.lon, stop.place.lat)
        heights = refused(lambda: read_height_list(path, unit="m"), names=path.name)
        for listed in () if heights is None else heights.records:
            _on_earth(listed.lon, listed.lat)
            _a_height(listed.height)
    finally:
        for left in folder.glob("list.gpkg-*"):
            left.unlink()


def _texts(sound: Sequence[str]) -> Callable[[SearchStrategy[bytes]], SearchStrategy[bytes]]:
    return lambda built: st.one_of(built, built, mutated_text(sound), st.binary(max_size=100))


TARGETS = (
    Target("osm-xml", _osm_texts, _osm, 30),
    Target("osm-packed", _packed_osm, _packed, 20),
    Target("osm-pbf", lambda: st.one_of(_pbf_blocks(), _pbf_blocks(), mutated([_sound_pbf()])), _pbf, 40),
    Target("map-answer", lambda: _twisted([_ANSWER]), _answer, 40),
    Target("gpx", lambda: _texts(_SOUND_GPX)(_gpx_xml()), _gpx, 40),
    Target("geojson", lambda: _twisted(_GEOJSON), _geojson, 40),
    Target("csv", lambda: _texts(_SOUND_CSV)(_csv()), _table, 30),
    Target("inventory", _inventories, _inventory, 40),
    Target("coach-file", lambda: st.one_of(_toml(_COACH), mutated_text([_COACH])), _coach, 40),
    Target("job-file", lambda: st.one_of(_toml(_JOBS), mutated_text([_JOBS])), _jobs, 30),
    Target("screen-report", lambda: _twisted([_sound_report()]), _report, 30),
    Target("records-file", _sqlite, _records, 30),
    Target("geopackage", lambda: mutated([_sound_package()]), _package, 10),
)
