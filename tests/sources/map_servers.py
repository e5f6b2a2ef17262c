"""A map server and a name server on loopback, small but honest, and faults to play before they answer."""

from __future__ import annotations

import contextlib
import gzip
import json
import re
import threading
import time
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import shapely

from tests.towns import LAT0, LON0, Town

Key = tuple[str, int]
Fault = Callable[["Handler"], None]

#: A box round the town of `full_town`, and the same as the name server tells it.
BOX = (LON0 - 0.01, LAT0 - 0.01, LON0 + 0.01, LAT0 + 0.01)
DATA_DATE = "2026-01-01T00:00:00Z"


def full_town() -> Town:
    """Every kind of element that is wanted, and of each kind something that is not."""
    street = {"highway": "residential", "name": "Mill Lane", "maxheight:forward": "12'6\""}
    building = {"building": "yes"}
    return (
        Town()
        .node(1, 0, 0)
        .node(2, 100, 0, {"barrier": "height_restrictor", "maxheight": "2.1"})
        .node(3, 200, 0, {"highway": "turning_circle"})
        .node(4, 150, -50)
        .node(5, 150, 50)
        .node(6, 0, 300)
        .node(7, 20, 300)
        .node(8, 20, 320)
        .node(9, 60, 10)
        .node(10, 80, 10)
        .node(11, 80, -10)
        .node(12, 500, 500, {"place": "hamlet", "name": "Lower Fenwick ü"})
        .node(13, 300, 300, {"amenity": "fuel"})
        .node(14, 310, 300, {"amenity": "bench"})
        .node(15, 320, 300, {"highway": "street_lamp"})
        .node(16, 400, 0, {"maxheight:physical": "3.2"})
        .node(20, 0, 50)
        .node(21, 50, 50)
        .node(22, 50, 80)
        .node(23, 0, 80)
        .node(24, 10, 60)
        .node(25, 20, 60)
        .node(26, 20, 70)
        .node(27, 25, -20)
        .node(28, 25, 100)
        .node(30, 0, 600)
        .node(31, 50, 600)
        .node(32, 50, 650)
        .way(40, [1, 2, 3], street)
        .way(41, [4, 5], {"railway": "rail", "bridge": "yes", "layer": "1"})
        .way(42, [6, 7, 8, 6], building)  # far from any road
        .way(43, [9, 10, 11, 9], building)  # over the street
        .way(44, [9, 11], {"natural": "cliff"})
        .way(45, [4, 10], {"waterway": "canal", "bridge": "aqueduct"})
        .way(46, [4, 9], {"waterway": "stream"})
        .way(47, [4, 11], {"man_made": "pipeline", "location": "underground"})
        .way(48, [4, 8], {"man_made": "pipeline", "location": "overhead"})
        .way(49, [27, 28], {"highway": "service", "service": "drive-through"})
        .way(50, [20, 21], {"source": "survey"})  # ring of building 60 with 51, crossed by 49
        .way(51, [21, 22, 23, 20], {"barrier": "fence"})
        .way(52, [24, 25, 26, 24], {"source": "survey"})  # its courtyard
        .way(53, [30, 31, 32, 30], {"source": "survey"})  # ring of building 61, far from any road
        .way(54, [31, 32], {"railway": "razed"})
        .way(55, [16, 3], {"highway": "residential", "name": "Straße"})
        .relation(
            60,
            [("w", 50, "outer"), ("w", 51, "outer"), ("w", 52, "inner")],
            {"type": "multipolygon"} | building,
        )
        .relation(61, [("w", 53, "outer")], {"type": "multipolygon"} | building)
        .relation(62, [("w", 40, "from"), ("n", 2, "via"), ("w", 40, "to")], {"type": "restriction"})
        .relation(63, [("w", 40, ""), ("w", 49, "")], {"type": "route", "route": "bus"})
    )


