"""Count caterpillar droppings (frass) in a day photo.

The story is ``find_pellets``: bring the photo to the usual size, let a network see it, find the
spots that may be droppings, look closely at each, weigh how sure to be of it, outline those that
count, and say between which numbers the count lies. Spots that cannot be told from crumbs or shade
widen the interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.frass_close import close_log_odds, pictures_of
from vision.frass_judge import Judge, load_judge, weighed
from vision.frass_measures import measure_all
from vision.frass_net import FRASS_LONG_PX, Seen
from vision.frass_spots import Outline, Spots, find_spots, outline_of
from vision.frass_view import look_at
from vision.raster import disc, shrunk
from vision.records import HALO, LEAF, LESION, Pellet

__all__ = [
    "COUNTED",
    "Candidates",
    "Pellets",
    "candidates",
    "count_interval",
    "find_pellets",
    "known_of",
    "spotted",
    "values_at",
    "without_dead_tissue",
]

Floats = NDArray[np.float32]
Numbers = NDArray[np.float64]

COUNTED = 0.55
"""Probability from which a spot counts as a dropping."""

_FROM_EDGE = 0.3  # diameters by which a middle is inside the photo at least
_DOUBTFUL = 0.02  # probability below which a spot does not widen the interval
_SHARED = ((-2.0, 0.25), (0.0, 0.5), (2.0, 0.25))
"""Log-odds by which all spots of a photo are misjudged together, as where all lie on odd ground or
all are seeds, and how often."""
_ALIKE = 0.7  # shape of the distribution of what is missed: below 1, grounds differ much
_TAIL = 0.025  # probability left outside the interval on either side
_RIM_PX = 4  # a dropping's blurred edge and shadow reach this far
_AROUND_LENGTHS = 1.0  # of a dropping, to each side of its middle: where its surroundings are seen
_IN_LESION = 0.6  # share of them that is dead tissue
_SICK, _SURE = 0.25, 0.9  # share that is dead or yellow: there only a sure one counts
_SICK_LEAF = 0.01  # share of the leaf that is dead elsewhere: then only sure ones count on it


@dataclass(frozen=True, eq=False)
class Candidates:
    """What may be droppings in one photo, at the size at which the network saw it.

    Attributes
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        The photo at that size.
    factor : float
        Pixels of the given photo per pixel of the picture.
    seen : Seen
        What the network saw.
    spots : Spots
        None of them twice.
    scores : ndarray of float32, shape (spots,)
        Log-odds of being a dropping.
    """

    picture: NDArray[np.uint8] = field(repr=False)
    factor: float
    seen: Seen = field(repr=False)
    spots: Spots = field(repr=False)
    scores: Floats = field(repr=False)

    def in_photo(self, at: ArrayLike) -> Numbers:
        """Map rows or columns of the picture to the given photo; pixel centres are whole."""
        return np.asarray((np.asarray(at) + 0.5) * self.factor - 0.5, np.float64)


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
    things = candidates(pixels, judge, hidden)
    counted = np.flatnonzero(things.scores >= np.log(COUNTED / (1 - COUNTED)))
    mask, found = np.zeros(pixels.shape[:2], np.uint8), []
    for number in counted[np.argsort(-things.scores[counted], kind="stable")]:
        outline = outline_of(things.seen, things.spots, int(number))
        _draw(mask, outline, things.factor)
        found.append(_pellet(things, int(number), outline))
    low, high = count_interval(things.scores, judge)
    return Pellets(tuple(found), low, high, mask.view(np.bool_))


def candidates(
    pixels: NDArray[np.uint8], judge: Judge, hidden: NDArray[np.uint8] | None = None
) -> Candidates:
    """Return what may be droppings, whole and not hidden."""
    picture, factor, seen, spots = spotted(pixels)
    if hidden is not None:
        spots = spots.only(values_at(hidden, spots, factor) == 0)
    scores = judge.spot.log_odds(known_of(picture, seen, spots))
    return Candidates(picture, factor, seen, spots, scores)


def known_of(picture: NDArray[np.uint8], seen: Seen, spots: Spots) -> Floats:
    """Return ``WEIGHED`` of all spots: a row for each."""
    close = close_log_odds(pictures_of(picture, spots))
    return weighed(spots, close, measure_all(picture, seen, spots))


def spotted(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float, Seen, Spots]:
    """Return the photo at the usual size, how much smaller that is, and what is seen there."""
    picture = _brought_down(pixels)
    seen = look_at(picture)
    spots = find_spots(seen)
    whole = _inside(spots, picture.shape)
    return picture, pixels.shape[1] / picture.shape[1], seen, spots.only(whole)


def values_at(plane: NDArray[Any], spots: Spots, factor: float) -> NDArray[Any]:
    """Return the values of a plane of the given photo's size where spots lie."""
    rows, cols = (
        np.clip(np.rint((at + 0.5) * factor - 0.5).astype(np.intp), 0, most - 1)
        for at, most in zip((spots.rows, spots.cols), plane.shape, strict=True)
    )
    return np.asarray(plane[rows, cols])


