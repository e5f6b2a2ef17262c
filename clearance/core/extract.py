"""Raw OpenStreetMap elements of an area, the same whichever reader brought them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = ["ATTRIBUTION", "Extract", "ExtractInfo", "Member", "Relation", "Way"]

#: Required by the licence of the data, ODbL 1.0 (openstreetmap.org/copyright).
ATTRIBUTION = "© OpenStreetMap contributors, ODbL 1.0"


@dataclass(frozen=True, slots=True)
class Way:
    """A way: its id, its node ids in order, its tags."""

    id: int
    nodes: tuple[int, ...]
    tags: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Member:
    """A member of a relation; `kind` is ``n``, ``w`` or ``r``."""

    kind: str
    ref: int
    role: str


@dataclass(frozen=True, slots=True)
class Relation:
    """A relation: turn restriction, or multipolygon of a building or a facility."""

    id: int
    members: tuple[Member, ...]
    tags: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtractInfo:
    """Where an extract came from. Dates are ISO 8601 texts, empty where not known."""

    source: str
    data_date: str = ""
    read_date: str = ""
    attribution: str = ATTRIBUTION
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Extract:
    """Ways, tagged nodes and relations of an area that matter to a coach.

    `node_ids` is sorted, int64, shape (n,); `lon` and `lat` are WGS84 degrees, float64, shape (n,),
    in the same order, exact to the 1e-7 degrees that OpenStreetMap keeps. `node_tags` holds only
    nodes that have tags of interest, all of which are in `node_ids`. Ways are sorted by id, and so
    are relations. Every node of a way is in `node_ids`; a way that lost nodes at the edge of the
    file keeps the longest run of nodes that have a place, and is named in `info.warnings`.
    """

    info: ExtractInfo
    node_ids: npt.NDArray[np.int64]
    lon: npt.NDArray[np.float64]
    lat: npt.NDArray[np.float64]
    ways: tuple[Way, ...]
    node_tags: Mapping[int, Mapping[str, str]] = field(default_factory=dict)
    relations: tuple[Relation, ...] = ()
