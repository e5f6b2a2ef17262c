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


def opened(roads: Path) -> OpenRoads:
    """The road file, opened anew only where it has been replaced since.

    Raises RoadFileError as `network.roadfile.open_road_file` does.
    """
    try:
        found = roads.stat()
    except OSError as error:
        raise RoadFileError(f"{roads}: {error.strerror}; make a road file with `clearance get`") from None
    return _opened(roads, found.st_mtime_ns, found.st_ino, found.st_size)


@lru_cache(maxsize=1)
def _opened(roads: Path, *_: int) -> OpenRoads:
    from clearance.network.roadfile import open_road_file

    return OpenRoads(open_road_file(roads))


def make_ready(roads: Path) -> None:
    """Do beforehand what the first drive of a process would wait for: imports, and opening the file.

    Raises RoadFileError as `opened` does.
    """
    import clearance.assess.day
    import clearance.assess.inspect
    import clearance.outputs.page_view  # noqa: F401

    _ = opened(roads).named
