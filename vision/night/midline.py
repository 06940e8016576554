"""Midlines of a mask: thinned to lines of one pixel, parted at crossings.

Bodies that cross meet in one connected mask. Its thinned lines then have more than two ends; the
arms that go on most nearly straight belong to one body. At an acute crossing the arms on one side
go on as straight as those across it, so that the next best ways to pair the arms are kept too.
"""

from collections import deque
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Line", "longest_midline", "midlines", "thinned"]

Bools = NDArray[np.bool_]
Point = tuple[int, int]

_STEPS = ((-1, 0), (0, 1), (1, 0), (0, -1), (-1, 1), (1, 1), (1, -1), (-1, -1))
_LEAST_STRAIGHT = -0.35  # cosine between two arms of one body: bent by at most 70°
_MOST_ARMS, _MOST_PAIRINGS = 5, 3


@dataclass(frozen=True, eq=False)
class Line:
    """One midline, from end to end.

    Attributes
    ----------
    points : ndarray of float64, shape (points, 2)
        Row and column in the mask, a pixel apart or so.
    arms : int
        Arms of the connected mask in which it lies: 1 for a plain body, 3 or more at crossings.
    """

    points: NDArray[np.float64] = field(repr=False)
    arms: int


@cache
def _deletable() -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return, by the code of the eight neighbours, what each half-step of thinning deletes.

    Zhang & Suen 1984, Communications of the ACM 27:236–239 [memory].
    """
    tables = np.zeros((2, 256), np.uint8)
    for code in range(256):
        p = [(code >> bit) & 1 for bit in range(8)]  # clockwise from the north
        crossings = sum(p[i] == 0 and p[(i + 1) % 8] == 1 for i in range(8))
        if not (2 <= sum(p) <= 6 and crossings == 1):
            continue
        north, east, south, west = p[0], p[2], p[4], p[6]
        tables[0, code] = north * east * south == 0 and east * south * west == 0
        tables[1, code] = north * east * west == 0 and north * south * west == 0
    return tables[0], tables[1]


_NEIGHBOURS = np.array([[128, 1, 2], [64, 0, 4], [32, 16, 8]], np.float32)


def thinned(mask: Bools) -> Bools:
    """Thin a mask to lines of one pixel.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Not changed.
    """
    line = np.pad(mask, 1).astype(np.uint8)
    while True:
        before = int(np.count_nonzero(line))
        for table in _deletable():
            code = cv2.filter2D(line, cv2.CV_32F, _NEIGHBOURS, borderType=cv2.BORDER_CONSTANT)
            line[(table[code.astype(np.uint8)] > 0) & (line > 0)] = 0
        if int(np.count_nonzero(line)) == before:
            return np.asarray(line[1:-1, 1:-1] > 0)


def longest_midline(mask: Bools) -> NDArray[np.float64]:
    """Return the longest midline of a connected mask, shape (points, 2).

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Connected, at least one pixel.
    """
    graph = _graph(thinned(mask))
    return _longest(graph) if graph else _dot(mask)


def midlines(mask: Bools, half_width: float) -> tuple[Line, list[list[Line]]]:
    """Return the longest midline of a connected mask, and those of bodies that may meet in it.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Connected, at least one pixel.
    half_width : float
        Half the usual width of the mask; arms shorter than this are roughness of the outline.

    Returns
    -------
    tuple of Line and list of list of Line
        The longest one; and for each way to pair the arms its lines, the straightest way first:
        none where nothing branches.
    """
    graph = _graph(thinned(mask))
    if not graph:  # a square of two by two pixels thins to nothing
        return Line(_dot(mask), 1), []
    arms = _arms(graph, 1.6 * half_width)
    if len(arms) < 3:
        return Line(_longest(graph), 1), []
    ways = _pairings([np.array(arm, np.float64) for arm in arms], 2.5 * half_width)
    lines = [[Line(path, len(arms)) for path in sorted(way, key=len, reverse=True)] for way in ways]
    return Line(_longest(graph), len(arms)), lines


def _dot(mask: Bools) -> NDArray[np.float64]:
    return np.asarray(np.argwhere(mask).mean(axis=0, keepdims=True))


def _graph(line: Bools) -> dict[Point, list[Point]]:
    """Return the neighbours of each pixel of thin lines; a diagonal is no short cut of a corner."""
    rows, columns = np.nonzero(line)
    points = set(zip(rows.tolist(), columns.tolist(), strict=True))
    graph: dict[Point, list[Point]] = {}
    for row, col in points:
        straight = [(row + r, col + c) for r, c in _STEPS[:4] if (row + r, col + c) in points]
        corner = [
            (row + r, col + c)
            for r, c in _STEPS[4:]
            if (row + r, col + c) in points
            and (row + r, col) not in points
            and (row, col + c) not in points
        ]
        graph[row, col] = straight + corner
    return graph


def _reach(graph: dict[Point, list[Point]], start: Point) -> dict[Point, Point]:
    """Return each reachable point's predecessor, in the order of distance from the start."""
    before = {start: start}
    queue = deque([start])
    while queue:
        point = queue.popleft()
        for other in graph[point]:
            if other not in before:
                before[other] = point
                queue.append(other)
    return before


