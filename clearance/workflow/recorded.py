"""Road files opened with what the owner has recorded in them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.routing.ran import noted, stage

if TYPE_CHECKING:
    from clearance.network.network import Network

__all__ = ["Recorded", "roads_with_records"]


@dataclass(frozen=True, slots=True)
class Recorded:
    """A network, and what is to be said of the records in it."""

    network: Network
    notes: tuple[str, ...] = ()


def _told(network: Network) -> str:
    """What of a network bears on how it is searched."""
    marks = network.landmark_ms.shape[1] // 2
    landmarks = f"{marks} landmarks" if marks else "no landmarks, as small ones have none"
    return f"road file of {network.node_osm.size} nodes, {network.state_arc.size} states, {landmarks}"


def roads_with_records(roads: Path, records: Path | None) -> Recorded:
    """The network of a road file, with the heights of a file of records as evidence where one is given.

    Raises RoadFileError for the road file, InputError for the records.
    """
    with stage("open"):
        from clearance.network.roadfile import open_road_file

        network = open_road_file(roads)
    noted(_told(network))
    if records is None:
        return Recorded(network)
    with stage("records"):
        from clearance.assess.records import with_records
        from clearance.sources.records import read_records

        counted = with_records(network, read_records(records))
    if not counted.records and not counted.notes:
        return Recorded(network)
    heights = "1 height" if counted.records == 1 else f"{counted.records} heights"
    return Recorded(
        counted.network, (f"{heights} from your records ({records}) in this area", *counted.notes)
    )
