"""Heights of the ground from a GeoTIFF or another grid, where rasterio is installed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from clearance.core.errors import InputError, UsageError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    F64 = npt.NDArray[np.float64]

__all__ = ["ElevationGrid", "first_known"]

#: A grid coarser than this shows no dip under a bridge: half a common wheelbase (judgement, no source).
_COARSEST_M = 3.0
_M_PER_DEGREE = 111_195.0


class ElevationGrid:
    """A grid of ground heights, open for look-ups; use it in a ``with`` statement.

    The grid must be of the bare ground, in metres, in steps of 3 m or less: a surface model shows the
    bridge instead of the road beneath. Raises UsageError where rasterio is not installed, InputError
    where the file is no such grid.
    """

    def __init__(self, path: Path) -> None:
        """Open the grid and look at its reference system, unit and step."""
        try:
            rasterio = import_module("rasterio")
        except ImportError as error:
            raise UsageError(
                "elevation grids need the package rasterio; install clearance[elevation], or leave them out"
            ) from error
        if not path.is_file():
            raise InputError(f"{path}: no such file; check the name and the folder")
        try:
            self._grid: Any = rasterio.open(path)
        except rasterio.errors.RasterioError as error:
            raise InputError(
                f"{path}: cannot be read as an elevation grid ({' '.join(str(error).split())[:160]})"
            ) from error
        try:
            self._check(path)
        except BaseException:
            self._grid.close()
            raise
        self.path = path

    def _check(self, path: Path) -> None:
        from pyproj import CRS, Transformer

        if self._grid.crs is None:
            raise InputError(f"{path}: does not say its reference system; save it with one")
        unit = (self._grid.units[0] or "").strip().lower()
        if unit not in ("", "m", "metre", "meter", "metres", "meters"):
            raise InputError(f"{path}: is in {unit}, not in metres; convert it")
        crs = CRS.from_wkt(self._grid.crs.to_wkt())
        self._change = Transformer.from_crs("OGC:CRS84", crs, always_xy=True)
        factor = crs.axis_info[0].unit_conversion_factor if crs.is_projected else _M_PER_DEGREE
        step = max(abs(self._grid.res[0]), abs(self._grid.res[1])) * factor
        if step > _COARSEST_M:
            raise InputError(
                f"{path}: has a step of {step:.0f} m; a dip under a bridge shows in {_COARSEST_M:g} m or less"
            )

    def heights(self, lon: F64, lat: F64) -> F64:
        """Heights in metres at places (k,) in WGS84 degrees; NaN where none is known.

        Between the points of the grid by the four around.
        """
        import numpy as np

        x, y = self._change.transform(lon, lat)
        x, y, to = np.asarray(x), np.asarray(y), ~self._grid.transform
        # Counted from the middle of the first cell, where its value holds.
        column, row = to.a * x + to.b * y + to.c - 0.5, to.d * x + to.e * y + to.f - 0.5
        found = np.full(len(lon), np.nan)
        inside = (
            (column >= 0) & (row >= 0) & (column <= self._grid.width - 1) & (row <= self._grid.height - 1)
        )
        if not inside.any():
            return found
        c, r = column[inside], row[inside]
        c0, r0 = int(np.floor(c.min())), int(np.floor(r.min()))
        c1 = min(int(np.floor(c.max())) + 2, self._grid.width)
        r1 = min(int(np.floor(r.max())) + 2, self._grid.height)
        window = ((r0, r1), (c0, c1))
        block = self._grid.read(1, window=window, masked=True).astype(np.float64).filled(np.nan)
        i = np.clip(np.floor(r - r0).astype(np.int64), 0, max(block.shape[0] - 2, 0))
        j = np.clip(np.floor(c - c0).astype(np.int64), 0, max(block.shape[1] - 2, 0))
        di, dj = r - r0 - i, c - c0 - j
        below, beside = np.minimum(i + 1, block.shape[0] - 1), np.minimum(j + 1, block.shape[1] - 1)
        upper = block[i, j] * (1 - dj) + block[i, beside] * dj
        lower = block[below, j] * (1 - dj) + block[below, beside] * dj
        found[inside] = upper * (1 - di) + lower * di
        return found

    def __enter__(self) -> Self:
        """The grid itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self._grid.close()


def first_known(grids: Sequence[ElevationGrid]) -> Callable[[F64, F64], F64]:
    """Heights in metres by longitudes and latitudes (k,), of the first grid that knows each."""

    def heights(lon: F64, lat: F64) -> F64:
        import numpy as np

        found = np.full(len(lon), np.nan)
        for grid in grids:
            missing = np.isnan(found)
            if missing.any():
                found[missing] = grid.heights(lon[missing], lat[missing])
        return found

    return heights
