"""The tallest coach on every road: what can be brought there and back from home, in one search each way."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.case import Case
from clearance.assess.meeting import on_road
from clearance.assess.reach import Both, Ground, Lifted
from clearance.core.drive import Unverified
from clearance.core.screening import NO_WAY, Leg, RoadHeights
from clearance.network.areas import components
from clearance.network.network import ACCESS_ENDS
from clearance.routing.fan import ZoneWork
from clearance.routing.mask import zones_and_parts
from clearance.routing.snap import Snap

if TYPE_CHECKING:
    from clearance.assess.reach import Reach
    from clearance.core.coach import Coach
    from clearance.core.places import Place
    from clearance.network.network import I32, I64, Bool, Network
    from clearance.routing.fan import Fan

__all__ = ["arc_heights", "road_heights"]


def road_heights(network: Network, coach: Coach, home: Place, ground: Ground | None = None) -> RoadHeights:
    """The greatest clearance on every road of a network, for the limits of `coach` other than height.

    A map of what is possible at all: the coach's own height counts for nothing. Conditions are assumed to
    hold. `ground` is that of the network, where the caller has it.

    Raises PlaceError where home is far from any road that the coach may use.
    """
    ground = ground or Ground(network)
    case = Case.of(network, coach, Unverified.ACCEPT, None)
    snaps = on_road(case, home, case.costs.usable)
    lifted = Lifted(ground, case)
    widths = []
    for passable in (True, False):
        reach = lifted.widths(frozenset(), passable=passable)
        there, back = (
            _on_pieces(network, arc_heights(reach, leg, snaps), snaps) for leg in (Leg.THERE, Leg.BACK)
        )
        widths.append(np.minimum(there, back))
    return _stretches(network, coach, *widths)


# --- arcs ---------------------------------------------------------------------------------------------


def arc_heights(reach: Reach, leg: Leg, home: Sequence[Snap]) -> I32:
    """The greatest clearance at which each arc (a,) can be driven whole on the way from home, or to it.

    Tenths of a millimetre, NO_LIMIT where no figure limits it, UNREACHED where no way leads. Each arc counts
    as the end of a drive of its own, with the ends-only roads opened that this drive needs. On the arcs of
    home only what lies between home and the far end counts.
    """
    network = reach.ground.network
    count = network.arc_tail.size
    needs = _Needs(reach, leg, home)
    if needs.nothing:
        labels = needs.home_fan().labels
        found = labels[:count].copy()
        np.maximum.at(found, network.state_arc[count:], labels[count:] if leg is Leg.THERE else NO_WAY)
    else:
        found = np.full(count, NO_WAY, np.int32)
        for own, group in needs.groups(np.flatnonzero(network.arc_area >= 0)):
            fan = reach.fan_at(leg, home, own)
            found[group.arcs] = group.labels(fan, group.arcs, group.arcs)
            if leg is Leg.THERE:
                # A drive from home may end on any copy of an arc; homeward it begins with nothing behind it.
                copies = np.flatnonzero(np.isin(network.state_arc[count:], group.arcs)) + count
                arcs = network.state_arc[copies]
                np.maximum.at(found, arcs, group.labels(fan, copies, arcs))
    # An arc that ends a drive may be ends-only; what closes it in itself does not open.
    np.minimum(found, reach.weights.opened, out=found)
    for snap in home:
        start, stop = (snap.fraction, 1.0) if leg is Leg.THERE else (0.0, snap.fraction)
        found[snap.arc] = max(found[snap.arc], int(reach.weights.part(snap.arc, start, stop)))
    return found


@dataclass(frozen=True, slots=True)
class _Group:
    """Arcs for which home needs the same zones, and what else is to be opened for each of them.

    `task` (n,) is the number of the work for each of `arcs`. The works open `state` and `gate`, each with the
    number of the work it is for, ascending. No works: nothing is opened for any of them.
    """

    arcs: I64
    task: I64
    works: int
    state: I64
    of_state: I64
    gate: I64
    of_gate: I64

    @classmethod
    def plain(cls, arcs: I64) -> _Group:
        """Arcs for which nothing is opened."""
        none = np.zeros(0, np.int64)
        return cls(arcs, none, 0, none, none, none, none)

    @classmethod
    def opening(
        cls, arcs: I64, task: I64, works: int, opened: tuple[tuple[I64, I64], tuple[I64, I64]]
    ) -> _Group:
        """Arcs with the states and gates that each work opens, some of them twice."""
        states, gates = (_each_once(*part) for part in opened)
        return cls(arcs, task, works, *states, *gates)

    def labels(self, fan: Fan, read: I64, of: I64 | I32) -> I32:
        """The widths at the states `read`, which belong to the arcs `of`."""
        if not self.works:
            fan.detach()
            return fan.labels[read]
        task = np.zeros(int(self.arcs.max()) + 1, np.int64)
        task[self.arcs] = self.task
        order = np.argsort(task[of], kind="stable")
        work = ZoneWork(
            zones=self.works,
            state=self.state,
            of_state=self.of_state,
            gate=self.gate,
            of_gate=self.of_gate,
            read=read[order].astype(np.int32),
            of_read=task[of][order],
        )
        labels = np.empty(read.size, np.int32)
        labels[order] = fan.each(work)
        return labels


class _Needs:
    """What is to be opened for a drive between home and each arc, the same as `mask.open_ends` opens."""

    def __init__(self, reach: Reach, leg: Leg, home: Sequence[Snap]) -> None:
        self._reach, self._leg, self._home = reach, leg, tuple(home)
        network, costs = reach.ground.network, reach.costs
        self._network = network
        self._in_zone: Bool = network.arc_access == ACCESS_ENDS
        zones, parts = zones_and_parts(network, costs, [s.arc for s in home])
        self._home_zones = frozenset(zones)
        # For what lies in a part of home, home needs no zone but its own; nor for a zone that touches such a
        # part, which is all that is needed at the other end. That is nearly every road there is.
        areas = max(int(a.max(initial=0)) for a in (network.arc_area, network.area_links)) + 1
        joined = np.isin(network.area_links[:, 1], sorted(parts))
        self._touching = np.zeros(areas, np.bool_)
        self._touching[network.area_links[joined, 0]] = True
        self._parts = np.zeros(areas, np.bool_)
        self._parts[sorted(parts)] = True
        self._ways = self._ways_of_ends()
        # From area to area leads only what touches both.
        joint = components(areas, network.area_links[:, 0], network.area_links[:, 1])
        self._within_reach: Bool = np.isin(joint, joint[sorted(zones | parts)])

    @property
    def nothing(self) -> bool:
        """Whether no arc needs anything opened, as where there are no ends-only roads."""
        held = self._parts[: int(self._network.arc_area.max(initial=-1)) + 1]
        return bool(held.all()) and not self._ways[0].any()

    def home_fan(self) -> Fan:
        """The fan with the zones of home alone."""
        fan = self._reach.fan_at(self._leg, self._home, self._home_zones)
        fan.detach()
        return fan

    def _ways_of_ends(self) -> tuple[Bool, I64, I64]:
        """Ways with ends-only arcs, and the least and greatest zone of those; -2 for one in no zone."""
        network, ends = self._network, np.flatnonzero(self._reach.costs.ends)
        ways = int(network.arc_way.max(initial=-1)) + 1
        zone = np.where(self._in_zone[ends], network.arc_area[ends].astype(np.int64), -2)
        some = np.zeros(ways, np.bool_)
        some[network.arc_way[ends]] = True
        least, most = np.full(ways, np.iinfo(np.int64).max), np.full(ways, -3, np.int64)
        np.minimum.at(least, network.arc_way[ends], zone)
        np.maximum.at(most, network.arc_way[ends], zone)
        return some, least, most

    def groups(self, arcs: I64) -> list[tuple[frozenset[int], _Group]]:
        """The arcs by the zones that home needs for them, without those that nothing joins to home."""
        network = self._network
        arcs = arcs[self._within_reach[network.arc_area[arcs]]]
        area, way = network.arc_area[arcs], network.arc_way[arcs]
        some, least, most = self._ways
        in_zone = self._in_zone[arcs]
        alone = in_zone & (least[way] == area) & (most[way] == area)
        # The way of a place opens with it, which matters where that is not all in the place's own zone.
        also = some[way] & ~alone
        plain = ~in_zone & self._parts[area] & ~also
        simple = in_zone & self._touching[area] & ~also
        made = [(self._home_zones, _Group.plain(arcs[plain]))] if plain.any() else []
        if simple.any():
            zones, task = np.unique(area[simple].astype(np.int64), return_inverse=True)
            opened = self._reach.openings.of_zones(zones)
            made.append((self._home_zones, _Group(arcs[simple], task, zones.size, *opened[0], *opened[1])))
        rest = ~(plain | simple)
        return made + self._others(arcs[rest], also[rest])

    def _others(self, arcs: I64, also: Bool) -> list[tuple[frozenset[int], _Group]]:
        """The arcs for which the zones have to be looked for; few in most networks."""
        area, way = (
            self._network.arc_area[arcs].astype(np.int64),
            self._network.arc_way[arcs].astype(np.int64),
        )
        # Alike are those of one area, and of one way where that opens too.
        through = np.where(also, way, -1)
        _, first, task = np.unique((area, through), axis=1, return_index=True, return_inverse=True)
        needs = [
            (
                self._reach.ground.zones(self._reach.costs, _ends_of(self._leg, self._home, arc)),
                () if w < 0 else (w,),
            )
            for arc, w in zip(arcs[first].tolist(), through[first].tolist(), strict=True)
        ]
        made = []
        for own in dict.fromkeys(zones[0] for zones, _ in needs):
            chosen = np.array([zones[0] == own for zones, _ in needs], dtype=np.bool_)
            mine, some = chosen[task], [(zones[1], ways) for zones, ways in needs if zones[0] == own]
            opened = self._reach.openings.of_each(
                _flat([zones for zones, _ in some]), _flat([ways for _, ways in some])
            )
            works = (np.cumsum(chosen) - 1)[task[mine]]
            made.append((own, _Group.opening(arcs[mine], works, len(some), opened)))
        return made


def _flat(each: Sequence[Collection[int]]) -> tuple[I64, I64]:
    """Numbers end to end, and which of the collections each is of."""
    numbers = np.array([number for one in each for number in one], dtype=np.int64)
    return numbers, np.repeat(np.arange(len(each)), [len(one) for one in each])


def _each_once(values: I64, of: I64) -> tuple[I64, I64]:
    """The values of each work once, by work."""
    order = np.lexsort((values, of))
    values, of = values[order], of[order]
    first = np.ones(values.size, np.bool_)
    first[1:] = (values[1:] != values[:-1]) | (of[1:] != of[:-1])
    return values[first], of[first]


def _ends_of(leg: Leg, home: tuple[Snap, ...], arc: int) -> Both:
    return Both(leg, home, (Snap(arc=arc, fraction=0.5, distance_m=0.0, lon=0.0, lat=0.0),))


# --- roads --------------------------------------------------------------------------------------------


def _on_pieces(network: Network, arcs: I32, home: Sequence[Snap]) -> I32:
    """The clearance of each piece of road: the better of its two directions.

    A piece that home stands on is driven from home to both its ends: the lower of its directions counts.
    """
    pieces = np.full(network.geom_ptr.size - 1, NO_WAY, np.int32)
    np.maximum.at(pieces, network.arc_geom, arcs)
    for snap in home:
        at = network.arc_geom[snap.arc]
        pieces[at] = min(int(pieces[at]), int(arcs[snap.arc]))
    return pieces


def _stretches(network: Network, coach: Coach, tallest: I32, verified: I32) -> RoadHeights:
    """Pieces one after another on a way that admit the same, joined; home is on one, so that there is one."""
    pieces = network.geom_ptr.size - 1
    way = np.zeros(pieces, np.int64)
    begin, end = np.zeros(pieces, np.int64), np.zeros(pieces, np.int64)
    way[network.arc_geom] = network.arc_way
    begin[network.arc_geom] = np.minimum(network.arc_from, network.arc_to)
    end[network.arc_geom] = np.maximum(network.arc_from, network.arc_to)
    order = np.lexsort((begin, way))
    same = (way[order][1:] == way[order][:-1]) & (begin[order][1:] == end[order][:-1])
    for values in (tallest, verified):
        same &= values[order][1:] == values[order][:-1]
    starts = np.concatenate(([0], np.flatnonzero(~same) + 1))
    # All points of a stretch in order, the point that two pieces share once.
    sizes = (network.geom_ptr[1:] - network.geom_ptr[:-1])[order]
    joined = np.concatenate(([False], same))
    taken = sizes - joined
    point = np.repeat(network.geom_ptr[:-1][order] + joined - (np.cumsum(taken) - taken), taken)
    point += np.arange(point.size)
    before = np.concatenate(([0], np.cumsum(taken)))
    rows = list(network.ways)
    ways = [rows[w] for w in way[order][starts].tolist()]
    return RoadHeights(
        coach=coach,
        info=network.info,
        way=np.array([w.id for w in ways], dtype=np.int64),
        road=tuple(w.name or w.ref for w in ways),
        highway=tuple(w.highway for w in ways),
        tallest=tallest[order][starts],
        verified=verified[order][starts],
        ptr=np.append(before[starts], before[-1]),
        lon=network.geom_lon[point],
        lat=network.geom_lat[point],
    )
