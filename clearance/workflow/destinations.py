"""Lists of destinations, each found on the map; what cannot be used is told with its line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import InputError, PlaceError

if TYPE_CHECKING:
    from clearance.core.screening import Destination, Problem
    from clearance.network.network import Network

__all__ = ["read_destinations", "read_some_destinations"]

#: Of a list in which no row can be used, so many are told.
_PROBLEMS_NAMED = 10


def read_some_destinations(
    network: Network, path: Path
) -> tuple[list[Destination], list[Problem], list[str]]:
    """As `read_destinations`. Raises InputError also where no row can be used."""
    found, problems, notes = read_destinations(network, path)
    if not found:
        told = "; ".join(f"{p.where}: {p.text}" for p in problems[:_PROBLEMS_NAMED])
        more = len(problems) - _PROBLEMS_NAMED
        raise InputError(f"{path}: no row can be used; {told}{f'; and {more:,} more' if more > 0 else ''}")
    return found, problems, notes


def read_destinations(network: Network, path: Path) -> tuple[list[Destination], list[Problem], list[str]]:
    """The destinations of a CSV, GPX, GeoJSON or GeoPackage file in its order, problems, and notes.

    Places that are told by a name are looked up in the map data. Raises InputError where the file as a whole
    cannot be read.
    """
    from dataclasses import replace

    from clearance.core.place_text import find_place
    from clearance.core.places import Place
    from clearance.core.screening import Destination, Problem
    from clearance.sources.place_list import read_stops

    listed = read_stops(path)
    found: list[Destination] = []
    problems = [
        Problem(where=where, name="", text=text or problem)
        for problem in listed.problems
        for where, _, text in [problem.partition(": ")]
    ]
    for stop in listed.stops:
        if isinstance(stop.place, Place):
            found.append(Destination(place=stop.place, where=stop.where))
            continue
        try:
            place = find_place(stop.place, network.places)
        except PlaceError as error:
            problems.append(Problem(where=stop.where, name=stop.place, text=str(error)))
            continue
        # What the owner calls it, where the map has no name of its own.
        named = place if place.name else replace(place, name=stop.label)
        found.append(Destination(place=named, where=stop.where))
    return found, problems, list(listed.notes)