class MapData:
    """The elements of an .osm text, as Overpass would write them, and questions on them."""

    def __init__(self, osm_xml: str) -> None:
        self.items: dict[Key, dict[str, Any]] = {}
        for item in ET.fromstring(osm_xml):
            if item.tag not in ("node", "way", "relation"):
                continue
            entry: dict[str, Any] = {"type": item.tag, "id": int(item.attrib["id"])}
            if item.tag == "node":
                entry |= {"lat": float(item.attrib["lat"]), "lon": float(item.attrib["lon"])}
            elif item.tag == "way":
                entry["nodes"] = [int(nd.attrib["ref"]) for nd in item.iter("nd")]
            else:
                entry["members"] = [
                    {"type": m.attrib["type"], "ref": int(m.attrib["ref"]), "role": m.attrib["role"]}
                    for m in item.iter("member")
                ]
            tags = {tag.attrib["k"]: tag.attrib["v"] for tag in item.iter("tag")}
            if tags:
                entry["tags"] = tags
            self.items[item.tag, entry["id"]] = entry

    def answer(self, query: str) -> dict[str, Any]:
        """The answer to a question; ValueError where it is not in the part of the language known here."""
        header, *statements = _split(query)
        if not re.fullmatch(r"\[out:json\]\[timeout:\d+\]", header):
            raise ValueError(header)
        if statements.pop() != "out":
            raise ValueError(query)
        sets: dict[str, set[Key]] = {"_": set()}
        for statement in statements:
            self._run(statement, sets)
        order = ["node", "way", "relation"]
        found = sorted(sets["_"], key=lambda key: (order.index(key[0]), key[1]))
        return {
            "version": 0.6,
            "generator": "a test",
            "osm3s": {"timestamp_osm_base": DATA_DATE, "copyright": "ODbL"},
            "elements": [self.items[key] for key in found],
        }

    def _run(self, statement: str, sets: dict[str, set[Key]]) -> None:
        body, _, into = statement.partition("->.")
        if body.startswith("("):
            found: set[Key] = set()
            for inner in _split(body[1:-1]):
                self._run(inner, sets)
                found |= sets["_"]
        elif body == ">":
            found = {("node", n) for kind, ref in sets["_"] if kind == "way" for n in self._nodes(ref)}
        elif re.fullmatch(r"\.\w+", body):
            found = sets[body[1:]]
        else:
            found = self._query(body, sets)
        sets[into or "_"] = found

    def _query(self, body: str, sets: dict[str, set[Key]]) -> set[Key]:
        parts = re.match(r"(node|way|relation)(.*)", body)
        if parts is None:
            raise ValueError(body)
        kind, rest = parts.groups()
        found = {key for key in self.items if key[0] == kind}
        while rest:
            if m := re.match(r'\["([^"]+)"\]', rest):
                found = {key for key in found if m[1] in self._tags(key)}
            elif m := re.match(r'\["([^"]+)"="([^"]*)"\]', rest):
                found = {key for key in found if self._tags(key).get(m[1]) == m[2]}
            elif m := re.match(r'\["([^"]+)"~"([^"]*)"\]', rest):
                found = {k for k in found if re.search(m[2], self._tags(k).get(m[1], "\0"))}
            elif m := re.match(r'\[~"([^"]+)"~"([^"]*)"\]', rest):
                found = {
                    key
                    for key in found
                    if any(re.search(m[1], k) and re.search(m[2], v) for k, v in self._tags(key).items())
                }
            elif m := re.match(r"\(poly:([\"'])([-0-9. ]+)\1\)", rest):
                numbers = [float(text) for text in m[2].split()]
                polygon = shapely.Polygon(list(zip(numbers[1::2], numbers[::2], strict=True)))
                found = {key for key in found if self._touches(key, polygon)}
            elif (m := re.match(r"\(r\.(\w+)\)", rest)) and kind == "way":
                found &= {(v["type"], v["ref"]) for key in sets[m[1]] for v in self.items[key]["members"]}
            elif (m := re.match(r"\(w\.(\w+)\)", rest)) and kind == "node":
                found &= {("node", n) for key in sets[m[1]] for n in self._nodes(key[1])}
            else:
                raise ValueError(rest)
            rest = rest[m.end() :]
        return found

    def _tags(self, key: Key) -> dict[str, str]:
        return dict(self.items[key].get("tags", {"source": "survey"}))

    def _nodes(self, way: int) -> list[int]:
        return list(self.items["way", way]["nodes"])

    def _touches(self, key: Key, polygon: shapely.Polygon) -> bool:
        item = self.items.get(key)
        if item is None:
            return False
        if key[0] == "node":
            return bool(polygon.contains(shapely.Point(item["lon"], item["lat"])))
        if key[0] == "way":
            line = [(self.items["node", n]["lon"], self.items["node", n]["lat"]) for n in item["nodes"]]
            return bool(polygon.intersects(shapely.LineString(line)))
        return any(self._touches((m["type"], m["ref"]), polygon) for m in item["members"])


