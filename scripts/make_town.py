"""Makes the invented town in data_samples: pellowick.toml, a description to read, becomes pellowick.osm.

Run: .venv/bin/python scripts/make_town.py

The format of a description is told at its head. The same description always makes the same bytes.
"""

from __future__ import annotations

import sys
import tomllib
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.sax.saxutils import quoteattr

SAMPLES = Path(__file__).resolve().parent.parent / "data_samples"
TOWNS = ("pellowick",)

#: Metres per degree at 45 N on WGS84; good to one part in a thousand over a town of a few kilometres.
M_PER_LON, M_PER_LAT = 78846.8, 111131.8

#: Sections whose pieces are ways, in the order in which they are written down.
LINES = ("street", "railway", "overhead", "water", "area")
#: Words of a piece that are no tags.
OWN_WORDS = frozenset({"id", "line", "at", "trap"})

Point = tuple[int, int]


class TownError(ValueError):
    """A description that cannot be meant; the message names the piece."""


@dataclass(frozen=True)
class Piece:
    """One way: its id, its points on the grid, its tags, and the rule it puts to the test."""

    id: int
    points: tuple[Point, ...]
    tags: dict[str, str]
    trap: str = ""


@dataclass(frozen=True)
class Relation:
    """A turn restriction or a multipolygon: members as (type, reference, role)."""

    id: int
    members: tuple[tuple[str, int, str], ...]
    tags: dict[str, str]
    trap: str = ""


@dataclass(frozen=True)
class Town:
    """A whole description, read and checked."""

    name: str
    lon: float
    lat: float
    timestamp: str
    ways: tuple[Piece, ...]
    points: dict[Point, dict[str, str]]
    relations: tuple[Relation, ...]
    traps: dict[str, str] = field(default_factory=dict)

    def lonlat(self, point: Point) -> tuple[str, str]:
        """The WGS84 longitude and latitude of a grid point, seven decimals as OpenStreetMap keeps."""
        x, y = point
        return f"{self.lon + x / M_PER_LON:.7f}", f"{self.lat + y / M_PER_LAT:.7f}"


def node_id(point: Point) -> int:
    """The node id of a grid point: 10000 + x, then 10000 + y, so that an edit elsewhere changes no id."""
    x, y = point
    return (10_000 + x) * 100_000 + 10_000 + y


def point_of(text: str, where: str) -> Point:
    """The grid point written ``x,y``; raises TownError off the grid."""
    try:
        x, y = (int(part) for part in text.split(","))
    except ValueError as error:
        raise TownError(f"{where}: {text!r} is not x,y in whole metres") from error
    if not (-9_999 <= x <= 9_999 and -9_999 <= y <= 9_999):
        raise TownError(f"{where}: {text!r} is off the grid")
    return x, y


def tags_of(piece: dict[str, Any], shared: dict[str, str], where: str) -> dict[str, str]:
    """The tags of a piece over those it shares; every value must be text."""
    tags = {**shared, **{key: value for key, value in piece.items() if key not in OWN_WORDS}}
    for key, value in tags.items():
        if not isinstance(value, str):
            raise TownError(f"{where}: {key} = {value!r} must be a text in quotes")
    return tags


def read_ways(data: dict[str, Any]) -> tuple[Piece, ...]:
    """All pieces that are ways, sorted by id; raises TownError for a used id or a short line."""
    ways: dict[int, Piece] = {}
    for section in LINES:
        for group in data.get(section, []):
            for piece in group["pieces"]:
                ref = piece["id"]
                where = f"{section} {ref}"
                points = tuple(point_of(text, where) for text in piece["line"].split())
                if section == "area":
                    points += points[:1]
                if len(points) < 2 or any(a == b for a, b in pairwise(points)):
                    raise TownError(f"{where}: a line needs two points, none twice in a row")
                if ref in ways:
                    raise TownError(f"{where}: the id is used twice")
                tags = tags_of(piece, group.get("tags", {}), where)
                ways[ref] = Piece(ref, points, tags, piece.get("trap", ""))
    return tuple(ways[ref] for ref in sorted(ways))


