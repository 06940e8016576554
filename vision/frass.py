"""Count caterpillar droppings (frass) in a day photo.

The story is ``find_pellets``: find spots, look at the likeliest, outline and measure the likeliest
of these, judge each by itself, choose among those that overlap, judge them in each other's company,
count, and say between which numbers the count lies. Droppings that cannot be told from crumbs or
shade widen the interval.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_judge import Judge, load_judge
from vision.frass_look import looks
from vision.frass_measures import MEASURES, Measured, keep_company, measure_regions
from vision.frass_peaks import PAD_PX, Peaks, View, find_peaks, glanced, views
from vision.frass_regions import Region, Spot, region_of
from vision.raster import disc
from vision.records import LESION, Pellet

__all__ = [
    "COUNTED",
    "LEARNED_LEAST",
    "LOOKS",
    "Candidate",
    "Pellets",
    "apart",
    "candidates",
    "count_interval",
    "distinct",
    "find_pellets",
    "look_at",
    "look_closely",
    "outlined_places",
    "pictures_of",
    "places_of",
    "rows_of",
    "spot_places",
    "without_dead_tissue",
]

Floats = NDArray[np.float32]
Numbers = NDArray[np.float64]

COUNTED = 0.38
"""Probability from which a spot counts as a dropping."""

LOOKS = 800
"""Spots of a photo that are looked at, at most."""

LEARNED_LEAST = -5.0
"""Log-odds by a look from which spots are learned from: from more than are outlined later."""

_CLOSE_LOOKS = 200  # spots of a photo that are outlined at most
_LOOK_LEAST = -4.3  # log-odds below which a look is enough
_HOPELESS = -5.0  # log-odds below which a spot is not looked at in company
_APART_SPOTS, _APART = 0.12, 0.32  # of the sum of both diameters: what is nearer is one thing
_APART_COUNTED = 0.37  # of the same sum: slender ones side by side are 0.73 diameters apart
_FROM_EDGE = 0.35  # diameters by which a spot is inside the photo at least
_DOUBTFUL = 0.02  # probability below which a patch does not widen the interval
_PER_PATCH = 0.03  # droppings that a crowded ground may hide, per patch looked at in company
_SHARED = ((-2.0, 0.25), (0.0, 0.5), (2.0, 0.25))
"""Log-odds by which all spots of a photo are misjudged together, as where all lie on odd ground or
all are seeds, and how often."""
_ALIKE = 0.7  # shape of the distribution of what is missed: below 1, grounds differ much
_TAIL = 0.025  # probability left outside the interval on either side
_RIM_PX = 4  # a dropping's blurred edge and shadow reach this far
_AROUND_LENGTHS = 1.0  # of a dropping, to each side of its middle: where its surroundings are seen
_IN_LESION = 0.6  # share of them that is dead tissue


@dataclass(frozen=True, eq=False)
class Candidate:
    """A spot that was outlined and measured.

    Attributes
    ----------
    measured : Measured
        Its outline and measures.
    row : ndarray of float32, shape (len(CLOSE),)
        All that is known of it.
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
    counted = _each_once([one for one in things if one.probability >= COUNTED])
    low, high = count_interval([one.score for one in things], judge)
    mask = np.zeros(pixels.shape[:2], np.uint8)
    for one in counted:
        _fill(mask, one.measured.region)
    found = tuple(_pellet(one) for one in counted)
    return Pellets(found, low, high, mask.view(np.bool_))