def _split(text: str) -> list[str]:
    """The statements of a text, cut at semicolons outside brackets and quotes."""
    parts, depth, start, quote = [], 0, 0, ""
    for i, c in enumerate(text):
        if quote:
            quote = "" if c == quote else quote
        elif c in "\"'":
            quote = c
        elif c in "([":
            depth += 1
        elif c in ")]":
            depth -= 1
        elif c == ";" and depth == 0:
            parts.append(text[start:i])
            start = i + 1
    if text[start:] or depth or quote:
        raise ValueError(text)
    return parts


class Handler(BaseHTTPRequestHandler):
    """Plays a fault if one is waiting, else answers from the data."""

    server: Server

    def do_POST(self) -> None:
        raw = self.rfile.read(int(self.headers["Content-Length"]))
        self._serve(parse_qs(raw.decode())["data"][0])

    def do_GET(self) -> None:
        self._serve(self.path)

    def _serve(self, asked: str) -> None:
        self.server.asked.append(asked)
        self.server.agents.append(self.headers["User-Agent"])
        fault = self.server.always or (self.server.faults.pop(0) if self.server.faults else None)
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            if fault is not None:
                fault(self)
            else:
                self.reply()

    def body(self) -> bytes:
        """The right answer to what was asked last."""
        asked = self.server.asked[-1]
        if asked.startswith("/names/search?"):
            name = parse_qs(urlsplit(asked).query)["q"][0]
            return json.dumps(self.server.names.get(name, [])).encode()
        return json.dumps(self.server.data.answer(asked), ensure_ascii=False).encode()

    def reply(self, body: bytes | None = None, status: int = 200, **headers: str) -> None:
        if body is None:
            try:
                body = self.body()
            except ValueError as error:
                status, body = 400, f"bad question: {error}".encode()
        self.send_response(status)
        for name, value in {"Content_Type": "application/json", **headers}.items():
            self.send_header(name.replace("_", "-"), value)
        if "Content_Length" not in headers:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args: Any) -> None:
        """Say nothing."""


class Server(ThreadingHTTPServer):
    """Both servers; `faults` are played one by one, `always` each time."""

    daemon_threads = True

    def __init__(self, town: Town) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.data = MapData(town.osm_xml())
        self.asked: list[str] = []
        self.agents: list[str] = []
        self.faults: list[Fault] = []
        #: Questions whose asker heard a trickle of 40 s to its end.
        self.patient: list[str] = []
        self.always: Fault | None = None
        west, south, east, north = BOX
        ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
        place = {
            "lat": str(LAT0),
            "lon": str(LON0),
            "boundingbox": [str(south), str(north), str(west), str(east)],
        }
        self.names = {
            "Fenwick": [
                place
                | {"importance": 0.4, "display_name": "Fenwick, Northshire"}
                | {"geojson": {"type": "Polygon", "coordinates": [ring]}}
            ],
            "Spot": [
                place
                | {"importance": 0.1, "display_name": "Spot"}
                | {"geojson": {"type": "Point", "coordinates": [LON0, LAT0]}}
            ],
        }

    @property
    def overpass_url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/map"

    @property
    def nominatim_url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/names"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that hangs up is part of the tests."""


