"""Random towns of raw tags for hypothesis: streets, what crosses them, barriers, signs, coaches, hours.

Everything that may be found in the tags of a town stands in the tables here beside what it means, worked out
by hand from the rules: heights in tenths of a millimetre, weights in kilograms. The slow reader in
`tagged_reader` uses the tables and nothing of the package.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from hypothesis import strategies as st

from tests.routing.grid_towns import FIRST_WAY, STEP, Sign, Street, _possible_signs
from tests.towns import Town, lonlat

Tags = dict[str, str]

#: A height text: its figure, and whether that may make what it stands at clear.
HEIGHTS: dict[str, tuple[int | None, bool]] = {
    "3.6": (36000, True),
    "4": (40000, True),
    "3.9999": (39999, True),
    "4.2 m": (42000, True),
    "13'6\"": (41148, True),
    "13'": (39624, True),
    "14 ft": (42672, True),
    "15'9\"": (48006, True),
    "4,1": (41000, True),
    "410 cm": (41000, True),
    "4.4;3.8": (38000, True),
    "default;3.9": (39000, False),
    "default;4.9": (49000, False),
    "12.6": (126000, False),
    "none": (None, False),
    "default": (None, False),
    "unsigned": (None, False),
    "below_default": (None, False),
    "low": (None, False),
    "150": (None, False),
}
#: Of these nothing is known: they may hide a figure lower than any other that stands beside them.
UNREAD = frozenset({"low", "150"})
#: The value of a ``:conditional`` tag and its clauses, each a value and a condition of `CONDITIONS`.
CLAUSES: dict[str, tuple[tuple[str, str], ...]] = {
    "3.6 @ (22:00-06:00)": (("3.6", "night"),),
    "3.6 @ wet": (("3.6", "wet"),),
    "3.6 @ (22:00-06:00); 4.2 m @ (Sa,Su)": (("3.6", "night"), ("4.2 m", "weekend")),
    "4.2 m @ (Mo-Fr)": (("4.2 m", "weekday"),),
    "no @ (22:00-06:00)": (("no", "night"),),
    "no @ hgv": (("no", "hgv"),),
    "no @ (length > 10)": (("no", "longer than 10 m"),),
    "no @ (22:00-06:00 AND length > 10)": (("no", "night, longer than 10 m"),),
    "destination @ (22:00-06:00)": (("destination", "night"),),
    "yes @ (06:00-22:00)": (("yes", "day"),),
    "yes @ (Mo-Fr)": (("yes", "weekday"),),
    "5 t @ (22:00-06:00)": (("5 t", "night"),),
    "5 t @ hgv": (("5 t", "hgv"),),
    "2.3 m @ (Sa,Su)": (("2.3 m", "weekend"),),
}
#: Conditions of `CLAUSES` and of signs.
CONDITIONS = ("night", "day", "weekday", "weekend", "wet", "hgv", "longer than 10 m", "heavier than 7.5 t")

WIDTHS = {"2.5": 25000, "8'6\"": 25908, "2.3 m": 23000, "narrow": None, "none": None}
LENGTHS = {"10": 100_000, "35'": 106_680, "14 m": 140_000}
WEIGHTS = {"7.5": 7500, "10 st": 9071, "16000 lbs": 7257, "5 t": 5000, "heavy": None}

#: Kilometres an hour of a maxspeed; None where there is no such tag.
SPEEDS: dict[str | None, float] = {"20": 20, "50": 50, "80": 80, "30 mph": 48.28032, "none": 105, None: 30}

ROAD: tuple[Tags, ...] = (
    *({"highway": "residential"},) * 20,
    {"highway": "track", "maxspeed": "20"},
    {"highway": "track", "tracktype": "grade1", "maxspeed": "20"},
    {"highway": "service", "service": "driveway", "maxspeed": "20"},
    {"highway": "service", "service": "drive-through", "maxspeed": "20"},
)
ACCESS: tuple[Tags, ...] = (
    *({},) * 40,
    {"access": "private"},
    {"access": "destination"},
    {"motor_vehicle": "destination"},
    {"access": "no"},
    {"access": "no", "motorhome": "yes"},
    {"vehicle": "no", "motor_vehicle": "yes"},
    {"motorcar": "no"},
    {"motorcar": "no", "motorhome": "yes"},
    {"trailer": "no"},
    {"caravan": "destination"},
    {"motor_vehicle:backward": "no"},
    {"access:forward": "private"},
    {"hgv": "no"},
    {"motor_vehicle:conditional": "no @ (22:00-06:00)"},
    {"motor_vehicle:conditional": "no @ hgv"},
    {"vehicle:conditional": "no @ (length > 10)"},
    {"access:conditional": "no @ (22:00-06:00 AND length > 10)"},
    {"access:conditional": "destination @ (22:00-06:00)"},
    {"access": "no", "motor_vehicle:conditional": "yes @ (06:00-22:00)"},
    {"access": "private", "motor_vehicle:conditional": "yes @ (Mo-Fr)"},
    {"motor_vehicle": "yes", "access:conditional": "no @ (22:00-06:00)"},
    {"hazmat": "no"},
    {"hazmat:C": "no"},
    {"hazmat:water": "no"},
    {"hazmat": "designated"},
    {"hazmat:conditional": "no @ (22:00-06:00)"},
)
ONEWAY: tuple[Tags, ...] = (
    *({},) * 8,
    {"oneway": "yes"},
    {"oneway": "-1"},
    {"oneway": "no"},
    {"oneway:conditional": "yes @ (22:00-06:00)"},
)
LIMIT: tuple[Tags, ...] = (
    *({},) * 40,
    *({key: text} for key in ("maxwidth", "maxwidth:physical", "maxwidth:forward") for text in WIDTHS),
    *({key: text} for key in ("maxlength", "maxlength:backward") for text in LENGTHS),
    *({key: text} for key in ("maxweight", "maxweight:hgv") for text in WEIGHTS),
    {"maxweight:conditional": "5 t @ (22:00-06:00)"},
    {"maxweight:conditional": "5 t @ hgv"},
    {"maxwidth:conditional": "2.3 m @ (Sa,Su)"},
)
COVER: tuple[Tags, ...] = (
    *({},) * 18,
    {"tunnel": "yes"},
    {"tunnel": "yes", "layer": "-1"},
    {"tunnel": "building_passage"},
    {"covered": "yes"},
    {"bridge": "yes", "layer": "1"},
    {"bridge": "yes"},
    {"layer": "-1"},
)
#: Lines over a street, or under it, or who knows.
LINES: tuple[Tags, ...] = (
    {"railway": "rail", "bridge": "yes", "layer": "1"},
    {"railway": "rail", "bridge": "yes"},
    {"railway": "rail", "layer": "1"},
    {"railway": "rail"},
    {"railway": "rail", "layer": "-1"},
    {"railway": "rail", "tunnel": "yes", "layer": "-2"},
    {"railway": "rail", "bridge": "yes", "layer": "-1"},
    {"railway": "rail", "bridge": "yes", "layer": "1", "maxheight": "3.6"},
    {"railway": "rail", "bridge": "yes", "layer": "1", "maxheight": "4.2 m"},
    {"railway": "abandoned"},
    {"railway": "abandoned", "bridge": "yes"},
    {"highway": "footway", "bridge": "yes", "layer": "1"},
    {"highway": "footway"},
    {"highway": "footway", "tunnel": "yes"},
    {"highway": "service", "bridge": "yes", "layer": "1"},
    {"highway": "service"},
    {"highway": "proposed", "bridge": "yes", "layer": "1"},
    {"waterway": "canal", "bridge": "aqueduct", "layer": "1"},
    {"waterway": "stream"},
    {"man_made": "gantry"},
    {"man_made": "pipeline", "location": "overhead"},
    {"man_made": "pipeline", "location": "underground"},
    {"man_made": "pipeline"},
)
CORNER: tuple[Tags, ...] = (
    *({},) * 60,
    {"highway": "turning_loop"},
    {"barrier": "gate"},
    {"barrier": "gate", "access": "yes"},
    {"barrier": "gate", "access": "private"},
    {"barrier": "bollard"},
    {"barrier": "bollard", "access": "yes"},
    {"barrier": "bollard", "motor_vehicle": "yes"},
    {"barrier": "lift_gate", "access": "no"},
    {"barrier": "cattle_grid"},
    {"barrier": "gate", "access": "yes", "trailer": "no"},
    {"barrier": "gate", "access": "yes", "motor_vehicle:conditional": "no @ (22:00-06:00)"},
    {"barrier": "gate", "access": "yes", "maxwidth": "2.3 m"},
    {"barrier": "gate", "access": "yes", "maxweight": "16000 lbs"},
    {"barrier": "height_restrictor"},
    *(
        {"barrier": "height_restrictor", "maxheight": text}
        for text in ("3.6", "4", "13'6\"", "15'9\"", "low")
    ),
    {"barrier": "height_restrictor", "maxheight:conditional": "3.6 @ (22:00-06:00)"},
    {"maxheight": "3.6"},
    {"maxheight": "4.2 m"},
)
#: How a sign is written: the key of its value, a condition, more tags, and whom it binds.
#: `{}` stands for the value. Bound are "all", "coach" (a motorhome), "towing", or "none" of ours.
SIGNS: tuple[tuple[str, str, Tags, str, str], ...] = (
    *(("restriction", "{}", {}, "", "all"),) * 6,
    ("restriction", "{}", {"except": "motor_vehicle"}, "", "none"),
    ("restriction", "{}", {"except": "motorhome"}, "", "none"),
    ("restriction", "{}", {"except": "motorcar"}, "", "coach"),
    ("restriction", "{}", {"except": "hgv;bus"}, "", "all"),
    ("restriction", "{}", {"hour_on": "07:00", "hour_off": "09:00"}, "wet", "all"),
    ("restriction:hgv", "{}", {}, "", "none"),
    ("restriction:motorhome", "{}", {}, "", "coach"),
    ("restriction:caravan", "{}", {}, "", "towing"),
    ("restriction:conditional", "{} @ (22:00-06:00)", {}, "night", "all"),
    ("restriction:conditional", "{} @ (06:00-22:00)", {}, "day", "all"),
    ("restriction:conditional", "{} @ (weight > 7.5)", {}, "heavier than 7.5 t", "all"),
)


@dataclass(frozen=True)
class Line:
    """Something that crosses a street at a position, counted in corners from the street's first."""

    street: int
    position: float
    tags: Tags


