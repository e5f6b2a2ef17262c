"""What searches need of structures, as arrays; a network whose structures gain or lose evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import takewhile
from typing import TYPE_CHECKING, Any

import numpy as np

from clearance.core.structure import Direction
from clearance.network.network import NO_LIMIT, SLIGHT_WEIGHT
from clearance.network.sorted_rows import rows_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.structure import Structure
    from clearance.network.network import Network

__all__ = ["read_only", "structure_arrays", "with_structures"]

_HITS = ("arc", "structure", "position", "start", "end", "share", "passed", "side")


def structure_arrays(structures: Sequence[Structure]) -> dict[str, Any]:
    """The arrays ``structure_...`` of a network by name, in the order of `structures`; see `Network`."""
    sides = (Direction.FORWARD, Direction.BACKWARD)
    low = [[_tenths(structure, side) for side in sides] for structure in structures]
    verified = [[structure.verified(side) for side in sides] for structure in structures]
    return {
        "structure_low": np.array(low, dtype=np.int32).reshape(-1, 2),
        "structure_verified": np.array(verified, dtype=np.bool_).reshape(-1, 2),
        "structure_weight": np.array(
            [SLIGHT_WEIGHT if s.slight else 1.0 for s in structures], dtype=np.float64
        ),
        "structure_conditional": np.array(
            [any(e.condition and e.figure is not None for e in s.evidence) for s in structures],
            dtype=np.bool_,
        ),
        "structure_implied": np.array([s.implied.tenths if s.implied else 0 for s in structures], np.int32),
        "structure_over": np.array([s.over_road for s in structures], dtype=np.bool_),
    }


def _tenths(structure: Structure, side: Direction) -> int:
    lowest = structure.lowest(side)
    return int(NO_LIMIT) if lowest is None else lowest.tenths


def read_only(network: Network) -> Network:
    """The network, its arrays locked against writing."""
    for field in fields(network):
        value = getattr(network, field.name)
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    return network


def with_structures(network: Network, structures: Sequence[Structure]) -> Network:
    """The same network with `structures` in place of its own: the same ones with other evidence.

    They stand in the order of the network's. Only at the end may some be missing or new: structures that
    only a list tells of, each over the whole of a road. The result is the network that `build_network` makes
    of `structures`.

    Raises ValueError where a new structure does not stand over whole roads of the network.
    """
    same = sum(
        1
        for _ in takewhile(
            lambda pair: pair[0].key == pair[1].key, zip(network.structures, structures, strict=False)
        )
    )
    return read_only(
        replace(
            network,
            **structure_arrays(structures),
            **_hits(network, structures, same),
            **_of_first(network, "profile_structure", ("profile_height",), same),
            **_of_first(network, "nodehit_structure", ("nodehit_node",), same),
            structures=tuple(structures),
        )
    )


def _of_first(network: Network, index: str, beside: Sequence[str], same: int) -> dict[str, Any]:
    """The rows of arrays that run in step with `index` which are of the first `same` structures."""
    kept = getattr(network, index) < same
    return {name: getattr(network, name)[kept] for name in (index, *beside)}


def _hits(network: Network, structures: Sequence[Structure], same: int) -> dict[str, Any]:
    """The hits of the first `same` structures as they are, and those of the new ones."""
    columns = {name: getattr(network, f"hit_{name}") for name in _HITS}
    kept = columns["structure"] < same
    if not kept.all():
        columns = {name: values[kept] for name, values in columns.items()}
    if same < len(structures):
        new = _new_hits(network, structures, same)
        columns = {name: np.concatenate((values, new[name])) for name, values in columns.items()}
        order = np.lexsort((columns["structure"], columns["position"], columns["arc"]))
        columns = {name: values[order] for name, values in columns.items()}
    return {f"hit_{name}": values for name, values in columns.items()}


def _new_hits(network: Network, structures: Sequence[Structure], same: int) -> dict[str, npt.NDArray[Any]]:
    wanted = {span.way for structure in structures[same:] for span in structure.spans}
    rows = {way.id: row for row, way in enumerate(network.ways) if way.id in wanted}
    by_way = np.argsort(network.arc_way, kind="stable")
    sorted_way = network.arc_way[by_way]
    arcs: list[npt.NDArray[Any]] = [np.zeros(0, np.int64)]
    of: list[npt.NDArray[Any]] = [np.zeros(0, np.int32)]
    shares: list[npt.NDArray[Any]] = [np.zeros(0, np.float64)]
    for number, structure in enumerate(structures[same:], start=same):
        for span in structure.spans:
            if span.way not in rows:
                continue  # a way that nobody may drive on
            first, last = rows_of(sorted_way, rows[span.way])
            mine = np.sort(by_way[first:last])
            ends = np.concatenate((network.arc_from[mine], network.arc_to[mine]))
            if span.start != 0 or span.end != ends.max(initial=0):
                raise ValueError(
                    f"{structure.key} is new and does not stand over the whole of way {span.way}"
                )
            length = network.arc_length[mine]
            along = network.arc_from[mine] < network.arc_to[mine]
            one_way = length[along].sum() if along.any() else length.sum()
            arcs.append(mine)
            of.append(np.full(mine.size, number, np.int32))
            shares.append(length / one_way)
    arc = np.concatenate(arcs)
    against = network.arc_from[arc] > network.arc_to[arc]
    return {
        "arc": arc.astype(np.int32),
        "structure": np.concatenate(of),
        "position": np.full(arc.size, 0.5),
        "start": np.zeros(arc.size),
        "end": np.ones(arc.size),
        "share": np.concatenate(shares),
        "passed": np.ones(arc.size, np.bool_),
        "side": against.astype(np.uint8),
    }