@contextlib.contextmanager
def map_servers(town: Town) -> Iterator[Server]:
    """The servers, listening until the block ends."""
    server = Server(town)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def status(code: int, **headers: str) -> Fault:
    return lambda handler: handler.reply(b"busy", code, **headers)


def text(body: str | bytes, **headers: str) -> Fault:
    raw = body if isinstance(body, bytes) else body.encode()
    return lambda handler: handler.reply(raw, 200, **headers)


def well(handler: Handler) -> None:
    """No fault at all."""
    handler.reply()


def html(handler: Handler) -> None:
    """An error page that calls itself a success."""
    handler.reply(b"<html><body>The server is busy</body></html>", Content_Type="text/html")


def remark(handler: Handler) -> None:
    """A time-out of the query inside an answer that looks well."""
    answer = json.loads(handler.body())
    answer["elements"] = answer["elements"][:1]
    handler.reply(json.dumps(answer | {"remark": 'runtime error: Query timed out in "query"'}).encode())


def cut_off(handler: Handler) -> None:
    body = handler.body()
    handler.reply(body[: len(body) // 2], Content_Length=str(len(body)))


def cut_off_unnoticed(handler: Handler) -> None:
    """Half a body on a connection that ends without having told how much would come."""
    body = handler.body()
    handler.send_response(200)
    handler.end_headers()
    handler.wfile.write(body[: len(body) // 2])


def drip(handler: Handler) -> None:
    """One byte each 20 ms, for ever as far as a test can tell."""
    body = handler.body() + b" " * 10_000
    handler.send_response(200)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    for i in range(len(body)):
        handler.wfile.write(body[i : i + 1])
        handler.wfile.flush()
        time.sleep(0.02)


def packed(handler: Handler) -> None:
    handler.reply(gzip.compress(handler.body()), Content_Encoding="gzip")


def hang_up(handler: Handler) -> None:
    handler.close_connection = True


def silent(handler: Handler) -> None:
    """Say nothing for longer than a test waits."""
    time.sleep(0.6)
    handler.close_connection = True


def header_drip(handler: Handler) -> None:
    """A header that grows by one byte each 20 ms for longer than a test waits."""
    handler.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
    _trickle(handler)


def half_then_drip(handler: Handler) -> None:
    """Half an answer at once, of unknown length, and then a space each 20 ms."""
    body = handler.body()
    handler.send_response(200)
    handler.end_headers()
    handler.wfile.write(body[: len(body) // 2])
    _trickle(handler)


def elsewhere(code: int = 302, target: str = "/elsewhere", *, endless: bool = False) -> Fault:
    """Sends on to another address, if wished with a body that does not end."""

    def send_on(handler: Handler) -> None:
        handler.send_response(code)
        handler.send_header("Location", target)
        if not endless:
            handler.send_header("Content-Length", "0")
        handler.end_headers()
        if endless:
            _trickle(handler)

    return send_on


def node_missing(handler: Handler) -> None:
    """A well-formed answer that lost a node of one of its ways."""
    answer = json.loads(handler.body())
    used = {node for item in answer["elements"] for node in item.get("nodes", ())}
    lost = next(i for i in answer["elements"] if i["type"] == "node" and i["id"] in used)
    answer["elements"].remove(lost)
    handler.reply(json.dumps(answer).encode())


def _trickle(handler: Handler) -> None:
    for _ in range(2000):
        handler.wfile.write(b" ")
        handler.wfile.flush()
        time.sleep(0.02)
    handler.server.patient.append(handler.server.asked[-1])
