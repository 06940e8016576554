"""Where plants stand: neighbours, and the shortest way round.

Within a bed, places and rows give metres. Where beds stand to each other is not recorded: they are
taken to lie side by side in the garden's order, with a path between.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby, pairwise, permutations
from math import dist, hypot

from models.garden.beds import Garden, Plant

__all__ = ["neighbours", "places_m", "shortest_way", "way_length_m"]

PATH_M = 1.0
_TRY_ALL = 7  # 5,040 orders; more plants are ordered by improvement


def places_m(garden: Garden) -> Mapping[str, tuple[float, float]]:
    """Return where each plant stands, in metres across and along the garden."""
    places: dict[str, tuple[float, float]] = {}
    start = 0.0
    for bed in dict.fromkeys(plant.bed for plant in garden.plants):
        members = [plant for plant in garden.plants if plant.bed == bed]
        for plant in members:
            across = start + (plant.row - 1) * garden.spacing_m
            places[plant.name] = (across, (plant.place - 1) * garden.spacing_m)
        widest = max(plant.row for plant in members)
        start += (widest - 1) * garden.spacing_m + PATH_M
    return places


def neighbours(garden: Garden, name: str) -> tuple[str, ...]:
    """Return the plants next to one in its bed, also diagonally, nearest first."""
    centre = next(plant for plant in garden.plants if plant.name == name)
    near = [plant for plant in garden.plants if plant is not centre and _adjoin(plant, centre)]
    return tuple(plant.name for plant in sorted(near, key=lambda p: _steps(p, centre)))


def _adjoin(one: Plant, other: Plant) -> bool:
    close = abs(one.row - other.row) <= 1 and abs(one.place - other.place) <= 1
    return one.bed == other.bed and close


def _steps(one: Plant, other: Plant) -> int:
    return abs(one.row - other.row) + abs(one.place - other.place)


def shortest_way(garden: Garden, names: Iterable[str]) -> tuple[str, ...]:
    """Return plants in the order of the shortest way from the garden's first corner.

    Exact for up to seven plants; beyond, the better of two ways: the nearest next one each time,
    or row by row, each with stretches turned round as long as that shortens it.

    Parameters
    ----------
    garden : Garden
        Where they stand.
    names : iterable of str
        Which to visit; doubles are visited once.
    """
    places = places_m(garden)
    wanted = set(names)
    stops = [plant.name for plant in garden.plants if plant.name in wanted]
    if len(stops) <= _TRY_ALL:
        return min(permutations(stops), key=lambda way: way_length_m(places, way))
    starts = (_nearest_first(places, stops), _there_and_back(garden, wanted))
    ways = [tuple(_improved(places, start)) for start in starts]
    return min(ways, key=lambda way: way_length_m(places, way))


def _there_and_back(garden: Garden, wanted: set[str]) -> list[str]:
    """Return plants row by row, every second row walked backwards."""
    standing = [plant for plant in garden.plants if plant.name in wanted]
    rows = [list(members) for _, members in groupby(standing, key=lambda p: (p.bed, p.row))]
    walked = (row if number % 2 == 0 else row[::-1] for number, row in enumerate(rows))
    return [plant.name for row in walked for plant in row]


def way_length_m(places: Mapping[str, tuple[float, float]], way: Sequence[str]) -> float:
    """Return the length of a way from the garden's first corner through the plants, in metres."""
    points = [(0.0, 0.0), *(places[name] for name in way)]
    return sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(points))


def _nearest_first(places: Mapping[str, tuple[float, float]], stops: list[str]) -> list[str]:
    here, left, way = (0.0, 0.0), list(stops), []
    while left:
        nearest = min(left, key=lambda n: hypot(places[n][0] - here[0], places[n][1] - here[1]))
        left.remove(nearest)
        way.append(nearest)
        here = places[nearest]
    return way


def _improved(places: Mapping[str, tuple[float, float]], way: list[str]) -> list[str]:
    """Turn stretches round as long as that shortens the way; only their two ends tell that."""
    points = [(0.0, 0.0), *(places[name] for name in way)]
    shorter = True
    while shorter:
        shorter = False
        for first in range(1, len(points) - 1):
            for last in range(first + 1, len(points)):
                if _gain_m(points, first, last) > 1e-9:
                    points[first : last + 1] = points[first : last + 1][::-1]
                    way[first - 1 : last] = way[first - 1 : last][::-1]
                    shorter = True
    return way


def _gain_m(points: Sequence[tuple[float, float]], first: int, last: int) -> float:
    """Return by how much the way is shorter when the points from first to last are turned round."""
    before, begin, end = points[first - 1], points[first], points[last]
    gain = dist(before, begin) - dist(before, end)
    if last + 1 < len(points):
        after = points[last + 1]
        gain += dist(end, after) - dist(begin, after)
    return gain
