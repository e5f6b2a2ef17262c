"""Heights from lists outside the map, brought to the structures of the map they belong to.

Items of the inventory: FHWA-PD-96-001 (1995). Item 54 is the least height over the travel lanes beneath;
Item 53 the least over the roadway on the bridge; Item 10 the height over the best 3 m wide strip of one
roadway, and of several openings the greatest: nothing lower than it fits anywhere, so that it can condemn
and never clear.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from clearance.core.heights import height_is_unread, tells_below_default
from clearance.core.inventory import CodedHeight, HeightState, InventoryRecord, ListedHeight
from clearance.core.lengths import Length
from clearance.core.matches import Conflict, HeightRecord, Match, Unmatched
from clearance.core.structure import MAP_SOURCE, Evidence, EvidenceClass, Kind, Span, Structure
from clearance.structures.crossings import road_name
from clearance.structures.map_bridges import MapBridge, map_bridges
from clearance.structures.matching import Listing, Pair, Paired, pair_up
from clearance.structures.names import Agreement, Names, compare, inventory_names, joined, map_names
from clearance.structures.on_way import middle_of

if TYPE_CHECKING:
    from clearance.core.extract import Extract, Way

__all__ = ["CONFLICT", "Fused", "from_map", "fuse"]

#: Every warning about heights that disagree begins so.
CONFLICT = "heights disagree"
#: The key of a structure that only a list tells of ends so.
_OF_LIST = ":inventory"

#: Items 10, 53 and 54 are cut off to the centimetre: the true height is less than this above the figure.
_CUT_OFF = Length.from_metres("0.01")
#: Signs are made to show less than was measured: by up to 3 in (Texas sign practice, Signing Minimum
#: Vertical Clearance; MUTCD 2009 section 2C.27 for frost), and down to the inch. Twice that is no conflict.
_SIGN_BELOW = Length.from_feet(0, 6)
#: A height of a road in metres from here on may be one in feet that was not changed: judgement, no source.
_MAYBE_FEET = (Length.from_metres("9"), Length.from_metres("20"))
#: Records within this of the box round the map, in degrees, are looked at.
_MARGIN_DEG = 0.01

#: Roads that Item 54 need not have been measured over: an inventory is of public roads.
_BYWAYS = frozenset({"service", "track", "footway", "path", "cycleway", "bridleway", "pedestrian"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Fused:
    """Structures with what the lists add, in the order given, those known only from a list at the end.

    `outside` counts the records that lie outside the map altogether; they are not in `unmatched`.
    """

    structures: tuple[Structure, ...]
    matches: tuple[Match, ...]
    unmatched: tuple[Unmatched, ...]
    conflicts: tuple[Conflict, ...]
    outside: int


@dataclass(frozen=True, slots=True)
class _Figure:
    """One height that a list tells, as evidence without its doubts."""

    figure: Length
    evidence: Evidence
    names: Names
    bound: bool = False


@dataclass(frozen=True, slots=True)
class _Entry:
    """All records of one bridge of a list: what to match it by, what it tells of roads under and on it."""

    records: tuple[HeightRecord, ...]
    listing: Listing
    beneath: tuple[_Figure, ...]
    on: tuple[_Figure, ...]

    @property
    def tells(self) -> bool:
        return bool(self.beneath or self.on)

    @property
    def least(self) -> Length | None:
        """The lowest height of the roads beneath; None where no item but upper bounds tells one."""
        return min((f.figure for f in self.beneath if not f.bound), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """Entries that could be of a matched bridge too: left over, or matched to its neighbours."""

    rivals: Sequence[_Entry]
    twins: Sequence[_Entry]


def fuse(structures: Sequence[Structure], records: Iterable[HeightRecord], extract: Extract) -> Fused:
    """The structures of `extract` with the heights that `records` tell of them.

    Records of one source are matched one-to-one to the bridges of the map; what is too far, differs or
    ties stays unmatched. A matched height becomes measured evidence; it may clear the structure unless
    something is in doubt, which its note then tells. Parallel bridges that nothing but places tells apart
    count with the lower height of the two. Where it cannot agree with a height of the map or of another
    list, the structure gets a warning with both, and the lower counts. A bridge that carries a road and is
    told to have something above its own roadway becomes a structure if it is none yet.

    >>> fuse((), (), extract).matches  # doctest: +SKIP
    ()
    """
    inside, outside = _inside(records, extract)
    by_source: dict[str, list[HeightRecord]] = defaultdict(list)
    for record in inside:
        by_source[record.source].append(record)
    work = _Work(structures, extract)
    bridges = map_bridges(structures, extract) if inside else []
    for source in sorted(by_source):
        entries = _entries(by_source[source])
        work.take(entries, bridges, pair_up([e.listing for e in entries], bridges))
    return work.done(outside)


def from_map(structures: Iterable[Structure]) -> tuple[Structure, ...]:
    """The structures as they were before `fuse`: what lists added is gone, what the map and rules tell stays.

    >>> from_map(())
    ()
    """
    return tuple(
        replace(
            s,
            evidence=tuple(
                e for e in s.evidence if e.source == MAP_SOURCE or e.evidence_class is EvidenceClass.IMPLIED
            ),
            warnings=tuple(w for w in s.warnings if not w.startswith(CONFLICT)),
        )
        for s in structures
        if not s.key.endswith(_OF_LIST)
    )


def _inside(records: Iterable[HeightRecord], extract: Extract) -> tuple[list[HeightRecord], int]:
    if not len(extract.lon):
        return [], sum(1 for _ in records)
    west, east = float(extract.lon.min()) - _MARGIN_DEG, float(extract.lon.max()) + _MARGIN_DEG
    south, north = float(extract.lat.min()) - _MARGIN_DEG, float(extract.lat.max()) + _MARGIN_DEG
    found: list[HeightRecord] = []
    outside = 0
    for record in records:
        if west <= record.lon <= east and south <= record.lat <= north:
            found.append(record)
        else:
            outside += 1
    return found, outside


# --- from records to entries --------------------------------------------------------------------------

#: Item 42A and 42B in words; 6, 7 and 8 above are levels of an interchange, which carry highways.
_ABOVE = {
    **dict.fromkeys("15678", frozenset({"road"})),
    "2": frozenset({"rail"}),
    "3": frozenset({"foot"}),
    "4": frozenset({"road", "rail"}),
    "9": frozenset({"building"}),
    "0": frozenset({"other"}),
}
#: Where there is a road, what else is beneath tells nothing more.
_BENEATH = {
    **dict.fromkeys("1468", frozenset({"road"})),
    "2": frozenset({"rail"}),
    "3": frozenset({"foot"}),
    "5": frozenset({"water"}),
    "7": frozenset({"rail", "water"}),
    "9": frozenset({"water"}),
}
_HEADINGS = {"N": 0.0, "E": 90.0, "S": 180.0, "W": 270.0}
#: Item 5E.
_SUFFIXES = {"1": 0.0, "2": 90.0, "3": 180.0, "4": 270.0}
#: Item 101: the right structure carries the direction of the inventory, which runs west to east and south
#: to north; the left one the other.
_PARALLEL = {"R": 45.0, "L": 225.0}
#: Item 43B.
_TUNNEL = "18"
#: Names of the items in the two specifications.
_KEYS = {
    1995: {10: "Item 10", 53: "Item 53", 54: "Item 54"},
    2022: {10: "B.H.12", 53: "B.H.13", 54: "B.H.13"},
}


def _entries(records: Iterable[HeightRecord]) -> list[_Entry]:
    """One entry for each bridge: the records of an inventory that share state and structure number."""
    bridges: dict[tuple[str, str], list[InventoryRecord]] = defaultdict(list)
    entries: list[_Entry] = []
    for record in records:
        if isinstance(record, InventoryRecord):
            bridges[record.state, record.number].append(record)
        else:
            entries.append(_of_list(record))
    return entries + [_of_inventory(together) for together in bridges.values()]


def _of_list(record: ListedHeight) -> _Entry:
    names = inventory_names(record.name)
    told = Evidence(
        evidence_class=EvidenceClass.MEASURED,
        figure=record.height,
        element=f"list {record.where}",
        key=record.key,
        raw=record.raw,
        source=record.source,
        date=record.date,
    )
    figure = _Figure(record.height, told, names)
    listing = Listing(lon=record.lon, lat=record.lat, step_m=0.0, either=names)
    return _Entry((record,), listing, (figure,), ())


def _of_inventory(records: Sequence[InventoryRecord]) -> _Entry:
    if len(records) > 1:
        records = sorted(records, key=lambda r: (not r.on_structure, r.record_type, r.line))
    first = records[0]
    under = [r for r in records if not r.on_structure]
    carried = joined([inventory_names(r.carried) for r in records])
    above = _ABOVE.get(first.service_on, frozenset())
    if not above and carried.rail:
        above = frozenset({"rail"})
    on = first if first.on_structure else None
    skew = first.skew_deg if first.skew_deg is not None and first.skew_deg <= 90 else None
    listing = Listing(
        lon=first.lon,
        lat=first.lat,
        step_m=first.place_step_m,
        over=carried,
        under=joined([inventory_names(r.features) for r in records]),
        above=above,
        beneath=_BENEATH.get(first.service_under, frozenset()),
        tunnel=first.design == _TUNNEL,
        route_under=bool(under),
        oneway={"1": True, "2": False, "3": False}.get(on.traffic) if on else None,
        heading=_heading(on) if on else None,
        skew_deg=skew,
    )
    beneath = [_figure(r, r.item_54, _KEYS[r.edition][54]) for r in records]
    beneath += [_figure(r, r.item_10, _KEYS[r.edition][10], bound=True) for r in under]
    own = [_figure(r, r.item_53, _KEYS[r.edition][53]) for r in records if r.on_structure]
    own += [_figure(r, r.item_10, _KEYS[r.edition][10], bound=True) for r in records if r.on_structure]
    return _Entry(
        tuple(records),
        listing,
        tuple(f for f in beneath if f is not None),
        tuple(f for f in own if f is not None),
    )


def _heading(record: InventoryRecord) -> float | None:
    """The direction of travel on the bridge, in degrees from north; None where it is not told."""
    named = inventory_names(record.carried).headings
    if len(named) == 1:
        return _HEADINGS[next(iter(named))]
    return _SUFFIXES.get(record.suffix, _PARALLEL.get(record.parallel))


def _figure(record: InventoryRecord, item: CodedHeight, key: str, *, bound: bool = False) -> _Figure | None:
    """What one item tells; None where it has no clearance over a road."""
    figure = item.figure
    if item.state is not HeightState.FIGURE or figure is None:
        return None
    note = ""
    if bound:
        note = "the height over the best strip of the roadway: no more than that, and less beside it"
    elif _MAYBE_FEET[0] <= figure < _MAYBE_FEET[1]:
        note = f"{figure} over a road: metres, or feet that were not changed? It may not clear"
    told = Evidence(
        evidence_class=EvidenceClass.MEASURED,
        figure=figure,
        element=f"structure {record.number}",
        key=key,
        raw=item.raw,
        can_clear=not note,
        note=note,
        source=record.source,
        date=record.date,
    )
    return _Figure(figure, told, inventory_names(record.features), bound)


# --- from matches to evidence -------------------------------------------------------------------------


class _Work:
    """Structures as they gain evidence, and what there is to tell."""

    def __init__(self, structures: Sequence[Structure], extract: Extract) -> None:
        self._structures = list(structures)
        self._mapped = list(structures)
        self._extract = extract
        self._ways = {way.id: way for way in extract.ways}
        self._named: dict[int, Names] = {}
        self._on_way: dict[int, int] = {}
        self._matches: list[Match] = []
        self._unmatched: list[Unmatched] = []
        self._conflicts: list[Conflict] = []

    def take(self, entries: Sequence[_Entry], bridges: Sequence[MapBridge], paired: Paired) -> None:
        """Add what the matched entries tell; list the others."""
        for pair in paired.matches:
            entry, bridge = entries[pair.listing], bridges[pair.bridge]
            beside = _Beside(
                rivals=[entries[r.listing] for r in paired.rivals.get(pair.bridge, ())],
                twins=[entries[t.listing] for t in paired.twins.get(pair.bridge, ())],
            )
            touched = [*bridge.under, *bridge.on]
            for index in bridge.under:
                self._beneath(index, entry, pair, bridge, beside)
            if entry.on:
                touched += self._on(entry, pair, bridge)
            self._matches.append(
                Match(
                    records=entry.records,
                    structures=tuple(self._structures[i].key for i in dict.fromkeys(touched)),
                    distance_m=round(pair.distance_m, 1),
                    score=round(pair.score, 3),
                    reason=pair.reason,
                )
            )
        for index, reason in sorted(paired.unmatched.items()):
            entry = entries[index]
            self._unmatched.append(Unmatched(records=entry.records, reason=reason, tells_height=entry.tells))

    def done(self, outside: int) -> Fused:
        return Fused(
            structures=tuple(self._structures),
            matches=tuple(self._matches),
            unmatched=tuple(self._unmatched),
            conflicts=tuple(self._conflicts),
            outside=outside,
        )

    def _beneath(self, index: int, entry: _Entry, pair: Pair, bridge: MapBridge, beside: _Beside) -> None:
        """What the entry tells of one road beneath the bridge."""
        least = entry.least
        for told in entry.beneath:
            doubts = self._doubts(index, entry, told, bridge)
            if doubts is None:
                continue
            lower = [f.figure for r in beside.rivals for f in r.beneath if f.figure < told.figure]
            if lower and not told.bound:
                doubts.append(
                    f"another record of the list, of {min(lower)}, could be of this structure; "
                    "the figure may not clear"
                )
            if any(twin.least is None for twin in beside.twins) and not told.bound:
                doubts.append(
                    "only places tell this bridge from its neighbour, of which the list has no height; "
                    "the figure may not clear"
                )
            self._add(index, told, pair, doubts)
        for twin in beside.twins:
            for told in twin.beneath:
                doubts = self._doubts(index, twin, told, bridge)
                if doubts is None or (least is not None and told.figure >= least):
                    continue
                if least is None:
                    doubts.append("the list has no height of its own for it; the figure may not clear")
                self._add(index, told, pair, doubts, "of the bridge beside, which places alone tell apart; ")

    def _doubts(self, index: int, entry: _Entry, told: _Figure, bridge: MapBridge) -> list[str] | None:
        """Why a figure may not clear one road beneath; None where it says nothing of it at all."""
        structure = self._mapped[index]
        road = self._ways.get(structure.spans[0].way) if structure.spans else None
        named = compare(told.names, self._names(road) if road is not None else Names())
        several = len({self._road(i) for i in bridge.under}) > 1
        if told.bound and several and named is not Agreement.AGREE:
            return None  # the best strip of another road
        doubts = [told.evidence.note] if told.evidence.note else []
        doubts += _map_doubts(structure)
        byway = road is not None and road.tags.get("highway") in _BYWAYS
        of_inventory = isinstance(entry.records[0], InventoryRecord)
        if byway and of_inventory and named is not Agreement.AGREE:
            doubts.append("the list need not have looked at a byway such as this; the figure may not clear")
        elif several and named is Agreement.DIFFER:
            doubts.append("the list names another road beneath; the figure may not clear")
        return doubts

    def _names(self, way: Way) -> Names:
        if way.id not in self._named:
            self._named[way.id] = map_names(way.tags)
        return self._named[way.id]

    def _road(self, index: int) -> str | int:
        structure = self._structures[index]
        return structure.road or (structure.spans[0].way if structure.spans else structure.key)

    def _on(self, entry: _Entry, pair: Pair, bridge: MapBridge) -> list[int]:
        """What the entry tells of the roadway on the bridge; the structures it was told to."""
        touched = list(bridge.on)
        covered = {span.way for i in bridge.on for span in self._structures[i].spans}
        for way in bridge.deck:
            if way in covered:
                continue
            if way not in self._on_way:
                self._on_way[way] = len(self._structures)
                self._structures.append(_over_deck(self._extract, self._ways[way]))
                self._mapped.append(self._structures[-1])
            touched.append(self._on_way[way])
        for index in touched:
            for told in entry.on:
                doubts = [told.evidence.note] if told.evidence.note else []
                self._add(index, told, pair, doubts + _map_doubts(self._structures[index]))
        return touched

    def _add(self, index: int, told: _Figure, pair: Pair, doubts: Sequence[str], whose: str = "") -> None:
        structure = self._structures[index]
        how = f"{whose}matched with score {pair.score:.2f}: {pair.reason}"
        evidence = replace(told.evidence, can_clear=not doubts, note="; ".join([*dict.fromkeys(doubts), how]))
        warnings = structure.warnings
        conflict = _conflict(structure, told)
        if conflict is not None and conflict.text not in warnings:
            warnings += (conflict.text,)
            self._conflicts.append(conflict)
        self._structures[index] = replace(
            structure, evidence=(*structure.evidence, evidence), warnings=warnings
        )


def _map_doubts(structure: Structure) -> list[str]:
    """Why a height from a list may not clear this structure, whatever it is: what the map says of it."""
    doubts = []
    if structure.ambiguous_order:
        doubts.append("the map does not tell which of the two is above; the figure may not clear")
    if any(height_is_unread(e) for e in structure.evidence):
        doubts.append("a height in the map cannot be read and may be lower; the figure may not clear")
    if any(tells_below_default(e) for e in structure.evidence):
        doubts.append("the map says that it is lower than ordinary; the figure may not clear")
    return doubts


def _conflict(structure: Structure, told: _Figure) -> Conflict | None:
    """What the figures of the map or of other lists and a listed one cannot both be; None where they can."""
    others = [
        (e.figure, e)
        for e in structure.evidence
        if e.figure is not None
        and not e.condition
        and e.evidence_class in (EvidenceClass.POSTED, EvidenceClass.MEASURED)
        # Of other lists only what is no upper bound and in no doubt can speak against this one.
        and (e.source == MAP_SOURCE or (e.source != told.evidence.source and e.can_clear))
    ]
    if not others:
        return None
    figure, evidence = min(others, key=lambda pair: pair[0])
    above = told.figure + _CUT_OFF <= figure
    below = not told.bound and figure + _SIGN_BELOW < told.figure
    if not (above or below):
        return None
    first = f"{evidence.key}={evidence.raw}" if evidence.source == MAP_SOURCE else evidence.key
    by = "" if evidence.source == MAP_SOURCE else f"{evidence.source}, "
    text = (
        f"{CONFLICT}: {by}{evidence.element} {first} is {figure}, {told.evidence.source}, "
        f"{told.evidence.element}, {told.evidence.key} is {told.figure}; the lower counts"
    )
    return Conflict(structure=structure.key, mapped=figure, listed=told.figure, text=text)


def _over_deck(extract: Extract, way: Way) -> Structure:
    """The structure on the deck of a bridge that only a list tells of."""
    lon, lat = middle_of(extract, way)
    element = f"way/{way.id}"
    return Structure(
        key=f"{element}{_OF_LIST}",
        kind=Kind.COVERED_BRIDGE,
        lon=lon,
        lat=lat,
        name=way.tags.get("bridge:name", ""),
        road=road_name(way),
        spans=(Span(way=way.id, start=0.0, end=float(len(way.nodes) - 1)),),
        tags={element: dict(way.tags)},
        warnings=(
            f"{element}: an inventory tells of something above the roadway of this bridge, the map not",
        ),
    )
