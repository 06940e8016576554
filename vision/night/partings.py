"""Ways to read a glowing region in which bodies may meet: which of its bodies are caterpillars.

A region is one body, or one of several ways parts it; of a way's parts all are caterpillars or
only some, beside a stem, paper or a horn. A parting is likely when its bodies are, each by itself,
when they explain all of the glow without claiming the same ground, and when no other parting does
so better. How much each of these counts was learned.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from vision.night.features import FEATURES

__all__ = [
    "PARTING_FEATURES",
    "Parting",
    "Ways",
    "parting_features",
    "partings_of",
    "shared_ground",
]

PARTING_FEATURES = (
    "counted",
    "least_log_odds",
    "most_log_odds",
    "mean_log_odds",
    "most_log_odds_left_out",
    "log_odds_whole",
    "log_odds_best_other_number",
    "log_odds_best_same_number",
    "explained",
    "explained_by_way",
    "overlap",
    "ln_width_ratio",
    "ln_length_ratio",
    "green_over_blue_difference",
    "green_over_red_difference",
    "least_ln_slenderness",
    "most_ln_slenderness",
    "ln_area_in_widths",
    "arms",
    "solidity",
    "box_fill",
    "whole_ln_slenderness",
    "whole_green_over_blue",
    "whole_green_over_red",
    "whole_ln_green_ratio",
    "whole_ends_at_border",
)
"""What is measured on a parting; shares are of the region's pixels."""

_MOST_PARTS = 4
_LEAST_CHANCE, _LEAST_PART, _MOST_LOG_ODDS = 0.02, 0.002, 5.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Ways:
    """A region as one body, and the ways to part it.

    Attributes
    ----------
    whole : int
        Number of the body that is all of the region.
    parts : tuple of tuple of int
        Numbers of the bodies of each way; none where nothing speaks for several.
    shared : tuple of ndarray of float64
        For each way, shape (parts, parts): which share of the region both of two parts cover; on
        the diagonal what a part covers.
    """

    whole: int
    parts: tuple[tuple[int, ...], ...] = ()
    shared: tuple[Floats, ...] = field(default=(), repr=False)


def shared_ground(whole: NDArray[np.bool_], parts: Sequence[NDArray[np.bool_]]) -> Floats:
    """Return which share of a region each two of its parts cover.

    Parameters
    ----------
    whole : ndarray of bool, shape (rows, columns)
        The region.
    parts : sequence of ndarray of bool, each of the same shape
        Its parts.
    """
    flat = np.array([(part & whole).ravel() for part in parts], np.float32)
    return np.asarray(flat @ flat.T, np.float64) / max(int(np.count_nonzero(whole)), 1)


@dataclass(frozen=True)
class Parting:
    """One way to read a region.

    Attributes
    ----------
    counted : tuple of int
        Numbers of the bodies that are caterpillars; none where nothing is.
    left_out : tuple of int
        Numbers of the other bodies of the same way.
    explained, explained_by_way, overlap : float
        Shares of the region that the counted cover, that all bodies of the way cover, and that
        two of the counted cover both.
    """

    counted: tuple[int, ...]
    left_out: tuple[int, ...] = ()
    explained: float = 0.0
    explained_by_way: float = 1.0
    overlap: float = 0.0


def partings_of(ways: Ways, chances: Sequence[float]) -> list[Parting]:
    """Return the partings of a region; none where all is plain or nothing is likely.

    Parameters
    ----------
    ways : Ways
        The region.
    chances : sequence of float
        Probability of each body of the photo, by itself, that it is a caterpillar.

    Returns
    -------
    list of Parting
        The first counts nothing, the second the whole.
    """
    some = {ways.whole, *(part for way in ways.parts for part in way)}
    if not ways.parts or max(chances[number] for number in some) < _LEAST_CHANCE:
        return []
    found = [Parting((), (ways.whole,)), Parting((ways.whole,), (), 1.0)]
    for way, shared in zip(ways.parts, ways.shared, strict=True):
        found += _of_way(way, shared, chances)
    return found


