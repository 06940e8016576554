"""Find the lesions and halos of one leaf, and measure each lesion.

The leaf is brought to a common length first, so that the same leaf is judged alike in a small
and in a large photo: `LEAF_LENGTH_PX` leaves about 14 pixels across the smallest lesion that the
trade speaks of (1.6 mm on a leaf of 80 mm).
"""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.day.surface import Surface
from vision.day.symptom_network import see_symptoms
from vision.day.tissue import Healthy, contrasts
from vision.raster import disc
from vision.records import BACKGROUND, DROPPING, HALO, LEAF, LESION, Lesion

__all__ = [
    "LEAF_LENGTH_PX",
    "LEAST_HEALTHY_SHARE",
    "Symptoms",
    "classify",
    "lesions_of",
    "roundness",
    "without_droppings",
]

LEAF_LENGTH_PX = 700
"""Length in pixels to which a longer leaf is reduced before its tissue is judged."""

_SMALLEST_OF_LENGTH = 0.004  # diameter of the smallest patch that is kept, in leaf lengths
_SMALLEST_PX = 5  # and its area: below, a patch is noise of the sensor
_RIM_PX = 1.5  # pixels this close to the outline mix leaf and background
_STRIP = 0.005  # half the width of a strip that is too thin for a lesion, of the leaf's length
_MARGIN_BAND = 0.02  # a patch that reaches deeper is no such strip, likewise
_DROPPING_RIM_PX = 4  # a dropping's blurred edge and shadow reach this far
_OF_DROPPING = 0.5  # share of a patch from which it is the dropping, its edge and its shadow
LEAST_HEALTHY_SHARE = 0.05
"""Share of a leaf with its healthy colour below which that colour is borrowed or assumed."""

_REDDER = 12.0  # a* above the borrowed healthy colour from which tissue is yellow, brown or grey
_SICK = 0.0  # log-odds above which a pixel counts as symptom
_HALO_REACH = 0.03  # a halo lies within this many leaf lengths of its lesion

Mask = NDArray[np.uint8]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Symptoms:
    """One leaf's pixels, sorted.

    Attributes
    ----------
    classes : ndarray of uint8, shape (rows, columns)
        BACKGROUND, LEAF, HALO or LESION.
    doubtful_pct : float
        Mean of 100·min(p, 1 − p) over the leaf, p the probability of a symptom: 0 = all clear.
    """

    classes: Mask = field(repr=False)
    doubtful_pct: float


def classify(
    lab: NDArray[np.float32],
    leaf: Bools,
    healthy: Healthy,
    length: float,
    surface: Surface | None = None,
) -> Symptoms:
    """Sort a leaf's pixels into healthy, halo and lesion.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of a picture that shows the leaf.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's pixels.
    healthy : Healthy
        The leaf's own healthy colour.
    length : float
        The leaf's length in pixels.
    surface : Surface, optional
        Thresholds of colour, which say what is sick on a plain ground in even light. Without
        them a network does, which tells veins, shade and gloss apart by their form.
    """
    if surface is None:
        believed, dead, doubt = _as_seen(lab, leaf, healthy)
    else:
        believed, dead, doubt = _by_colour(contrasts(lab, leaf, healthy, length), leaf, surface)
    sick = _without_specks(_without_rim(believed, leaf), length)
    dead = _without_specks(sick & dead, length)
    classes = np.where(leaf, LEAF, BACKGROUND).astype(np.uint8)
    classes[sick] = HALO
    classes[dead] = LESION
    return Symptoms(classes, 100 * doubt)


def _as_seen(lab: NDArray[np.float32], leaf: Bools, healthy: Healthy) -> tuple[Bools, Bools, float]:
    """Return where the network sees a symptom, where dead tissue, and its mean doubt."""
    seen = see_symptoms(lab, leaf, healthy)
    believed = (seen.sick > _SICK) & leaf
    if healthy.share < LEAST_HEALTHY_SHARE:  # sick as a whole: nothing on it stands out
        believed |= leaf & (lab[..., 1] - healthy.lab[1] > _REDDER)
    doubt = float((1 / (1 + np.exp(np.abs(seen.sick[leaf])))).mean()) if leaf.any() else 0.0
    return believed, seen.dead > 0, doubt