def _brought_down(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Bring a photo to the usual size; linear steps of less than half cost a fifth of means."""
    picture = pixels
    while (factor := FRASS_LONG_PX / max(picture.shape[:2])) < 1:
        if factor < 0.5:
            picture = shrunk(picture, 0.5)
            continue
        size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR), np.uint8)
    return picture


def _inside(spots: Spots, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Whether spots are not cut off by the edge of the photo, where half a thing looks round."""
    rows, cols = shape[:2]
    room = np.minimum(
        np.minimum(spots.rows, rows - 1 - spots.rows), np.minimum(spots.cols, cols - 1 - spots.cols)
    )
    return np.asarray(room >= _FROM_EDGE * spots.diameter_px)


def without_dead_tissue(pellets: Pellets, classes: NDArray[np.uint8]) -> Pellets:
    """Leave out what is a lesion: the dark middle of dead tissue looks like a dropping.

    Within dead tissue nothing counts. Where much is dead or yellow around, and anywhere on leaves
    with lesions elsewhere, only a sure one does.

    Parameters
    ----------
    pellets : Pellets
        From `find_pellets`.
    classes : ndarray of uint8, shape (rows, columns)
        Mask values of the same picture, as if there were no droppings.

    Returns
    -------
    Pellets
        The lower end of the interval is no higher than what is left; the upper end stays, for a
        dropping may lie on dead tissue too.
    """
    if not pellets.found or not (classes == LESION).any():
        return pellets
    near = cv2.dilate(pellets.mask.view(np.uint8), disc(_RIM_PX)) > 0
    elsewhere = np.bincount(classes[~near], minlength=LESION + 1)
    sick = elsewhere[LESION] > _SICK_LEAF * elsewhere[[LEAF, HALO, LESION]].sum()
    least = _SICK if not sick else -1.0
    kept = tuple(one for one in pellets.found if not _in_lesion(one, classes, near, least))
    if len(kept) == len(pellets.found):
        return pellets
    _, labels = cv2.connectedComponents(pellets.mask.view(np.uint8))
    own = np.zeros(int(labels.max()) + 1, bool)
    own[[labels[round(one.row_px), round(one.col_px)] for one in kept]] = True
    own[0] = False
    return Pellets(kept, min(pellets.low, len(kept)), pellets.high, own[labels])


def _in_lesion(
    pellet: Pellet, classes: NDArray[np.uint8], near: NDArray[np.bool_], least: float
) -> bool:
    """Whether it lies in dead tissue, or is not sure where more than ``least`` is sick."""
    reach = round(_AROUND_LENGTHS * pellet.length_px) + _RIM_PX
    row, col = round(pellet.row_px), round(pellet.col_px)
    window = (
        slice(max(0, row - reach), row + reach + 1),
        slice(max(0, col - reach), col + reach + 1),
    )
    around = classes[window][~near[window]]
    if not len(around):
        return False
    dead, halo, leaf = (np.mean(around == part) for part in (LESION, HALO, LEAF))
    unsure = pellet.confidence < _SURE and dead + halo + leaf > 0
    return bool(dead > _IN_LESION or (dead + halo > least and unsure))


def count_interval(scores: Sequence[float] | Floats, judge: Judge) -> tuple[int, int]:
    """Return the lower and upper end of the 95 % interval of the number of droppings.

    Parameters
    ----------
    scores : sequence of float
        Log-odds of each spot.
    judge : Judge
        Carries the two figures of the widening.

    Returns
    -------
    low, high : int
        From the distribution of a sum of unlike coin throws (Poisson 1837), with a number
        of droppings that no spot stands for; the count itself always lies inside.
    """
    odds = np.asarray(scores, np.float64)
    chance = 1 / (1 + np.exp(-odds / judge.doubt))
    missed = judge.missed_share * float(chance[chance > _DOUBTFUL].sum())
    likely = odds[chance > _DOUBTFUL] / judge.doubt
    most = len(likely) + int(20 * missed) + 6
    shares = [share * _how_many(likely + shift, most) for shift, share in _SHARED]
    distribution = np.sum(shares, axis=0)
    below = np.cumsum(distribution)  # the lower end does not reckon with what nobody has seen
    above = np.cumsum(np.convolve(distribution, _unseen(missed, most))[: most + 1])
    counted = int(np.count_nonzero(odds >= np.log(COUNTED / (1 - COUNTED))))
    low = int(np.searchsorted(below, _TAIL, side="right"))
    high = min(most, int(np.searchsorted(above, 1 - _TAIL)))
    return min(low, counted), max(high, counted)


def _how_many(odds: Numbers, most: int) -> Numbers:
    """Return the probabilities of 0 to ``most`` droppings among spots of these log-odds."""
    distribution = np.zeros(most + 1)
    distribution[0] = 1.0
    for one in 1 / (1 + np.exp(-odds)):
        distribution[1:] = distribution[1:] * (1 - one) + distribution[:-1] * one
        distribution[0] *= 1 - one
    return distribution


def _unseen(mean: float, most: int) -> Numbers:
    """Return the probabilities of 0 to ``most`` droppings that no spot stands for.

    A negative binomial distribution: on some grounds hardly any is missed, on others most are.
    """
    chances = np.zeros(most + 1)
    chances[0] = (_ALIKE / (_ALIKE + mean)) ** _ALIKE
    for number in range(most):
        more = (number + _ALIKE) / (number + 1) * mean / (mean + _ALIKE)
        chances[number + 1] = chances[number] * more
    return chances


def _draw(mask: NDArray[np.uint8], outline: Outline, factor: float) -> None:
    """Draw a dropping into a mask of the given photo's size."""
    height, width = outline.mask.shape
    top, left = (round(at * factor) for at in (outline.row, outline.col))
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    soft = cv2.resize(outline.mask.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    target = mask[top : top + size[1], left : left + size[0]]
    target |= (soft > 0.5)[: target.shape[0], : target.shape[1]].view(np.uint8)


def _pellet(things: Candidates, number: int, outline: Outline) -> Pellet:
    rows, cols = np.nonzero(outline.mask)
    edge, _ = cv2.findContours(
        outline.mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    _, (one, other), _ = cv2.minAreaRect(max(edge, key=len))
    row, col = outline.row + float(rows.mean()), outline.col + float(cols.mean())
    factor = things.factor
    return Pellet(
        row_px=float(things.in_photo(row)),
        col_px=float(things.in_photo(col)),
        length_px=(max(one, other) + 1) * factor,
        width_px=(min(one, other) + 1) * factor,
        area_px=len(rows) * factor**2,
        darkness=_darker(things.picture, outline),
        confidence=float(1 / (1 + np.exp(-things.scores[number]))),
    )


def _darker(picture: NDArray[np.uint8], outline: Outline) -> float:
    """Return how much darker it is than what lies around it, in CIELAB lightness."""
    height, width = outline.mask.shape
    part = picture[outline.row : outline.row + height, outline.col : outline.col + width]
    mask = outline.mask[: part.shape[0], : part.shape[1]]
    light = cv2.cvtColor(part, cv2.COLOR_RGB2LAB)[..., 0].astype(np.float32) * np.float32(100 / 255)
    away = cv2.distanceTransform((~mask).view(np.uint8), cv2.DIST_L2, 3)
    around = away > 1.5
    if not around.any() or not mask.any():
        return 0.0
    return float(np.median(light[around]) - np.median(light[mask]))
