"""Turn restrictions as mapped: what each relation bars or demands, and whom it binds.

A relation has ``from``, ``via`` and ``to`` members; its value begins with ``no_`` (bars from -> to) or
``only_`` (permits only from -> to). Source: wiki.openstreetmap.org/wiki/Relation:restriction.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from clearance.core.conditions import parse_conditional
from clearance.core.extract import Relation
from clearance.core.valuetext import UnreadableError, shown

__all__ = ["CAR_MODES", "COACH_MODES", "TOWED_MODES", "Binding", "Restriction", "read_restrictions"]

#: What a motorhome is, and what a car is, to a restriction (wiki.openstreetmap.org/wiki/Key:access,
#: transport modes; from memory). ``hgv``, ``bus``, ``psv``, ``bicycle`` and the like are neither.
COACH_MODES = frozenset({"motorhome", "motor_vehicle", "vehicle"})
CAR_MODES = frozenset({"motorcar", "motor_vehicle", "vehicle"})
#: Bind only who tows.
TOWED_MODES = frozenset({"caravan", "trailer"})

_TURNS = ("left_turn", "right_turn", "straight_on", "u_turn", "entry", "exit")


@dataclass(frozen=True, slots=True)
class Binding:
    """Whom and when a restriction binds: `modes` empty for all, `condition` empty for always."""

    condition: str = ""
    modes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Restriction:
    """One value of one relation, with the ids of its members.

    `turn` is the value without its first word (``left_turn``). `only` is true for ``only_``. Either
    `via_node` is set or `via_ways` is not empty.
    """

    relation: int
    raw: str
    only: bool
    turn: str
    from_ways: tuple[int, ...]
    via_node: int | None
    via_ways: tuple[int, ...]
    to_ways: tuple[int, ...]
    binding: Binding

    @property
    def element(self) -> str:
        """The relation as written in outputs."""
        return f"relation/{self.relation}"


def read_restrictions(relations: Iterable[Relation]) -> tuple[tuple[Restriction, ...], tuple[str, ...]]:
    """The restrictions that bind a motorhome, a car or what is towed, and a warning for each fault.

    Those for other modes alone are left out. A relation that cannot be understood gives a warning with its
    id and no restriction.
    """
    found: list[Restriction] = []
    warnings: list[str] = []
    for relation in relations:
        kind = relation.tags.get("type", "")
        if kind != "restriction" and not kind.startswith("restriction:"):
            continue
        values = list(_values(relation, kind, warnings))
        if values:
            found += _with_members(relation, values, warnings)
    return tuple(found), tuple(warnings)


@dataclass(frozen=True, slots=True)
class _Value:
    word: str
    raw: str
    binding: Binding


def _values(relation: Relation, kind: str, warnings: list[str]) -> Iterable[_Value]:
    """Each word of each ``restriction`` tag of the relation with whom it binds."""
    tags = relation.tags
    exempt = {mode.strip() for mode in tags.get("except", "").lower().split(";")}
    clock = _clock_tags(tags)
    keys = [key for key in tags if key == "restriction" or key.startswith("restriction:")]
    if not keys:
        warnings.append(f"relation/{relation.id}: turn restriction without a value; skipped")
    for key in sorted(keys):
        parts = key.split(":")[1:]
        conditional = bool(parts) and parts[-1] == "conditional"
        mode = ":".join(parts[:-1] if conditional else parts) or kind.partition(":")[2]
        modes = _bound(mode, exempt)
        if modes is None:
            continue
        raw = f"{key}={tags[key]}"
        pairs: list[tuple[str, str]]
        if conditional:
            try:
                pairs = [(c.value, c.condition) for c in parse_conditional(tags[key])]
            except UnreadableError:
                # The turn that it bars is not known, so there is nothing to close.
                warnings.append(f"relation/{relation.id}: {key}={shown(tags[key])} is unreadable; skipped")
                continue
        else:
            # Hours of the old kind are no grammar of ours: such a condition may hold at any time.
            pairs = [(tags[key], clock)]
        for words, condition in pairs:
            for word in words.lower().split(";"):
                yield _Value(word.strip(), raw, Binding(condition, modes))


def _bound(mode: str, exempt: set[str]) -> tuple[str, ...] | None:
    """The modes of ours that a restriction for `mode` binds, () for all, None where it binds none.

    An exemption for cars does not exempt a motorhome, nor the other way round: the two are sisters in
    the tree of modes.
    """
    if exempt & {"motor_vehicle", "vehicle"}:
        return None
    if mode in TOWED_MODES:
        return None if mode in exempt else (mode,)
    if mode in ("motorhome", "motorcar"):
        return None if mode in exempt else (mode,)
    if mode not in ("", "motor_vehicle", "vehicle"):
        return None
    left = [own for own in ("motorhome", "motorcar") if own not in exempt]
    return () if len(left) == 2 else (tuple(left) or None)


def _clock_tags(tags: Mapping[str, str]) -> str:
    """The deprecated tags for days and hours as one text; empty where there are none."""
    keys = ("day_on", "day_off", "hour_on", "hour_off")
    return ", ".join(f"{key}={tags[key]}" for key in keys if key in tags)


def _with_members(relation: Relation, values: list[_Value], warnings: list[str]) -> list[Restriction]:
    """The restrictions of a relation, or none and a warning where its members do not fit."""
    where = f"relation/{relation.id}: turn restriction"

    def refs(role: str, kind: str) -> tuple[int, ...]:
        return tuple(m.ref for m in relation.members if m.role == role and m.kind == kind)

    from_ways, to_ways = refs("from", "w"), refs("to", "w")
    via_nodes, via_ways = refs("via", "n"), refs("via", "w")
    missing = [
        role
        for role, members in (("from", from_ways), ("via", via_nodes + via_ways), ("to", to_ways))
        if not members
    ]
    if missing:
        warnings.append(f"{where} without a usable {' and '.join(missing)} member; skipped")
        return []
    if len(via_nodes) > 1 or (via_nodes and via_ways):
        warnings.append(f"{where} with {len(via_nodes)} via nodes and {len(via_ways)} via ways; skipped")
        return []
    restrictions: list[Restriction] = []
    for value in values:
        first, _, turn = value.word.partition("_")
        if first not in ("no", "only") or turn not in _TURNS:
            if value.word != "none":
                warnings.append(f"{where} with the unknown value {shown(value.raw)}; skipped")
            continue
        only = first == "only"
        # Several ways in are allowed for no_entry, several out for no_exit; elsewhere they are a fault, and
        # what is barred too much is safer than what is barred too little.
        several = [
            role
            for role, members, allowed in (("from", from_ways, "entry"), ("to", to_ways, "exit"))
            if len(set(members)) > 1 and turn != allowed
        ]
        if several:
            outcome = "skipped" if only else "all of them are barred"
            warnings.append(f"{where} {value.word} with several {' and '.join(several)} ways; {outcome}")
            if only:
                continue
        restrictions.append(
            Restriction(
                relation=relation.id,
                raw=value.raw,
                only=only,
                turn=turn,
                from_ways=tuple(dict.fromkeys(from_ways)),
                via_node=via_nodes[0] if via_nodes else None,
                via_ways=tuple(dict.fromkeys(via_ways)),
                to_ways=tuple(dict.fromkeys(to_ways)),
                binding=value.binding,
            )
        )
    return restrictions