def _by_colour(
    described: NDArray[np.float32], leaf: Bools, surface: Surface
) -> tuple[Bools, Bools, float]:
    """Return the same by contrasts of colour."""
    probability = surface.symptom_probability(described)
    believed, dead = np.zeros(leaf.shape, bool), np.zeros(leaf.shape, bool)
    believed[leaf] = probability > surface.threshold
    dead[leaf] = surface.dead(described)
    doubt = float(np.minimum(probability, 1 - probability).mean()) if len(probability) else 0.0
    return believed, dead, doubt


def _without_rim(sick: Bools, leaf: Bools) -> Bools:
    """Let the outermost pixels follow their inner neighbours, and drop thin strips at the margin.

    The colour of the outermost pixels mixes leaf and background, and a leaf's margin is often
    paler by nature; a lesion at the margin is kept where it is broader than such a strip.
    """
    depth = np.asarray(cv2.distanceTransform(leaf.astype(np.uint8), cv2.DIST_L2, 3), np.float32)
    inner = (sick & (depth > _RIM_PX)).astype(np.uint8)
    sick = np.where(depth > _RIM_PX, sick, (cv2.dilate(inner, disc(2)) > 0) & leaf)
    longest = max(leaf.shape)
    broad = cv2.morphologyEx(
        sick.astype(np.uint8), cv2.MORPH_OPEN, disc(max(1, round(_STRIP * longest)))
    )
    count, labels = cv2.connectedComponents(sick.astype(np.uint8))
    kept = np.zeros(count, bool)
    kept[labels[sick & ((depth > _MARGIN_BAND * longest) | (broad > 0))]] = True
    return np.asarray(kept[labels])


def _smallest_area(length: float) -> float:
    return max(_SMALLEST_PX, np.pi / 4 * (_SMALLEST_OF_LENGTH * length) ** 2)


def _without_specks(patches: Bools, length: float) -> Bools:
    _, labels = cv2.connectedComponents(patches.astype(np.uint8))
    # Only the patches' own pixels are looked at: a fifth of the time of all pixels' statistics.
    at = np.flatnonzero(patches)
    label = labels.ravel()[at]
    kept = np.zeros_like(patches)
    kept.ravel()[at] = (np.bincount(label) >= _smallest_area(length))[label]
    return kept


def without_droppings(symptoms: Symptoms, droppings: Bools) -> Symptoms:
    """Take what is a dropping, not disease, out of the symptoms.

    The leaf under a dropping is not seen. It stays leaf area, without symptoms. A patch of
    symptoms that is mostly the dropping with its edge and shadow goes as a whole; of a larger one
    only what the dropping covers.

    Parameters
    ----------
    symptoms : Symptoms
        From `classify`.
    droppings : ndarray of bool, shape (rows, columns)
        Pixels of droppings.

    Returns
    -------
    Symptoms
        With DROPPING on the leaf's pixels that they cover.
    """
    on_leaf = droppings & (symptoms.classes != BACKGROUND)
    if not on_leaf.any():
        return symptoms
    classes = symptoms.classes.copy()
    sick = (classes == HALO) | (classes == LESION)
    _, labels = cv2.connectedComponents(sick.view(np.uint8))
    near = cv2.dilate(droppings.astype(np.uint8), disc(_DROPPING_RIM_PX)) > 0
    area = np.bincount(labels[sick], minlength=1)
    under = np.bincount(labels[sick & near], minlength=len(area))
    classes[sick & (under > _OF_DROPPING * area)[labels]] = LEAF
    classes[on_leaf] = DROPPING
    return replace(symptoms, classes=classes)


def lesions_of(
    classes: Mask, lightness: NDArray[np.float32], healthy: Healthy, leaf: int = 1
) -> tuple[Lesion, ...]:
    """Measure each lesion of one leaf, in pixels of the given picture.

    Parameters
    ----------
    classes : ndarray of uint8, shape (rows, columns)
        One leaf's mask.
    lightness : ndarray of float32, shape (rows, columns)
        CIELAB L* of the same picture.
    healthy : Healthy
        For the darkness.
    leaf : int
        Number of the leaf, written into each record.

    Returns
    -------
    tuple of Lesion
        Largest first; empty when there is none.
    """
    blade = np.pad(classes != BACKGROUND, 1).astype(np.uint8)
    depth = np.asarray(cv2.distanceTransform(blade, cv2.DIST_L2, 5), np.float32)[1:-1, 1:-1]
    count, labels, stats, centres = cv2.connectedComponentsWithStats(
        (classes == LESION).astype(np.uint8)
    )
    halo_px = _halo_shares(classes, labels, count, max(classes.shape))
    blade_px = float(np.count_nonzero(blade))
    found = [
        _measure(
            _Patch(labels, stats[n], n, (float(centres[n][1]), float(centres[n][0]))),
            lightness,
            depth,
            healthy,
            float(halo_px[n]),
            blade_px,
            leaf,
        )
        for n in range(1, count)
    ]
    return tuple(sorted(found, key=lambda lesion: -lesion.area_px))


