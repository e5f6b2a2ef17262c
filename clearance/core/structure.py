"""What stands over or across a road, how high, and how we know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from clearance.core.lengths import Length

__all__ = [
    "MAP_SOURCE",
    "Direction",
    "Evidence",
    "EvidenceClass",
    "Kind",
    "Span",
    "Standing",
    "Structure",
]

#: The source of everything that tags of the map tell.
MAP_SOURCE = "OpenStreetMap"


class Kind(StrEnum):
    """The kinds of structure, each a word a reader meets in the outputs."""

    BRIDGE = "bridge"
    RAIL_BRIDGE = "railway bridge"
    RAIL_TRESTLE = "railway trestle"
    FOOTBRIDGE = "footbridge"
    AQUEDUCT = "aqueduct"
    PIPE = "pipeline"
    CONVEYOR = "conveyor"
    GANTRY = "gantry"
    BUILDING = "building over the road"
    TUNNEL = "tunnel"
    BUILDING_PASSAGE = "building passage"
    COVERED = "covered way"
    COVERED_BRIDGE = "covered or truss bridge"
    HEIGHT_BAR = "height bar"
    BARRIER = "barrier with a height"
    DRIVE_THROUGH = "drive-through lane"
    CAR_PARK = "car-park deck"
    FUEL_CANOPY = "fuel canopy"
    LIMIT = "posted height, structure not mapped"
    UNKNOWN_CROSSING = "crossing of unknown order"


#: Kinds that stand over a road at one place; the others are at the road or beside it.
_OVER_ROADS = frozenset(
    {
        *(Kind.BRIDGE, Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE, Kind.FOOTBRIDGE, Kind.AQUEDUCT, Kind.PIPE),
        *(Kind.CONVEYOR, Kind.GANTRY, Kind.BUILDING, Kind.BUILDING_PASSAGE, Kind.TUNNEL),
    }
)


class EvidenceClass(StrEnum):
    """How a height is known. `IMPLIED` never makes a structure clear."""

    POSTED = "posted"
    MEASURED = "measured"
    IMPLIED = "implied"
    NONE = "none"


class Standing(StrEnum):
    """A structure as it stands for one coach."""

    TOO_LOW = "too low"
    UNVERIFIED = "unverified"
    TIGHT = "tight"
    CLEAR = "clear"


class Direction(StrEnum):
    """Along the OSM way that the evidence or span refers to."""

    BOTH = "both"
    FORWARD = "forward"
    BACKWARD = "backward"


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One thing known, or worth saying, about the height of a structure.

    `figure` is None where there is no usable figure: a word such as ``default``, an unreadable or
    implausible text, or no tag at all; `note` then says which. `element` is the OSM element that
    tells (``way/12``, ``node/7``), `key` and `raw` its tag as mapped. `condition` is the text after
    ``@`` of a conditional tag, empty where the figure always holds. `can_clear` is False where the
    figure may condemn the structure but never make it clear: a height posted on the bridge way
    itself, an implied rule, a bare number that may be feet.

    `implied` is what a structure without a sign has at least where a country's rule was kept: for wording and
    for ranking among the unverified, never a figure.
    """

    evidence_class: EvidenceClass
    figure: Length | None = None
    direction: Direction = Direction.BOTH
    element: str = ""
    key: str = ""
    raw: str = ""
    condition: str = ""
    can_clear: bool = True
    note: str = ""
    source: str = MAP_SOURCE
    date: str = ""
    implied: Length | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Where along a way a structure is passed.

    `start` and `end` are positions in node intervals from the first node of the way: 2.25 is a
    quarter of the way from node 2 to node 3 (counted from 0). A crossing has start == end.
    `whole_way` marks a figure that the way carries from end to end, beside the place of the
    structure itself: arcs of the way outside start..end are limited by it but do not pass it.
    """

    way: int
    start: float
    end: float
    whole_way: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """One structure, with everything the map says of its height.

    `key` is stable for the same elements: it names kind, lower and upper element. `spans` lists the
    ways it stands over; `nodes` are OSM nodes of the road that cannot be passed without passing it.
    Neither is filled for a structure beside the road (a car park known only by its outline).
    `slight` marks a crossing of untold order with a thing of a kind that mostly crosses on the level or below
    ground (a footpath, a pipeline): unverified as any other, but worth a smaller detour. `warnings` are
    sentences about the data: unreadable text, order of crossing not told.
    """

    key: str
    kind: Kind
    lon: float
    lat: float
    name: str = ""
    road: str = ""
    evidence: tuple[Evidence, ...] = ()
    spans: tuple[Span, ...] = ()
    nodes: tuple[int, ...] = ()
    upper: str = ""
    ambiguous_order: bool = False
    slight: bool = False
    tags: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    def figures(self, direction: Direction = Direction.BOTH) -> list[Evidence]:
        """Evidence with a figure that holds in `direction`; BOTH asks for either direction."""
        return [
            e
            for e in self.evidence
            if e.figure is not None
            and (Direction.BOTH in (direction, e.direction) or e.direction is direction)
        ]

    def lowest(self, direction: Direction = Direction.BOTH) -> Length | None:
        """The lowest figure that may hold in `direction`, conditions assumed to hold; None if none."""
        return min((e.figure for e in self.figures(direction) if e.figure is not None), default=None)

    def verified(self, direction: Direction = Direction.BOTH) -> bool:
        """Whether some posted or measured figure for `direction` may make the structure clear.

        A figure for one direction says nothing of the other, so BOTH asks for each of the two.
        """
        if direction is Direction.BOTH:
            return self.verified(Direction.FORWARD) and self.verified(Direction.BACKWARD)
        return any(
            e.can_clear
            and not e.condition
            and e.evidence_class in (EvidenceClass.POSTED, EvidenceClass.MEASURED)
            for e in self.figures(direction)
        )

    @property
    def over_road(self) -> bool:
        """Whether it surely stands over a road of the map: a bridge, building or tunnel, no bar, no limit."""
        return self.kind in _OVER_ROADS and not self.ambiguous_order and bool(self.spans or self.nodes)

    @property
    def implied(self) -> Length | None:
        """What it has at least if its country's rule was kept; None where no rule tells. It never clears."""
        return min((e.implied for e in self.evidence if e.implied is not None), default=None)
