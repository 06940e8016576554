"""The outline of a dropping at a spot: where its colour ends and that of its ground begins.

Colours around a spot are put on one scale, 0 for the ground's and 1 for the spot's own, along
whichever way the two differ most: darker, less green than a leaf, greener than soil. Of the
outlines at a few levels of that scale, the one that is convex and lies on the steepest slope is
taken, for a shadow at one side has a softer edge than the dropping itself.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_peaks import LOG_TABLE, View
from vision.raster import filled, hull_area

__all__ = ["Region", "Spot", "region_of"]

_LEVELS = (0.35, 0.5, 0.65)
_REACH = 1.3  # half the side of the window, in diameters of the spot
_CORE, _GROUND = 0.3, (0.75, 1.2)  # radii of the spot's own and of the ground's colours
_FARTHEST = 1.1  # of an outline from the middle, in diameters
_LEAST_SHARE, _MOST_SHARE = 0.3, 3.0  # area of an outline ÷ that of a disc of the spot's size
_PARTS = np.array([0.6, 1.0, 0.4], np.float32)  # of light, green ÷ red and green ÷ blue
_OPENED_PX = 12  # spots from this size on are freed of what is thinner than three pixels
_LEAST_STEP = 3.0  # steps of the logarithmic table

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Spot:
    """Where a dropping may lie.

    Attributes
    ----------
    view : View
        In whose picture it is looked at.
    row, col : int
        Its middle in that picture.
    size_px : float
        Its diameter in that picture, roughly.
    look : ndarray of float32, shape (len(GLANCE) + len(LOOK),)
        What a glance and a look show of it.
    """

    view: View = field(repr=False)
    row: int
    col: int
    size_px: float
    look: Floats = field(repr=False)


@dataclass(frozen=True, eq=False)
class Region:
    """The outline of what may be a dropping.

    Attributes
    ----------
    spot : Spot
        Where it was looked for.
    row, col : int
        Upper left corner of the window in the view's picture.
    inside : ndarray of bool, shape (rows, columns)
        Its pixels, holes filled.
    scale : ndarray of float32, shape (rows, columns)
        0 for the ground's colour, 1 for its own.
    """

    spot: Spot
    row: int
    col: int
    inside: Bools = field(repr=False)
    scale: Floats = field(repr=False)

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the view's picture."""
        height, width = self.inside.shape
        return slice(self.row, self.row + height), slice(self.col, self.col + width)


def region_of(spot: Spot) -> Region:
    """Return the outline at a spot.

    Parameters
    ----------
    spot : Spot
        From ``vision.frass``.

    Returns
    -------
    Region
        A disc of the spot's size where no outline can be told.
    """
    reach = int(_REACH * spot.size_px) + 2
    top, left = max(0, spot.row - reach), max(0, spot.col - reach)
    window = slice(top, spot.row + reach + 1), slice(left, spot.col + reach + 1)
    pixels = np.ascontiguousarray(spot.view.pixels[window])
    coded = np.asarray(cv2.LUT(pixels, LOG_TABLE), np.uint8)
    away = _away(coded.shape[:2], spot.row - top, spot.col - left, spot.size_px)
    scale = _scale(coded, away)
    slope = np.hypot(cv2.Sobel(scale, cv2.CV_32F, 1, 0), cv2.Sobel(scale, cv2.CV_32F, 0, 1))
    found = [
        one
        for level in _LEVELS
        if (one := _outlined((scale > level) & (away < _FARTHEST), away, spot.size_px)) is not None
    ]
    inside = max(found, key=lambda one: _fit(one, slope)) if found else away < 0.5
    return Region(spot, top, left, inside, scale)


def _away(shape: tuple[int, ...], row: int, col: int, size_px: float) -> Floats:
    """Return the distance from the middle, in diameters."""
    down = (np.arange(shape[0], dtype=np.float32) - row)[:, None]
    right = (np.arange(shape[1], dtype=np.float32) - col)[None]
    return np.asarray(np.hypot(down, right) / size_px, np.float32)


def _scale(coded: NDArray[np.uint8], away: Floats) -> Floats:
    """Return 0 where it looks like the ground and 1 where it looks like the spot's middle."""
    red, green, blue = (channel.astype(np.float32) for channel in cv2.split(coded))
    planes = np.stack([0.3 * red + 0.6 * green + 0.1 * blue, green - red, green - blue], axis=-1)
    core = np.median(planes[away < _CORE], axis=0)
    ground = np.median(planes[(away > _GROUND[0]) & (away < _GROUND[1])], axis=0)
    way = (core - ground) * _PARTS**2
    span = float((core - ground) @ way)
    values = (planes - ground) @ way / max(span, _LEAST_STEP**2)
    return np.asarray(cv2.GaussianBlur(values, (3, 3), 0.7), np.float32)


def _outlined(like: Bools, away: Floats, size_px: float) -> Bools | None:
    """Return the part that holds the middle, its holes filled; None where it is no spot."""
    drawn = like.view(np.uint8)
    if size_px >= _OPENED_PX:
        opened = cv2.morphologyEx(drawn, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        drawn = np.asarray(opened, np.uint8)
    _, labels = cv2.connectedComponents(drawn, connectivity=4)
    own = np.bincount(labels[away < _CORE], minlength=1)
    own[0] = 0
    if not own.any():
        return None
    part = filled(labels == int(own.argmax()))
    share = np.count_nonzero(part) / (np.pi / 4 * size_px**2)
    return part if _LEAST_SHARE <= share <= _MOST_SHARE else None


def _fit(inside: Bools, slope: Floats) -> float:
    """Return how steep the scale is along the outline, times how convex that is."""
    drawn = inside.view(np.uint8)
    outlines, _ = cv2.findContours(drawn, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = outlines[0]
    cols, rows = outline.reshape(-1, 2).T
    return float(slope[rows, cols].mean()) * (np.count_nonzero(inside) / hull_area(outline)) ** 2
