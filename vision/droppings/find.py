"""Count caterpillar droppings (frass) in a day photo.

The story is ``find_droppings``: bring the photo to the usual size, let a network see it, find the
spots that may be droppings, look closely at each, weigh how sure to be of it, outline those that
count, and say between which numbers the count lies. Spots that cannot be told from crumbs or shade
widen the interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import lab_8bit
from vision.counting import TAIL, how_many
from vision.droppings.close import close_log_odds, pictures_of
from vision.droppings.judge import Judge, load_judge, rows_of
from vision.droppings.measures import MEASURES, Measured, measure
from vision.droppings.spots import Outline, Spotted, outline_of, spotted
from vision.raster import disc, shrunk
from vision.records import HALO, LEAF, LESION, Dropping

__all__ = [
    "COUNTED",
    "FoundDroppings",
    "Known",
    "counts",
    "droppings_interval",
    "find_droppings",
    "known_of",
    "without_chance_finds",
    "without_dead_tissue",
]

Floats = NDArray[np.float32]
Numbers = NDArray[np.float64]

COUNTED = 0.4
"""Probability from which a spot counts as a dropping."""

_GLANCE = 0.25  # size at which a photo's brightness is seen
_DOUBTFUL = 0.02  # probability below which a spot does not widen the interval
_SHARED = ((-3.0, 0.25), (0.0, 0.5), (3.0, 0.25))
"""Log-odds by which all spots of a photo are misjudged together, as where all lie on odd ground or
all are seeds, and how often."""
_ALIKE = 0.7  # shape of the distribution of what is missed: below 1, grounds differ much
_SURE_OF_ONE = 0.9  # of the surest spot on natural ground without a leaf
_RIM_PX = 4  # a dropping's blurred edge and shadow reach this far
_AROUND_LENGTHS = 1.0  # of a dropping, to each side of its middle: where its surroundings are seen
_IN_LESION, _SUREST = 0.6, 0.97  # share of them that is dead tissue: there only the surest count
_SICK, _SURE = 0.25, 0.9  # share that is dead or yellow: there only a sure one counts
_SICK_LEAF = 0.01  # share of the leaf that is dead elsewhere: then only sure ones count on it
_SPECK, _RATHER_SURE = 0.001, 0.7  # or, of less than this share of the leaf, rather sure ones


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of the spots of one photo.

    Attributes
    ----------
    outlines : tuple of Outline
        Of each.
    measured : tuple of Measured
        Of each.
    rows : ndarray of float32, shape (spots, len(KNOWN))
        What the judge weighs.
    """

    outlines: tuple[Outline, ...] = field(repr=False)
    measured: tuple[Measured, ...] = field(repr=False)
    rows: Floats = field(repr=False)


@dataclass(frozen=True, eq=False)
class FoundDroppings:
    """The droppings of one photo.

    Attributes
    ----------
    found : tuple of Dropping
        Those that count, the surest first; positions and sizes in pixels of the given picture.
    low, high : int
        95 % interval of their number.
    mask : ndarray of bool, shape (rows, columns)
        Their pixels.
    """

    found: tuple[Dropping, ...]
    low: int
    high: int
    mask: NDArray[np.bool_] = field(repr=False)