def _of_way(way: Sequence[int], shared: Floats, chances: Sequence[float]) -> Iterator[Parting]:
    """Yield a parting for each set of a way's likely parts."""
    places = sorted(range(len(way)), key=lambda at: -chances[way[at]])[:_MOST_PARTS]
    likely = sorted(at for at in places if chances[way[at]] >= _LEAST_PART)
    by_way = _covered(shared, range(len(way)))[0]
    for count in range(1, len(likely) + 1):
        for some in combinations(likely, count):
            left_out = tuple(way[at] for at in range(len(way)) if at not in some)
            own, overlap = _covered(shared, some)
            yield Parting(tuple(way[at] for at in some), left_out, own, by_way, overlap)


def _covered(shared: Floats, some: Sequence[int]) -> tuple[float, float]:
    """Return the share that some parts cover, and that two of them cover both."""
    among = shared[np.ix_(list(some), list(some))]
    overlap = float(np.triu(among, 1).sum())
    return float(np.trace(among)) - overlap, overlap


def parting_features(
    partings: Sequence[Parting], features: NDArray[np.float32], chances: Sequence[float]
) -> NDArray[np.float32]:
    """Measure the partings of one region.

    Parameters
    ----------
    partings : sequence of Parting
        All from one call of ``partings_of``.
    features : ndarray of float32, shape (bodies, features)
        From ``vision.night.features.describe``.
    chances : sequence of float
        As for ``partings_of``.

    Returns
    -------
    ndarray of float32, shape (partings, len(PARTING_FEATURES))
    """
    whole = partings[1].counted[0]
    odds = _log_odds(chances)
    least = [min((odds[n] for n in one.counted), default=-_MOST_LOG_ODDS) for one in partings]
    numbers = [len(one.counted) for one in partings]
    of_whole = _of_whole(features[whole])
    rows = [
        [*_odds_features(one, odds, whole), *_rivals(at, numbers, least), one.explained,
         one.explained_by_way, one.overlap, *_likeness(one, features), *of_whole]
        for at, one in enumerate(partings)
    ]  # fmt: skip
    return np.array(rows, np.float32).reshape(len(partings), len(PARTING_FEATURES))


def _log_odds(chances: Sequence[float]) -> Floats:
    p = np.clip(np.asarray(chances, np.float64), 1e-6, 1 - 1e-6)
    return np.asarray(np.clip(np.log(p / (1 - p)), -_MOST_LOG_ODDS, _MOST_LOG_ODDS))


def _odds_features(one: Parting, odds: Floats, whole: int) -> list[float]:
    own = [float(odds[number]) for number in one.counted] or [0.0]
    left = max((float(odds[number]) for number in one.left_out), default=-_MOST_LOG_ODDS)
    return [len(one.counted), min(own), max(own), float(np.mean(own)), left, float(odds[whole])]


def _rivals(at: int, numbers: Sequence[int], least: Sequence[float]) -> list[float]:
    """Return the best least log-odds of partings with another number, and with the same."""
    others = [least[k] for k, number in enumerate(numbers) if number != numbers[at]]
    same = [least[k] for k, number in enumerate(numbers) if number == numbers[at] and k != at]
    return [max(others), max(same, default=-_MOST_LOG_ODDS)]


_COLUMN = {name: number for number, name in enumerate(FEATURES)}
_COMPARED = ("ln_width_px", "ln_length_px", "green_over_blue", "green_over_red")


def _likeness(one: Parting, features: NDArray[np.float32]) -> list[float]:
    """Return how much the counted bodies differ, and how long for their width they are."""
    if not one.counted:
        return [0.0] * (len(_COMPARED) + 2)
    rows = features[list(one.counted)]
    compared = [float(np.ptp(rows[:, _COLUMN[name]])) for name in _COMPARED]
    slender = rows[:, _COLUMN["ln_slenderness"]]
    return [*compared, float(slender.min()), float(slender.max())]


_OF_WHOLE = (
    "arms", "solidity", "box_fill", "ln_slenderness", "green_over_blue", "green_over_red",
    "ln_green_ratio", "ends_at_border",
)  # fmt: skip


def _of_whole(row: NDArray[np.float32]) -> list[float]:
    """Return what the whole looks like: its area in squares of its width, its form and light."""
    area = float(np.log(max(row[_COLUMN["fill"]], 0.01))) + float(row[_COLUMN["ln_slenderness"]])
    return [area, *(float(row[_COLUMN[name]]) for name in _OF_WHOLE)]
