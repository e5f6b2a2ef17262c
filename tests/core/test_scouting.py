"""What hangs on structures of unknown height, in numbers, and in which order they are told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.core.coach import Coach
from clearance.core.extract import ExtractInfo
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.scouting import Scouted, Scouting, ranked
from clearance.core.screening import Destination
from clearance.core.structure import Kind, Structure

PLAIN = Scouted(number=0, structure=Structure(key="m", kind=Kind.BRIDGE, lon=0, lat=0))


def keyed(key: str, item: Scouted) -> Scouted:
    return replace(item, structure=replace(item.structure, key=key))


def test_sums_of_one_structure() -> None:
    item = replace(PLAIN, with_others=((1, 2), (4, 4)), saves=((2, 30.5), (3, 12.0)))
    assert item.share == pytest.approx(1 / 2 + 1 / 4)
    assert item.saves_s == pytest.approx(42.5)
    assert (PLAIN.share, PLAIN.saves_s) == (0, 0)


def test_each_ground_of_the_order_comes_before_the_next() -> None:
    """Each of these is behind those before it by one ground, and ahead in all that follow."""
    last = {"passed_by": (1, 2, 3), "saves": ((1, 90.0),), "with_others": ((1, 2), (2, 2))}
    items = [
        keyed("z", replace(PLAIN, opens=(1,))),
        keyed("y", replace(PLAIN, with_others=((1, 2), (2, 2), (3, 2)))),
        keyed("x", replace(PLAIN, with_others=((1, 2), (2, 2)), saves=((1, 100.0),))),
        keyed("w", replace(PLAIN, **last)),  # type: ignore[arg-type]
        keyed("v", replace(PLAIN, **{**last, "passed_by": (1, 2)})),  # type: ignore[arg-type]
        keyed("vv", replace(PLAIN, **{**last, "passed_by": (4, 5)})),  # type: ignore[arg-type]
        keyed("a", replace(PLAIN, passed_by=(1, 2, 3, 4))),
    ]
    for shift in range(len(items)):
        order = ranked(items[shift:] + items[:shift])
        assert [s.structure.key for s in order] == ["z", "y", "x", "w", "v", "vv", "a"]
        assert [s.number for s in order] == [1, 2, 3, 4, 5, 6, 7]
    # A difference within the noise of sums is none: a thousandth of a second counts, less does not.
    for off, keys in ((0.0004, ["a", "b"]), (0.001, ["b", "a"])):
        pair = [
            keyed("a", replace(PLAIN, saves=((1, 5.0),))),
            keyed("b", replace(PLAIN, saves=((1, 5.0 + off),))),
        ]
        assert [s.structure.key for s in ranked(pair)] == keys


def test_what_a_destination_is_called() -> None:
    point = Place(lon=-40.123456, lat=45.987654)
    scouting = Scouting(
        home=point,
        coach=Coach(height=Length.from_feet(13)),
        info=ExtractInfo(source="invented"),
        destinations=(
            Destination(place=replace(point, name="Camp"), where="line 2"),
            Destination(place=point, where="line 3"),
            Destination(place=point),
        ),
        items=(),
    )
    assert [scouting.name(n) for n in (1, 2, 3)] == ["Camp", "line 3", "45.98765,-40.12346"]
