"""Lines that nobody drives on but that help a reader find their way on a map: railways."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.mapline import MapLine

if TYPE_CHECKING:
    from clearance.core.extract import Extract

__all__ = ["railways"]

#: Values of railway=* with rails on the ground (OSM wiki, Key:railway; from memory). A disused line still
#: lies there, one that is abandoned, razed, planned or being built does not.
_LYING = frozenset(
    {
        *("rail", "light_rail", "subway", "tram", "narrow_gauge", "monorail", "funicular"),
        *("preserved", "disused"),
    }
)


def railways(extract: Extract) -> Iterator[MapLine]:
    """The railways of an extract that can be seen, way by way in the order of their ids.

    Those in tunnels are left out: on a map they would seem to cross roads that they never meet.
    """
    for way in extract.ways:
        if not _seen(way.tags) or len(way.nodes) < 2:
            continue
        at = np.searchsorted(extract.node_ids, np.array(way.nodes, dtype=np.int64))
        points = zip(extract.lon[at].tolist(), extract.lat[at].tolist(), strict=True)
        yield MapLine(points=tuple(points), name=way.tags.get("name", ""), is_rail=True)


def _seen(tags: Mapping[str, str]) -> bool:
    return tags.get("railway") in _LYING and tags.get("tunnel", "no") == "no"
