"""A screening compared with an earlier one: what changed of the structures, which verdicts moved, and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from math import cos, hypot, radians
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.changes import (
    Cause,
    CauseKind,
    Changes,
    EarlierStructure,
    Known,
    Moved,
    StructureChange,
    StructureChanged,
)
from clearance.core.standing import judge
from clearance.core.structure import Direction, Standing, Structure

if TYPE_CHECKING:
    from clearance.core.changes import Earlier, EarlierRow
    from clearance.core.coach import Coach
    from clearance.core.lengths import Length
    from clearance.core.screening import Row, Screening

__all__ = ["compare"]

#: Metres of a degree of latitude, near enough for distances of a few metres (from memory).
_M_PER_DEGREE = 111_320.0
#: A structure that is gone and one of its kind that is new, so near, are one that was mapped anew.
#: Judgement, no source: two bridges side by side are farther apart from middle to middle.
_SAME_PLACE_M = 8.0
#: A destination of the same name so near is the same. Judgement, no source.
_SAME_DESTINATION_M = 300.0
#: Home moved no farther than this is the same home.
_SAME_HOME_M = 1.0

#: Of a coach, what its drives are judged by, as words of a sentence.
_MEASURES = {
    "height": "height",
    "margin": "margin",
    "comfort": "comfort",
    "width": "width",
    "length": "length",
    "weight_kg": "weight",
    "towing": "what it tows",
    "tow_reversible": "whether its tow can be backed up",
    "propane": "propane aboard",
    "wheelbase": "wheelbase",
}


@dataclass(frozen=True, slots=True)
class _Stood:
    """A structure that changed, as it stood then and stands now for one coach; None where it was not."""

    before: Standing | None
    now: Standing | None

    @property
    def matters(self) -> bool:
        clear = {None, Standing.CLEAR}
        return self.before is not self.now and not (self.before in clear and self.now in clear)


def compare(earlier: Earlier, screening: Screening, labels: Sequence[str]) -> Changes:
    """What changed since `earlier`; `labels` are what the coaches of `screening` are called.

    Coaches are matched by their labels, or by their order where a label is not known; a single coach is
    matched with a single coach. Destinations are matched by name and place. A structure whose elements were
    mapped anew at the same place is the same structure.

    A verdict moved because of each structure that changed, bore on the destination then or now, and stands
    otherwise for the coach; and because of a changed coach, policy or home. Where there is none of these the
    roads themselves changed.
    """
    known = [_as_earlier(structure) for structure in screening.structures]
    pairs = list(_pairs(earlier.structures, known))
    changed = [(_change(before, now), before, now) for before, now in pairs]
    structures = [(c, before, now) for c, before, now in changed if c is not None]
    coach_of = _coaches(earlier.labels, labels)
    left = {index: row for index, row in enumerate(earlier.rows)}
    moved: list[Moved] = []
    same = 0
    for row in sorted(screening.rows, key=lambda r: (r.coach, r.number)):
        then = _taken(left, row, coach_of.get(row.coach))
        if then is not None and then.verdict is row.verdict:
            same += 1
            continue
        causes: tuple[Cause, ...] = ()
        if then is not None:
            causes = _causes(earlier, screening, then, row, structures)
        moved.append(
            Moved(
                name=row.place.name or f"{row.place.lat:.5f},{row.place.lon:.5f}",
                label=labels[row.coach],
                before=None if then is None else then.verdict,
                now=row.verdict,
                number=row.number,
                coach=row.coach,
                causes=causes,
            )
        )
    moved += [
        Moved(name=row.name, label=earlier.labels[row.coach], before=row.verdict, now=None)
        for row in left.values()
        if row.coach in coach_of.values()
    ]
    return Changes(
        source=earlier.source,
        data_date=earlier.data_date,
        structures=tuple(c for c, _, _ in structures),
        moved=tuple(moved),
        same=same,
    )


# --- structures ---------------------------------------------------------------------------------------


def _as_earlier(structure: Structure) -> EarlierStructure:
    forward, backward = (
        Known(clearance=structure.lowest(d), verified=structure.verified(d))
        for d in (Direction.FORWARD, Direction.BACKWARD)
    )
    return EarlierStructure(
        key=structure.key,
        kind=structure.kind.value,
        text="",
        lon=structure.lon,
        lat=structure.lat,
        forward=forward,
        backward=backward,
    )


def _metres(lon: float, lat: float, to_lon: float, to_lat: float) -> float:
    return hypot((lon - to_lon) * cos(radians(lat)), lat - to_lat) * _M_PER_DEGREE


def _pairs(
    before: Iterable[EarlierStructure], now: Sequence[EarlierStructure]
) -> Iterator[tuple[EarlierStructure | None, EarlierStructure | None]]:
    """Structures then and now: by key, then by kind and place; None where there is no other."""
    old = {structure.key: structure for structure in before}
    new = {structure.key: structure for structure in now}
    for key in new.keys() & old.keys():
        yield old.pop(key), new.pop(key)
    # Only the neighbours are looked at: cells as large as what counts as the same place.
    step = _SAME_PLACE_M / _M_PER_DEGREE
    cells: dict[tuple[int, int], list[EarlierStructure]] = {}
    for structure in old.values():
        cells.setdefault(_cell(structure, step), []).append(structure)
    near = []
    for structure in new.values():
        x, y = _cell(structure, step)
        for other in (
            o for dx in (-3, -2, -1, 0, 1, 2, 3) for dy in (-1, 0, 1) for o in cells.get((x + dx, y + dy), ())
        ):
            away = _metres(structure.lon, structure.lat, other.lon, other.lat)
            if other.kind == structure.kind and away <= _SAME_PLACE_M:
                near.append((away, other.key, structure.key))
    for _, one, other_key in sorted(near):
        if one in old and other_key in new:
            yield old.pop(one), new.pop(other_key)
    yield from ((structure, None) for structure in old.values())
    yield from ((None, structure) for structure in new.values())


def _cell(structure: EarlierStructure, step: float) -> tuple[int, int]:
    # A degree of longitude is shorter: more cells are looked at along it, enough to 70 degrees north.
    return int(structure.lon // step), int(structure.lat // step)


def _change(before: EarlierStructure | None, now: EarlierStructure | None) -> StructureChange | None:
    """What changed of a structure; None where nothing did. `text` is told by whoever knows the words."""
    if before is None:
        assert now is not None, "one of the two is"
        return _told(StructureChanged.NEW, now, before, now)
    if now is None:
        return _told(StructureChanged.GONE, before, before, now)
    found = {_known(a, b) for a, b in ((before.forward, now.forward), (before.backward, now.backward))}
    for changed in (
        StructureChanged.LOWERED,
        StructureChanged.UNKNOWN,
        StructureChanged.KNOWN,
        StructureChanged.RAISED,
    ):
        if changed in found:
            return _told(changed, now, before, now)
    return None


def _known(before: Known, now: Known) -> StructureChanged | None:
    if before.clearance is not None and now.clearance is not None and before.clearance != now.clearance:
        lower = now.clearance < before.clearance
        return StructureChanged.LOWERED if lower else StructureChanged.RAISED
    rank = {True: 2, False: 0}
    was, is_ = (rank[k.verified] + (k.clearance is not None) for k in (before, now))
    if was == is_:
        return None
    return StructureChanged.KNOWN if is_ > was else StructureChanged.UNKNOWN


def _told(
    changed: StructureChanged,
    shown: EarlierStructure,
    before: EarlierStructure | None,
    now: EarlierStructure | None,
) -> StructureChange:
    return StructureChange(
        changed=changed,
        text=shown.text,
        lon=shown.lon,
        lat=shown.lat,
        keys=frozenset(s.key for s in (before, now) if s is not None),
        before=_lowest(before),
        now=_lowest(now),
    )


def _lowest(structure: EarlierStructure | None) -> Length | None:
    if structure is None:
        return None
    known = (structure.forward.clearance, structure.backward.clearance)
    return min((c for c in known if c is not None), default=None)


# --- verdicts -----------------------------------------------------------------------------------------


def _coaches(before: Sequence[str], now: Sequence[str]) -> Mapping[int, int]:
    """For each coach of now the one of then."""
    found = {n: before.index(label) for n, label in enumerate(now) if label in before}
    if not found and len(before) == len(now):
        # Coaches of other names: they were asked for in the same order.
        return dict(enumerate(range(len(now))))
    return found


def _taken(left: dict[int, EarlierRow], row: Row, coach: int | None) -> EarlierRow | None:
    """The row of then for the same destination and coach, taken out of those left."""
    if coach is None:
        return None
    place = row.place
    best: tuple[float, int] | None = None
    for index, then in left.items():
        if then.coach != coach:
            continue
        away = _metres(place.lon, place.lat, then.lon, then.lat)
        named = then.name == place.name
        if away <= (_SAME_DESTINATION_M if named and place.name else 0.5):
            best = min(best or (away, index), (away, index))
    return None if best is None else left.pop(best[1])


def _causes(
    earlier: Earlier,
    screening: Screening,
    then: EarlierRow,
    row: Row,
    structures: Sequence[tuple[StructureChange, EarlierStructure | None, EarlierStructure | None]],
) -> tuple[Cause, ...]:
    coach_then, coach_now = earlier.coaches[then.coach], screening.coaches[row.coach]
    bears = then.keys | _keys(row)
    causes = [
        Cause(kind=CauseKind.STRUCTURE, change=change)
        for change, before, now in structures
        if change.keys & bears and _Stood(_stands(before, coach_then), _stands(now, coach_now)).matters
    ]
    if other := _other_measures(coach_then, coach_now):
        causes.append(Cause(kind=CauseKind.COACH, text=other))
    if earlier.unverified != screening.unverified.value:
        causes.append(
            Cause(kind=CauseKind.POLICY, text=f"{earlier.unverified}, now {screening.unverified.value}")
        )
    if _metres(*earlier.home, screening.home.lon, screening.home.lat) > _SAME_HOME_M:
        causes.append(Cause(kind=CauseKind.HOME))
    return tuple(causes) or (Cause(kind=CauseKind.ROADS),)


def _keys(row: Row) -> frozenset[str]:
    flags = [*row.in_the_way, *(f for trip in row.trips for f in (*trip.passed, *trip.avoided))]
    return frozenset(flag.key for flag in flags)


def _stands(structure: EarlierStructure | None, coach: Coach) -> Standing | None:
    """The worse standing of the two directions; None where there is no structure."""
    if structure is None:
        return None
    order = list(Standing)
    return min(
        (
            judge(k.clearance, verified=k.verified, coach=coach)
            for k in (structure.forward, structure.backward)
        ),
        key=order.index,
    )


def _other_measures(then: Coach, now: Coach) -> str:
    """What of the coach is not what it was; empty where nothing is."""
    told = [
        _MEASURES[field.name]
        for field in fields(now)
        if field.name in _MEASURES and getattr(then, field.name) != getattr(now, field.name)
    ]
    return ", ".join(told)


# --- the comparison -----------------------------------------------------------------------------------

_WORST_FIRST = (Change.LOWERED, Change.NEW, Change.UNKNOWN, Change.GONE, Change.RAISED, Change.KNOWN)


def compare(before: Report, after: Report) -> Changes:
    """What differs between two reports of the same home and destinations.

    Coaches are told apart by their names; of one left over on either side the two are compared, as when a
    coach was measured anew under another name. A structure mapped anew in the same place is the same one.
    Where the old report does not hold all structures, new ones are not told.
    """
    structures = _structure_changes(before, after)
    pairs, left, joined = _coach_pairs(before.coaches, after.coaches)
    by_key: dict[str, StructureChange] = {}
    for change in structures:
        for state in (change.before, change.after):
            if state is not None:
                by_key[state.key] = change
    moved: list[Moved] = []
    gone: list[str] = []
    new: list[str] = []
    same = 0
    for number, (old, now) in enumerate(pairs):
        rows, only_before, only_after = _row_pairs(
            [r for r in before.rows if r.coach == old], [r for r in after.rows if r.coach == now]
        )
        gone += [r.name for r in only_before]
        new += [r.name for r in only_after]
        coach_moved = before.coaches[old].need != after.coaches[now].need
        policy_moved = before.unverified is not None and before.unverified is not after.unverified
        for was, row in rows:
            if was.verdict is row.verdict:
                same += 1
                continue
            told = ((Why.COACH, coach_moved), (Why.POLICY, policy_moved))
            reasons = [Reason(why=why) for why, yes in told if yes]
            reasons += _reasons(was, row, by_key)
            moved.append(
                Moved(coach=number, before=was, after=row, reasons=tuple(reasons) or (Reason(why=Why.ROADS),))
            )
    return Changes(
        before=before,
        after=after,
        coaches=tuple((before.coaches[old], after.coaches[now]) for old, now in pairs),
        left=tuple(before.coaches[i] for i in left),
        joined=tuple(after.coaches[i] for i in joined),
        structures=structures,
        moved=tuple(sorted(moved, key=_gravest)),
        gone_rows=tuple(dict.fromkeys(gone)),
        new_rows=tuple(dict.fromkeys(new)),
        same=same,
    )


def _gravest(moved: Moved) -> tuple[object, ...]:
    order = [Verdict.BLOCKED, Verdict.CARE, Verdict.CLEAR]
    return (not moved.worse, order.index(moved.after.verdict), moved.coach, moved.after.name)


# --- structures


def _structure_changes(before: Report, after: Report) -> tuple[StructureChange, ...]:
    old = {s.key: s for s in before.structures}
    now = {s.key: s for s in after.structures}
    gone = [s for key, s in old.items() if key not in now]
    new = [s for key, s in now.items() if key not in old]
    anew = _mapped_anew(gone, new)
    renamed = {was.key for was, _ in anew} | {state.key for _, state in anew}
    found = [_changed(was, now[key]) for key, was in old.items() if key in now]
    found += [_changed(was, state) for was, state in anew]
    found += [StructureChange(change=Change.GONE, before=s, after=None) for s in gone if s.key not in renamed]
    if before.whole and after.whole:
        found += [
            StructureChange(change=Change.NEW, before=None, after=s) for s in new if s.key not in renamed
        ]
    told = [change for change in found if change is not None]
    return tuple(sorted(told, key=lambda c: (_WORST_FIRST.index(c.change), _figure(c), c.state.key)))


def _figure(change: StructureChange) -> int:
    lowest = change.state.lowest
    return 2**31 if lowest is None else lowest.tenths


def _changed(was: StructureState, state: StructureState) -> StructureChange | None:
    """What became of a structure; None where nothing that matters did."""
    change = _figure_change(was.lowest, state.lowest, was.verified, state.verified)
    return None if change is None else StructureChange(change=change, before=was, after=state)


def _figure_change(was: Length | None, now: Length | None, was_sure: bool, sure: bool) -> Change | None:
    if was is not None and now is not None and was != now:
        return Change.LOWERED if now < was else Change.RAISED
    if was_sure != sure:
        return Change.KNOWN if sure else Change.UNKNOWN
    if was == now:
        return None
    # A figure that cannot be relied on may condemn all the same.
    return Change.LOWERED if was is None else Change.RAISED


def _mapped_anew(
    gone: Sequence[StructureState], new: Sequence[StructureState]
) -> list[tuple[StructureState, StructureState]]:
    """Structures of one kind in one place under another key, the nearest first."""
    cells: dict[tuple[str, int, int], list[StructureState]] = defaultdict(list)
    step = 0.001  # degrees: no less than the distance asked for, up to 75 degrees of latitude
    for state in new:
        cells[state.kind, int(state.lon // step), int(state.lat // step)].append(state)
    near = []
    for was in gone:
        x, y = int(was.lon // step), int(was.lat // step)
        for state in (
            s for dx in (-1, 0, 1) for dy in (-1, 0, 1) for s in cells.get((was.kind, x + dx, y + dy), ())
        ):
            metres = _metres((was.lon, was.lat), (state.lon, state.lat))
            if metres <= _SAME_STRUCTURE_M:
                near.append((metres, was.key, state.key, was, state))
    used: set[str] = set()
    pairs = []
    for _, old, key, was, state in sorted(near, key=lambda n: n[:3]):
        if old not in used and key not in used:
            used |= {old, key}
            pairs.append((was, state))
    return pairs


def _metres(one: tuple[float, float], other: tuple[float, float]) -> float:
    x_scale, y_scale = plane_scale((one[1] + other[1]) / 2)
    return float(np.hypot((one[0] - other[0]) * x_scale, (one[1] - other[1]) * y_scale))


# --- coaches and destinations


def _coach_pairs(
    before: Sequence[CoachState], after: Sequence[CoachState]
) -> tuple[list[tuple[int, int]], list[int], list[int]]:
    """Old and new of the same name, in the new order; and those left over on either side."""
    waiting: dict[str, list[int]] = defaultdict(list)
    for i, coach in enumerate(before):
        waiting[coach.name].append(i)
    pairs = []
    joined = []
    for i, coach in enumerate(after):
        if waiting[coach.name]:
            pairs.append((waiting[coach.name].pop(0), i))
        else:
            joined.append(i)
    left = sorted(i for rest in waiting.values() for i in rest)
    if len(left) == len(joined) == 1:
        pairs.append((left.pop(), joined.pop()))
    return pairs, left, joined


def _row_pairs(
    before: Sequence[RowState], after: Sequence[RowState]
) -> tuple[list[tuple[RowState, RowState]], list[RowState], list[RowState]]:
    """The same destination before and after: of one name and near, else in the same place."""
    waiting: dict[str, list[RowState]] = defaultdict(list)
    for row in before:
        waiting[_folded(row.name)].append(row)
    pairs = []
    rest = []
    for row in after:
        alike = waiting[_folded(row.name)]
        found = min(alike, key=lambda w: _metres((w.lon, w.lat), (row.lon, row.lat)), default=None)
        if found is None or _metres((found.lon, found.lat), (row.lon, row.lat)) > _SAME_PLACE_M:
            rest.append(row)
            continue
        alike.remove(found)
        pairs.append((found, row))
    at = {(round(w.lon, 6), round(w.lat, 6)): w for some in waiting.values() for w in some}
    only_after = []
    for row in rest:
        same = at.pop((round(row.lon, 6), round(row.lat, 6)), None)
        if same is None:
            only_after.append(row)
        else:
            pairs.append((same, row))
    matched = {id(was) for was, _ in pairs}
    return pairs, [r for r in before if id(r) not in matched], only_after


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def _reasons(was: RowState, row: RowState, changes: dict[str, StructureChange]) -> Iterable[Reason]:
    """The structures that changed and stand otherwise for the row than they did, and other limits."""
    old = {f.key: f.standing for f in was.met}
    now = {f.key: f.standing for f in row.met}
    told: dict[int, Reason] = {}
    for key in (*now, *old):
        change = changes.get(key)
        if change is None or id(change) in told:
            continue
        before = old.get(change.before.key) if change.before else None
        after = now.get(change.after.key) if change.after else None
        if _matters(change.change, before, after):
            told[id(change)] = Reason(why=Why.STRUCTURE, structure=change)
    reasons = list(told.values())
    if was.limits != row.limits:
        reasons.append(Reason(why=Why.LIMITS, before="; ".join(was.limits), after="; ".join(row.limits)))
    return reasons


def _matters(change: Change, before: Standing | None, after: Standing | None) -> bool:
    """Whether a structure that stood so on the row before, and stands so now, had a part in the move."""
    if before is not None and after is not None:
        return before is not after
    if after is not None:
        return after is not Standing.CLEAR or change in {Change.RAISED, Change.KNOWN}
    return before is not Standing.CLEAR or change in {Change.LOWERED, Change.UNKNOWN}
