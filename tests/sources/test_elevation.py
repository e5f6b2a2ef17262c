"""Ground heights from a GeoTIFF that the test writes itself, where rasterio is installed."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from clearance.core.errors import InputError, UsageError
from clearance.sources.elevation import ElevationGrid

#: UTM zone 24 N, in which 40 W 45 N lies; an invented slope out at sea.
CRS = "EPSG:32624"


def grid(path: Path, *, step: float = 1.0, crs: str | None = CRS) -> Path:
    rasterio = pytest.importorskip("rasterio")
    from pyproj import Transformer

    x, y = Transformer.from_crs("OGC:CRS84", CRS, always_xy=True).transform(-40.0, 45.0)
    column, row = np.meshgrid(np.arange(80.0), np.arange(60.0))
    heights = (100 + 0.5 * column - 0.25 * row).astype(np.float32)
    heights[:5, :5] = -9999
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=80,
        height=60,
        count=1,
        dtype="float32",
        crs=crs,
        nodata=-9999,
        transform=rasterio.Affine(step, 0.0, x - 40.5 * step, 0.0, -step, y + 30.5 * step),
    ) as file:
        file.write(heights, 1)
    return path


def test_heights_between_the_points_of_the_grid(tmp_path: Path) -> None:
    """On a plane the height between four points is the plane's: checked against its formula."""
    from pyproj import Transformer

    change = Transformer.from_crs(CRS, "OGC:CRS84", always_xy=True)
    x, y = Transformer.from_crs("OGC:CRS84", CRS, always_xy=True).transform(-40.0, 45.0)
    dx, dy = np.array([0.0, 0.5, -12.25, 38.0]), np.array([0.0, 0.0, 7.5, -20.0])
    lon, lat = change.transform(x + dx, y + dy)
    with ElevationGrid(grid(tmp_path / "g.tif")) as ground:
        found = ground.heights(np.asarray(lon), np.asarray(lat))
    # Column 40, row 30 lies at the origin; x grows with the column, y against the row.
    assert found == pytest.approx(100 + 0.5 * (40 + dx) - 0.25 * (30 - dy), abs=1e-4)


def test_outside_and_without_data_nothing_is_known(tmp_path: Path) -> None:
    with ElevationGrid(grid(tmp_path / "g.tif")) as ground:
        assert np.isnan(ground.heights(np.array([-41.0]), np.array([45.0]))).all()
        from pyproj import Transformer

        change = Transformer.from_crs(CRS, "OGC:CRS84", always_xy=True)
        x, y = Transformer.from_crs("OGC:CRS84", CRS, always_xy=True).transform(-40.0, 45.0)
        lon, lat = change.transform(x - 38.0, y + 28.0)
        assert np.isnan(ground.heights(np.array([lon]), np.array([lat]))).all()


def test_grids_that_show_no_dip_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="step of 10 m"):
        ElevationGrid(grid(tmp_path / "coarse.tif", step=10.0))
    broken = tmp_path / "broken.tif"
    broken.write_bytes(b"no grid")
    with pytest.raises(InputError, match="cannot be read as an elevation grid"):
        ElevationGrid(broken)
    with pytest.raises(InputError, match="no such file"):
        ElevationGrid(tmp_path / "absent.tif")


def test_without_rasterio_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(UsageError, match="rasterio"):
        ElevationGrid(tmp_path / "g.tif")
