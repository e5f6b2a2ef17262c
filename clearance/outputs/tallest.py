"""The tallest coach on every road there and back from home, as GeoJSON and GeoPackage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.screening import NO_WAY, RoadHeights, admitted
from clearance.core.structure import Standing
from clearance.outputs.geojson import collection_of, feature_of, line_of, point_of
from clearance.outputs.geopackage import Layer, geopackage_bytes, lines_wkb
from clearance.outputs.marks import MARKS, PLACE_MARK, UNCHECKED_LINE
from clearance.outputs.measures import Units
from clearance.outputs.screen_words import names_of, tallest_text
from clearance.outputs.wording import CAUTIONS, coach_line, place_text, plain

if TYPE_CHECKING:
    from clearance.core.coach import Coach

__all__ = ["HOW_READ", "tallest_geojson", "tallest_gpkg"]

HOW_READ = (
    "The tallest coach that can be driven along a road, there and back from home, by posted and measured "
    "heights, the margin kept: once with structures of unknown height counted as passable, once as closed. "
    "Limits other than height are those of the coach named. It tells what is possible at all; that a road is "
    "shown does not make it a good one."
)
_LINES = {
    "fits": MARKS[Standing.CLEAR][1],
    "fits past unverified": MARKS[Standing.UNVERIFIED][1],
    "too tall": MARKS[Standing.TOO_LOW][1],
    "no way": UNCHECKED_LINE,
}


def tallest_geojson(heights: Sequence[RoadHeights], home: Place, units: Units = Units.FEET) -> dict[str, Any]:
    """A line for each stretch of road and coach, and home, as a FeatureCollection.

    `tallest_coach` is a height rounded down, ``no known limit`` or ``no way``; `tallest_clearance_m` is null
    for either. `fits` says what it is to the coach named: ``fits``, ``fits past unverified``, ``too tall`` or
    ``no way``.
    """
    features = []
    for number, (roads, name) in enumerate(zip(heights, _names(heights), strict=True), 1):
        told = _Told(roads.coach, units)
        lon, lat, ptr = roads.lon.tolist(), roads.lat.tolist(), roads.ptr.tolist()
        for n, (way, road, highway, tallest, verified) in enumerate(_rows(roads)):
            cells = told.cells(tallest, verified)
            points = list(zip(lon[ptr[n] : ptr[n + 1]], lat[ptr[n] : ptr[n + 1]], strict=True))
            properties = {
                "role": "road",
                "title": f"{plain(road) or 'unnamed road'}: {cells['tallest_coach']}",
                "coach": name,
                "road": plain(road),
                "highway": highway,
                "way": way,
            }
            features.append(
                feature_of(
                    f"road/{number}/{n + 1}",
                    line_of(points),
                    properties | cells | _LINES[cells["fits"]].properties(),
                )
            )
    at_home = {"role": "home", "title": f"Home: {place_text(home)}"} | PLACE_MARK.properties()
    features.append(feature_of("home", point_of(home.lon, home.lat), at_home))
    coaches = [
        {"coach": name, "description": coach_line(roads.coach, units)}
        for name, roads in zip(_names(heights), heights, strict=True)
    ]
    return collection_of(features, heights[0].info, {"description": HOW_READ, "coaches": coaches})


def tallest_gpkg(heights: Sequence[RoadHeights], home: Place, units: Units = Units.FEET) -> bytes:
    """A GeoPackage with the layer `roads`, columns as in the GeoJSON, and the table `about`.

    Raises OutputError where it cannot be made.
    """
    import numpy as np

    columns: dict[str, list[Any]] = {}
    wkb = []
    for roads, name in zip(heights, _names(heights), strict=True):
        told = _Told(roads.coach, units)
        for way, road, highway, tallest, verified in _rows(roads):
            cells = {"coach": name, "road": plain(road), "highway": highway, "way": way}
            for column, value in (cells | told.cells(tallest, verified)).items():
                columns.setdefault(column, []).append(value)
        wkb.append(lines_wkb(roads.lon, roads.lat, roads.ptr))
    info = heights[0].info
    about = [
        ("roads", HOW_READ),
        ("home", f"{place_text(home)} ({home.lat:.6f},{home.lon:.6f})"),
        *(
            (name, coach_line(roads.coach, units))
            for name, roads in zip(_names(heights), heights, strict=True)
        ),
        *(("caution", caution) for caution in CAUTIONS),
        ("data source", plain(info.source)),
        ("data date", info.data_date),
        ("attribution", info.attribution),
    ]
    return geopackage_bytes(
        [
            Layer(
                name="roads",
                columns=columns,
                wkb=np.concatenate(wkb),
                geometry="LineString",
                description=HOW_READ,
            ),
            Layer(name="about", columns={"what": [w for w, _ in about], "text": [t for _, t in about]}),
        ]
    )


def _names(heights: Sequence[RoadHeights]) -> tuple[str, ...]:
    return names_of([roads.coach for roads in heights])


def _rows(roads: RoadHeights) -> Sequence[tuple[int, str, str, int, int]]:
    return list(
        zip(
            roads.way.tolist(),
            roads.road,
            roads.highway,
            roads.tallest.tolist(),
            roads.verified.tolist(),
            strict=True,
        )
    )


class _Told:
    """What is told of a pair of clearances; there are few of them on many roads."""

    def __init__(self, coach: Coach, units: Units) -> None:
        self._coach, self._units = coach, units
        self._known: dict[tuple[int, int], dict[str, Any]] = {}

    def cells(self, tallest: int, verified: int) -> dict[str, Any]:
        """The cells of a road that admits so much with unverified structures passable, and closed."""
        if (tallest, verified) not in self._known:
            self._known[tallest, verified] = self._made(tallest, verified)
        return self._known[tallest, verified]

    def _made(self, tallest: int, verified: int) -> dict[str, Any]:
        margin = self._coach.margin
        return {
            "fits": self._fits(tallest, verified),
            "tallest_coach": tallest_text(admitted(tallest), margin, self._units),
            "tallest_clearance_m": _metres(admitted(tallest).clearance),
            "tallest_coach_verified": tallest_text(admitted(verified), margin, self._units),
            "tallest_clearance_verified_m": _metres(admitted(verified).clearance),
        }

    def _fits(self, tallest: int, verified: int) -> str:
        need = self._coach.need.tenths
        if tallest == NO_WAY:
            return "no way"
        if verified >= need:
            return "fits"
        return "fits past unverified" if tallest >= need else "too tall"


def _metres(clearance: Length | None) -> float | None:
    return None if clearance is None else float(clearance.metres)
