"""What a slow reader says of the drives of a tagged town.

Written from the rules for tags and drives alone; shares no code with the package. It walks from segment to
segment with the whole of what it drove last in hand, and leaves the searching to networkx.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import networkx as nx
from pyproj import Geod

from tests.routing.grid_towns import FIRST_WAY, Sign, Step
from tests.routing.tagged_towns import (
    CLAUSES,
    HEIGHTS,
    LENGTHS,
    SIGNS,
    SPEEDS,
    UNREAD,
    WEIGHTS,
    WIDTHS,
    Line,
    TaggedTown,
    Tags,
    Vehicle,
)

OPEN, ENDS, CLOSED = 0, 1, 2
UNVERIFIED_S, TIGHT_S = 900.0, 240.0
TURN_S, TURN_TOWING_S = 1800.0, 7200.0
#: What an unverified structure counts where nothing tells whether a path or a pipeline is above at all, and
#: where the rule of a country promises enough.
SLIGHT, PROMISED = 0.1, 0.5
#: The least height of what has no sign and is called ordinary, by country.
ORDINARY = {"DE": 45000, "FR": 43000}

ACCESS_WORDS = {"yes": OPEN, "designated": OPEN, "private": ENDS, "destination": ENDS, "no": CLOSED}


class AmbiguousError(Exception):
    """The rules do not say what comes out, as where two parts are the largest."""


@dataclass(frozen=True)
class Over:
    """Something over a segment or at a corner, as it is to a vehicle driven one way."""

    lowest: int | None
    verified: bool
    weight: float
    #: Which segments it is on, with the part of one passage; where on a single one, else 0 to 1.
    share: dict[frozenset[int], float]
    at: float | None
    #: Segments that the figure closes if it is too low, passed or not.
    all_of: frozenset[frozenset[int]]


@dataclass
class Reader:
    """A town as it is to one vehicle at one time (``day``, ``night``, ``unknown``)."""

    town: TaggedTown
    vehicle: Vehicle
    when: str
    lift: frozenset[str] = frozenset()
    _opened: dict[object, frozenset[object]] = field(default_factory=dict)

    # --- conditions ---

    def known(self, condition: str) -> str:
        """Whether a condition is ``on``, ``off`` or may be either (``?``) for the whole drive."""
        v = self.vehicle
        if condition == "":
            return "on"
        if ", " in condition:
            parts = [self.known(part) for part in condition.split(", ")]
            return "off" if "off" in parts else "on" if set(parts) == {"on"} else "?"
        if condition == "hgv":
            return "off"
        if condition == "longer than 10 m":
            return "?" if v.length is None else "on" if v.length > 100_000 else "off"
        if condition == "heavier than 7.5 t":
            return "?" if v.weight is None else "on" if v.weight > 7500 else "off"
        if condition == "wet" or self.when == "unknown":
            return "?"
        return {
            "night": "on" if self.when == "night" else "off",
            "day": "on" if self.when == "day" else "off",
            "weekday": "on",
            "weekend": "off",
        }[condition]

    # --- ways in and out ---

    def tags_of(self, street: int) -> Tags:
        return self.town.tags[street]

    def _access(self, tags: Tags, mode: str, ahead: bool) -> tuple[int, int, str]:
        """Static access, how special the key is that told, and the key."""
        side = "forward" if ahead else "backward"
        for rank, key in enumerate((mode, "motor_vehicle", "vehicle", "access")):
            for name in (f"{key}:{side}", key):
                if name in tags:
                    return ACCESS_WORDS[tags[name]], rank, key
        if tags.get("barrier", "no") != "no":
            kinds = {"gate": ENDS, "lift_gate": ENDS, "cattle_grid": OPEN, "height_restrictor": OPEN}
            return kinds.get(tags["barrier"], CLOSED), 4, ""
        if tags.get("service") == "driveway":
            return ENDS, 4, ""
        return OPEN, 4, ""

    def _static(self, tags: Tags, mode: str, ahead: bool) -> tuple[int, int]:
        access, rank, key = self._access(tags, mode, ahead)
        if tags.get("barrier") == "bollard" and key == "access":
            access = CLOSED  # meant for those on foot
        if mode == "motorhome" and "motorcar" in tags and "motorhome" not in tags:
            access = max(access, ACCESS_WORDS[tags["motorcar"]])
        if tags.get("highway") == "track" and tags.get("tracktype") != "grade1" and rank > 1:
            access = max(access, ENDS)
        return access, rank

    def access_now(self, tags: Tags, ahead: bool) -> int:
        base, rank = self._static(tags, "motorhome", ahead)
        if self.vehicle.towing:
            for key in ("trailer", "caravan"):
                base = max(base, ACCESS_WORDS.get(tags.get(key, "yes"), OPEN))
        told: list[tuple[int, str]] = []
        for n, key in enumerate(("motorhome", "motor_vehicle", "vehicle", "access")):
            name = f"{key}:conditional"
            if name in tags and n <= rank:
                told += [(ACCESS_WORDS[value], condition) for value, condition in CLAUSES[tags[name]]]
        opening = [value for value, c in told if value < base and self.known(c) == "on"]
        access = max(opening) if opening else base
        return max([access, *(value for value, c in told if value >= base and self.known(c) != "off")])

    def way_open(self, tags: Tags, ahead: bool) -> bool:
        """Whether traffic may go this way at all."""
        oneway = tags.get("oneway", "no")
        if not ahead and "oneway:conditional" in tags:
            return False
        return {"no": True, "yes": ahead, "-1": not ahead}[oneway]

    @cached_property
    def steps(self) -> list[Step]:
        """All segments that some coach or car might ever drive, in each direction."""
        found = []
        for street in self.town.streets:
            tags = self.tags_of(street.ref)
            for a, b in pairwise(street.nodes):
                found += [Step(a, b, street.ref)] if self._ever(tags, True) else []
                found += [Step(b, a, street.ref)] if self._ever(tags, False) else []
        return found

    def _ever(self, tags: Tags, ahead: bool) -> bool:
        if not self.way_open(tags, ahead):
            return False
        for mode in ("motorhome", "motorcar"):
            access, rank = self._static(tags, mode, ahead)
            names = [
                f"{key}:conditional"
                for n, key in enumerate((mode, "motor_vehicle", "vehicle", "access"))
                if n <= rank
            ]
            opens = any(
                ACCESS_WORDS[value] < CLOSED
                for name in names
                if name in tags
                for value, _ in CLAUSES[tags[name]]
            )
            if access < CLOSED or opens:
                return True
        return False

    def ahead(self, step: Step) -> bool:
        nodes = self.nodes_of(step.street)
        return (step.a, step.b) in list(pairwise(nodes))

    def nodes_of(self, street: int) -> tuple[int, ...]:
        return next(s.nodes for s in self.town.streets if s.ref == street)

    # --- limits ---

    def _limited(self, tags: Tags, ahead: bool | None) -> bool:
        """Whether a width, length or weight closes this; `ahead` None: a corner, where either way counts."""
        v = self.vehicle
        for what, own, texts in (
            ("maxwidth", v.width, WIDTHS),
            ("maxlength", v.length, LENGTHS),
            ("maxweight", v.weight, WEIGHTS),
        ):
            if own is None:
                continue
            names = [what, f"{what}:physical"]
            names += [f"{what}:forward"] if ahead in (True, None) else []
            names += [f"{what}:backward"] if ahead in (False, None) else []
            limits = [texts[tags[name]] for name in names if name in tags]
            for value, condition in CLAUSES[tags[name]] if (name := f"{what}:conditional") in tags else ():
                limits += [texts[value]] if self.known(condition) != "off" else []
            if any(limit is not None and limit < own for limit in limits):
                return True
        return False

    def shut(self, step: Step) -> bool:
        """Whether anything but a structure closes a step to the coach."""
        tags, ahead = self.tags_of(step.street), self.ahead(step)
        if self.access_now(tags, ahead) == CLOSED or self._limited(tags, ahead):
            return True
        if tags.get("service") == "drive-through":
            return True
        if self.vehicle.propane:
            if tags.get("hazmat") == "no" or tags.get("hazmat:C") == "no":
                return True
            told = CLAUSES[tags["hazmat:conditional"]] if "hazmat:conditional" in tags else ()
            return any(self.known(condition) != "off" for _, condition in told)
        return False

    # --- heights ---

    def _figures(self, tags: Tags, ahead: bool | None) -> list[tuple[int, bool]] | None:
        """Figures that may hold with whether each may clear; None where no tag speaks of a height."""
        names = [name for name in tags if name.startswith("maxheight")]
        if not names:
            return None
        sides = {True: "forward", False: "backward"}

        def counts(name: str) -> bool:
            return ahead is None or not name.endswith(f":{sides[not ahead]}")

        hidden = any(tags[name] in UNREAD for name in names if counts(name))
        found = []
        for name in names:
            if not counts(name):
                continue
            if name == "maxheight:conditional":
                for value, condition in CLAUSES[tags[name]]:
                    figure, _ = HEIGHTS[value]
                    if figure is not None and self.known(condition) != "off":
                        found.append((figure, False))
                continue
            figure, clears = HEIGHTS[tags[name]]
            # What cannot be read in either direction may hide something of a figure for both.
            plain = name in ("maxheight", "maxheight:physical", "maxheight:legal")
            doubt = hidden or (plain and any(tags[other] in UNREAD for other in names))
            if figure is not None:
                found.append((figure, clears and not doubt))
        return found

    @staticmethod
    def _order(road: Tags, other: Tags) -> str:
        """Where a line lies as seen from a road that it crosses: above, below, untold."""

        def raised(tags: Tags) -> int:
            up = tags.get("bridge", "no") != "no" or tags.get("location") == "overhead"
            down = tags.get("tunnel", "no") != "no" or tags.get("location") == "underground"
            return up - down

        layers = int(other.get("layer", "0")) - int(road.get("layer", "0"))
        built = raised(other) - raised(road)
        if layers * built < 0 or layers == built == 0:
            return "above" if other.get("man_made") == "gantry" else "untold"
        return "above" if layers + built > 0 else "below"

    @staticmethod
    def _is_there(tags: Tags) -> bool:
        """Whether a line is of a kind that can stand over a road."""
        spans = "bridge" in tags or int(tags.get("layer", "0")) > 0
        if tags.get("railway") == "abandoned" or "waterway" in tags:
            return spans
        return tags.get("highway") != "proposed"

    def _crossings(self, street: int) -> list[tuple[Line, str]]:
        """The lines that are or may be over a street."""
        road = self.tags_of(street)
        found = []
        for line in self.town.lines:
            if line.street != street or not self._is_there(line.tags):
                continue
            order = self._order(road, line.tags)
            # Over a tunnel the ground is another story: what matters there are bridges and railways. Every
            # tunnel of these towns is longer than an underpass.
            ground = road.get("tunnel", "no") != "no" and not (
                line.tags.get("bridge", "no") != "no"
                or line.tags.get("location") == "overhead"
                or "railway" in line.tags
            )
            if order != "below" and not ground:
                found.append((line, order))
        return found

    def _metres(self, a: int, b: int) -> float:
        (ax, ay), (bx, by) = self.place(a), self.place(b)
        return float(Geod(ellps="WGS84").inv(ax, ay, bx, by)[2])

    def place(self, corner: int) -> tuple[float, float]:
        from tests.towns import lonlat

        return lonlat(*self.town.xy(corner))

    def _cover(self, street: int) -> str:
        """The kind of cover that a street runs under by its own tags; empty where there is none."""
        tags = self.tags_of(street)
        if tags.get("service") == "drive-through":
            return "lane"
        if tags.get("tunnel") == "building_passage":
            return "passage"
        if tags.get("tunnel") == "yes":
            return "tunnel"
        if tags.get("covered") == "yes":
            return "covered bridge" if tags.get("bridge") == "yes" else "covered"
        return ""

    def _segments(self, street: int) -> list[frozenset[int]]:
        return [frozenset(pair) for pair in pairwise(self.nodes_of(street))]

    def _one_tunnel(self, street: int) -> list[int]:
        """All streets of the tunnel or cover that a street is part of."""

        def plain(ref: int) -> bool:
            return (
                self._cover(ref) in ("tunnel", "covered") and self._figures(self.tags_of(ref), None) is None
            )

        meeting = nx.Graph()
        meeting.add_node(street)
        refs = [s.ref for s in self.town.streets]
        through: dict[int, list[int]] = {}
        for ref in refs:
            for corner in self.nodes_of(ref):
                through.setdefault(corner, []).append(ref)
        for here in through.values():
            if (
                len(here) == 2
                and all(plain(ref) for ref in here)
                and self._cover(here[0]) == self._cover(here[1])
            ):
                corner = next(c for c, there in through.items() if there is here)
                if all(corner in (self.nodes_of(r)[0], self.nodes_of(r)[-1]) for r in here):
                    meeting.add_edge(*here)
        return sorted(nx.node_connected_component(meeting, street)) if plain(street) else [street]

    def _promise(self, tags: Tags, more: list[tuple[str, Tags]], kind: str) -> float:
        """The weight of a structure that nothing verifies, by what its country's rule promises."""
        if kind not in ("line", "tunnel", "passage", "covered bridge") or self.town.country not in ORDINARY:
            return 1.0
        if tags["highway"] in ("service", "track"):
            return 1.0
        texts = [t[name] for t in (tags, *(t for _, t in more)) for name in t if name.startswith("maxheight")]
        if "default" not in texts or UNREAD.intersection(texts) or "below_default" in texts:
            return 1.0
        return PROMISED if ORDINARY[self.town.country] >= self.vehicle.need else 1.0

    def _always_verified(self, figures: dict[bool, list[tuple[int, bool]] | None]) -> bool:
        return all(any(clears for _, clears in told or ()) for told in figures.values())

    def over(self, street: int, ahead: bool) -> list[Over]:
        """Everything that stands over a street."""
        tags = self.tags_of(street)
        told = {way: self._figures(tags, way) for way in (True, False)}
        own = told[ahead]
        whole = frozenset(self._segments(street))
        found: list[Over] = []
        crossings = self._crossings(street)
        for line, order in crossings:
            posted = self._figures(line.tags, None) or []
            figures = [*(own or []), *((figure, False) for figure, _ in posted)]
            slight = order == "untold" and (
                line.tags.get("highway") == "footway"
                or (line.tags.get("man_made") == "pipeline" and "location" not in line.tags)
            )
            weight = SLIGHT if slight else 1.0
            if order == "above" and not self._always_verified(told):
                weight *= self._promise(tags, [("line", line.tags)], "line")
            at = int(line.position)
            nodes = self.nodes_of(street)
            segment = frozenset((nodes[at], nodes[at + 1]))
            found.append(
                Over(
                    lowest=min((f for f, _ in figures), default=None),
                    verified=any(clears for _, clears in figures),
                    weight=weight,
                    share={segment: 1.0},
                    at=line.position - at,
                    all_of=whole if own is not None or told[not ahead] is not None else frozenset(),
                )
            )
        kind = self._cover(street)
        if not kind:
            words = [tags[name] for name in tags if name.startswith("maxheight")]
            beneath = any(order == "above" for _, order in crossings)
            if not words or beneath or set(words) == {"none"}:
                return found
        # A part of a tunnel that nobody may drive is no part of anybody's passage.
        driven = {step.street for step in self.steps}
        parts = [ref for ref in self._one_tunnel(street) if ref in driven]
        metres = {
            frozenset(pair): self._metres(*pair) for ref in parts for pair in pairwise(self.nodes_of(ref))
        }
        found.append(
            Over(
                lowest=min((f for f, _ in own or ()), default=None),
                verified=any(clears for _, clears in own or ()),
                weight=1.0 if self._always_verified(told) else self._promise(tags, [], kind),
                share={s: m / sum(metres.values()) for s, m in metres.items() if s in whole},
                at=None,
                all_of=frozenset(),
            )
        )
        return found

    def _standing(self, lowest: int | None, verified: bool) -> str:
        if lowest is not None and lowest < self.vehicle.need:
            return "too low"
        if not verified or lowest is None:
            return "unverified"
        return "tight" if lowest < max(self.vehicle.comfort, self.vehicle.need) else "clear"

    def met(self, step: Step, start: float, end: float) -> list[tuple[str, int | None, float]]:
        """What is met on a part of a step: standing, lowest figure, seconds (infinite where closed)."""
        ahead = self.ahead(step)
        segment = frozenset((step.a, step.b))
        found = []
        for over in self.over(step.street, ahead):
            standing = self._standing(over.lowest, over.verified)
            share = over.share.get(segment, 0.0)
            if over.at is not None and share:
                nodes = self.nodes_of(step.street)
                way = next((p, q) for p, q in pairwise(nodes) if {p, q} == segment)
                at = over.at if way == (step.a, step.b) else 1 - over.at
                share = share if start <= at <= end else 0.0
            if standing == "too low" and (share or segment in over.all_of):
                found.append((standing, over.lowest, float("inf")))
            elif share:
                extra = {"unverified": UNVERIFIED_S * over.weight, "tight": TIGHT_S}.get(standing, 0.0)
                found.append((standing, over.lowest, extra * share))
        return found

    def seconds(self, step: Step, start: float, end: float) -> float:
        """Seconds on a part of a step, with the policy's; infinite where it is closed."""
        if self.shut(step):
            return float("inf")
        speed = min(SPEEDS[self.tags_of(step.street).get("maxspeed")], 105.0)
        if "maxspeed" not in self.tags_of(step.street):
            speed = {"residential": 30.0, "service": 15.0, "track": 12.0}[
                self.tags_of(step.street)["highway"]
            ]
        driving = self._metres(step.a, step.b) * (end - start) / (speed / 3.6)
        return driving + sum(extra for _, _, extra in self.met(step, start, end))

    # --- corners ---

    def at_corner(self, corner: int) -> list[tuple[str, int | None, float]]:
        """What stands at a corner."""
        tags = self.town.corners[corner]
        figures = self._figures(tags, None)
        if figures is None and tags.get("barrier") != "height_restrictor":
            return []
        lowest = min((f for f, _ in figures or ()), default=None)
        standing = self._standing(lowest, any(clears for _, clears in figures or ()))
        extra = {"too low": float("inf"), "unverified": UNVERIFIED_S, "tight": TIGHT_S, "clear": 0.0}
        return [(standing, lowest, extra[standing])]

    def _gate_static(self, corner: int) -> int:
        tags = self.town.corners[corner]
        return OPEN if "barrier" not in tags else self._static(tags, "motorhome", True)[0]

    def _gate(self, corner: int) -> int:
        tags = self.town.corners[corner]
        if "barrier" not in tags:
            return OPEN
        return CLOSED if self._limited(tags, None) else self.access_now(tags, True)

    # --- zones for the ends of a drive ---

    @cached_property
    def _areas(self) -> tuple[dict[object, object], dict[object, set[object]], object]:
        """The area of each step and gate, the neighbours of each area, and the largest open part."""
        joined = nx.Graph()
        classes = {
            step: self._static(self.tags_of(step.street), "motorhome", self.ahead(step))[0]
            for step in self.steps
        }
        for step, access in classes.items():
            if access == CLOSED:
                continue
            joined.add_node((access, step))
            for corner in (step.a, step.b):
                gate = self._gate_static(corner)
                if (access == OPEN and gate == OPEN) or (access == ENDS and gate != CLOSED):
                    joined.add_edge((access, step), (access, corner))
        gates = [c for c in self.town.corners if self._gate_static(c) == ENDS]
        for corner in gates:
            joined.add_node((ENDS, corner))
        areas: dict[object, object] = {}
        sizes: dict[object, int] = {}
        for number, members in enumerate(nx.connected_components(joined)):
            steps = [m for _, m in members if isinstance(m, Step)]
            kind = next(iter(members))[0]
            if kind == OPEN and steps:
                sizes[("part", number)] = len(steps)
            for _, member in members:
                if isinstance(member, Step) or (kind == ENDS and member in gates):
                    areas[member] = ("zone" if kind == ENDS else "part", number)
        links: dict[object, set[object]] = {}
        for step, access in classes.items():
            if access != OPEN:
                continue
            for corner in (step.a, step.b):
                if self._gate_static(corner) == CLOSED:
                    continue
                zones = {areas[s] for s, c in classes.items() if c == ENDS and corner in (s.a, s.b)}
                zones |= {areas[corner]} if corner in areas else set()
                for zone in zones:
                    links.setdefault(zone, set()).add(areas[step])
                    links.setdefault(areas[step], set()).add(zone)
        # A service road over or under a street is a part of its own, of two directions.
        sizes.update(
            {
                ("line", n): 2
                for n, line in enumerate(self.town.lines)
                if line.tags.get("highway") == "service"
            }
        )
        largest = [area for area, size in sizes.items() if size == max(sizes.values())]
        if len(largest) > 1:
            raise AmbiguousError
        return areas, links, largest[0] if largest else None

    @property
    def largest_part(self) -> object:
        """The largest open part of the town. Raises AmbiguousError where two are as large."""
        return self._areas[2]

    def _zones(self, places: Iterable[Iterable[Step]]) -> set[object]:
        """The zones that a drive between places may use."""
        areas, links, largest = self._areas
        opened: list[set[object]] = []
        parts: list[set[object]] = []
        for place in places:
            held = {areas[step] for step in place if step in areas}
            zones: set[object] = {area for area in held if isinstance(area, tuple) and area[0] == "zone"}
            opened.append(zones)
            parts.append((held - zones) | {part for zone in zones for part in links.get(zone, set())})
        for i, own in enumerate(parts):
            goal = {largest}.union(*(p for j, p in enumerate(parts) if j != i))
            frontier = set(own)
            while frontier and not own & goal:
                zones = {z for part in frontier for z in links.get(part, set())}.difference(*opened)
                opened[i] |= zones
                frontier = {part for zone in zones for part in links.get(zone, set())} - own
                own.update(frontier)
        return set().union(*opened)

    # --- turns ---

    def _binds(self, how: int) -> bool:
        _, _, _, condition, whom = SIGNS[how]
        if whom == "none" or (whom == "towing" and not self.vehicle.towing):
            return False
        return self.known(condition) != "off"

    def _leaves(self, street: int, corner: int) -> bool:
        return any(step.street == street and step.a == corner for step in self.steps)

    def _via_run(self, sign: Sign) -> tuple[Step, ...] | None:
        """The steps over the whole via street, from the from street to the to street."""
        via, start, stop = (self.nodes_of(ref) for ref in (sign.via, sign.from_way, sign.to_way))
        for nodes in (via, via[::-1]):
            if nodes[0] in (start[0], start[-1]) and nodes[-1] in (stop[0], stop[-1]):
                run = tuple(Step(a, b, sign.via) for a, b in pairwise(nodes))
                there = set(self.steps) >= set(run)
                return run if there and self._leaves(sign.to_way, nodes[-1]) else None
        return None

    def follows(self, driven: tuple[Step, ...], new: Step) -> bool:
        """Whether the signs and the rule against turning round let `new` follow the steps driven so far."""
        last = driven[-1]
        loop = self.town.corners[last.b].get("highway") == "turning_loop"
        if new.b == last.a and new.street == last.street and not loop:
            return False
        wanted: dict[object, set[int]] = {}
        for sign, how in self.town.signs:
            if not self._binds(how):
                continue
            binding = SIGNS[how][3:]
            if sign.via < FIRST_WAY:
                if last.street == sign.from_way and last.b == sign.via:
                    if not sign.only and new.street == sign.to_way:
                        return False
                    if sign.only and self._leaves(sign.to_way, sign.via):
                        wanted.setdefault((binding, sign.from_way, sign.via), set()).add(sign.to_way)
                continue
            run = self._via_run(sign)
            if run is None:
                continue
            for done in range(len(run) + 1):
                tail = driven[-(done + 1) :]
                if len(tail) < done + 1 or tail[0].street != sign.from_way or tail[0].b != run[0].a:
                    continue
                if tuple(tail[1:]) != run[:done]:
                    continue
                if not sign.only and done == len(run) and new.street == sign.to_way:
                    return False
                if sign.only:
                    follow = run[done].street if done < len(run) else sign.to_way
                    wanted.setdefault((binding, sign.from_way, run[0].a, *run[:done]), set()).add(follow)
        return all(new.street in demand for demand in wanted.values())

    def passing(self, corner: int, zones: set[object]) -> float:
        """Seconds that passing a corner adds; infinite where it is closed to this drive."""
        gate = self._gate(corner)
        areas = self._areas[0]
        if gate == CLOSED or (gate == ENDS and areas.get(corner) not in zones):
            return float("inf")
        return sum(extra for _, _, extra in self.at_corner(corner))

    # --- drives ---

    def usable(self, segment: tuple[int, int]) -> list[Step]:
        return [s for s in self.steps if {s.a, s.b} == set(segment) and not self.shut(s)]

    def _may_use(self, step: Step, zones: set[object], ways: set[int]) -> bool:
        """Whether access lets a drive go along the whole of a step: the ends-only are for their zone."""
        access = self.access_now(self.tags_of(step.street), self.ahead(step))
        return access == OPEN or (
            access == ENDS and (self._areas[0].get(step) in zones or step.street in ways)
        )

    def costs(
        self, starts: list[Step], ends: list[Step], from_whole: list[Step], to_whole: list[Step]
    ) -> dict[Step, float]:
        """The least cost from the middle of any of `starts` to the middle of each of `ends`.

        `from_whole` and `to_whole` are all steps of the two places, for which ends-only roads are opened.
        """
        zones = self._zones((from_whole, to_whole))
        ways = {step.street for step in (*from_whole, *to_whole)}
        memory = 1 + max((len(s.nodes) for s in self.town.streets), default=1)

        def whole(step: Step) -> float:
            return self.seconds(step, 0.0, 1.0) if self._may_use(step, zones, ways) else float("inf")

        graph: nx.DiGraph[object] = nx.DiGraph()
        graph.add_node("start")
        waiting: list[tuple[Step, ...]] = []

        def join(origin: object, to: object, seconds: float) -> None:
            if seconds == float("inf"):
                return
            if isinstance(to, tuple) and to not in graph:
                waiting.append(to)
            if not graph.has_edge(origin, to) or graph[origin][to]["weight"] > seconds:
                graph.add_edge(origin, to, weight=seconds)

        def onward(origin: object, driven: tuple[Step, ...], seconds: float) -> None:
            for step in self.steps:
                if step.a == driven[-1].b and self.follows(driven, step):
                    join(origin, (*driven, step)[-memory:], seconds + self.passing(step.a, zones))

        for first in starts:
            onward("start", (first,), self.seconds(first, 0.5, 1.0))
        while waiting:
            driven = waiting.pop()
            if driven[-1] in ends:
                join(driven, driven[-1], self.seconds(driven[-1], 0.0, 0.5))
            onward(driven, driven, whole(driven[-1]))
        found = nx.single_source_dijkstra_path_length(graph, "start")
        return {step: found[step] for step in ends if step in found}

    def priced(self, corners: list[int], end: tuple[int, int]) -> tuple[float, list[tuple[str, int | None]]]:
        """The cost of a drive by these corners from the middle of the start to that of `end`, and what it
        meets, each with its standing and lowest figure; infinite where some rule is against it."""
        starts, ends = self.usable(self.town.start), self.usable(end)
        nodes = [next(iter(set(self.town.start) - {corners[0]})), *corners]
        nodes.append(next(iter(set(end) - {corners[-1]})))
        streets = {frozenset((s.a, s.b)): s.street for s in self.steps}
        driven = tuple(Step(a, b, streets.get(frozenset((a, b)), 0)) for a, b in pairwise(nodes))
        zones = self._zones((starts, ends))
        ways = {step.street for step in (*starts, *ends)}
        if not set(driven) <= set(self.steps):
            return float("inf"), []
        total = 0.0
        met: list[tuple[str, int | None, float]] = []
        for i, step in enumerate(driven):
            begin, stop = (0.5, 1.0) if i == 0 else (0.0, 0.5) if i == len(driven) - 1 else (0.0, 1.0)
            total += self.seconds(step, begin, stop)
            met += self.met(step, begin, stop)
            if 0 < i < len(driven) - 1 and not self._may_use(step, zones, ways):
                total = float("inf")
            if i:
                total += self.passing(step.a, zones)
                met += self.at_corner(step.a)
                if not self.follows(driven[:i], step):
                    total = float("inf")
        return total, [(standing, lowest) for standing, lowest, _ in met]

    def answer(self, end: tuple[int, int]) -> float | None:
        """Seconds of the best drive to the middle of a segment, with the policy's and those of turning
        round at a dead end; None where there is none."""
        starts, ends = self.usable(self.town.start), self.usable(end)
        reached = self.costs(starts, ends, starts, ends)
        turn = TURN_TOWING_S if self.vehicle.towing and not self.vehicle.reversible else TURN_S
        best = None
        for step, seconds in reached.items():
            home = self.costs([step], starts, [step], starts)
            total = seconds + (0.0 if home else turn)
            best = total if best is None else min(best, total)
        return best
