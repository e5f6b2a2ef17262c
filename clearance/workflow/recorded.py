"""Road files opened with what the owner has recorded in them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from clearance.network.network import Network

__all__ = ["Recorded", "roads_with_records"]


@dataclass(frozen=True, slots=True)
class Recorded:
    """A network, and what is to be said of the records in it."""

    network: Network
    notes: tuple[str, ...] = ()


def roads_with_records(roads: Path, records: Path | None) -> Recorded:
    """The network of a road file, with the heights of a file of records as evidence where one is given.

    Raises RoadFileError for the road file, InputError for the records.
    """
    from clearance.network.roadfile import open_road_file

    network = open_road_file(roads)
    if records is None:
        return Recorded(network)
    from clearance.assess.records import with_records
    from clearance.sources.records import read_records

    counted = with_records(network, read_records(records))
    if not counted.records and not counted.notes:
        return Recorded(network)
    heights = "1 height" if counted.records == 1 else f"{counted.records} heights"
    return Recorded(
        counted.network, (f"{heights} from your records ({records}) in this area", *counted.notes)
    )
