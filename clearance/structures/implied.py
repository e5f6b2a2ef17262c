"""What a country's rules say of a structure without a sign: wording and rank, never a clearance.

Only rules with a published source stand here; for everywhere else nothing is implied. A rule tells what
somebody should have done, and a missing sign in the map is not a missing sign on the road.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from clearance.core.heights import height_is_unread, tells_below_default
from clearance.core.lengths import HeightWord, Length, height_word
from clearance.core.structure import Evidence, EvidenceClass, Kind, Structure

if TYPE_CHECKING:
    from clearance.core.extract import Extract

__all__ = ["RULES", "ImpliedRule", "rules_for", "with_implied"]

#: Country code (ISO 3166-1 alpha-2) at a longitude and latitude; empty where it is none.
CountryAt = Callable[[float, float], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ImpliedRule:
    """One rule. `country` is ISO 3166-1 alpha-2, `region` the part of an ISO 3166-2 code behind the dash.

    `height` is what an unsigned structure has at least, if the rule was kept; None where the rule tells
    no figure, only what to look for. `highways` are the highway=* values it is for, empty for all public
    roads; `ref` is what the number of the road must begin with. `word_only` limits it to structures that
    the map says to have no sign (``maxheight=default``). `source` and its `date` say where it stands.
    """

    country: str
    region: str = ""
    height: Length | None = None
    meaning: str
    source: str
    date: str = ""
    highways: frozenset[str] = frozenset()
    ref: str = ""
    word_only: bool = False

    @property
    def key(self) -> str:
        """A short name of the rule, the same from run to run."""
        parts = [self.country, self.region, *sorted(self.highways)[:1]]
        return "rule " + "-".join(part for part in parts if part)


_MOTORWAY = frozenset({"motorway", "motorway_link"})

RULES: tuple[ImpliedRule, ...] = (
    ImpliedRule(
        country="US",
        meaning=(
            "a sign is required only below 12 in above the greatest legal height of a vehicle in the state; "
            "it may show up to 3 in less than there is"
        ),
        source="Manual on Uniform Traffic Control Devices, section 2C.27",
        date="2009",
    ),
    ImpliedRule(
        country="US",
        region="CA",
        height=Length.from_feet(15),
        meaning="no sign is required from 15'0\" up: 12 in above the greatest legal height of 14'0\"",
        source="Manual on Uniform Traffic Control Devices, section 2C.27; California Vehicle Code 35250",
        date="2009",
    ),
    ImpliedRule(
        country="US",
        region="TX",
        height=Length.from_feet(20),
        meaning="signs are required up to 20'0\"; they show 3 in less than was measured",
        source="Texas Department of Transportation, sign manual, Signing Minimum Vertical Clearance",
    ),
    ImpliedRule(
        country="US",
        height=Length.from_feet(14),
        meaning=(
            "Interstate highways are built to at least 14'0\" (16'0\" outside cities and on one way through "
            "each), but for exceptions that were approved"
        ),
        source="Federal Highway Administration, design standards of the Interstate system",
        highways=_MOTORWAY,
        ref="I ",
    ),
    ImpliedRule(
        country="GB",
        meaning=(
            "a sign shows at least 3 in less than was measured, down to a multiple of 3 in; the largest "
            "ordinary sign is 16'0\""
        ),
        source="Traffic Signs Manual, chapter 4, paragraph 7.11",
        date="2013",
    ),
    ImpliedRule(
        country="DE",
        height=Length.from_metres("4.5"),
        meaning="the map says that there is no sign and the height is ordinary: 4.5 m or more",
        source="OpenStreetMap wiki, Tag:maxheight=default",
        word_only=True,
    ),
    ImpliedRule(
        country="FR",
        height=Length.from_metres("4.75"),
        meaning="the map says that there is no sign and the height is ordinary: 4.75 m or more on a motorway",
        source="OpenStreetMap wiki, Tag:maxheight=default",
        highways=_MOTORWAY,
        word_only=True,
    ),
    ImpliedRule(
        country="FR",
        height=Length.from_metres("4.3"),
        meaning="the map says that there is no sign and the height is ordinary: 4.3 m or more",
        source="OpenStreetMap wiki, Tag:maxheight=default",
        word_only=True,
    ),
)

#: Structures over public roads that signs are put up for.
_SIGNED_KINDS = frozenset(
    {
        *(Kind.BRIDGE, Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE, Kind.FOOTBRIDGE, Kind.AQUEDUCT, Kind.PIPE),
        *(Kind.CONVEYOR, Kind.GANTRY, Kind.BUILDING, Kind.BUILDING_PASSAGE, Kind.TUNNEL, Kind.COVERED_BRIDGE),
    }
)
#: Not public roads, or not surely: nobody need put up a sign there (own rule).
_NOT_PUBLIC = frozenset({"service", "track", "footway", "path", "cycleway", "pedestrian", "bridleway"})


def rules_for(
    country: str, region: str, road: Mapping[str, str], *, unsigned: bool = False
) -> tuple[ImpliedRule, ...]:
    """The rules for a structure over a road with these tags; `unsigned` where the map says it has no sign.

    Of rules with a figure only the most special one: the region's before the country's, one for this class
    of road before one for all.

    >>> [rule.key for rule in rules_for("US", "CA", {"highway": "primary"})]
    ['rule US', 'rule US-CA']
    >>> rules_for("JP", "", {"highway": "primary"})
    ()
    """
    highway = road.get("highway", "")
    if highway in _NOT_PUBLIC:
        return ()
    found = [
        rule
        for rule in RULES
        if rule.country == country
        and rule.region in ("", region)
        and (not rule.highways or highway in rule.highways)
        and road.get("ref", "").startswith(rule.ref)
        and (unsigned or not rule.word_only)
    ]
    figured = sorted((r for r in found if r.height is not None), key=lambda r: (not r.region, not r.highways))
    return tuple([r for r in found if r.height is None] + figured[:1])


def with_implied(
    structures: Sequence[Structure], extract: Extract, country_at: CountryAt | None = None
) -> tuple[Structure, ...]:
    """The structures, those that nothing verifies with what the rules of their country imply.

    Implied evidence has no figure, so that it neither clears nor condemns: its note tells the rule, `implied`
    what the rule promises, for ranking. The country and state are those that the map's own tags tell
    (county names of the US census on the road, addresses all of one country); else `country_at` is asked.
    """
    regions = _Regions(extract, country_at)
    found = []
    for structure in structures:
        added: tuple[Evidence, ...] = ()
        if structure.kind in _SIGNED_KINDS and structure.spans and not structure.verified():
            road = structure.tags.get(f"way/{structure.spans[0].way}", {})
            country, region = regions.of(structure, road)
            rules = rules_for(country, region, road, unsigned=_said_ordinary(structure))
            # Of a height that is there but not understood, and of a lower one, no rule promises anything.
            doubted = any(height_is_unread(e) or tells_below_default(e) for e in structure.evidence)
            added = tuple(_evidence(rule, promises=not doubted) for rule in rules)
        found.append(replace(structure, evidence=structure.evidence + added) if added else structure)
    return tuple(found)


def _said_ordinary(structure: Structure) -> bool:
    return any(e.figure is None and height_word(e.raw) is HeightWord.DEFAULT for e in structure.evidence)


def _evidence(rule: ImpliedRule, *, promises: bool) -> Evidence:
    return Evidence(
        evidence_class=EvidenceClass.IMPLIED,
        key=rule.key,
        can_clear=False,
        note=f"{rule.meaning}; look for a sign",
        source=rule.source,
        date=rule.date,
        implied=rule.height if promises else None,
    )


_CENSUS_STATE = re.compile(r", ([A-Z]{2})(?![A-Za-z])", re.ASCII)


class _Regions:
    """Country and region of structures, from the map's own tags first."""

    def __init__(self, extract: Extract, country_at: CountryAt | None) -> None:
        self._country_at = country_at
        elements = [way.tags for way in extract.ways]
        elements += list(extract.node_tags.values())
        self._country = _unanimous(tags.get("addr:country", "") for tags in elements)
        if not self._country and any("tiger:county" in tags for tags in elements):
            # Names of counties from the US census (OSM wiki, TIGER; from memory).
            self._country = "US"
        self._region = _unanimous(tags.get("addr:state", "") for tags in elements)

    def of(self, structure: Structure, road: Mapping[str, str]) -> tuple[str, str]:
        states = set(_CENSUS_STATE.findall(road.get("tiger:county", "")))
        if len(states) == 1:
            return "US", states.pop()
        country = self._country
        if not country and self._country_at is not None:
            country = self._country_at(structure.lon, structure.lat)
        return country, self._region if country == self._country else ""


def _unanimous(values: Iterable[str]) -> str:
    """The one value that all that tell any agree on, in capitals; empty where they do not."""
    told = {value.strip().upper() for value in values} - {""}
    return told.pop() if len(told) == 1 else ""
