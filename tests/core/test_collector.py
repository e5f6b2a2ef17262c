"""The pause in the search for garbage cycles ends as it began, whatever happens inside."""

from __future__ import annotations

import gc

import pytest

from clearance.core.collector import without_collector, young_collector


def test_it_is_off_inside_and_as_before_after() -> None:
    assert gc.isenabled()
    with without_collector():
        assert not gc.isenabled()
        with without_collector():
            assert not gc.isenabled()
        assert not gc.isenabled(), "an inner pause does not end the outer one"
    assert gc.isenabled()


def test_an_error_ends_it_and_goes_on() -> None:
    @without_collector()
    def broken() -> None:
        assert not gc.isenabled()
        raise KeyError("here")

    for _ in range(2):
        with pytest.raises(KeyError, match="here"):
            broken()
        assert gc.isenabled()


def test_young_cycles_are_found_and_old_values_let_alone() -> None:
    class Loop:
        def __init__(self) -> None:
            self.me = self

    before = gc.get_threshold()
    full = gc.get_stats()[2]["collections"]
    left: list[object] = []
    with young_collector():
        for _ in range(50_000):
            left.append([Loop()][:0])
        # Each loop is garbage at once: only a few of the last are not yet found.
        alive = sum(isinstance(thing, Loop) for thing in gc.get_objects())
    assert alive < 10_000
    assert gc.get_stats()[2]["collections"] == full
    assert gc.get_threshold() == before
