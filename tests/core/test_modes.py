"""Modes of transport: each means one thing for a coach."""

from __future__ import annotations

from itertools import combinations

from clearance.core.modes import OTHER_MODES, OWN_MODES, TOWED_MODES


def test_no_mode_stands_in_two_groups() -> None:
    for a, b in combinations((OTHER_MODES, OWN_MODES, TOWED_MODES), 2):
        assert a.isdisjoint(b)


def test_modes_that_may_bind_a_coach_are_not_among_the_others() -> None:
    assert OTHER_MODES.isdisjoint({"motorhome", "motorcar", "caravan", "trailer", "coach", "hov", "hazmat"})
    assert "hgv" in OTHER_MODES  # goods vehicles above 3.5 t: OSM wiki, Key:hgv (from memory)
