"""A road file held open for many questions: a server asks the same one again and again."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import RoadFileError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from clearance.core.places import Place
    from clearance.core.structure import Structure
    from clearance.network.network import Network

__all__ = ["OpenRoads", "make_ready", "opened"]


class OpenRoads:
    """A network with what is worth keeping of it; see `opened`."""

    def __init__(self, network: Network) -> None:
        """Keep `network`; all else is made when first asked for."""
        self.network = network

    @cached_property
    def named(self) -> tuple[tuple[str, Place], ...]:
        """Every named place beside its name as names are compared."""
        from clearance.core.place_text import folded

        return tuple((folded(place.name), place) for place in self.network.places if place.name)

    @cached_property
    def at(self) -> Mapping[tuple[str, str], Place]:
        """Named places by name and ``lat,lon``."""
        from clearance.core.place_text import lat_lon_text

        return {(place.name, lat_lon_text(place)): place for _, place in self.named}

    @cached_property
    def structures(self) -> tuple[Structure, ...]:
        """Every structure, decoded once."""
        return tuple(self.network.structures)

    @cached_property
    def highways(self) -> tuple[npt.NDArray[np.uint8], tuple[str, ...]]:
        """For each way an index into the values of highway=* that there are."""
        import numpy as np

        known: dict[str, int] = {}
        rank = [known.setdefault(way.highway, len(known)) for way in self.network.ways]
        # More than 255 values of highway are no map; the rest would count as the last.
        return np.minimum(np.array(rank, dtype=np.int64), 255).astype(np.uint8), tuple(known)


def opened(roads: Path, records: Path | None = None) -> OpenRoads:
    """The road file with the owner's records as evidence, opened anew only where either has changed.

    Raises RoadFileError as `network.roadfile.open_road_file` does, InputError for the records.
    """
    try:
        found = _mark(roads)
    except OSError as error:
        raise RoadFileError(f"{roads}: {error.strerror}; make a road file with `clearance get`") from None
    if records is None or not records.exists():
        return _opened(roads, None, found)
    # Fresh records stand in the log beside the file until it is folded in.
    log = records.with_name(f"{records.name}-wal")
    return _opened(roads, records, found + _mark(records) + (_mark(log) if log.exists() else ()))


def _mark(path: Path) -> tuple[int, ...]:
    """What changes with a file's content."""
    found = path.stat()
    return found.st_mtime_ns, found.st_ino, found.st_size


# The area with records and without: names and roads are asked for more often than records change.
@lru_cache(maxsize=2)
def _opened(roads: Path, records: Path | None, _: tuple[int, ...]) -> OpenRoads:
    from clearance.workflow.recorded import roads_with_records

    return OpenRoads(roads_with_records(roads, records).network)


def make_ready(roads: Path) -> None:
    """Do beforehand what the first drive of a process would wait for: imports, and opening the file.

    Raises RoadFileError as `opened` does.
    """
    import clearance.assess.day
    import clearance.assess.inspect
    import clearance.outputs.page_view  # noqa: F401

    _ = opened(roads).named