@dataclass(frozen=True, eq=False)
class _Patch:
    labels: NDArray[np.int32]
    stats: NDArray[np.int32]
    number: int
    centre: tuple[float, float]

    @property
    def window(self) -> tuple[slice, slice]:
        left, top, width, height = (int(value) for value in self.stats[:4])
        return slice(top, top + height), slice(left, left + width)


def _halo_shares(
    classes: Mask, labels: NDArray[np.int32], count: int, length: int
) -> NDArray[np.int64]:
    """Count the halo pixels that belong to each lesion: those nearest to it, within reach."""
    halo = classes == HALO
    if count < 2 or not halo.any():
        return np.zeros(count, np.int64)
    distance, nearest = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_pixel = np.zeros(int(nearest.max()) + 1, np.int32)
    of_pixel[nearest[labels > 0]] = labels[labels > 0]
    near = halo & (distance <= max(2.0, _HALO_REACH * length))
    return np.bincount(of_pixel[nearest[near]], minlength=count)


def _measure(
    patch: _Patch,
    lightness: NDArray[np.float32],
    depth: NDArray[np.float32],
    healthy: Healthy,
    halo_px: float,
    blade_px: float,
    leaf: int,
) -> Lesion:
    inside = patch.labels[patch.window] == patch.number
    area = float(patch.stats[cv2.CC_STAT_AREA])
    outline = _outline(inside)
    perimeter = _perimeter(outline)
    row, col = patch.centre
    return Lesion(
        leaf=leaf,
        row_px=row,
        col_px=col,
        area_px=area,
        equivalent_diameter_px=float(np.sqrt(4 * area / np.pi)),
        share_of_leaf_pct=100 * area / blade_px,
        roundness=_roundness(area, perimeter),
        elongation=_elongation(inside),
        solidity=_solidity(outline, area),
        darkness=healthy.lab[0] - float(lightness[patch.window][inside].mean()),
        halo_width_px=halo_px / perimeter,
        margin_distance_px=float(depth[round(row), round(col)]),
        at_margin=bool(depth[patch.window][inside].min() <= 2.0),
    )


def roundness(inside: Bools) -> float:
    """Return 4π·area ÷ perimeter² of one connected patch, 1 for a disc, at most 1.

    Parameters
    ----------
    inside : ndarray of bool, shape (rows, columns)
        The patch; at least one pixel.
    """
    return _roundness(float(np.count_nonzero(inside)), _perimeter(_outline(inside)))


def _roundness(area: float, perimeter: float) -> float:
    return min(1.0, 4 * np.pi * area / perimeter**2)


def _outline(inside: Bools) -> NDArray[np.int32]:
    outlines, _ = cv2.findContours(
        np.pad(inside, 1).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    return np.asarray(outlines[0], np.int32)


def _perimeter(outline: NDArray[np.int32]) -> float:
    # The outline runs through pixel centres, half a pixel inside the patch all around.
    return float(cv2.arcLength(outline, closed=True)) * 0.95 + np.pi


def _elongation(inside: Bools) -> float:
    moments = cv2.moments(inside.astype(np.uint8))
    area = moments["m00"]
    # A pixel is a unit square: 1/12 is its own second moment, and no patch's is less.
    xx, yy = moments["mu20"] / area + 1 / 12, moments["mu02"] / area + 1 / 12
    xy = moments["mu11"] / area
    spread = np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    mean = (xx + yy) / 2
    return float(np.sqrt((mean + spread) / (mean - spread)))


def _solidity(outline: NDArray[np.int32], area: float) -> float:
    hull = cv2.convexHull(outline)
    # Half the outline's length makes up for the half pixel that the hull lies inside, plus one.
    filled = cv2.contourArea(hull) + cv2.arcLength(hull, closed=True) / 2 + 1
    return min(1.0, area / filled)
