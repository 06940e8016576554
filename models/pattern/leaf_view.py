"""One leaf cut out at a common length, and the table of its lesions."""

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.day.lesion import roundness
from vision.day.tissue import healthy_colour, leaf_lab
from vision.raster import distance_inside, shrunk, window_around
from vision.records import BACKGROUND, DROPPING, HALO, LEAF, LESION, DayMeasurement

__all__ = [
    "MARGIN",
    "LeafView",
    "LesionTable",
    "leaf_view",
    "lesion_table",
    "mean_by",
]

VIEW_LENGTH_PX = 240
"""Length of the leaf at which patterns are measured: what a thumbnail still holds."""

MARGIN = 0.03
"""Distance from the outline, in leaf sides, within which a lesion is at the margin."""

_CLEAR = 0.018  # leaf sides across; narrower lesions are too small for their shape to be trusted
_CLOSED = 0.03  # leaf sides: gaps narrower than that do not part a lesion
_PAD = 4
_SHAPED_PX = 8  # smaller lesions count as round: they have no shape yet

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class LeafView:
    """A leaf at the common length.

    Attributes
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB.
    leaf, dead, halo, sick : ndarray of bool, shape (rows, columns)
        The leaf, its lesions with their gaps closed, its halos, and both as measured.
    labels : ndarray of int32, shape (rows, columns)
        0, or the number of the lesion from 1.
    stats : ndarray of int32, shape (lesions, 5)
        Left, top, width, height and area of each lesion.
    centres : ndarray of float32, shape (lesions, 2)
        Row and column of each lesion's centroid.
    depth : ndarray of float32, shape (rows, columns)
        Pixels from the leaf's outline, 0 outside.
    healthy_lab : tuple of float
        The leaf's own healthy colour.
    """

    lab: Floats = field(repr=False)
    leaf: Bools = field(repr=False)
    dead: Bools = field(repr=False)
    halo: Bools = field(repr=False)
    sick: Bools = field(repr=False)
    labels: NDArray[np.int32] = field(repr=False)
    stats: NDArray[np.int32] = field(repr=False)
    centres: Floats = field(repr=False)
    depth: Floats = field(repr=False)
    healthy_lab: tuple[float, float, float]

    @cached_property
    def area_px(self) -> int:
        """The leaf's area in pixels of the view."""
        return int(np.count_nonzero(self.leaf))

    @property
    def side_px(self) -> float:
        """The side of a square of the leaf's area: the unit of lengths."""
        return float(np.sqrt(self.area_px))

    def of_lesions(self, which: Bools) -> Bools:
        """Mark the pixels of some lesions.

        Parameters
        ----------
        which : ndarray of bool, shape (lesions,)
            True for those marked.

        Returns
        -------
        ndarray of bool, shape (rows, columns)
        """
        return np.asarray(np.concatenate([[False], which])[self.labels])


@dataclass(frozen=True, eq=False)
class LesionTable:
    """A leaf's lesions, one element each; lengths in leaf sides, areas in pixels of the view.

    ``clear`` ones are wide enough to be judged, ``inner`` ones are clear and off the margin.
    """

    area: Floats
    diameter: Floats
    thickness: Floats
    roundness: Floats
    pale_centre: Floats
    rings: Floats
    centre: Floats
    at_margin: Bools
    leaf_px: int

    @property
    def clear(self) -> Bools:
        """Lesions that are wide enough for their shape to be trusted."""
        return np.asarray(self.thickness > _CLEAR)

    @property
    def inner(self) -> Bools:
        """Clear lesions that do not reach the margin."""
        return self.clear & ~self.at_margin


def mean_by(values: Floats, weights: Floats, which: Bools, empty: float = float("nan")) -> float:
    """Return the weighted mean of some values.

    Parameters
    ----------
    values : ndarray of float32, shape (lesions,)
        Any measure.
    weights : ndarray of float32, shape (lesions,)
        From 0.
    which : ndarray of bool, shape (lesions,)
        True for those that count.
    empty : float
        Returned where none counts or all weigh nothing.
    """
    weight = weights[which]
    return float((values[which] * weight).sum() / weight.sum()) if weight.sum() > 0 else empty


def leaf_view(pixels: NDArray[np.uint8], measurement: DayMeasurement, number: int) -> LeafView:
    """Cut a leaf out and bring it to the common length.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        The photo's pixels, sRGB.
    measurement : DayMeasurement
        Of the same photo.
    number : int
        The leaf's number, from 1; it must be there.
    """
    own = measurement.leaf_numbers == number
    window, longest = window_around(own, _PAD)
    classes = np.where(own[window], measurement.classes[window], BACKGROUND)
    classes[classes == DROPPING] = LEAF
    cut, classes = _at_length(pixels[window], classes.astype(np.uint8), longest)
    lab = leaf_lab(cut)
    healthy = measurement.reading.leaves[number - 1].healthy_lab
    if cut.shape != pixels[window].shape:
        healthy = healthy_colour(lab, classes > BACKGROUND).lab
    return _view(lab, classes, healthy)


