"""Pairs of segments that meet, against every pair looked at by itself in Python's whole numbers."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest

from clearance.structures.grid import meeting_pairs

Ends = tuple[int, int, int, int]


def side(line: Ends, x: int, y: int) -> int:
    """Twice the signed area of a line and a point."""
    ax, ay, bx, by = line
    return (bx - ax) * (y - ay) - (by - ay) * (x - ax)


def sign(value: int) -> int:
    return (value > 0) - (value < 0)


def meet(one: Ends, other: Ends) -> bool:
    """Whether two segments have a point in common, those on one line and those without length left out."""
    if one[:2] == one[2:] or other[:2] == other[2:]:
        return False
    of_one = [sign(side(one, *other[:2])), sign(side(one, *other[2:]))]
    of_other = [sign(side(other, *one[:2])), sign(side(other, *one[2:]))]
    if of_one == [0, 0]:
        return False
    return of_one[0] * of_one[1] <= 0 and of_other[0] * of_other[1] <= 0


def slow(rows: list[Ends], nodes: list[tuple[int, int]], chosen: list[bool]) -> list[tuple[int, int]]:
    return [
        (i, j)
        for i, j in combinations(range(len(rows)), 2)
        if (chosen[i] or chosen[j]) and not set(nodes[i]) & set(nodes[j]) and meet(rows[i], rows[j])
    ]


def found(rows: list[Ends], nodes: list[tuple[int, int]], chosen: list[bool]) -> list[tuple[int, int]]:
    low, high = meeting_pairs(tuple(np.array(rows).T), tuple(np.array(nodes).T), np.array(chosen))
    return list(zip(low.tolist(), high.tolist(), strict=True))


def named(rows: list[Ends]) -> list[tuple[int, int]]:
    """Every end with a name of its own."""
    return [(2 * i, 2 * i + 1) for i in range(len(rows))]


def lattice(chance: random.Random, count: int) -> list[Ends]:
    """On few points: touching, in one line, twice, level, upright and without length are common."""
    size = chance.choice([3, 6, 12])
    at = chance.randrange(-1_000, 1_000)
    return [tuple(at + chance.randint(-size, size) for _ in range(4)) for _ in range(count)]  # type: ignore[misc]


def short(chance: random.Random, count: int) -> list[Ends]:
    """Side by side and in every direction, as streets are; both sides of zero."""
    rows = []
    for _ in range(count):
        x, y = chance.randint(-3_000, 3_000), chance.randint(-3_000, 3_000)
        rows.append((x, y, x + chance.randint(-900, 900), y + chance.randint(-900, 900)))
    return rows


def of_every_length(chance: random.Random, count: int) -> list[Ends]:
    """Most are short; some run far through all of them, a few round half the Earth."""
    rows = []
    for _ in range(count):
        reach = chance.choice([200, 200, 200, 200, 200, 3_000, 40_000, 500_000, 8_000_000, 800_000_000])
        x, y = chance.randint(-3_000, 3_000), chance.randint(-3_000, 3_000)
        dx, dy = chance.randint(-reach, reach), chance.randint(-reach, reach)
        rows.append((x - dx // 2, y - dy // 2, x + dx - dx // 2, y + dy - dy // 2))
    return rows


@pytest.mark.parametrize("kind", [lattice, short, of_every_length])
@pytest.mark.parametrize("seed", range(6))
def test_as_every_pair_by_itself(kind: Callable[[random.Random, int], list[Ends]], seed: int) -> None:
    chance = random.Random(seed)
    rows = kind(chance, 90)
    nodes = [(chance.randrange(60), chance.randrange(60)) for _ in rows] if seed % 2 else named(rows)
    share = chance.choice([0.1, 0.6, 1.0])
    chosen = [chance.random() < share for _ in rows]
    expected = slow(rows, nodes, chosen)
    assert expected
    assert found(rows, nodes, chosen) == expected


def test_more_pairs_than_there_is_room_for_at_first() -> None:
    """60 streets across 60 others."""
    rows: list[Ends] = [(-5, 10 * k, 600, 10 * k) for k in range(60)]
    rows += [(10 * k, 600, 10 * k, -5) for k in range(60)]
    assert found(rows, named(rows), [True] * 60 + [False] * 60) == [
        (i, 60 + j) for i in range(60) for j in range(60)
    ]


@pytest.mark.parametrize(("dx", "dy"), [(1, 0), (0, 1), (3, 2), (-3, 2), (1, 7), (-1, 7), (5, -1)])
def test_along_a_line_of_any_slope_each_post_is_met(dx: int, dy: int) -> None:
    """A long line and short ones across it all along, through every cell that the long one runs through."""
    far = 400
    line: Ends = (-far * dx, -far * dy, far * dx, far * dy)
    posts: list[Ends] = [
        (k * dx - dy, k * dy + dx, k * dx + dy, k * dy - dx) for k in range(-far, far + 1, 4)
    ]
    for turned in (line, (*line[2:], *line[:2])):
        rows = [*posts, turned]
        expected = [(k, len(posts)) for k in range(len(posts))]
        assert found(rows, named(rows), [False] * len(posts) + [True]) == expected


def test_one_segment_and_none() -> None:
    for x, y in ((0, 0), (1_000, 777), (-1_000, 5)):
        assert found([(x, y, x + 5, y + 5)], [(1, 2)], [True]) == []
    empty = meeting_pairs([np.empty(0, np.int64)] * 4, [np.empty(0, np.int64)] * 2, np.empty(0, np.bool_))
    assert [part.size for part in empty] == [0, 0]


@pytest.mark.parametrize("row", [(0, 0, 1_800_000_000, 1), (-1_800_000_000, -900_000_000, 0, 900_000_000)])
def test_the_edge_of_the_earth_is_on_it(row: Ends) -> None:
    across: Ends = (row[2] - 9, -900_000_000, row[2] - 9, 900_000_000)
    rows = [row, across]
    assert found(rows, named(rows), [True, False]) == slow(rows, named(rows), [True, False]) == [(0, 1)]


@pytest.mark.parametrize("at", range(4))
@pytest.mark.parametrize("sense", [1, -1])
def test_beyond_the_edge_is_refused(at: int, sense: int) -> None:
    row = [0, 0, 5, 5]
    row[at] = sense * (1_800_000_001, 900_000_001)[at % 2]
    with pytest.raises(ValueError, match="180 degrees of longitude and 90 of latitude"):
        meeting_pairs(tuple(np.array([row]).T), (np.array([1]), np.array([2])), np.array([True]))


@pytest.mark.parametrize("far", [20_000, 200_000, 20_000_000, 800_000_000])
def test_short_and_long_ones_with_no_length_between(far: int) -> None:
    """The long ones may lie in any grid, with empty ones before it."""
    chance = random.Random(far)
    rows = short(chance, 60)
    for _ in range(6):
        dx, dy = chance.randint(far // 2, far), chance.randint(-far, far)
        x, y = chance.randint(-500, 500), chance.randint(-500, 500)
        rows.append((x - dx, y - dy, x + dx, y + dy))
    chance.shuffle(rows)
    expected = slow(rows, named(rows), [True] * len(rows))
    assert any(abs(rows[i][2] - rows[i][0]) > 2 * abs(rows[j][2] - rows[j][0]) for i, j in expected)
    assert found(rows, named(rows), [True] * len(rows)) == expected


def test_boxes_that_only_touch() -> None:
    """End to end, corner to corner, and beside one another by one unit, to each side."""
    ends: list[Ends] = [(0, 0, 10, 10)]
    ends += [
        (10, 10, 20, 0),
        (10, 10, 20, 21),
        (11, 10, 20, 0),
        (10, 11, 20, 20),
        (0, 0, -9, 1),
        (-1, 0, -9, 5),
    ]
    ends += [
        (0, 10, 5, 5),
        (0, 10, 4, 5),
        (10, 0, 6, 6),
        (10, 0, 6, 5),
        (3, 10, 3, 3),
        (3, 10, 3, 4),
        (7, 0, 7, 6),
    ]
    for turned in (False, True):
        rows = [(*r[2:], *r[:2]) for r in ends] if turned else ends
        for shift in range(len(rows)):
            order = rows[shift:] + rows[:shift]
            assert found(order, named(order), [True] * len(order)) == slow(
                order, named(order), [True] * len(order)
            )


@pytest.mark.parametrize("seed", range(3))
def test_small_ones_that_touch_long_ones_at_the_side_of_a_cell(seed: int) -> None:
    """Most are one unit long, so that cells are eight; the others run through several rows of them."""
    chance = random.Random(seed)
    rows: list[Ends] = []
    for _ in range(24):
        x, y = chance.randint(-40, 40), chance.randint(-40, 40)
        rows.append((x, y, x + chance.randint(9, 60), y + chance.randint(-60, 60)))
    for x, y, to_x, to_y in list(rows):
        for _ in range(9):
            # A point of the line, or next to it, and a step down, up or aside from there.
            part = chance.random()
            at_x, at_y = round(x + part * (to_x - x)), round(y + part * (to_y - y))
            dx, dy = chance.choice(((0, 1), (0, -1), (1, 0), (-1, 0)))
            rows.append((at_x, at_y, at_x + dx, at_y + dy))
    expected = slow(rows, named(rows), [True] * len(rows))
    assert len(expected) > 100
    assert found(rows, named(rows), [True] * len(rows)) == expected
