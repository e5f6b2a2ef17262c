"""Kernels of matching a line to roads: candidates near its points, and the likeliest chain of them.

Positions on an arc are metres from its tail. Penalties are negative logarithms of probabilities, up
to a constant, so that the likeliest chain is the one of the least sum.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit, types

from clearance.routing.heap import drop, given, push, result

if TYPE_CHECKING:
    import numpy.typing as npt

    F64 = npt.NDArray[np.float64]
    I8 = npt.NDArray[np.int8]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["LINK_JUMP", "LINK_NETWORK", "LINK_OFF", "LINK_START", "candidates", "likeliest", "paths"]

#: How a point of the chain follows the one before it.
LINK_START = 0
LINK_NETWORK = 1
#: From a road to a road with no way between them that fits.
LINK_JUMP = 2
#: From no road at all.
LINK_OFF = 3

#: More candidates near one point than this are not looked at before the nearest are chosen.
_MOST_NEAR = 512


_I, _L, _F = types.int32, types.int64, types.float64


@njit(
    result(types.int64[::1], types.int32[::1])(
        given(_L), types.int64, given(_F), given(_F), given(_L), result(_F, _F, _F, _F, _F, _F)
    ),
    cache=True,
)
def _segments_by_cell(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    keys, columns, x, y, geom_ptr, grid
):
    """For each of the sorted cells `keys` the segments that come within reach of it."""
    west, south, cell_x, cell_y, reach_x, reach_y = grid
    counts = np.zeros(keys.size + 1, np.int64)
    segments = np.empty(0, np.int32)
    for filling in range(2):
        if filling:
            for i in range(keys.size):
                counts[i + 1] += counts[i]
            segments = np.empty(counts[keys.size], np.int32)
        filled = counts.copy()
        for piece in range(geom_ptr.size - 1):
            for at in range(geom_ptr[piece], geom_ptr[piece + 1] - 1):
                left = int(np.floor((min(x[at], x[at + 1]) - reach_x - west) / cell_x))
                right = int(np.floor((max(x[at], x[at + 1]) + reach_x - west) / cell_x))
                low = int(np.floor((min(y[at], y[at + 1]) - reach_y - south) / cell_y))
                high = int(np.floor((max(y[at], y[at + 1]) + reach_y - south) / cell_y))
                left, right = max(left, 0), min(right, columns - 1)
                for row in range(max(low, 0), high + 1):
                    # One search for the first cell of the row; the others follow it in order.
                    first, behind = 0, keys.size
                    key = row * columns + left
                    while first < behind:
                        middle = (first + behind) >> 1
                        if keys[middle] < key:
                            first = middle + 1
                        else:
                            behind = middle
                    while first < keys.size and keys[first] <= row * columns + right:
                        if filling:
                            segments[filled[first]] = at
                            filled[first] += 1
                        else:
                            counts[first + 1] += 1
                        first += 1
    return counts, segments


@njit(
    result(_F, _F)(
        types.int64, types.float64, types.float64, types.float64, types.float64, given(_F), given(_F)
    ),
    cache=True,
)
def _nearest(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    at, lon, lat, scale_x, scale_y, x, y
):
    """Metres from a point to segment `at`, and where on it (0 to 1) the nearest point lies."""
    ax, ay = (x[at] - lon) * scale_x, (y[at] - lat) * scale_y
    dx, dy = (x[at + 1] - x[at]) * scale_x, (y[at + 1] - y[at]) * scale_y
    square = dx * dx + dy * dy
    part = min(max(-(ax * dx + ay * dy) / square, 0.0), 1.0) if square > 0 else 0.0
    return np.hypot(ax + part * dx, ay + part * dy), part


@njit(
    result(types.int64[::1], types.int32[::1], types.float64[::1], types.float64[::1], types.float64[::1])(
        given(_F),
        given(_F),
        given(_F),
        given(_F),
        given(_L),
        given(_L),
        given(_I),
        given(_F),
        given(_F),
        given(_L),
        given(_I),
        given(_I),
        types.float64,
        types.int64,
    ),
    cache=True,
)
def _candidates(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    lon, lat, scale_x, scale_y, cell, cell_ptr, cell_segment, x, y, geom_ptr, forward, backward, radius, most
):
    count = lon.size
    ptr = np.zeros(count + 1, np.int64)
    arcs = np.empty(count * most, np.int32)
    fractions = np.empty(count * most)
    distances = np.empty(count * most)
    bearings = np.empty(count * most)
    near_arc = np.empty(_MOST_NEAR, np.int32)
    near_fraction = np.empty(_MOST_NEAR)
    near_distance = np.empty(_MOST_NEAR)
    near_bearing = np.empty(_MOST_NEAR)
    total = 0
    for point in range(count):
        found = 0
        here = cell[point]
        for slot in range(cell_ptr[here], cell_ptr[here + 1]):
            at = cell_segment[slot]
            sx, sy = scale_x[point], scale_y[point]
            distance, part = _nearest(at, lon[point], lat[point], sx, sy, x, y)
            if distance > radius:
                continue
            piece = np.searchsorted(geom_ptr, at, side="right") - 1
            first, last = geom_ptr[piece], geom_ptr[piece + 1] - 1
            # Only the nearest places on a piece count, and a hairpin may come near twice. A corner
            # between two segments is such a place where it is the nearest point of both.
            if part == 0.0 and at > first:
                continue
            if (
                part == 1.0
                and at + 1 < last
                and _nearest(at + 1, lon[point], lat[point], sx, sy, x, y)[1] > 0.0
            ):
                continue
            before = length = 0.0
            for i in range(first, last):
                step = np.hypot((x[i + 1] - x[i]) * sx, (y[i + 1] - y[i]) * sy)
                if i == at:
                    before = length + part * step
                length += step
            fraction = before / length if length > 0 else 0.0
            bearing = np.arctan2((x[at + 1] - x[at]) * sx, (y[at + 1] - y[at]) * sy)
            for against in range(2):
                arc = backward[piece] if against else forward[piece]
                if arc >= 0 and found < _MOST_NEAR:
                    near_arc[found] = arc
                    near_fraction[found] = 1.0 - fraction if against else fraction
                    near_distance[found] = distance
                    near_bearing[found] = bearing + np.pi if against else bearing
                    found += 1
        order = np.argsort(near_distance[:found], kind="mergesort")
        for slot in range(min(found, most)):
            arcs[total] = near_arc[order[slot]]
            fractions[total] = near_fraction[order[slot]]
            distances[total] = near_distance[order[slot]]
            bearings[total] = near_bearing[order[slot]]
            total += 1
        ptr[point + 1] = total
    return (
        ptr,
        arcs[:total].copy(),
        fractions[:total].copy(),
        distances[:total].copy(),
        bearings[:total].copy(),
    )


@njit(
    result(types.int32[::1], types.int8[::1], types.int64)(
        given(_L),
        given(_I),
        given(_F),
        given(_L),
        given(_I),
        given(_F),
        given(_F),
        given(types.boolean),
        given(_F),
        given(_F),
        result(_F, _F, _F, _F),
    ),
    cache=True,
)
def _likeliest(  # type: ignore[no-untyped-def]  # noqa: PLR0917, PLR0915, one pass over the line
    turn_ptr,
    turn_to,
    state_length,
    entry_ptr,
    entry_state,
    entry_at,
    entry_cost,
    entry_first,
    line_m,
    spread,
    weights,
):
    jump, leave, off, back_m = weights
    count = entry_ptr.size - 1
    entries = entry_ptr[count]
    # One entry more a point: that the line is on no road there. It stands behind those of all roads.
    before = np.full(entries + count, -1, np.int32)
    link = np.zeros(entries + count, np.int8)
    states = turn_ptr.size - 1
    label = np.empty(states)
    stamp = np.zeros(states, np.int32)
    head = np.empty(states, np.int32)
    wanted = np.zeros(states, np.int32)
    keys = np.empty(1024)
    heap = np.empty(1024, np.int32)
    search = 0
    now = np.empty(0)
    now_off = np.inf
    for point in range(count):
        first, behind = entry_ptr[point], entry_ptr[point + 1]
        score = np.full(behind - first, np.inf)
        if point == 0:
            for j in range(first, behind):
                if entry_first[j]:
                    score[j - first] = entry_cost[j]
            now, now_off = score, leave + off
            continue
        old_first, old_behind = entry_ptr[point - 1], entry_ptr[point]
        best = -1
        for i in range(old_behind - old_first):
            if best < 0 or now[i] < now[best]:
                best = i
        best_score = now[best] if best >= 0 else np.inf
        # From no road, or by a jump from the best of the roads before.
        for j in range(first, behind):
            if not entry_first[j]:
                continue
            score[j - first] = now_off + leave + entry_cost[j]
            before[j] = entries + point - 1
            link[j] = 3
            if best_score + jump + entry_cost[j] < score[j - first]:
                score[j - first] = best_score + jump + entry_cost[j]
                before[j] = old_first + best
                link[j] = 2
        chain = np.empty(behind - first, np.int32)
        distinct = 0
        for j in range(first, behind):
            state = entry_state[j]
            if wanted[state] != point:
                wanted[state] = point
                head[state] = -1
                distinct += 1
            chain[j - first] = head[state]
            head[state] = j
        straight = line_m[point - 1]
        width = spread[point - 1]
        for i in range(old_behind - old_first):
            room = best_score + jump - now[i]
            if not room > 0.0 or straight == np.inf:
                continue
            # Anything longer is worse than a jump from the best entry.
            longest = straight + width * room
            source = entry_state[old_first + i]
            at = entry_at[old_first + i]
            if wanted[source] == point:
                j = head[source]
                while j >= 0:
                    ahead = entry_at[j] - at
                    if ahead >= -back_m:
                        cost = now[i] + abs(max(ahead, 0.0) - straight) / width + entry_cost[j]
                        if cost < score[j - first]:
                            score[j - first] = cost
                            before[j] = old_first + i
                            link[j] = 1
                    j = chain[j - first]
            search += 1
            left = distinct
            size = 0
            rest = state_length[source] - at
            if rest <= longest:
                for turn in range(turn_ptr[source], turn_ptr[source + 1]):
                    to = turn_to[turn]
                    if stamp[to] != search or rest < label[to]:
                        if size == keys.size:
                            keys = np.concatenate((keys, np.empty(size)))
                            heap = np.concatenate((heap, np.empty(size, np.int32)))
                        stamp[to] = search
                        label[to] = rest
                        size = push(keys, heap, size, rest, to)
            while size > 0 and left > 0:
                reached = keys[0]
                state = heap[0]
                size = drop(keys, heap, size)
                if reached > label[state]:
                    continue
                if wanted[state] == point:
                    left -= 1
                    j = head[state]
                    while j >= 0:
                        cost = now[i] + abs(reached + entry_at[j] - straight) / width + entry_cost[j]
                        if cost < score[j - first]:
                            score[j - first] = cost
                            before[j] = old_first + i
                            link[j] = 1
                        j = chain[j - first]
                reached += state_length[state]
                if reached > longest:
                    continue
                for turn in range(turn_ptr[state], turn_ptr[state + 1]):
                    to = turn_to[turn]
                    if stamp[to] != search or reached < label[to]:
                        if size == keys.size:
                            keys = np.concatenate((keys, np.empty(size)))
                            heap = np.concatenate((heap, np.empty(size, np.int32)))
                        stamp[to] = search
                        label[to] = reached
                        size = push(keys, heap, size, reached, to)
        here = entries + point
        if best_score + leave < now_off:
            before[here] = old_first + best
            link[here] = 3
            now_off = best_score + leave + off
        else:
            before[here] = entries + point - 1
            link[here] = 3
            now_off += off
        now = score
    last = entries + count - 1
    lowest = now_off + leave
    for i in range(now.size):
        if now[i] < lowest:
            lowest = now[i]
            last = entry_ptr[count - 1] + i
    return before, link, last


@njit(
    result(types.int64[::1], types.int32[::1])(
        given(_L), given(_I), given(_F), given(_I), given(_F), given(_I), given(_F), given(_F)
    ),
    cache=True,
)
def _paths(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    turn_ptr, turn_to, state_length, sources, source_at, targets, target_at, longest
):
    count = sources.size
    ptr = np.zeros(count + 1, np.int64)
    found = np.empty(1024, np.int32)
    states = turn_ptr.size - 1
    label = np.empty(states)
    stamp = np.full(states, -1, np.int32)
    came = np.empty(states, np.int32)
    keys = np.empty(1024)
    heap = np.empty(1024, np.int32)
    for leg in range(count):
        ptr[leg + 1] = ptr[leg]
        target = targets[leg]
        size = 0
        # The source stands for itself, so that a way round back to it may end there.
        state = sources[leg]
        reached = state_length[state] - source_at[leg]
        origin = -1
        while True:
            if reached <= longest[leg]:
                for turn in range(turn_ptr[state], turn_ptr[state + 1]):
                    to = turn_to[turn]
                    if stamp[to] != leg or reached < label[to]:
                        if size == keys.size:
                            keys = np.concatenate((keys, np.empty(size)))
                            heap = np.concatenate((heap, np.empty(size, np.int32)))
                        stamp[to] = leg
                        label[to] = reached
                        came[to] = origin
                        size = push(keys, heap, size, reached, to)
            while size > 0:
                reached = keys[0]
                state = heap[0]
                size = drop(keys, heap, size)
                if reached <= label[state]:
                    break
            else:
                break
            if state == target:
                if reached + target_at[leg] <= longest[leg]:
                    length = 2
                    while came[state] >= 0:
                        state = came[state]
                        length += 1
                    end = ptr[leg] + length
                    while end > found.size:
                        found = np.concatenate((found, np.empty(found.size, np.int32)))
                    ptr[leg + 1] = end
                    state = target
                    for at in range(end - 1, ptr[leg], -1):
                        found[at] = state
                        state = came[state]
                    found[ptr[leg]] = sources[leg]
                break
            origin = state
            reached += state_length[state]
    return ptr, found[: ptr[count]].copy()


def candidates(
    lon: F64,
    lat: F64,
    *,
    scale: tuple[F64, F64],
    lines: tuple[F64, F64, I64],
    arcs: tuple[I32, I32],
    radius: float,
    most: int,
) -> tuple[I64, I32, F64, F64, F64]:
    """The arcs near each point: the `most` nearest within `radius` metres, nearest first.

    `lon`, `lat` (n,) in degrees, `scale` the metres per degree of both at each point. `lines` are the
    points of all pieces and where each begins, as in `Network`; `arcs` (g,) the arc along each piece and
    the one against it, -1 where there is none. An arc that comes near twice, as at a hairpin, is there
    twice.

    Returns where the candidates of each point begin (n + 1,), and of each candidate the arc, the fraction
    of its length, the distance in metres, and the bearing of the arc there in radians from north.
    """
    x, y, geom_ptr = lines
    reach_x, reach_y = radius / float(scale[0].min()), radius / float(scale[1].min())
    west, south = float(lon.min()), float(lat.min())
    column = np.floor((lon - west) / reach_x).astype(np.int64)
    row = np.floor((lat - south) / reach_y).astype(np.int64)
    columns = int(column.max()) + 1
    keys, cell = np.unique(row * columns + column, return_inverse=True)
    grid = (west, south, reach_x, reach_y, reach_x, reach_y)
    cell_ptr, cell_segment = _segments_by_cell(keys, columns, x, y, geom_ptr, grid)
    found: tuple[I64, I32, F64, F64, F64] = _candidates(
        lon,
        lat,
        scale[0],
        scale[1],
        cell.astype(np.int64),
        cell_ptr,
        cell_segment,
        x,
        y,
        geom_ptr,
        arcs[0],
        arcs[1],
        radius,
        most,
    )
    return found


def likeliest(
    turns: tuple[I64, I32],
    state_length: F64,
    *,
    entries: tuple[I64, I32, F64, F64, npt.NDArray[np.bool_]],
    line_m: F64,
    spread: F64,
    weights: tuple[float, float, float, float],
) -> tuple[I32, I8]:
    """The likeliest entry of each point of a line, and how it follows the one before (LINK_*).

    `turns` are `turn_ptr` and `turn_to`, `state_length` (s,) the metres of the arc of each state.
    `entries`: where those of each point begin (n + 1,), and of each the state, the place on its arc in
    metres, its penalty, and whether a chain may begin there. `line_m` (n - 1,) is the straight distance
    from each point to the next (infinite: no way is looked for), `spread` (n - 1,) the metres that a way
    may differ from it for a penalty of 1. `weights` are the penalties of a jump, of leaving the roads or
    coming onto them, of each point off them; and the metres that a point may lie back on its arc.

    Returns the entry of each point (n,), -1 where it is on no road, and the link (n,). Viterbi's
    algorithm; ways between entries are shortest ones that keep the turns, found exactly wherever they
    are better than a jump.
    """
    before, link, last = _likeliest(*turns, state_length, *entries, line_m, spread, weights)
    count = entries[0].size - 1
    chain = np.empty(count, np.int32)
    links = np.empty(count, np.int8)
    at = int(last)
    for point in range(count - 1, -1, -1):
        chain[point], links[point] = at, link[at]
        at = int(before[at])
    on = entries[1].size
    chain[chain >= on] = -1
    return chain, links


def paths(
    turns: tuple[I64, I32],
    state_length: F64,
    *,
    sources: tuple[I32, F64],
    targets: tuple[I32, F64],
    longest: F64,
) -> tuple[I64, I32]:
    """The shortest ways that keep the turns from each source to its target, at least one turn long.

    Sources and targets are states with the metres on their arcs, (m,) each; `longest` (m,) bounds the
    metres. Returns where the states of each way begin (m + 1,), and those states, source and target
    included; none where there is no such way.
    """
    ptr, states = _paths(*turns, state_length, *sources, *targets, longest)
    return ptr, states