def _at_length(
    pixels: NDArray[np.uint8], classes: NDArray[np.uint8], longest: int
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    factor = VIEW_LENGTH_PX / longest
    if factor >= 1:
        return pixels, classes
    small = shrunk(pixels, factor)
    size = (small.shape[1], small.shape[0])

    def share(part: Bools, least: float) -> Bools:
        soft = cv2.resize(part.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        return np.asarray(soft > least)

    # A little under half, so that narrow lesions do not vanish.
    sick, dead = share(classes >= HALO, 0.45), share(classes == LESION, 0.45)
    kind = np.where(dead, LESION, np.where(sick, HALO, LEAF))
    return small, np.where(share(classes > BACKGROUND, 0.5), kind, BACKGROUND).astype(np.uint8)


def _view(lab: Floats, classes: NDArray[np.uint8], healthy: tuple[float, float, float]) -> LeafView:
    leaf = classes > BACKGROUND
    side = max(3, round(_CLOSED * float(np.sqrt(np.count_nonzero(leaf)))) | 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    closed = cv2.morphologyEx((classes == LESION).astype(np.uint8), cv2.MORPH_CLOSE, disc)
    dead = (np.asarray(closed) > 0) & leaf
    depth = distance_inside(leaf)
    _, labels, stats, centres = cv2.connectedComponentsWithStats(dead.astype(np.uint8))
    return LeafView(
        lab,
        leaf,
        dead,
        halo=classes == HALO,
        sick=classes >= HALO,
        labels=np.asarray(labels, np.int32),
        stats=np.asarray(stats[1:], np.int32),
        centres=np.asarray(centres[1:, ::-1], np.float32),
        depth=depth,
        healthy_lab=healthy,
    )


def lesion_table(view: LeafView) -> LesionTable:
    """Measure each lesion of a leaf."""
    core = np.asarray(cv2.distanceTransform(view.dead.astype(np.uint8), cv2.DIST_L2, 3), np.float32)
    rows = [_one(view, core, stats, number) for number, stats in enumerate(view.stats, start=1)]
    columns = np.array(rows, np.float32).reshape(-1, 6).T
    area, thickness, roundness, pale, rings, margin = columns
    return LesionTable(
        area,
        diameter=np.sqrt(4 * area / np.float32(np.pi)) / np.float32(view.side_px),
        thickness=thickness,
        roundness=roundness,
        pale_centre=pale,
        rings=rings,
        centre=view.centres,
        at_margin=margin > 0,
        leaf_px=view.area_px,
    )


def _one(
    view: LeafView, core: Floats, stats: NDArray[np.int32], number: int
) -> tuple[float, float, float, float, float, bool]:
    left, top, width, height, area = (int(value) for value in stats)
    window = (slice(top, top + height), slice(left, left + width))
    inside = view.labels[window] == number
    within, lightness = core[window], view.lab[..., 0][window]
    at_margin = float(view.depth[window][inside].min()) <= MARGIN * view.side_px
    healthy = view.healthy_lab[0]
    return (
        area,
        2 * float(within[inside].max()) / view.side_px,
        roundness(inside) if area >= _SHAPED_PX else 1.0,
        _pale_centre(within, lightness, inside) / healthy,
        _rings(within[inside], lightness[inside]) / healthy,
        at_margin,
    )


def _pale_centre(within: Floats, lightness: Floats, inside: Bools) -> float:
    """Lightness of the centre minus that of the rim."""
    deepest = float(within[inside].max())
    if deepest < 2.5:
        return float("nan")
    centre = inside & (within > 0.6 * deepest)
    rim = inside & (within <= max(1.0, 0.35 * deepest))
    return float(np.median(lightness[centre]) - np.median(lightness[rim]))


def _rings(within: Floats, lightness: Floats) -> float:
    """How much the lightness swings with the distance from the lesion's edge."""
    if within.max() < 6:
        return float("nan")
    step = np.minimum(within.astype(int), 60)
    count = np.bincount(step)
    profile = (np.bincount(step, lightness) / np.maximum(count, 1))[count > 8]
    if len(profile) <= 5:
        return float("nan")
    place = np.arange(len(profile))
    return float(np.std(profile - np.polyval(np.polyfit(place, profile, 2), place)))