def without_dead_tissue(pellets: Pellets, classes: NDArray[np.uint8]) -> Pellets:
    """Leave out what lies within a lesion: the dark middle of dead tissue looks like a dropping.

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
    kept = tuple(one for one in pellets.found if not _in_lesion(one, classes, near))
    if len(kept) == len(pellets.found):
        return pellets
    _, labels = cv2.connectedComponents(pellets.mask.view(np.uint8))
    own = np.zeros(int(labels.max()) + 1, bool)
    own[[labels[round(one.row_px), round(one.col_px)] for one in kept]] = True
    own[0] = False
    return Pellets(kept, min(pellets.low, len(kept)), pellets.high, own[labels])


def _in_lesion(pellet: Pellet, classes: NDArray[np.uint8], near: NDArray[np.bool_]) -> bool:
    reach = round(_AROUND_LENGTHS * pellet.length_px) + _RIM_PX
    row, col = round(pellet.row_px), round(pellet.col_px)
    window = (
        slice(max(0, row - reach), row + reach + 1),
        slice(max(0, col - reach), col + reach + 1),
    )
    around = classes[window][~near[window]]
    return len(around) > 0 and bool(np.mean(around == LESION) > _IN_LESION)


def _each_once(counted: list[Candidate]) -> list[Candidate]:
    """Leave out what lies so near to a surer one that it is another part of the same thing."""
    if not counted:
        return []
    places = outlined_places([one.measured for one in counted])
    scores = np.array([one.score for one in counted], np.float32)
    return [counted[n] for n in _far_apart(places, scores, _APART_COUNTED, -np.inf)]


def _is_hidden(one: Candidate, hidden: NDArray[np.uint8] | None) -> bool:
    if hidden is None:
        return False
    row, col = (
        min(max(round(at), 0), most - 1)
        for at, most in zip(_middle(one.measured), hidden.shape, strict=True)
    )
    return bool(hidden[row, col])


def candidates(pixels: NDArray[np.uint8], judge: Judge) -> list[Candidate]:
    """Return the spots that may be droppings, none over another, the likeliest first."""
    seen = look_closely(pixels, judge)
    if not seen:
        return []
    rows = rows_of(seen)
    scores = judge.close_log_odds(rows, pictures_of(seen))
    believed = np.zeros(len(seen), bool)
    believed[apart(seen, scores)] = True
    final = judge.company.log_odds(keep_company(rows, scores, believed))
    # Chosen again by the verdict in company: of two outlines of one thing, that of a usual size.
    return [Candidate(seen[n], rows[n], float(final[n])) for n in apart(seen, final)]


def look_closely(
    pixels: NDArray[np.uint8], judge: Judge, least: float = _LOOK_LEAST
) -> list[Measured]:
    """Find spots, and outline and measure those that are worth it after a glance and a look.

    Worth it is what a look gives log-odds of ``least`` or more.
    """
    found = list(glanced(find_peaks(views(pixels)), judge.glance, LOOKS))
    if not found:
        return []
    seen = [look_at(peaks) for peaks in found]
    promise = judge.look.log_odds(np.concatenate(seen))
    return measure_regions([region_of(spot) for spot in distinct(found, seen, promise, least)])


def look_at(peaks: Peaks) -> Floats:
    """Return what a glance and a look show of spots: a row for each."""
    return np.concatenate([peaks.glance, looks(peaks)], axis=1)


def rows_of(seen: list[Measured]) -> Floats:
    """Return all that is known of outlined spots: a row for each."""
    return np.stack([np.concatenate([one.values, one.region.spot.look]) for one in seen])


def pictures_of(seen: list[Measured]) -> NDArray[np.uint8]:
    """Return the pictures of outlined spots, one after the other."""
    return np.stack([one.picture for one in seen])


def distinct(
    found: list[Peaks], seen: list[Floats], promise: Floats, least: float = _LOOK_LEAST
) -> list[Spot]:
    """Return the most promising spots, each thing but once."""
    of = np.concatenate([np.full(len(peaks.rows), n) for n, peaks in enumerate(found)])
    number = np.concatenate([np.arange(len(peaks.rows)) for peaks in found])
    places = np.concatenate([places_of(peaks) for peaks in found])
    whole = _inside(places, found[0].view)
    promise = np.where(whole, promise, -np.inf)
    chosen = _far_apart(places, promise, _APART_SPOTS, least)[:_CLOSE_LOOKS]
    return [_spot(found[of[n]], number[n], seen[of[n]][number[n]]) for n in chosen]


def _inside(places: Numbers, view: View) -> NDArray[np.bool_]:
    """Whether spots are not cut off by the edge of the photo, where half a thing looks round."""
    edge = np.array([side - 2 * PAD_PX for side in view.pixels.shape[:2]]) * view.factor
    room = np.minimum(places[:, :2], edge - 1 - places[:, :2]).min(axis=1)
    return np.asarray(room >= _FROM_EDGE * places[:, 2])


def places_of(peaks: Peaks) -> Numbers:
    """Return row, column and diameter of spots in pixels of the given picture."""
    middles = peaks.view.in_photo(np.stack([peaks.rows, peaks.cols], axis=1))
    size = np.full((len(middles), 1), peaks.size_px * peaks.view.factor)
    return np.concatenate([middles, size], axis=1)


def _spot(peaks: Peaks, number: int, look: Floats) -> Spot:
    """Return a spot, to be seen twice as large as it was found."""
    view = peaks.view
    row, col, size_px = int(peaks.rows[number]), int(peaks.cols[number]), peaks.size_px
    if view.finer is None:
        return Spot(view, row, col, size_px, look)
    larger = view.factor / view.finer.factor
    row, col = (round((at - PAD_PX + 0.5) * larger - 0.5) + PAD_PX for at in (row, col))
    return Spot(view.finer, row, col, size_px * larger, look)


def apart(seen: list[Measured], scores: Floats) -> list[int]:
    """Choose outlined spots, the best first, that do not overlap."""
    return _far_apart(outlined_places(seen), scores, _APART, _HOPELESS)


def outlined_places(seen: list[Measured]) -> Numbers:
    """Return row, column and diameter of outlines in pixels of the given picture."""
    return np.array(
        [
            (*_middle(one), 2 * np.sqrt(np.count_nonzero(one.region.inside) / np.pi) * _factor(one))
            for one in seen
        ]
    )


def spot_places(seen: list[Measured]) -> Numbers:
    """Return row, column and diameter of the spots that were outlined, in the same pixels."""
    spots = [one.region.spot for one in seen]
    return np.array(
        [
            (*spot.view.in_photo((spot.row, spot.col)), spot.size_px * spot.view.factor)
            for spot in spots
        ]
    )


def _far_apart(places: Numbers, scores: Floats, share: float, least: float) -> list[int]:
    """Choose places, the best first, that are farther apart than a share of their diameters."""
    chosen: list[int] = []
    left = scores >= least
    rows, cols, sizes = places.T
    for number in np.argsort(-scores, kind="stable"):
        if not left[number]:
            continue
        chosen.append(int(number))
        away = np.hypot(rows - rows[number], cols - cols[number])
        left &= away >= share * (sizes + sizes[number])
    return chosen


def _factor(one: Measured) -> float:
    return one.region.spot.view.factor


def _middle(one: Measured) -> tuple[float, float]:
    """Return row and column in pixels of the given picture."""
    row, col = one.region.spot.view.in_photo((one.row, one.col))
    return float(row), float(col)


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
    """Draw an outlined spot into a mask of the given picture's size."""
    factor, (height, width) = region.spot.view.factor, region.inside.shape
    top, left = (round((at - PAD_PX) * factor) for at in (region.row, region.col))
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    soft = cv2.resize(region.inside.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    from_row, from_col = max(0, -top), max(0, -left)
    target = mask[max(0, top) : top + size[1], max(0, left) : left + size[0]]
    drawn = (soft > 0.5)[from_row:, from_col:][: target.shape[0], : target.shape[1]]
    target |= drawn.view(np.uint8)


def _pellet(one: Candidate) -> Pellet:
    measured, factor = one.measured, _factor(one.measured)
    row, col = _middle(measured)
    ground, own = (one.row[MEASURES.index(name)] for name in ("lightness_far", "lightness"))
    return Pellet(
        row_px=row,
        col_px=col,
        length_px=measured.length * factor,
        width_px=measured.width * factor,
        area_px=np.count_nonzero(measured.region.inside) * factor**2,
        darkness=float(ground - own),
        confidence=one.probability,
    )
