"""A screening compared with an earlier one: what changed of the structures, which verdicts moved, and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

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
from clearance.network.geometry import plane_scale

if TYPE_CHECKING:
    from clearance.core.changes import Earlier, EarlierRow
    from clearance.core.coach import Coach
    from clearance.core.lengths import Length
    from clearance.core.screening import Row, Screening

__all__ = ["compare"]

#: A structure that is gone and one of its kind that is new, so near, are one that was mapped anew.
#: Judgement, no source: two bridges side by side are farther apart from middle to middle.
_SAME_PLACE_M = 8.0
#: Degrees; structures are looked for in cells of this size, each wider than `_SAME_PLACE_M` of latitude.
_CELL = 1e-4
#: A destination of the same name so near is the same. Judgement, no source.
_SAME_DESTINATION_M = 300.0
#: Home moved no farther than this is the same home.
_SAME_HOME_M = 1.0

#: Of a coach, what its drives are judged by, as words of a sentence.
_MEASURES = {
    "height": "height",
    "margin": "margin",
    "comfort_or_need": "comfort",
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
    changed = [(_change(before, now), before, now) for before, now in _pairs(earlier.structures, known)]
    structures = [(c, before, now) for c, before, now in changed if c is not None]
    structures.sort(key=lambda c: (list(StructureChanged).index(c[0].changed), min(c[0].keys)))
    coach_of = _coaches(earlier.labels, labels)
    left = _Left(earlier.rows)
    moved: list[Moved] = []
    same = 0
    for row in sorted(screening.rows, key=lambda r: (r.coach, r.number)):
        if row.coach not in coach_of:
            continue
        then = left.take(row, coach_of[row.coach])
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
        for row in left.rows
        if row.coach in coach_of.values()
    ]
    return Changes(
        source=earlier.source,
        data_date=earlier.data_date,
        structures=tuple(c for c, _, _ in structures),
        moved=tuple(moved),
        same=same,
        new_coaches=tuple(label for n, label in enumerate(labels) if n not in coach_of),
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
    x_scale, y_scale = plane_scale(lat)
    return hypot((lon - to_lon) * x_scale, (lat - to_lat) * y_scale)


def _pairs(
    before: Iterable[EarlierStructure], now: Sequence[EarlierStructure]
) -> Iterator[tuple[EarlierStructure | None, EarlierStructure | None]]:
    """Structures then and now: by key, then by kind and place; None where there is no other."""
    old = {structure.key: structure for structure in before}
    new = {structure.key: structure for structure in now}
    for key in new.keys() & old.keys():
        yield old.pop(key), new.pop(key)
    # Only the neighbours are looked at.
    cells: dict[tuple[int, int], list[EarlierStructure]] = {}
    for structure in old.values():
        cells.setdefault(_cell(structure), []).append(structure)
    near = []
    for structure in new.values():
        x, y = _cell(structure)
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


def _cell(structure: EarlierStructure) -> tuple[int, int]:
    # A degree of longitude is shorter: more cells are looked at along it, enough to 75 degrees north.
    return int(structure.lon // _CELL), int(structure.lat // _CELL)


def _change(before: EarlierStructure | None, now: EarlierStructure | None) -> StructureChange | None:
    """What changed of a structure; None where nothing did."""
    if before is None or now is None:
        return _told(StructureChanged.NEW if before is None else StructureChanged.GONE, before, now)
    found = {_known(a, b) for a, b in ((before.forward, now.forward), (before.backward, now.backward))}
    for changed in (
        StructureChanged.LOWERED,
        StructureChanged.UNKNOWN,
        StructureChanged.KNOWN,
        StructureChanged.RAISED,
    ):
        if changed in found:
            return _told(changed, before, now)
    return None


def _known(before: Known, now: Known) -> StructureChanged | None:
    if before.clearance is not None and now.clearance is not None and before.clearance != now.clearance:
        lower = now.clearance < before.clearance
        return StructureChanged.LOWERED if lower else StructureChanged.RAISED
    was, is_ = ((k.verified, k.clearance is not None) for k in (before, now))
    if was == is_:
        return None
    return StructureChanged.KNOWN if is_ > was else StructureChanged.UNKNOWN


def _told(
    changed: StructureChanged, before: EarlierStructure | None, now: EarlierStructure | None
) -> StructureChange:
    shown = now or before
    assert shown is not None, "one of the two is"
    return StructureChange(
        changed=changed,
        text="" if before is None else before.text,
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


class _Left:
    """The rows of then that none of now has been found to be."""

    def __init__(self, rows: Sequence[EarlierRow]) -> None:
        self._rows = dict(enumerate(rows))
        self._named: dict[tuple[int, str], list[int]] = {}
        self._at: dict[tuple[int, float, float], list[int]] = {}
        for n, row in self._rows.items():
            self._named.setdefault((row.coach, row.name), []).append(n)
            self._at.setdefault((row.coach, *_about(row.lon, row.lat)), []).append(n)

    @property
    def rows(self) -> list[EarlierRow]:
        """Those left, in their order."""
        return list(self._rows.values())

    def take(self, row: Row, coach: int) -> EarlierRow | None:
        """The row of then for the same destination and coach: of its name and near, or at its place."""
        place = row.place

        def away(n: int) -> float:
            return _metres(place.lon, place.lat, self._rows[n].lon, self._rows[n].lat)

        named = self._named.get((coach, place.name), []) if place.name else []
        found = [n for n in named if n in self._rows and away(n) <= _SAME_DESTINATION_M]
        found = found or [
            n for n in self._at.get((coach, *_about(place.lon, place.lat)), ()) if n in self._rows
        ]
        return self._rows.pop(min(found, key=lambda n: (away(n), n))) if found else None


def _about(lon: float, lat: float) -> tuple[float, float]:
    """A place to a metre or so."""
    return round(lon, 5), round(lat, 5)


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
    told = [word for name, word in _MEASURES.items() if getattr(then, name) != getattr(now, name)]
    return ", ".join(told)