@dataclass(frozen=True)
class Vehicle:
    """A coach; lengths in tenths of a millimetre, the weight in kilograms."""

    need: int
    comfort: int
    width: int | None
    length: int | None
    weight: int | None
    towing: bool
    reversible: bool
    propane: bool


@dataclass(frozen=True)
class TaggedTown:
    """Corners are numbered along the rows of a grid; streets go from corner to corner."""

    width: int
    height: int
    streets: tuple[Street, ...]
    tags: dict[int, Tags]
    lines: tuple[Line, ...]
    corners: dict[int, Tags]
    signs: tuple[tuple[Sign, int], ...]
    country: str
    start: tuple[int, int]

    def xy(self, corner: int) -> tuple[float, float]:
        return corner % self.width * STEP, corner // self.width * STEP

    def middle(self, segment: tuple[int, int]) -> tuple[float, float]:
        (ax, ay), (bx, by) = (lonlat(*self.xy(corner)) for corner in segment)
        return (ax + bx) / 2, (ay + by) / 2

    def segments(self) -> list[tuple[int, int]]:
        return [pair for street in self.streets for pair in pairwise(street.nodes)]

    def town(self) -> Town:
        """The elements. Every corner is a place to turn, so that each segment is a piece of its own."""
        town = Town()
        for corner in range(self.width * self.height):
            town.node(corner + 1, *self.xy(corner), {"highway": "turning_circle", **self.corners[corner]})
        for street in self.streets:
            town.way(street.ref, [corner + 1 for corner in street.nodes], self.tags[street.ref])
        for i, line in enumerate(self.lines):
            nodes = next(s.nodes for s in self.streets if s.ref == line.street)
            at = int(line.position)
            (ax, ay), (bx, by) = self.xy(nodes[at]), self.xy(nodes[at + 1])
            part = line.position - at
            x, y = ax + part * (bx - ax), ay + part * (by - ay)
            over = (0.0, 12.0) if ay == by else (12.0, 0.0)
            town.node(300 + 2 * i, x - over[0], y - over[1])
            town.node(301 + 2 * i, x + over[0], y + over[1])
            town.way(3000 + i, [300 + 2 * i, 301 + 2 * i], line.tags)
        for i, (sign, how) in enumerate(self.signs):
            key, value, more, _, _ = SIGNS[how]
            via = ("w", sign.via, "via") if sign.via >= FIRST_WAY else ("n", sign.via + 1, "via")
            town.relation(
                5000 + i,
                [("w", sign.from_way, "from"), via, ("w", sign.to_way, "to")],
                {
                    "type": "restriction",
                    key: value.format(f"{'only' if sign.only else 'no'}_left_turn"),
                    **more,
                },
            )
        if self.country:
            town.node(900, -4000, -4000, {"addr:country": self.country})
        return town