def _way(before: dict[Point, Point], end: Point) -> list[Point]:
    way = [end]
    while before[way[-1]] != way[-1]:
        way.append(before[way[-1]])
    return way


def _longest(graph: dict[Point, list[Point]]) -> NDArray[np.float64]:
    """Return the longest of the shortest ways through thin lines."""
    first = next(iter(graph))
    end = next(reversed(_reach(graph, first)))
    before = _reach(graph, end)
    return np.array(_way(before, next(reversed(before))), np.float64)


def _arms(graph: dict[Point, list[Point]], least: float) -> list[list[Point]]:
    """Return the arms from a loose end to the first branching, ends first, without short ones.

    Short arms are taken off one after the other, since a branching may end with its arm.
    """
    graph = {point: list(near) for point, near in graph.items()}
    while True:
        arms = [_walk(graph, point) for point, near in graph.items() if len(near) == 1]
        shortest = min(arms, key=len, default=[])
        if len(arms) < 3 or len(shortest) > least:
            return arms
        for point in shortest[:-1]:
            for other in graph.pop(point):
                if other in graph:
                    graph[other].remove(point)


def _walk(graph: dict[Point, list[Point]], end: Point) -> list[Point]:
    """Walk from a loose end to the first branching, which is the last point."""
    way, came = [end], end
    point = graph[end][0]
    while len(graph[point]) == 2:
        way.append(point)
        point, came = next(p for p in graph[point] if p != came), point
    return [*way, point]


def _pairings(ways: list[NDArray[np.float64]], reach: float) -> list[list[NDArray[np.float64]]]:
    """Join arms that go on nearly straight, in the few straightest ways; what is left stands alone.

    Two branchings nearer to each other than a body is wide are one meeting place, so arms are
    joined whichever of them they end at.
    """
    outward = np.array([_direction(way, reach) for way in ways])
    cosines = outward @ outward.T
    if len(ways) > _MOST_ARMS:
        sets = [_straightest(cosines)]
    else:
        sets = sorted(_matchings(cosines), key=lambda pairs: _crookedness(cosines, pairs))
    found = []
    for pairs in sets[:_MOST_PAIRINGS]:
        joined = [np.concatenate([ways[i], ways[j][::-1]]) for i, j in pairs]
        taken = {arm for pair in pairs for arm in pair}
        found.append(joined + [way for number, way in enumerate(ways) if number not in taken])
    return found


Pairs = tuple[tuple[int, int], ...]


def _straightest(cosines: NDArray[np.float64]) -> Pairs:
    """Pair the two straightest arms, then the next."""
    count = len(cosines)
    ordered = sorted((float(cosines[i, j]), i, j) for i in range(count) for j in range(i))
    pairs: Pairs = ()
    for cosine, i, j in ordered:
        if cosine < _LEAST_STRAIGHT and not {i, j} & {arm for pair in pairs for arm in pair}:
            pairs = (*pairs, (i, j))
    return pairs


def _matchings(cosines: NDArray[np.float64]) -> list[Pairs]:
    """Return the ways to pair arms that go on nearly straight, at most one pair less than can."""
    free: list[Pairs] = [()]
    for i in range(len(cosines)):
        free = [pairs for old in free for pairs in _with_arm(cosines, old, i)]
    longest = max(map(len, free))
    return [pairs for pairs in free if len(pairs) >= longest - 1]


def _with_arm(cosines: NDArray[np.float64], pairs: Pairs, i: int) -> list[Pairs]:
    """Return a set of pairs as it is, and with an arm joined to each free arm before it."""
    taken = {arm for pair in pairs for arm in pair}
    fit = (j for j in range(i) if j not in taken and cosines[i, j] < _LEAST_STRAIGHT)
    return [pairs, *((*pairs, (i, j)) for j in fit)]


def _crookedness(cosines: NDArray[np.float64], pairs: Pairs) -> float:
    """Return how crooked the joined arms are; an arm that is left over counts as much bent."""
    left = len(cosines) - 2 * len(pairs)
    return sum(float(cosines[i, j]) for i, j in pairs) + _LEAST_STRAIGHT * left / 2


def _direction(way: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """Return the direction from the branching outward, over some of the arm."""
    start = way[-1 - min(len(way) - 1, round(0.3 * reach))]
    end = way[-1 - min(len(way) - 1, round(reach + 0.3 * reach))]
    step = end - start
    return np.asarray(step / (np.hypot(*step) + 1e-9))
