"""Count caterpillar droppings (frass) in a day photo.

The story is ``find_pellets``: propose dark patches, look closely at the likeliest, judge each by
itself, choose among those that overlap, judge them in each other's company, count, and say
between which numbers the count lies. Droppings that cannot be told from crumbs or shade widen
the interval.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_judge import Judge, load_judge
from vision.frass_measures import MEASURES, Measured, keep_company, measure_region, with_photo
from vision.frass_regions import Region, propose, views
from vision.records import Pellet

__all__ = [
    "COUNTED",
    "Candidate",
    "Pellets",
    "apart",
    "candidates",
    "count_interval",
    "find_pellets",
    "look_closely",
]

Floats = NDArray[np.float32]
Numbers = NDArray[np.float64]

COUNTED = 0.65
"""Probability from which a patch counts as a dropping: a lesion must not become one."""

_CLOSE_LOOKS = 150  # patches of a photo that are measured
_GLANCE_LEAST = -6.0  # log-odds below which a glance is enough
_HOPELESS = -5.0  # log-odds below which a patch is not looked at in company
_OVERLAP = 0.3  # of the smaller one's area: patches that overlap more are one thing
_DOUBTFUL = 0.02  # probability below which a patch does not widen the interval
_PER_PATCH = 0.03  # droppings that a crowded ground may hide, per patch looked at in company
_ALIKE = 0.7  # shape of the distribution of what is missed: below 1, grounds differ much
_TAIL = 0.025  # probability left outside the interval on either side


@dataclass(frozen=True, eq=False)
class Candidate:
    """A patch that was looked at closely.

    Attributes
    ----------
    measured : Measured
        The patch and its measures.
    row : ndarray of float32, shape (len(MEASURES),)
        All its measures, those of the photo filled in.
    score : float
        Log-odds of being a dropping.
    """

    measured: Measured = field(repr=False)
    row: Floats = field(repr=False)
    score: float

    @property
    def probability(self) -> float:
        """Probability of being a dropping, 0 to 1."""
        return float(1 / (1 + np.exp(-self.score)))


@dataclass(frozen=True, eq=False)
class Pellets:
    """The droppings of one photo.

    Attributes
    ----------
    found : tuple of Pellet
        Those that count, the surest first; positions and sizes in pixels of the given picture.
    low, high : int
        95 % interval of their number.
    mask : ndarray of bool, shape (rows, columns)
        Their pixels.
    """

    found: tuple[Pellet, ...]
    low: int
    high: int
    mask: NDArray[np.bool_] = field(repr=False)


def find_pellets(
    pixels: NDArray[np.uint8],
    hidden: NDArray[np.uint8] | None = None,
    judge: Judge | None = None,
) -> Pellets:
    """Find the droppings of a day photo.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Not changed.
    hidden : ndarray of uint8, shape (rows, columns), optional
        Above 0 where nothing is counted, such as on a stake tag.
    judge : Judge, optional
        The one that ships with the product by default.

    Returns
    -------
    Pellets
        With none found where none are seen.
    """
    judge = judge or load_judge()
    things = [one for one in candidates(pixels, judge) if not _is_hidden(one, hidden)]
    counted = [one for one in things if one.probability >= COUNTED]
    low, high = count_interval([one.score for one in things], judge)
    mask = np.zeros(pixels.shape[:2], np.uint8)
    for one in counted:
        _fill(mask, one.measured.region)
    found = tuple(_pellet(one) for one in counted)
    return Pellets(found, low, high, mask.view(np.bool_))


def _is_hidden(one: Candidate, hidden: NDArray[np.uint8] | None) -> bool:
    if hidden is None:
        return False
    top, left, low, right = _box(one.measured.region)
    row, col = min(round((top + low) / 2), hidden.shape[0] - 1), round((left + right) / 2)
    return bool(hidden[row, min(col, hidden.shape[1] - 1)])


def candidates(pixels: NDArray[np.uint8], judge: Judge) -> list[Candidate]:
    """Return the patches that may be droppings, none over another, the likeliest first."""
    seen = look_closely(pixels, judge)
    if not seen:
        return []
    rows = with_photo(seen)
    scores = judge.close.log_odds(rows)
    chosen = apart(seen, scores)
    if not chosen:
        return []
    rows, own = rows[chosen], scores[chosen]
    final = judge.company.log_odds(keep_company(rows, own))
    order = np.argsort(-final, kind="stable")
    return [Candidate(seen[chosen[n]], rows[n], float(final[n])) for n in order]


def look_closely(pixels: NDArray[np.uint8], judge: Judge) -> list[Measured]:
    """Propose patches and measure those that are worth it after a glance."""
    regions = [region for view in views(pixels) for region in propose(view)]
    if not regions:
        return []
    glances = np.array([region.glance for region in regions], np.float32)
    promise = judge.glance.log_odds(glances)
    best = np.argsort(-promise, kind="stable")[:_CLOSE_LOOKS]
    return [measure_region(regions[n]) for n in best if promise[n] > _GLANCE_LEAST]


def apart(seen: list[Measured], scores: Floats) -> list[int]:
    """Choose patches, the best first, that do not overlap."""
    chosen: list[int] = []
    for number in np.argsort(-scores, kind="stable"):
        if scores[number] < _HOPELESS:
            break
        own = seen[number].region
        if not any(_overlap(own, seen[other].region) > _OVERLAP for other in chosen):
            chosen.append(int(number))
    return chosen


def _overlap(one: Region, other: Region) -> float:
    """Return the share of the smaller patch's area that two patches have in common, roughly.

    Patches of one view are compared by pixels, those of two views by their boxes.
    """
    boxes = [_box(region) for region in (one, other)]
    top, left = (max(box[n] for box in boxes) for n in (0, 1))
    low, right = (min(box[n] for box in boxes) for n in (2, 3))
    if low <= top or right <= left:
        return 0.0
    areas = [np.count_nonzero(region.inside) * region.view.factor**2 for region in (one, other)]
    common = float((low - top) * (right - left))
    if one.view is other.view:
        window = [round(edge / one.view.factor) for edge in (top, left, low, right)]
        shared = _part(one, window) & _part(other, window)
        common = np.count_nonzero(shared) * one.view.factor**2
    return common / min(areas)


def _part(region: Region, window: list[int]) -> NDArray[np.bool_]:
    """Return what a window (top, left, bottom, right) of its view shows of a patch."""
    top, left, low, right = window
    return region.inside[
        top - region.row : low - region.row, left - region.col : right - region.col
    ]


def _box(region: Region) -> tuple[float, float, float, float]:
    """Return top, left, bottom and right in pixels of the given picture."""
    factor, (height, width) = region.view.factor, region.inside.shape
    return (
        region.row * factor,
        region.col * factor,
        (region.row + height) * factor,
        (region.col + width) * factor,
    )


def count_interval(scores: list[float], judge: Judge) -> tuple[int, int]:
    """Return the lower and upper end of the 95 % interval of the number of droppings.

    Parameters
    ----------
    scores : list of float
        Log-odds of each patch.
    judge : Judge
        Carries the two figures of the widening.

    Returns
    -------
    low, high : int
        From the distribution of a sum of unlike coin throws (Poisson 1837), with a number
        of droppings that no patch stands for; the count itself always lies inside.
    """
    odds = np.asarray(scores, np.float64)
    chance = 1 / (1 + np.exp(-odds / judge.doubt))
    missed = judge.missed_share * (float(chance[chance > _DOUBTFUL].sum()) + _PER_PATCH * len(odds))
    chance = chance[chance > _DOUBTFUL]
    most = len(chance) + int(20 * missed) + 6
    distribution = np.zeros(most + 1)
    distribution[0] = 1.0
    for one in chance:
        distribution[1:] = distribution[1:] * (1 - one) + distribution[:-1] * one
        distribution[0] *= 1 - one
    below = np.cumsum(np.convolve(distribution, _unseen(missed, most))[: most + 1])
    counted = int(np.count_nonzero(odds >= np.log(COUNTED / (1 - COUNTED))))
    low = int(np.searchsorted(below, _TAIL, side="right"))
    high = min(most, int(np.searchsorted(below, 1 - _TAIL)))
    return min(low, counted), max(high, counted)


def _unseen(mean: float, most: int) -> Numbers:
    """Return the probabilities of 0 to ``most`` droppings that no patch stands for.

    A negative binomial distribution: on some grounds hardly any is missed, on others most are.
    """
    chances = np.zeros(most + 1)
    chances[0] = (_ALIKE / (_ALIKE + mean)) ** _ALIKE
    for number in range(most):
        more = (number + _ALIKE) / (number + 1) * mean / (mean + _ALIKE)
        chances[number + 1] = chances[number] * more
    return chances


def _fill(mask: NDArray[np.uint8], region: Region) -> None:
    """Draw a patch into a mask of the given picture's size."""
    factor, (height, width) = region.view.factor, region.inside.shape
    top, left = round(region.row * factor), round(region.col * factor)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    soft = cv2.resize(region.inside.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    drawn = soft > 0.5
    from_row, from_col = max(0, -top), max(0, -left)
    target = mask[max(0, top) : top + size[1], max(0, left) : left + size[0]]
    target |= drawn[from_row:, from_col:][: target.shape[0], : target.shape[1]].view(np.uint8)


def _pellet(one: Candidate) -> Pellet:
    measured, region = one.measured, one.measured.region
    factor = region.view.factor
    rows, cols = np.nonzero(region.inside)
    ground, own = (one.row[MEASURES.index(name)] for name in ("lightness_far", "lightness"))
    return Pellet(
        row_px=float((rows.mean() + region.row + 0.5) * factor - 0.5),
        col_px=float((cols.mean() + region.col + 0.5) * factor - 0.5),
        length_px=measured.length * factor,
        width_px=measured.width * factor,
        area_px=len(rows) * factor**2,
        darkness=float(ground - own),
        confidence=one.probability,
    )