WHEN: dict[str, datetime | None] = {
    "day": datetime(2026, 3, 4, 12),  # a Wednesday
    "night": datetime(2026, 3, 4, 23),
    "unknown": None,
}

_height_key = st.sampled_from(
    ("maxheight",) * 5 + ("maxheight:physical", "maxheight:legal", "maxheight:forward", "maxheight:backward")
)


@st.composite
def _heights(draw: st.DrawFn) -> Tags:
    tags = draw(st.dictionaries(_height_key, st.sampled_from(sorted(HEIGHTS)), min_size=1, max_size=2))
    if draw(st.integers(0, 3)) == 3:
        tags["maxheight:conditional"] = draw(st.sampled_from([c for c in CLAUSES if c[0].isdigit()][:4]))
    return tags


@st.composite
def vehicles(draw: st.DrawFn) -> Vehicle:
    need = draw(st.sampled_from((36000, 39624, 40000, 40000, 41148)))
    towing = draw(st.booleans())
    return Vehicle(
        need=need,
        comfort=draw(st.sampled_from((need, 43000))),
        width=draw(st.sampled_from((None, 25000, 25908))),
        length=draw(st.sampled_from((None, 90_000, 106_680, 120_000))),
        weight=draw(st.sampled_from((None, 7000, 7257, 11_793))),
        towing=towing,
        reversible=towing and draw(st.booleans()),
        propane=draw(st.booleans()),
    )