def read_relations(data: dict[str, Any], ways: dict[int, Piece]) -> tuple[Relation, ...]:
    """Turn restrictions and multipolygons; raises TownError where members do not touch."""
    relations = []
    for turn in data.get("turn", []):
        where = f"turn {turn['id']}"
        start, end, via = turn["from"], turn["to"], turn.get("via")
        for ref in [start, end, *([via] if isinstance(via, int) else [])]:
            if ref not in ways:
                raise TownError(f"{where}: there is no way {ref}")
        members = [("way", start, "from")]
        if isinstance(via, int):
            members.append(("way", via, "via"))
            touch = [(start, via), (via, end)]
            if any(not _ends(ways[a]) & _ends(ways[b]) for a, b in touch):
                raise TownError(f"{where}: way {via} does not lead from {start} to {end}")
        elif via is not None:
            point = point_of(via, where)
            if point not in _ends(ways[start]) & _ends(ways[end]):
                raise TownError(f"{where}: {via} is not an end of both {start} and {end}")
            members.append(("node", node_id(point), "via"))
        members.append(("way", end, "to"))
        tags = {"type": "restriction", **turn["tags"]}
        relations.append(Relation(turn["id"], tuple(members), tags, turn.get("trap", "")))
    for shape in data.get("multipolygon", []):
        outer = tuple(("way", ref, "outer") for ref in shape["outer"])
        relations.append(Relation(shape["id"], outer, {"type": "multipolygon", **shape["tags"]}))
    return tuple(sorted(relations, key=lambda relation: relation.id))


def _ends(way: Piece) -> set[Point]:
    return {way.points[0], way.points[-1]}


def read_town(path: Path) -> Town:
    """The town described in a file; raises TownError or tomllib.TOMLDecodeError."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    ways = read_ways(data)
    points: dict[Point, dict[str, str]] = {}
    traps = {f"way/{way.id}": way.trap for way in ways if way.trap}
    for group in data.get("point", []):
        for piece in group["pieces"]:
            point = point_of(piece["at"], "point")
            if point in points:
                raise TownError(f"point {piece['at']}: told twice")
            points[point] = tags_of(piece, {}, f"point {piece['at']}")
            if "trap" in piece:
                traps[f"node/{node_id(point)}"] = piece["trap"]
    relations = read_relations(data, {way.id: way for way in ways})
    traps |= {f"relation/{relation.id}": relation.trap for relation in relations if relation.trap}
    town = data["town"]
    return Town(town["name"], town["lon"], town["lat"], town["timestamp"], ways, points, relations, traps)


def osm_xml(town: Town) -> str:
    """The town as OpenStreetMap XML 0.6: nodes, ways, relations, each sorted by id."""
    stamp = f'version="1" timestamp="{town.timestamp}" changeset="1" visible="true"'
    points = sorted({p for way in town.ways for p in way.points} | set(town.points), key=node_id)
    west, east = (town.lonlat((f(x for x, _ in points), 0))[0] for f in (min, max))
    south, north = (town.lonlat((0, f(y for _, y in points)))[1] for f in (min, max))
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f"<!-- {town.name} is an invented town on open ocean. Made by scripts/make_town.py; do not edit. -->",
        '<osm version="0.6" generator="scripts/make_town.py">',
        f' <bounds minlat="{south}" minlon="{west}" maxlat="{north}" maxlon="{east}"/>',
    ]
    for point in points:
        lon, lat = town.lonlat(point)
        head = f' <node id="{node_id(point)}" {stamp} lat="{lat}" lon="{lon}"'
        lines += _element(head, "node", [], town.points.get(point, {}))
    for way in town.ways:
        refs = [f'  <nd ref="{node_id(point)}"/>' for point in way.points]
        lines += _element(f' <way id="{way.id}" {stamp}', "way", refs, way.tags)
    for relation in town.relations:
        members = [f'  <member type="{t}" ref="{ref}" role="{role}"/>' for t, ref, role in relation.members]
        lines += _element(f' <relation id="{relation.id}" {stamp}', "relation", members, relation.tags)
    return "\n".join([*lines, "</osm>", ""])


def _element(head: str, kind: str, inner: list[str], tags: dict[str, str]) -> list[str]:
    inner = [*inner, *(f"  <tag k={quoteattr(key)} v={quoteattr(tags[key])}/>" for key in sorted(tags))]
    return [f"{head}>", *inner, f" </{kind}>"] if inner else [f"{head}/>"]


def main() -> int:
    """Makes NAME.osm from NAME.toml for each town."""
    for name in TOWNS:
        path = SAMPLES / f"{name}.toml"
        try:
            text = osm_xml(read_town(path))
        except (OSError, TownError, tomllib.TOMLDecodeError) as error:
            print(f"{path}: {error}", file=sys.stderr)
            return 1
        out = path.with_suffix(".osm")
        out.write_text(text, encoding="utf-8", newline="\n")
        print(f"{out.relative_to(SAMPLES.parent)}: {text.count('<way ')} ways, {text.count('<node ')} nodes")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
