"""GeoPackage files (OGC 12-128r19, from memory) of several layers in WGS84."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from clearance.core.errors import OutputError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = ["Layer", "geopackage_bytes", "lines_wkb", "points_wkb"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A layer: its columns, all of one length, and the WKB of each row; None for a table without places.

    A column is of texts, truth values, whole or other numbers; None, and an empty text beside numbers, is
    NULL. Arrays are taken as they are.
    """

    name: str
    columns: Mapping[str, Sequence[Any] | npt.NDArray[Any]]
    wkb: npt.NDArray[np.object_] | None = None
    geometry: str = "Point"
    description: str = ""


def points_wkb(lon: Sequence[float], lat: Sequence[float]) -> npt.NDArray[np.object_]:
    """Points from their degrees."""
    import shapely

    found: npt.NDArray[np.object_] = shapely.to_wkb(shapely.points(lon, lat))
    return found


def lines_wkb(
    lon: npt.NDArray[np.float64], lat: npt.NDArray[np.float64], ptr: npt.NDArray[np.int64]
) -> npt.NDArray[np.object_]:
    """Lines whose points are ptr[i] : ptr[i + 1] of `lon` and `lat`; each has two points or more."""
    import numpy as np
    import shapely

    of = np.repeat(np.arange(ptr.size - 1), np.diff(ptr))
    found: npt.NDArray[np.object_] = shapely.to_wkb(
        shapely.linestrings(np.column_stack((lon, lat)), indices=of)
    )
    return found


def geopackage_bytes(layers: Sequence[Layer]) -> bytes:
    """The file with its layers in their order.

    Raises OutputError where the library cannot make it.
    """
    import pyogrio

    with TemporaryDirectory(prefix="clearance-") as folder:
        path = Path(folder) / "made.gpkg"
        try:
            for layer in layers:
                _write(path, layer)
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
            told = " ".join(str(error).split())[:200]
            raise OutputError(f"the GeoPackage cannot be made ({told}); is the disk full?") from error
        return path.read_bytes()


def _write(path: Path, layer: Layer) -> None:
    import numpy as np
    import pyogrio

    data, masks = [], []
    for values in layer.columns.values():
        array, mask = (values, None) if isinstance(values, np.ndarray) else _array(values)
        data.append(array)
        masks.append(mask)
    more: dict[str, Any] = {"SPATIAL_INDEX": "YES"} if layer.wkb is not None else {}
    if layer.description:
        more["DESCRIPTION"] = layer.description
    pyogrio.raw.write(
        path,
        layer.wkb,
        data,
        np.array(list(layer.columns), dtype=object),
        field_mask=masks,
        layer=layer.name,
        driver="GPKG",
        geometry_type=None if layer.wkb is None else layer.geometry,
        crs=None if layer.wkb is None else "EPSG:4326",
        append=path.exists(),
        layer_options=more or None,
    )


def _array(values: Sequence[Any]) -> tuple[npt.NDArray[Any], npt.NDArray[np.bool_] | None]:
    """A column as an array of the kind that its values are of, and which of them are NULL."""
    import numpy as np

    told = [v for v in values if v is not None and v != ""]
    kinds = {type(v) for v in told}
    if not kinds or str in kinds:
        texts = np.array(["" if v is None else str(v) for v in values], dtype=object)
        return texts, np.array([v is None for v in values], dtype=np.bool_)
    kind: type = np.bool_ if kinds == {bool} else np.int64 if kinds == {int} else np.float64
    missing = np.array([v is None or v == "" for v in values], dtype=np.bool_)
    filled: npt.NDArray[Any] = np.array(
        [0 if gone else v for v, gone in zip(values, missing, strict=True)], dtype=kind
    )
    return filled, missing
