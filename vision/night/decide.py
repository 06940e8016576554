"""Which candidates are caterpillars: parts or whole, joined or not, counted or rejected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from vision.night.body import Body
from vision.night.candidates import Candidates
from vision.night.features import Sampled, described_among, sample
from vision.night.join import joined
from vision.night.judge import NightJudge
from vision.night.light import NightLight
from vision.night.partings import Ways, parting_features, partings_of

__all__ = ["COUNTED_FROM", "Found", "decide"]

COUNTED_FROM = 0.36
"""Probability from which a body is counted: one missed costs the grower more than one too many."""

_LEAST_TOGETHER, _MOST_PIECES = 0.3, 3
_PRIOR_ODDS = 1.5
_SCRAP_SHARE, _SCRAP_REACH, _SCRAP_DOUBT = 0.4, 0.4, 0.35
_SCRAP_SLENDER, _SCRAP_WIDTH = 3.2, 0.4
_LEFT_OUT = 0.3  # at most for what the best parting of a region does not count
_ALL_BUT_SCRAPS = 0.85  # of a region
_WORTH_JOINING = 0.12  # probability of at least one piece being a caterpillar


@dataclass(frozen=True, eq=False)
class Found:
    """One body of the final parting.

    Attributes
    ----------
    seen : Sampled
        The body and its light.
    probability : float
        That it is a caterpillar, 0 to 1.
    """

    seen: Sampled
    probability: float


def decide(found: Candidates, night: NightLight, judge: NightJudge) -> list[Found]:
    """Choose one parting of all candidates.

    Parameters
    ----------
    found : Candidates
        From ``find_candidates``.
    night : NightLight
        The photo.
    judge : NightJudge
        Learned numbers.

    Returns
    -------
    list of Found
        Every bright thing once, the likeliest caterpillar first.
    """
    if not found.seen:
        return []
    chances = [float(p) for p in judge.caterpillar(found.features)]
    joins = _joins(found, night, judge, chances)
    standing = _chosen(found, chances, joins, judge)
    decided = _joined(found, standing, night, judge, chances, joins)
    ordered = sorted(decided, key=lambda one: -one.probability)
    return sorted((_as_scrap(one, ordered) for one in ordered), key=lambda one: -one.probability)


def _as_scrap(one: Found, found: Sequence[Found]) -> Found:
    """Doubt a small body beside the end of a much larger one: most are parts of that one.

    A horn, a leg, or what a leaf leaves to be seen of a body's end, too small to be joined by the
    run of its midline.
    """
    ends = one.seen.body.midline[[0, -1]]
    for other in found:
        body = other.seen.body
        if other.probability < COUNTED_FROM or one.seen.body.length > _SCRAP_SHARE * body.length:
            continue
        if _has_a_bodys_shape(one.seen.body, body):
            continue
        apart = np.hypot(*(ends[:, None] - body.midline[None, [0, -1]]).T).min()
        if apart < _SCRAP_REACH * body.length:
            return replace(one, probability=_SCRAP_DOUBT * one.probability)
    return one


@dataclass(frozen=True, eq=False)
class _Join:
    """Two pieces that may be one: that they belong together, and if so, are a caterpillar."""

    pieces: tuple[int, int]
    together: float
    caterpillar: float

    def gain(self, chances: Sequence[float]) -> float:
        """How much more is gained by counting the two as one than by leaving them apart.

        Where both would be counted, one of them is wrong if they belong together; where at most
        one would be, joining only tells its length.
        """
        less, more = sorted(_gain(chances[number]) for number in self.pieces)
        joined_gain = max(_gain(self.caterpillar), more)
        if less == 0:
            return (self.together - 0.5) * joined_gain
        together = joined_gain - (more - less)
        return self.together * together - (1 - self.together) * less


def _has_a_bodys_shape(small: Body, large: Body) -> bool:
    """Whether a small thing is as long for its width as a whole body, and not thin beside it."""
    slender = small.length > _SCRAP_SLENDER * small.width
    return slender and small.width > _SCRAP_WIDTH * large.width


def _gain(chance: float) -> float:
    """Return the right counts less the wrong ones to be expected of a body; none if not counted."""
    return max(chance - COUNTED_FROM, 0.0) / (1 - COUNTED_FROM)


def _joins(
    found: Candidates, night: NightLight, judge: NightJudge, chances: Sequence[float]
) -> list[_Join]:
    """Judge the pairs that are worth joining, each as one body; those that gain most first."""
    if not len(found.pairs):
        return []
    likely = judge.pair.probability(found.pair_features)
    worth = [
        (pair, together)
        for pair, together in zip(found.pairs, _prior_put_right(likely), strict=True)
        if together >= _LEAST_TOGETHER and max(chances[n] for n in pair) >= _WORTH_JOINING
    ]
    whole = [sample(_as_one(found, pair), night) for pair, _ in worth]
    judged = judge.caterpillar(described_among(whole, found.seen, night))
    joins = [
        _Join(pair, together, float(chance))
        for (pair, together), chance in zip(worth, judged, strict=True)
    ]
    return sorted(joins, key=lambda join: -join.gain(chances))


def _prior_put_right(likely: NDArray[np.float32]) -> list[float]:
    """Allow for bodies meeting more often in what was learned from than in photos."""
    odds = _PRIOR_ODDS * likely / np.maximum(1 - likely, 1e-6)
    return [float(one) for one in odds / (1 + odds)]


def _as_one(found: Candidates, numbers: Sequence[int]) -> Body:
    return reduce(joined, (found.seen[number].body for number in numbers))


def _chosen(
    found: Candidates, chances: Sequence[float], joins: Sequence[_Join], judge: NightJudge
) -> dict[int, float]:
    """Return the bodies that stand, of each whole or of one way to part it, and their chances."""
    worth, gains = list(chances), [0.0] * len(chances)
    for join in joins:
        gain = join.gain(chances)
        if gain > 0:
            for number in join.pieces:
                worth[number] = max(worth[number], join.together * join.caterpillar)
                gains[number] = max(gains[number], gain)
    standing: dict[int, float] = {}
    for ways in found.ways_of:
        best = _best_parting(ways, found, chances, gains, judge)
        if not best:
            likeliest = max(((ways.whole,), *ways.parts), key=lambda w: _least_counted(w, worth))
            best = {number: chances[number] for number in likeliest}
        standing |= best
    return standing


def _best_parting(
    ways: Ways,
    found: Candidates,
    chances: Sequence[float],
    gains: Sequence[float],
    judge: NightJudge,
) -> dict[int, float]:
    """Return the bodies of a region's best parting with their chances; none if none is counted.

    As many bodies are counted as there are with some chance at least. Of the partings with that
    many one stands that is likely and whose bodies gain by being joined to others, with what it
    leaves out, unless that is next to nothing.
    """
    partings = partings_of(ways, chances)
    if not partings:
        return {}
    right = judge.parting.probability(parting_features(partings, found.features, chances))
    at_least = _chances_of_number(right, [len(one.counted) for one in partings])
    count = sum(chance >= COUNTED_FROM for chance in at_least)
    if count == 0:
        return {}
    fit = [n for n, one in enumerate(partings) if len(one.counted) == count]
    fitness = {n: float(right[n]) + sum(gains[one] for one in partings[n].counted) for n in fit}
    best = partings[max(fit, key=fitness.__getitem__)]
    counted = sorted(best.counted, key=lambda one: -chances[one])
    stands = dict(zip(counted, at_least, strict=False))
    if best.explained < _ALL_BUT_SCRAPS:
        stands |= {one: min(chances[one], _LEFT_OUT) for one in best.left_out}
    return stands


def _chances_of_number(right: NDArray[np.float32], numbers: Sequence[int]) -> list[float]:
    """Return the chance that there are at least one, two, … bodies.

    Partings with the same number may be the same bodies parted otherwise, and right together, so
    the likeliest of each number speaks for it; the numbers exclude each other.
    """
    odds = np.zeros(max(numbers) + 1)
    np.maximum.at(odds, list(numbers), right / np.maximum(1 - right, 1e-6))
    from_most = np.cumsum(odds[::-1])[::-1] / odds.sum()
    return [float(chance) for chance in from_most[1:]]


def _least_counted(way: Sequence[int], worth: Sequence[float]) -> float:
    """Return the chance of the least likely body of a way that would be counted."""
    counted = [worth[number] for number in way if worth[number] >= COUNTED_FROM]
    return min(counted, default=0.0 if len(way) > 1 else worth[way[0]])


def _joined(
    found: Candidates,
    standing: Mapping[int, float],
    night: NightLight,
    judge: NightJudge,
    chances: Sequence[float],
    joins: Sequence[_Join],
) -> list[Found]:
    """Join what gains by it, pieces of three too, and judge each as one body."""
    group: dict[int, tuple[int, ...]] = {number: (number,) for number in standing}
    for join in joins:
        i, j = join.pieces
        if join.gain(chances) <= 0 or i not in group or j not in group or group[i] == group[j]:
            continue
        members = (*group[i], *group[j])
        if len(members) <= _MOST_PIECES:
            group |= dict.fromkeys(members, members)
    groups = list(dict.fromkeys(group.values()))
    alone = [Found(found.seen[g[0]], standing[g[0]]) for g in groups if len(g) == 1]
    several = [g for g in groups if len(g) > 1]
    whole = [sample(_as_one(found, g), night) for g in several]
    judged = judge.caterpillar(described_among(whole, found.seen, night))
    best = (max(standing[number] for number in g) for g in several)
    return alone + [
        Found(one, max(float(p), b)) for one, p, b in zip(whole, judged, best, strict=True)
    ]
