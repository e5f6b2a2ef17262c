"""A network with other evidence for a few of its structures, and a few structures more.

Rows of a road file are decoded when asked for; here all but the changed ones stay that way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from clearance.core.structure import Structure
from clearance.network.structure_arrays import read_only, structure_arrays

if TYPE_CHECKING:
    from clearance.network.network import Network

__all__ = ["Placed", "overlaid"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A structure of no length that is passed on `arcs`, each at a fraction of its length from its tail."""

    structure: Structure
    arcs: Sequence[tuple[int, float]]


class _Rows(Sequence[Structure]):
    """Structures of which some are replaced and some added."""

    def __init__(
        self, base: Sequence[Structure], changed: Mapping[int, Structure], added: Sequence[Structure]
    ) -> None:
        self._base, self._changed, self._added = base, dict(changed), tuple(added)

    def __len__(self) -> int:
        return len(self._base) + len(self._added)

    @overload
    def __getitem__(self, index: int) -> Structure: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Structure]: ...
    def __getitem__(self, index: int | slice) -> Structure | Sequence[Structure]:
        if isinstance(index, slice):
            return tuple(self[i] for i in range(*index.indices(len(self))))
        if not -len(self) <= index < len(self):
            raise IndexError(index)
        at = index % len(self)
        if at >= len(self._base):
            return self._added[at - len(self._base)]
        found = self._changed.get(at)
        return self._base[at] if found is None else found

    def __iter__(self) -> Iterator[Structure]:
        for at, structure in enumerate(self._base):
            yield self._changed.get(at, structure)
        yield from self._added

    def __eq__(self, other: object) -> bool:
        """Row by row."""
        if not isinstance(other, Sequence) or len(other) != len(self):
            return False
        return all(a == b for a, b in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]


def overlaid(network: Network, changed: Mapping[int, Structure], added: Sequence[Placed] = ()) -> Network:
    """The network with the structures of some indices replaced, and others added after the last.

    A replaced structure stands where it stood: only its evidence counts here.
    """
    rows = _Rows(network.structures, changed, [placed.structure for placed in added])
    return read_only(
        replace(network, **_columns(network, changed, added), **_hits(network, added), structures=rows)
    )


def _columns(network: Network, changed: Mapping[int, Structure], added: Sequence[Placed]) -> dict[str, Any]:
    """The arrays by structure, with the rows of the changed and added ones made anew."""
    indices = sorted(changed)
    fresh = structure_arrays([*(changed[k] for k in indices), *(placed.structure for placed in added)])
    columns: dict[str, Any] = {}
    for name, rows in fresh.items():
        column = np.concatenate((getattr(network, name), rows[len(indices) :]))
        column[indices] = rows[: len(indices)]
        columns[name] = column
    return columns


def _hits(network: Network, added: Sequence[Placed]) -> dict[str, Any]:
    """The hits with those of the added structures put in, still sorted by arc."""
    if not added:
        return {}
    first = len(network.structures)
    found = sorted(
        {(arc, fraction, first + k) for k, placed in enumerate(added) for arc, fraction in placed.arcs}
    )
    arc = np.array([hit[0] for hit in found], dtype=np.int32)
    place = np.array([hit[1] for hit in found], dtype=np.float64)
    against = network.arc_from[arc] > network.arc_to[arc]
    new: dict[str, Any] = {
        "hit_arc": arc,
        "hit_structure": np.array([hit[2] for hit in found], dtype=np.int32),
        "hit_position": place,
        "hit_start": place,
        "hit_end": place,
        "hit_share": np.ones(arc.size),
        "hit_passed": np.ones(arc.size, np.bool_),
        "hit_side": against.astype(np.uint8),
    }
    at = np.searchsorted(network.hit_arc, arc, side="right")
    return {name: np.insert(getattr(network, name), at, values) for name, values in new.items()}
