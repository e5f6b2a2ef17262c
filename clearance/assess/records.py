"""What the owner recorded, brought to the structures of a network as evidence."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.errors import PlaceError
from clearance.core.record import elements_of_structure, record_evidence
from clearance.core.structure import Kind, Structure
from clearance.network.geometry import plane_scale
from clearance.network.overlay import Placed, overlaid
from clearance.routing.snap import snap

if TYPE_CHECKING:
    from clearance.core.record import Record
    from clearance.network.network import Network

__all__ = ["NEAR_M", "Counted", "structures_near", "with_records"]

#: A structure is the one that was seen where it is no farther from the place than this. Judgement: about
#: the length of a bridge over a wide road, and what a phone's position is off between buildings.
NEAR_M = 40.0
#: A key means the same structure only so near to where it was: map elements get moved, and used again.
_SAME_KEY_M = 250.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A network with records in it: how many of them count, and a sentence for each that needs one."""

    network: Network
    records: int
    notes: tuple[str, ...]


def structures_near(
    network: Network, lon: float, lat: float, limit_m: float = NEAR_M
) -> list[tuple[float, int]]:
    """The structures within `limit_m` of a place: (metres, index), the nearest first."""
    return _Places(network).near(lon, lat, limit_m)


def with_records(network: Network, records: Iterable[Record]) -> Counted:
    """The network with each record as evidence of the structure that it is about.

    That is the structure of its key; failing that, the one within `NEAR_M` that shares most elements with
    it. A record of a place alone, or one that fits several, counts as a figure that may condemn every
    structure within `NEAR_M` but clear none. Where there is none, the figure stands for itself on the nearest
    road, since something that low is or was there. Records outside the area count nowhere; so does one
    far from any road, which is told of.
    """
    x, y = network.geom_lon, network.geom_lat
    if not x.size:
        return Counted(network=network, records=0, notes=())
    west, south, east, north = x.min(), y.min(), x.max(), y.max()
    here = [r for r in records if r.removal is None and west <= r.lon <= east and south <= r.lat <= north]
    if not here:
        return Counted(network=network, records=0, notes=())
    work = _Work(network)
    count = sum(work.add(record) for record in here)
    return Counted(network=work.network(), records=count, notes=tuple(work.notes))


class _Places:
    """Where the structures of a network are."""

    def __init__(self, network: Network) -> None:
        self.rows = list(network.structures)
        self.lon = np.array([s.lon for s in self.rows], dtype=np.float64)
        self.lat = np.array([s.lat for s in self.rows], dtype=np.float64)

    def near(self, lon: float, lat: float, limit_m: float) -> list[tuple[float, int]]:
        x_scale, y_scale = plane_scale(lat)
        metres = np.hypot((self.lon - lon) * x_scale, (self.lat - lat) * y_scale)
        return sorted((float(metres[k]), int(k)) for k in np.flatnonzero(metres <= limit_m))


class _Work:
    """Records taken up one after another."""

    def __init__(self, network: Network) -> None:
        self._network = network
        self._places = _Places(network)
        self._told: dict[int, list[Record]] = defaultdict(list)
        self._doubtful: dict[int, list[Record]] = defaultdict(list)
        self._alone: list[Placed] = []
        self.notes: list[str] = []

    def add(self, record: Record) -> bool:
        """Take up a record; whether it counts in this network."""
        near = self._places.near(record.lon, record.lat, _SAME_KEY_M)
        for _, k in near:
            if record.key and self._places.rows[k].key == record.key:
                self._told[k].append(record)
                return True
        over = [k for metres, k in near if metres <= NEAR_M and elements_of_structure(self._places.rows[k])]
        fitting = self._fitting(record, over)
        if not fitting:
            return self._on_road(record)
        if record.key and len(fitting) == 1:
            self._told[fitting[0]].append(record)
            self.notes.append(
                f"{record.label}: the map has changed; the height counts for {self._called(fitting[0])}, "
                "which is in its place"
            )
            return True
        for k in fitting:
            self._doubtful[k].append(record)
        which = self._called(fitting[0]) if len(fitting) == 1 else f"{len(fitting)} structures near it"
        self.notes.append(
            f"{record.label}: tells no structure, so that its height counts against {which}, and clears "
            "none. Record it again with the key of the right one"
        )
        return True

    def _fitting(self, record: Record, near: list[int]) -> list[int]:
        """The structures near it that the record may be about: one, several, or none."""
        if not record.key:
            return near
        # Something was there with these elements; what shares none of them is something else.
        shared = {
            k: len(set(elements_of_structure(self._places.rows[k])) & set(record.elements)) for k in near
        }
        most = max(shared.values(), default=0)
        return [k for k in near if shared[k] == most] if most else []

    def _called(self, k: int) -> str:
        structure = self._places.rows[k]
        return f"the {structure.kind}{f' over {structure.road}' if structure.road else ''} ({structure.key})"

    def _on_road(self, record: Record) -> bool:
        """Put the figure of a record that fits no structure on the nearest road."""
        network = self._network
        everything = np.ones(network.arc_tail.size, np.bool_)
        why = "its structure is no longer in the map" if record.key else "no structure is mapped there"
        try:
            snaps = snap(network, record.lon, record.lat, everything, NEAR_M)
        except PlaceError:
            self.notes.append(
                f"{record.label}: {why}, and no road is within {NEAR_M:.0f} m; it counts nowhere. Check it, "
                "and record it again or remove it"
            )
            return False
        way = network.ways[int(network.arc_way[snaps[0].arc])]
        road = record.road or way.name or way.ref
        structure = Structure(
            key=f"record:{record.uid}",
            kind=Kind.LIMIT,
            lon=snaps[0].lon,
            lat=snaps[0].lat,
            name=record.name,
            road=road,
            evidence=(record_evidence(record),),
        )
        self._alone.append(Placed(structure=structure, arcs=[(at.arc, at.fraction) for at in snaps]))
        if record.key:
            self.notes.append(
                f"{record.label}: {why}; the height stands for itself on {road or 'the nearest road'}. Look "
                "again, and record it anew or remove it"
            )
        return True

    def network(self) -> Network:
        """The network with all of them."""
        changed: dict[int, Structure] = {}
        for k in sorted({*self._told, *self._doubtful}):
            structure = self._places.rows[k]
            told = [record_evidence(r) for r in self._told[k]]
            told += [
                replace(
                    record_evidence(r), can_clear=False, note=_joined(r.note, "may be of another structure")
                )
                for r in self._doubtful[k]
            ]
            changed[k] = replace(structure, evidence=(*structure.evidence, *told))
        if not changed and not self._alone:
            return self._network
        return overlaid(self._network, changed, self._alone)


def _joined(*texts: str) -> str:
    return ", ".join(text for text in texts if text)
