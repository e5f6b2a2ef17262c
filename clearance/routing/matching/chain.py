"""The likeliest chain of places on the roads for the points of a line, and the ways between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.geometry import arc_points
from clearance.routing.matching.kernels import LINK_NETWORK, candidates, likeliest, paths

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.network.network import F64, I32, I64, Network
    from clearance.routing.matching.trace import Trace
    from clearance.routing.matching.values import MatchSettings

__all__ = ["Chain", "Leg", "Run"]

#: Enough points of a line to tell its noise.
_MOST_SAMPLED = 2000
#: The median distance of a point from a straight road about which it is strewn normally, in sigmas.
_MEDIAN = 0.6745


@dataclass(frozen=True, slots=True)
class Leg:
    """From one kept point to another: the numbers of both, and of their entries."""

    first: int
    last: int
    source: int
    target: int


@dataclass(frozen=True, slots=True)
class Run:
    """Kept points of one section that follow one another on roads, by their numbers, with their entries."""

    points: tuple[int, ...]
    entries: tuple[int, ...]
    section: int

    def legs(self) -> list[Leg]:
        """From each point to the next."""
        pairs = zip(pairwise(self.points), pairwise(self.entries), strict=True)
        return [Leg(a, b, source, target) for (a, b), (source, target) in pairs]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entries:
    """Where each kept point may be: see `kernels.likeliest`."""

    ptr: I64
    state: I32
    at: F64
    cost: F64
    first: npt.NDArray[np.bool_]


class Chain:
    """A line between the roads near it. Thins the trace to what its noise allows."""

    def __init__(self, network: Network, trace: Trace, settings: MatchSettings) -> None:
        """Find the noise of the line and the candidates near its points."""
        self.network = network
        self.trace = trace
        self.settings = settings
        self._turns = (network.turn_ptr, network.turn_to)
        self._length = np.ascontiguousarray(network.arc_length[network.state_arc])
        self._pieces = _arcs_of_pieces(network)
        self.sigma = self._noise() if settings.sigma_m is None else settings.sigma_m
        self.radius = max(settings.radius_m, 5 * self.sigma)
        # A point may lie so far behind the one before on one road by noise alone.
        self._back_m = 3 * self.sigma
        trace.thin(step_m=settings.step_sigma * self.sigma, gap_m=self.radius)
        self._spread = settings.spread_m + settings.spread_share * np.maximum(
            trace.spacing() - settings.dense_m, 0.0
        )
        self._entries = self._found()

    def arc(self, entry: int) -> int:
        """The arc of an entry."""
        return int(self.network.state_arc[self._entries.state[entry]])

    def place(self, entry: int) -> float:
        """Where on its arc an entry is, as a fraction of its length."""
        length = float(self.network.arc_length[self.arc(entry)])
        return min(float(self._entries.at[entry]) / length, 1.0) if length > 0 else 0.0

    def state(self, entry: int) -> int:
        """The state of an entry."""
        return int(self._entries.state[entry])

    def near_roads(self, first: int, behind: int) -> npt.NDArray[np.bool_]:
        """For the kept points from number `first` on whether a road is near them."""
        near: npt.NDArray[np.bool_] = np.diff(self._entries.ptr)[first:behind] > 0
        return near

    # --- where the points may be ---------------------------------------------------------------------

    def _near(self, points: I64, *, radius: float, most: int) -> tuple[I64, I32, F64, F64, F64]:
        """The arcs near some points of the line, see `kernels.candidates`."""
        network, trace = self.network, self.trace
        return candidates(
            np.ascontiguousarray(trace.points[points, 0]),
            np.ascontiguousarray(trace.points[points, 1]),
            scale=(trace.scale[0][points], trace.scale[1][points]),
            lines=(network.geom_lon, network.geom_lat, network.geom_ptr),
            arcs=self._pieces,
            radius=radius,
            most=most,
        )

    def _noise(self) -> float:
        """Sigma of the line, by how far its points are from the nearest road.

        Other roads near by make that distance smaller, so the lower bound is no finer than what a good
        receiver gives.
        """
        low, high = self.settings.sigma_range_m
        some = np.unique(np.linspace(0, len(self.trace.points) - 1, _MOST_SAMPLED).astype(np.int64))
        distances = self._near(some, radius=5 * high, most=1)[3]
        return float(np.clip(np.median(distances) / _MEDIAN, low, high)) if distances.size else low

    def _found(self) -> _Entries:
        """Candidates of all kept points with their penalties, and the copies of their states."""
        network, settings, kept = self.network, self.settings, self.trace.kept
        ptr, arcs, fractions, distances, bearings = self._near(
            kept, radius=self.radius, most=settings.most_candidates
        )
        point = np.repeat(np.arange(kept.size), np.diff(ptr))
        cost = (distances / self.sigma) ** 2 / 2 + settings.heading * self._turned(point, bearings)
        # Copies of a state remember a restriction: the same place, reached in another way.
        base = network.arc_tail.size
        copies = network.state_arc[base:]
        order = np.argsort(copies, kind="stable")
        begin, behind = (np.searchsorted(copies[order], arcs, side=side) for side in ("left", "right"))
        counts = behind - begin
        extra = np.repeat(np.arange(arcs.size), counts)
        within = np.arange(extra.size) - np.repeat(np.cumsum(counts) - counts, counts)
        source = np.concatenate((np.arange(arcs.size), extra))
        state = np.concatenate((arcs, base + order[begin[extra] + within])).astype(np.int32)
        sequence = np.argsort(point[source], kind="stable")
        source = source[sequence]
        of_point = np.bincount(point[source], minlength=kept.size)
        return _Entries(
            ptr=np.concatenate((np.zeros(1, np.int64), np.cumsum(of_point))),
            state=state[sequence],
            at=(fractions * network.arc_length[arcs])[source],
            cost=cost[source],
            first=sequence < arcs.size,
        )

    def _turned(self, point: I64, bearings: F64) -> F64:
        """How far an arc is turned from the line at its point: 0 along it, 1 across, 2 against it.

        Of the steps to and from the point the one counts that fits better: a line may turn there.
        """
        step = self.trace.bearings(self.settings.dense_m)
        before, behind = np.concatenate(([np.nan], step)), np.concatenate((step, [np.nan]))
        turned = np.fmin(1 - np.cos(before[point] - bearings), 1 - np.cos(behind[point] - bearings))
        filled: F64 = np.nan_to_num(turned)
        return filled

    # --- the likeliest chain -------------------------------------------------------------------------

    def runs(self) -> list[Run]:
        """The stretches of the line that follow roads, of two points or more, in order."""
        found: list[Run] = []
        for section, (begin, behind) in enumerate(pairwise(self.trace.section_ptr.tolist())):
            found += self._runs_of(section, begin, behind)
        return self._joined(found)

    def _runs_of(self, section: int, begin: int, behind: int) -> Iterator[Run]:
        settings, entries, kept = self.settings, self._entries, self.trace.kept
        low, high = int(entries.ptr[begin]), int(entries.ptr[behind])
        straight = self.trace.distance(kept[begin : behind - 1], kept[begin + 1 : behind])
        chain, link = likeliest(
            self._turns,
            self._length,
            entries=(
                entries.ptr[begin : behind + 1] - low,
                entries.state[low:high],
                entries.at[low:high],
                entries.cost[low:high],
                entries.first[low:high],
            ),
            line_m=np.where(straight > settings.longest_m, np.inf, straight),
            spread=self._spread[begin : behind - 1],
            weights=(settings.jump, settings.leave, settings.off, self._back_m),
        )
        # A run ends where the next point is off the roads, or no way leads to it.
        on = chain >= 0
        starts = np.flatnonzero(on & (link != LINK_NETWORK))
        ends = np.flatnonzero(on & ~np.append(on[1:] & (link[1:] == LINK_NETWORK), False))
        for first, last in zip(starts.tolist(), ends.tolist(), strict=True):
            if last > first:
                points = range(first, last + 1)
                yield Run(
                    tuple(begin + i for i in points), tuple(low + int(chain[i]) for i in points), section
                )

    def _joined(self, runs: Sequence[Run]) -> list[Run]:
        """Runs that only a stray point or two part, made one where the way between fits the line."""
        settings = self.settings
        options = [
            (i, cut_a, cut_b)
            for i, (a, b) in enumerate(pairwise(runs), start=1)
            if a.section == b.section and b.points[0] - a.points[-1] <= settings.left_out + 1
            for cut_a, cut_b in ((0, 0), (1, 0), (0, 1), (1, 1))
            # Where no point lies between two ends, one of them must go.
            if (cut_a or cut_b or b.points[0] - a.points[-1] > 1)
            and len(a.points) > 2 * cut_a
            and len(b.points) > 2 * cut_b
        ]
        legs = [
            Leg(a.points[-1 - cut_a], b.points[cut_b], a.entries[-1 - cut_a], b.entries[cut_b])
            for i, cut_a, cut_b in options
            for a, b in [(runs[i - 1], runs[i])]
        ]
        ways = self.ways(legs, settings.join_spreads)
        fitting: dict[int, tuple[int, int]] = {}
        for (i, cut_a, cut_b), leg, way in zip(options, legs, ways, strict=True):
            if way and i not in fitting and self.stray_m(leg, way) <= settings.stray_m:
                fitting[i] = (cut_a, cut_b)
        result: list[Run] = []
        for i, run in enumerate(runs):
            if i not in fitting:
                result.append(run)
                continue
            cut_a, cut_b = fitting[i]
            before = result.pop()
            keep = len(before.points) - cut_a
            points = before.points[:keep] + run.points[cut_b:]
            result.append(Run(points, before.entries[:keep] + run.entries[cut_b:], run.section))
        return result

    # --- the ways between ----------------------------------------------------------------------------

    def ways(self, legs: Sequence[Leg], spreads: float) -> list[tuple[int, ...]]:
        """The states of the way of each leg; none where it is longer than the line by more than `spreads`."""
        if not legs:
            return []
        entries, kept = self._entries, self.trace.kept
        first, last, a, b = np.array([(leg.first, leg.last, leg.source, leg.target) for leg in legs]).T
        straight, spread = self.trace.distance(kept[first], kept[last]), self._spread[first]
        ahead = entries.at[b] - entries.at[a]
        direct = (entries.state[a] == entries.state[b]) & (ahead >= -self._back_m)
        off = np.where(direct, np.abs(np.maximum(ahead, 0.0) - straight), np.inf)
        most = spread * spreads + 1.0
        # On one arc the way is plain, unless a way round fits the line better.
        ask = np.flatnonzero(off > spread)
        ptr, states = paths(
            self._turns,
            self._length,
            sources=(entries.state[a[ask]], entries.at[a[ask]]),
            targets=(entries.state[b[ask]], entries.at[b[ask]]),
            longest=straight[ask] + most[ask],
        )
        found: list[tuple[int, ...]] = [
            (int(state),) if fits else () for state, fits in zip(entries.state[a], off <= most, strict=True)
        ]
        for i, begin, behind in zip(ask.tolist(), ptr[:-1].tolist(), ptr[1:].tolist(), strict=True):
            way = tuple(states[begin:behind].tolist())
            if way and abs(self._way_m(legs[i], way) - straight[i]) < off[i]:
                found[i] = way
        return found

    def _way_m(self, leg: Leg, way: tuple[int, ...]) -> float:
        """Metres of a way from entry to entry."""
        start, end = float(self._entries.at[leg.source]), float(self._entries.at[leg.target])
        if len(way) == 1:
            return max(end - start, 0.0)
        return float(self._length[list(way[:-1])].sum()) - start + end

    def stray_m(self, leg: Leg, way: tuple[int, ...]) -> float:
        """How far, in metres, a way gets from the straight line of its leg; more where that is little."""
        network, trace = self.network, self.trace
        a, b = int(trace.kept[leg.first]), int(trace.kept[leg.last])
        straight = float(trace.distance(a, b))
        # No point of a way of this length between the two can be farther off than this.
        most = float(np.sqrt(max(self._way_m(leg, way) ** 2 - straight**2, 0.0))) / 2
        if most <= self.settings.stray_m:
            return most
        lons, lats = [], []
        for i, arc in enumerate(network.state_arc[list(way)].tolist()):
            start = self.place(leg.source) if i == 0 else 0.0
            end = self.place(leg.target) if i == len(way) - 1 else 1.0
            lon, lat = arc_points(network, arc, start, max(start, end) if len(way) == 1 else end)
            lons.append(lon)
            lats.append(lat)
        return float(trace.off_chord(a, b, np.concatenate(lons), np.concatenate(lats)).max())


def _arcs_of_pieces(network: Network) -> tuple[I32, I32]:
    """For each piece the arc along it and the one against it, -1 where there is none."""
    pieces = network.geom_ptr.size - 1
    forward, backward = np.full(pieces, -1, np.int32), np.full(pieces, -1, np.int32)
    along = network.arc_from < network.arc_to
    forward[network.arc_geom[along]] = np.flatnonzero(along)
    backward[network.arc_geom[~along]] = np.flatnonzero(~along)
    return forward, backward
