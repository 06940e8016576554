"""Midlines of a mask: thinned to lines of one pixel, parted at crossings.

Bodies that cross meet in one connected mask. Its thinned lines then have more than two ends; at
each meeting point the arms that go on most nearly straight belong to one body.
"""

from collections import deque
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Line", "midlines", "thinned"]

Bools = NDArray[np.bool_]
Point = tuple[int, int]

_STEPS = ((-1, 0), (0, 1), (1, 0), (0, -1), (-1, 1), (1, 1), (1, -1), (-1, -1))
_LEAST_STRAIGHT = -0.35  # cosine between two arms of one body: bent by at most 70°


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


def midlines(mask: Bools, half_width: float) -> list[Line]:
    """Return the longest midline of a connected mask, then those of bodies that meet in it.

    The first is the only one where nothing branches.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Connected, at least one pixel.
    half_width : float
        Half the usual width of the mask; arms shorter than this are roughness of the outline.
    """
    graph = _graph(thinned(mask))
    if not graph:  # a square of two by two pixels thins to nothing
        return [Line(np.argwhere(mask).mean(axis=0, keepdims=True), 1)]
    arms = _arms(graph, 1.6 * half_width)
    if len(arms) < 3:
        return [Line(_longest(graph), 1)]
    paths = sorted(_paired(arms, 2.5 * half_width), key=len, reverse=True)
    return [Line(path, len(arms)) for path in (_longest(graph), *paths)]


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


def _paired(arms: list[list[Point]], reach: float) -> list[NDArray[np.float64]]:
    """Join the arms that go on most nearly straight; what is left over stands alone.

    Two branchings nearer to each other than a body is wide are one meeting place, so arms are
    joined whichever of them they end at.
    """
    ways = [np.array(arm, np.float64) for arm in arms]
    outward = [_direction(way, reach) for way in ways]
    pairs = sorted(
        (float(outward[i] @ outward[j]), i, j) for i in range(len(ways)) for j in range(i)
    )
    taken: set[int] = set()
    found = []
    for cosine, i, j in pairs:
        if cosine < _LEAST_STRAIGHT and not {i, j} & taken:
            taken |= {i, j}
            found.append(np.concatenate([ways[i], ways[j][::-1]]))
    return found + [way for number, way in enumerate(ways) if number not in taken]


def _direction(way: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """Return the direction from the branching outward, over some of the arm."""
    start = way[-1 - min(len(way) - 1, round(0.3 * reach))]
    end = way[-1 - min(len(way) - 1, round(reach + 0.3 * reach))]
    step = end - start
    return np.asarray(step / (np.hypot(*step) + 1e-9))
