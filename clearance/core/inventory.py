"""Heights of structures as lists outside the map tell them: an inventory's records, anybody's list.

Items and codes of the inventory: FHWA-PD-96-001, Recording and Coding Guide for the Structure Inventory
and Appraisal of the Nation's Bridges (1995), cited by item.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from clearance.core.lengths import Length

__all__ = ["CodedHeight", "EvidenceList", "HeightState", "InventoryRecord", "ListedHeight", "UnusedRow"]


class HeightState(StrEnum):
    """What stands in an item that should hold a height."""

    FIGURE = "a figure"
    #: 9999: no restriction, or 30 m and more (Items 10, 53 and 54).
    UNRESTRICTED = "no restriction, or 30 m and more"
    #: Item 54 with N: neither a highway nor a railway beneath.
    NOT_A_ROAD = "neither highway nor railway beneath"
    #: Item 54 with R: measured from a railway. Where both are beneath, the more critical one is coded,
    #: so this does not say that there is no road.
    RAILWAY = "measured from a railway"
    #: Blank, or 0 where a height belongs: never a clearance of nothing.
    MISSING = "missing"
    UNREADABLE = "cannot be read"


@dataclass(frozen=True, slots=True)
class CodedHeight:
    """One height item: what it says, its figure where it has one, and the text as coded.

    Only under `HeightState.FIGURE` is the figure a clearance over a road; under `RAILWAY` it is one over
    rails, kept to be shown.
    """

    state: HeightState
    figure: Length | None = None
    raw: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InventoryRecord:
    """One record of a bridge inventory: a structure as one route over or under it sees it.

    `lon` and `lat` are WGS84 degrees, of any point on the structure (Items 16, 17); `place_step_m` is the
    step that they are coded in, about. `record_type` (5A) is ``1`` for the route on the structure, ``2``
    for a single route under it, ``A`` to ``Z`` for each of several. `features` (6A) is what is crossed,
    `carried` (7) what is carried. Codes are kept as coded, empty where blank: `service_on` and
    `service_under` (42A, 42B), `traffic` (102), `suffix` (5E), `parallel` (101), `design` (43B).
    `lanes_on`, `lanes_under` (28A, 28B) and `skew_deg` (34; 99 is a skew that varies) are None where blank.

    `item_10` is the clearance over the inventory route on the 3 m wide strip where it is greatest: an upper
    bound. `item_53` is the least over the roadway on the bridge, shoulders included. `item_54` is the least
    over the travel lanes beneath.

    `source` names the inventory and its year, `date` is the last routine inspection (90) or the year,
    as ISO 8601. `line` counts rows of the file from 1. `edition` is the specification, 1995 or 2022; by
    that of 2022, B.H.12 stands in `item_10` and B.H.13 in `item_53` or `item_54`.
    """

    source: str
    line: int
    number: str
    record_type: str
    lon: float
    lat: float
    place_step_m: float
    item_10: CodedHeight
    item_53: CodedHeight
    item_54: CodedHeight
    state: str = ""
    date: str = ""
    features: str = ""
    carried: str = ""
    location: str = ""
    service_on: str = ""
    service_under: str = ""
    lanes_on: int | None = None
    lanes_under: int | None = None
    traffic: str = ""
    suffix: str = ""
    parallel: str = ""
    skew_deg: int | None = None
    design: str = ""
    edition: int = 1995

    @property
    def on_structure(self) -> bool:
        """Whether the record is of the route on the structure, not of one under it (Item 5A)."""
        return self.record_type == "1"


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedHeight:
    """The height of a structure from a list of heights: a state's, a county's, one's own.

    `lon` and `lat` are WGS84 degrees, `where` is the place in the file (``line 12``), `key` the column of
    the height and `raw` its text. `name` may be that of the structure, of the road under or over it.
    """

    source: str
    where: str
    lon: float
    lat: float
    height: Length
    key: str
    raw: str
    name: str = ""
    date: str = ""


@dataclass(frozen=True, slots=True)
class UnusedRow:
    """A row of a list that could not be used, or an item of it (`dropped` False): where it is and why."""

    where: str
    reason: str
    dropped: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceList:
    """A list of heights as it was added to a map: an inventory's file, or anybody's list.

    `name` is what the list is known by, the name of its file unless told otherwise; `source` what stands
    beside its heights; `added` when it was read (ISO 8601). `records` are those inside the bounds of the map,
    all of one kind; `outside` counts the others, `unused` the rows that could not be used.
    """

    name: str
    source: str
    added: str
    records: tuple[InventoryRecord, ...] | tuple[ListedHeight, ...]
    outside: int = 0
    unused: int = 0
