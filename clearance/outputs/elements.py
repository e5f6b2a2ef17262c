"""Which OpenStreetMap elements tell of a structure, so that a person can look them up."""

from __future__ import annotations

from dataclasses import dataclass

from clearance.core.structure import Structure

__all__ = ["Elements", "elements_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Elements:
    """Ids of ways, nodes and relations, each sorted."""

    ways: tuple[int, ...]
    nodes: tuple[int, ...]
    relations: tuple[int, ...]


def elements_of(structure: Structure) -> Elements:
    """The ways, nodes and relations that `structure` stands over, consists of, or is known by.

    An element that is no OpenStreetMap one (a bridge inventory's) is left out here; its evidence names it.
    """
    found: dict[str, set[int]] = {"way": set(), "node": set(structure.nodes), "relation": set()}
    found["way"].update(span.way for span in structure.spans)
    for name in (structure.upper, *structure.tags, *(e.element for e in structure.evidence)):
        kind, _, ref = name.partition("/")
        if kind in found and ref.isdecimal():
            found[kind].add(int(ref))
    return Elements(
        ways=tuple(sorted(found["way"])),
        nodes=tuple(sorted(found["node"])),
        relations=tuple(sorted(found["relation"])),
    )