def find_droppings(
    pixels: NDArray[np.uint8],
    hidden: NDArray[np.uint8] | None = None,
    judge: Judge | None = None,
) -> FoundDroppings:
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
    FoundDroppings
        With none found where none are seen.
    """
    judge = judge or load_judge()
    things = spotted(pixels)
    if hidden is not None:
        things = things.only(things.values_of(hidden) == 0)
    known = known_of(things)
    scores = judge.log_odds(known.rows)
    counted = np.flatnonzero(counts(scores))
    mask, found = np.zeros(pixels.shape[:2], np.uint8), []
    for number in counted[np.argsort(-scores[counted], kind="stable")]:
        outline, measured = known.outlines[number], known.measured[number]
        _draw(mask, outline, things.factor)
        found.append(_dropping(things, outline, measured, float(scores[number])))
    low, high = droppings_interval(scores, judge.doubt, judge.missed_share)
    return FoundDroppings(tuple(found), low, high, mask.view(np.bool_))


def counts(odds: NDArray[np.floating[Any]]) -> NDArray[np.bool_]:
    """Tell which natural log-odds, shape (spots,), are those of spots that count."""
    return np.asarray(odds >= np.log(COUNTED / (1 - COUNTED)), np.bool_)


def known_of(things: Spotted) -> Known:
    """Outline all spots, measure them, and look closely at each."""
    picture, spots = things.picture, things.spots
    every = range(len(spots.rows))
    outlines = tuple(outline_of(things.seen, spots, number) for number in every)
    measured = tuple(measure(picture, outline) for outline in outlines)
    close = close_log_odds(pictures_of(picture, spots))
    values = np.array([one.values for one in measured], np.float32).reshape(-1, len(MEASURES))
    brightest = _brightest(picture) if outlines else 0.0  # most healthy leaves show no spot
    return Known(outlines, measured, rows_of(spots, close, values, brightest))


def _brightest(picture: NDArray[np.uint8]) -> float:
    """Return the CIELAB lightness that a twentieth of a picture has, or more."""
    lightness = lab_8bit(shrunk(picture, _GLANCE))[..., 0]
    return float(np.percentile(lightness, 95)) * 100 / 255


def without_dead_tissue(droppings: FoundDroppings, classes: NDArray[np.uint8]) -> FoundDroppings:
    """Leave out what is a lesion: the dark middle of dead tissue looks like a dropping.

    Within dead tissue only the surest count. Where much is dead or yellow around, and anywhere on
    leaves with lesions elsewhere, a sure one does, and there, if it is small, one that is rather
    sure.

    Parameters
    ----------
    droppings : FoundDroppings
        From `find_droppings`.
    classes : ndarray of uint8, shape (rows, columns)
        Mask values of the same picture, as if there were no droppings.

    Returns
    -------
    FoundDroppings
        The lower end of the interval is no higher than what is left; the upper end stays, for a
        dropping may lie on dead tissue too.
    """
    if not droppings.found or not (classes == LESION).any():
        return droppings
    near = cv2.dilate(droppings.mask.view(np.uint8), disc(_RIM_PX)) > 0
    elsewhere = np.bincount(classes[~near], minlength=LESION + 1)
    leaf_px = elsewhere[[LEAF, HALO, LESION]].sum()
    sick_px = leaf_px if elsewhere[LESION] > _SICK_LEAF * leaf_px else 0
    kept = tuple(one for one in droppings.found if not _is_lesion(one, classes, near, sick_px))
    return _only(droppings, kept)


def without_chance_finds(
    droppings: FoundDroppings, numbers: NDArray[np.uint8], plain: bool
) -> FoundDroppings:
    """Leave out what lies beside a leaf in the field, and what lies on soil where none is sure.

    Soil, litter and other plants behind a leaf hold crumbs and shadows of every form; what was
    dropped there is counted from a photo of the ground. And a caterpillar drops many: on natural
    ground spots count only where one of them is sure.

    Parameters
    ----------
    droppings : FoundDroppings
        From `find_droppings`.
    numbers : ndarray of uint8, shape (rows, columns)
        Numbers of the leaves of the same picture, 0 beside them.
    plain : bool
        Whether the ground is plain, such as paper: then all are kept.

    Returns
    -------
    FoundDroppings
        As from `without_dead_tissue`.
    """
    if plain or not droppings.found:
        return droppings
    kept = droppings.found
    if numbers.any():
        kept = tuple(one for one in kept if numbers[round(one.row_px), round(one.col_px)] > 0)
    elif max(one.confidence for one in kept) < _SURE_OF_ONE:
        kept = ()
    return _only(droppings, kept)


def _only(droppings: FoundDroppings, kept: tuple[Dropping, ...]) -> FoundDroppings:
    """Keep these, lower the lower end of the interval to them, and leave the upper one."""
    if len(kept) == len(droppings.found):
        return droppings
    _, labels = cv2.connectedComponents(droppings.mask.view(np.uint8))
    own = np.zeros(int(labels.max()) + 1, bool)
    own[[labels[round(one.row_px), round(one.col_px)] for one in kept]] = True
    own[0] = False
    return FoundDroppings(kept, min(droppings.low, len(kept)), droppings.high, own[labels])


def _is_lesion(
    dropping: Dropping, classes: NDArray[np.uint8], near: NDArray[np.bool_], sick_px: int
) -> bool:
    """Whether it is not sure enough for what is dead or yellow around it, or for sick leaves.

    ``sick_px`` is the area of the leaves if they are sick, 0 otherwise.
    """
    reach = round(_AROUND_LENGTHS * dropping.length_px) + _RIM_PX
    row, col = round(dropping.row_px), round(dropping.col_px)
    window = (
        slice(max(0, row - reach), row + reach + 1),
        slice(max(0, col - reach), col + reach + 1),
    )
    around = classes[window][~near[window]]
    if not len(around):
        return False
    dead, halo, leaf = (np.mean(around == part) for part in (LESION, HALO, LEAF))
    enough = 0.0
    if dead > _IN_LESION:
        enough = _SUREST
    elif dead + halo > _SICK:
        enough = _SURE
    elif sick_px and dead + halo + leaf > 0:
        enough = _RATHER_SURE if dropping.area_px < _SPECK * sick_px else _SURE
    return dropping.confidence < enough


def droppings_interval(
    scores: Sequence[float] | Floats, doubt: float, missed_share: float
) -> tuple[int, int]:
    """Return the lower and upper end of the 95 % interval of the number of droppings.

    Parameters
    ----------
    scores : sequence of float or ndarray of float32, shape (spots,)
        Natural log-odds of each spot.
    doubt : float
        Divisor of the log-odds, from 1.
    missed_share : float
        Droppings that no spot stands for, as a share of those found.

    Returns
    -------
    low, high : int
        From the distribution of their number (``vision.counting.how_many``), with a number
        of droppings that no spot stands for; the count itself always lies inside.
    """
    odds = np.asarray(scores, np.float64)
    chance = 1 / (1 + np.exp(-odds / doubt))
    missed = missed_share * float(chance[chance > _DOUBTFUL].sum())
    likely = odds[chance > _DOUBTFUL] / doubt
    most = len(likely) + int(20 * missed) + 6
    shares = [share * how_many(1 / (1 + np.exp(-likely - shift))) for shift, share in _SHARED]
    distribution = np.pad(np.sum(shares, axis=0), (0, most - len(likely)))
    below = np.cumsum(distribution)  # the lower end does not reckon with what nobody has seen
    above = np.cumsum(np.convolve(distribution, _unseen(missed, most))[: most + 1])
    counted = int(np.count_nonzero(counts(odds)))
    low = int(np.searchsorted(below, TAIL, side="right"))
    high = min(most, int(np.searchsorted(above, 1 - TAIL)))
    return min(low, counted), max(high, counted)


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


def _dropping(things: Spotted, outline: Outline, measured: Measured, score: float) -> Dropping:
    rows, cols = np.nonzero(outline.mask)
    factor = things.factor
    return Dropping(
        row_px=float(things.in_photo(outline.row + rows.mean())),
        col_px=float(things.in_photo(outline.col + cols.mean())),
        length_px=measured.length_px * factor,
        width_px=measured.width_px * factor,
        area_px=len(rows) * factor**2,
        darkness=measured.darker,
        confidence=float(1 / (1 + np.exp(-score))),
    )
