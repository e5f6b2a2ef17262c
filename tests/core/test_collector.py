"""The pause in the search for garbage cycles ends as it began, whatever happens inside."""

from __future__ import annotations

import gc

import pytest

from clearance.core.collector import without_collector


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
