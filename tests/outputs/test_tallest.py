"""The map of the tallest coach, read as GeoJSON and by geopandas."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from clearance.core.screening import NO_WAY, UNLIMITED, RoadHeights
from clearance.outputs.measures import Units
from clearance.outputs.tallest import tallest_geojson, tallest_gpkg
from tests.outputs.samples import INFO
from tests.outputs.screen_samples import HERON, WREN, place

HOME = place(0, 0, "Coach Yard")
#: Heron needs 13'6", which is 41148 tenths of a millimetre; the margin of 6 in is 1524.
TALLEST = [41_148, 41_147, UNLIMITED, 50_000, NO_WAY]
VERIFIED = [41_148, 36_000, UNLIMITED, NO_WAY, NO_WAY]


def heights(coach: object = HERON) -> RoadHeights:
    return RoadHeights(
        coach=coach,  # type: ignore[arg-type]
        info=INFO,
        way=np.arange(1, 6, dtype=np.int64),
        road=("Quay Road", "", "High\nStreet", "Mill Lane", "Pier"),
        highway=("primary", "service", "residential", "track", "service"),
        tallest=np.array(TALLEST, np.int32),
        verified=np.array(VERIFIED, np.int32),
        ptr=np.array([0, 2, 4, 7, 9, 11], np.int64),
        lon=np.linspace(-40.0, -39.99, 11),
        lat=np.linspace(45.0, 45.01, 11),
    )


def test_what_each_road_is_to_the_coach() -> None:
    found = json.loads(json.dumps(tallest_geojson([heights()], HOME)))
    roads = [f for f in found["features"] if f["properties"]["role"] == "road"]
    told = [
        tuple(f["properties"][k] for k in ("fits", "tallest_coach", "tallest_clearance_m")) for f in roads
    ]
    assert told == [
        ("fits", "13'0\"", 4.1148),
        # A tenth of a millimetre too low is too low.
        ("too tall", "12'11\"", 4.1147),
        ("fits", "no known limit", None),
        ("fits past unverified", "15'10\"", 5.0),
        ("no way", "no way", None),
    ]
    assert [f["properties"]["tallest_coach_verified"] for f in roads[2:]] == [
        "no known limit", "no way", "no way",
    ]  # fmt: skip
    assert [len(f["geometry"]["coordinates"]) for f in roads] == [2, 2, 3, 2, 2]
    assert roads[1]["properties"]["title"] == "unnamed road: 12'11\""
    assert roads[2]["properties"]["road"] == "High Street"
    # Looks differ by more than the hue alone.
    widths = [f["properties"]["stroke-width"] for f in roads]
    assert len({widths[0], widths[1], widths[3], widths[4]}) == 4
    assert found["features"][-1]["properties"]["title"] == "Home: Coach Yard"


@pytest.mark.parametrize("units", list(Units))
def test_geopandas_reads_the_roads_of_two_coaches(tmp_path: Path, units: Units) -> None:
    path = tmp_path / "roads.gpkg"
    path.write_bytes(tallest_gpkg([heights(), heights(WREN)], HOME, units))
    roads = gpd.read_file(path, layer="roads")
    assert roads.coach.tolist() == ["Heron"] * 5 + ["Wren"] * 5
    assert roads.fits.tolist()[5:] == ["fits", "fits", "fits", "fits past unverified", "no way"]
    assert roads.tallest_clearance_m[0] == pytest.approx(4.1148, abs=1e-9)
    assert roads.tallest_clearance_m.isna().tolist() == [False, False, True, False, True] * 2
    line = list(roads.geometry[2].coords)
    assert len(line) == 3
    assert line[0] == pytest.approx((heights().lon[4], heights().lat[4]))
    about = gpd.read_file(path, layer="about")
    assert HOME.name in about.text[1]
