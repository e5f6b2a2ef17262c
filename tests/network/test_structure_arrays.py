"""A network that gains evidence is the one that would have been built with it."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from clearance.core.lengths import Length
from clearance.core.structure import Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network.build import build_network
from clearance.network.network import NO_LIMIT, Network
from clearance.network.structure_arrays import structure_arrays, with_structures
from clearance.structures.find import find_structures
from tests.towns import Town

MEASURED = Evidence(evidence_class=EvidenceClass.MEASURED, figure=Length.from_metres("4.5"), source="a list")
RULE = Evidence(evidence_class=EvidenceClass.IMPLIED, can_clear=False, implied=Length.from_metres("4.6"))


def town(oneway: str = "no") -> Town:
    """Heather Street from x = -200 to 200, on a bridge of two pieces over Low Lane at x = 0."""
    made = Town().node(1, -200, 0).node(2, -30, 0).node(3, 10, 0).node(4, 30, 0).node(5, 200, 0)
    made.node(6, 0, -100).node(7, 0, 100).node(8, 10, 50)
    street = {"highway": "residential", "name": "Heather Street", "oneway": oneway}
    made.way(10, [1, 2], street).way(11, [2, 3, 4], street | {"bridge": "yes", "layer": "1"})
    made.way(12, [4, 5], street).way(13, [6, 7], {"highway": "residential", "maxheight": "3.9"})
    return made.way(14, [3, 8], {"highway": "service"})  # cuts the bridge in two


def on_deck(way: int = 11, end: float = 2.0) -> Structure:
    return Structure(
        key=f"way/{way}:inventory",
        kind=Kind.COVERED_BRIDGE,
        lon=-40.0,
        lat=45.0,
        evidence=(MEASURED,),
        spans=(Span(way=way, start=0.0, end=end),),
    )


def same(one: Network, other: Network) -> None:
    for field in fields(Network):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype, field.name
            assert a == pytest.approx(b, abs=1e-9), field.name
            assert not a.flags.writeable, field.name
        else:
            assert a == b, field.name


@pytest.mark.parametrize("oneway", ["no", "yes", "-1"])
def test_more_evidence_and_new_structures_give_the_network_built_with_them(oneway: str) -> None:
    extract = town(oneway).extract()
    plain = find_structures(extract)
    known = (*(replace(s, evidence=(*s.evidence, MEASURED, RULE)) for s in plain), on_deck())
    built = build_network(extract, plain)
    gained = with_structures(built, known)
    same(gained, build_network(extract, known))
    assert gained.hit_structure.max() == len(plain)
    same(with_structures(gained, plain), built)


def test_a_profile_goes_with_its_structure() -> None:
    extract = town().extract()
    known = (*find_structures(extract), on_deck())
    network = replace(
        build_network(extract, known),
        profile_structure=np.array([0, len(known) - 1], dtype=np.int32),
        profile_height=np.zeros((2, 43)),
    )
    left = with_structures(network, known[:-1])
    assert left.profile_structure.tolist() == [0]
    assert left.profile_height.shape == (1, 43)


def test_a_new_structure_over_part_of_a_road_is_refused() -> None:
    extract = town().extract()
    plain = find_structures(extract)
    with pytest.raises(ValueError, match="the whole of way 11"):
        with_structures(build_network(extract, plain), (*plain, on_deck(end=1.0)))


def test_what_a_rule_promises_is_no_figure() -> None:
    rule = Structure(key="a", kind=Kind.BRIDGE, lon=-40.0, lat=45.0, evidence=(RULE,))
    arrays = structure_arrays([rule, replace(rule, evidence=())])
    assert arrays["structure_implied"].tolist() == [46_000, 0]
    assert (arrays["structure_low"] == NO_LIMIT).all()
    assert not arrays["structure_verified"].any()
    assert not arrays["structure_over"].any()  # no road is told
