"""The line of a route, cut where the road changes its name or kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearance.assess.roundabout import exit_numbers, is_circle
from clearance.core.drive import Piece
from clearance.network.geometry import arc_points

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.network.network import Network
    from clearance.routing.route import Route

__all__ = ["pieces_of", "road_of"]


def road_of(network: Network, arc: int) -> str:
    """What people call the road of an arc: its name, else its number, else nothing."""
    way = network.ways[int(network.arc_way[arc])]
    return way.name or way.ref


def pieces_of(case: Case, route: Route, *, distance_m: float, seconds: float) -> tuple[Piece, ...]:
    """The pieces of a route that begins `distance_m` and `seconds` after the start of the day.

    Together they are the whole route: each begins where the one before ends.
    """
    network = case.network
    exits = exit_numbers(network, route.arcs)
    pieces: list[Piece] = []
    label: tuple[str, str, bool] | None = None
    points: list[tuple[float, float]] = []
    ways: list[int] = []
    begun = (distance_m, seconds)
    taken = 0

    def close() -> None:
        if label is None:
            return
        road, highway, roundabout = label
        pieces.append(
            Piece(
                road=road,
                highway=highway,
                points=tuple(points),
                length_m=distance_m - begun[0],
                duration_s=seconds - begun[1],
                distance_m=begun[0],
                seconds=begun[1],
                ways=tuple(dict.fromkeys(ways)),
                roundabout=roundabout,
                exit=taken,
            )
        )

    for i, arc in enumerate(route.arcs):
        way = network.ways[int(network.arc_way[arc])]
        here = (way.name or way.ref, way.highway, is_circle(network, arc))
        if here != label:
            close()
            label, begun, ways, points = here, (distance_m, seconds), [], points[-1:]
        start, end = route.span(i)
        lon, lat = arc_points(network, arc, start, end)
        for point in zip(lon.tolist(), lat.tolist(), strict=True):
            if not points or points[-1] != point:
                points.append(point)
        ways.append(way.id)
        taken = exits.get(i, 0)
        distance_m += float(network.arc_length[arc]) * (end - start)
        seconds += float(case.costs.seconds[arc]) * (end - start)
    close()
    # A piece with no length (a start exactly on a corner) has nothing to draw.
    return tuple(p for p in pieces if len(p.points) > 1)