@st.composite
def tagged_towns(draw: st.DrawFn) -> TaggedTown:
    """Streets on a small grid with every kind of tag that bears on a drive."""
    width, height = draw(st.sampled_from(((2, 2), (3, 2), (2, 4), (3, 3), (4, 3))))
    lines = [[y * width + x for x in range(width)] for y in range(height)]
    lines += [[y * width + x for y in range(height)] for x in range(width)]
    streets: list[Street] = []
    tags: dict[int, Tags] = {}
    crossing: list[Line] = []
    for row in lines:
        at = 0
        while at < len(row) - 1:
            length = draw(st.integers(1, len(row) - 1 - at))
            if draw(st.integers(0, 11)) < 11:
                ref = FIRST_WAY + len(streets)
                streets.append(Street(ref, tuple(row[at : at + length + 1]), "", 0))
                speed = draw(st.sampled_from(list(SPEEDS)))
                tags[ref] = {
                    **({} if speed is None else {"maxspeed": speed}),
                    **draw(st.sampled_from(ROAD)),
                    **draw(st.sampled_from(ACCESS)),
                    **draw(st.sampled_from(ONEWAY)),
                    **draw(st.sampled_from(LIMIT)),
                    **draw(st.sampled_from(COVER)),
                    **(draw(_heights()) if draw(st.integers(0, 3)) == 3 else {}),
                }
                crossing += [
                    Line(ref, place + part, draw(st.sampled_from(LINES)))
                    for place in range(length)
                    for part in (0.25, 0.75)
                    if draw(st.integers(0, 7)) == 7
                ]
            at += length
    if not streets:
        streets, tags = [Street(FIRST_WAY, (0, 1), "", 0)], {FIRST_WAY: {"highway": "residential"}}
    at_corners, over_streets = _possible_signs(streets)
    signs = draw(st.lists(st.sampled_from(at_corners), max_size=3)) if at_corners else []
    signs += draw(st.lists(st.sampled_from(over_streets), max_size=2)) if over_streets else []
    return TaggedTown(
        width=width,
        height=height,
        streets=tuple(streets),
        tags=tags,
        lines=tuple(crossing),
        corners={corner: draw(st.sampled_from(CORNER)) for corner in range(width * height)},
        signs=tuple((sign, draw(st.integers(0, len(SIGNS) - 1))) for sign in dict.fromkeys(signs)),
        country=draw(st.sampled_from(("", "", "DE", "FR"))),
        start=draw(st.sampled_from([pair for street in streets for pair in pairwise(street.nodes)])),
    )


def with_tags(town: TaggedTown, ref: int, tags: Tags) -> TaggedTown:
    """The same town with other tags on one street."""
    return replace(town, tags={**town.tags, ref: tags})
