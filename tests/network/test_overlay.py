"""A network with changed structures equals one built of them."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from clearance.core.lengths import Length
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Structure
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.network.overlay import Placed, overlaid
from tests.towns import Town


def thing(number: int, way: int, at: float, *evidence: Evidence) -> Structure:
    return Structure(
        key=f"thing {number}",
        kind=Kind.BRIDGE,
        lon=0.0,
        lat=0.0,
        evidence=evidence,
        spans=(Span(way=way, start=at, end=at),),
    )


def figure(tenths: int, direction: Direction = Direction.BOTH, condition: str = "") -> Evidence:
    return Evidence(
        evidence_class=EvidenceClass.MEASURED,
        figure=Length(tenths),
        direction=direction,
        condition=condition,
    )


def town(structures: list[Structure]) -> Network:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).node(4, 100, 100)
    town.way(10, [1, 2, 3]).way(11, [2, 4], {"highway": "residential", "oneway": "yes"})
    return build_network(town.extract(), structures)


def same(one: Network, other: Network) -> None:
    for field in fields(Network):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            np.testing.assert_array_equal(a, b, err_msg=field.name)
        else:
            assert a == b, field.name


BEFORE = [thing(0, 10, 0.5), thing(1, 10, 1.5, figure(41000)), thing(2, 11, 0.5)]


def test_changed_evidence_is_as_if_built_so() -> None:
    changed = {
        0: replace(BEFORE[0], evidence=(figure(40000),)),
        2: replace(BEFORE[2], evidence=(figure(39000, Direction.BACKWARD), figure(38000, condition="Mo-Fr"))),
    }
    same(overlaid(town(BEFORE), changed), town([changed[0], BEFORE[1], changed[2]]))


def test_nothing_changed_is_the_same_network() -> None:
    same(overlaid(town(BEFORE), {}), town(BEFORE))


def test_added_structures_are_as_if_built_so() -> None:
    """Put on both directions of a street at a fraction, and on a one-way street beside what is there."""
    added = [thing(3, 10, 1.25, figure(37000)), thing(4, 11, 0.75)]
    base, built = town(BEFORE), town([*BEFORE, *added])
    placed = [
        Placed(
            structure=structure,
            arcs=[
                (int(arc), float(at))
                for arc, k, at in zip(built.hit_arc, built.hit_structure, built.hit_position, strict=True)
                if k == 3 + i
            ],
        )
        for i, structure in enumerate(added)
    ]
    network = overlaid(base, {}, placed)
    order = [np.lexsort((n.hit_structure, n.hit_position, n.hit_arc)) for n in (network, built)]
    for field in fields(Network):
        if not field.name.startswith("hit_"):
            continue
        a, b = getattr(network, field.name)[order[0]], getattr(built, field.name)[order[1]]
        np.testing.assert_allclose(a, b, rtol=1e-12, err_msg=field.name)
    assert network.structures == [*BEFORE, *added]
    np.testing.assert_array_equal(network.structure_low, built.structure_low)
    np.testing.assert_array_equal(network.structure_verified, built.structure_verified)


def test_rows_are_a_sequence_like_any_other() -> None:
    changed = {1: replace(BEFORE[1], name="new")}
    rows = overlaid(town(BEFORE), changed, [Placed(structure=thing(3, 10, 1.0), arcs=[])]).structures
    assert len(rows) == 4
    assert [s.key for s in rows] == [f"thing {i}" for i in range(4)]
    assert rows[1].name == rows[-3].name == "new"
    assert [s.key for s in rows[1:3]] == ["thing 1", "thing 2"]
    for index in (4, -5):
        with pytest.raises(IndexError):
            rows[index]


def test_arrays_cannot_be_written_to() -> None:
    network = overlaid(town(BEFORE), {0: replace(BEFORE[0], evidence=(figure(40000),))})
    with pytest.raises(ValueError, match="read-only"):
        network.structure_low[0] = 1
