"""Where the network sees droppings: their middles, sizes and outlines.

A middle is where the network is surer than anywhere near. Each pixel of a dropping goes to the
middle that is nearest by its size, so that droppings that touch are told apart.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.droppings.looks import look_at
from vision.droppings.network import LOOKED_AT_LONG_PX, STEP_PX, Seen
from vision.raster import largest_part, shrunk

__all__ = ["LEAST", "Outline", "Spots", "Spotted", "find_spots", "outline_of", "spotted"]

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]

LEAST = -1.8
"""Log-odds of a middle below which nothing is looked at."""

_APART = 0.33  # of the sum of both diameters: what is nearer is one thing
_MOST = 400  # spots of a photo
_REACH = 1.4  # how far an outline may reach from its middle, in diameters
_NEARLY_ALL = 0.25  # share of the expected area below which a disc serves as outline


@dataclass(frozen=True, eq=False)
class Spots:
    """Things that may be droppings, the likeliest first.

    Attributes
    ----------
    rows, cols : ndarray of float32, shape (spots,)
        Their middles in pixels of the picture.
    diameter_px : ndarray of float32, shape (spots,)
        Of a disc of the area that the network expects.
    middle, inside : ndarray of float32, shape (spots,)
        Log-odds of a middle there, and mean log-odds of a dropping close around.
    """

    rows: Floats = field(repr=False)
    cols: Floats = field(repr=False)
    diameter_px: Floats = field(repr=False)
    middle: Floats = field(repr=False)
    inside: Floats = field(repr=False)

    def only(self, which: Bools) -> "Spots":
        """Return some of them.

        Parameters
        ----------
        which : ndarray of bool, shape (spots,)
            True for those kept.
        """
        every = (self.rows, self.cols, self.diameter_px, self.middle, self.inside)
        return Spots(*(values[which] for values in every))


@dataclass(frozen=True, eq=False)
class Outline:
    """The pixels of one spot.

    Attributes
    ----------
    row, col : int
        Upper left corner in pixels of the picture.
    mask : ndarray of bool, shape (rows, columns)
        Its pixels from there.
    """

    row: int
    col: int
    mask: Bools = field(repr=False)


def find_spots(seen: Seen) -> Spots:
    """Return what may be a dropping, each thing once."""
    top = cv2.dilate(seen.middle, np.ones((3, 3), np.uint8))
    rows, cols = np.nonzero((seen.middle >= top) & (seen.middle > LEAST))
    order = np.argsort(-seen.middle[rows, cols], kind="stable")
    rows, cols = rows[order], cols[order]
    size = seen.diameter_px[rows, cols]
    kept = _once(STEP_PX * rows, STEP_PX * cols, size)[:_MOST]
    rows, cols, size = rows[kept], cols[kept], size[kept]
    inside = _close_around(seen.inside, rows, cols, size / np.float32(STEP_PX))
    return Spots(_in_picture(rows), _in_picture(cols), size, seen.middle[rows, cols], inside)


def _in_picture(at: NDArray[np.intp]) -> Floats:
    return (STEP_PX * (at.astype(np.float32) + 0.5) - 0.5).astype(np.float32)


def _once(rows: NDArray[np.intp], cols: NDArray[np.intp], size: Floats) -> list[int]:
    """Choose spots, the first first, that are farther apart than a share of their diameters."""
    chosen: list[int] = []
    left = np.ones(len(rows), np.bool_)
    for number in range(len(rows)):
        if left[number]:
            chosen.append(number)
            away = np.hypot(rows - rows[number], cols - cols[number])
            left &= away >= _APART * (size + size[number])
    return chosen


def _close_around(
    inside: Floats, rows: NDArray[np.intp], cols: NDArray[np.intp], size: Floats
) -> Floats:
    """Return the mean of nine values, a quarter of a diameter apart."""
    total = np.zeros(len(rows), np.float32)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            at_row, at_col = (
                np.clip(np.rint(at + 0.25 * step * size).astype(np.intp), 0, most - 1)
                for at, step, most in zip((rows, cols), (down, right), inside.shape, strict=True)
            )
            total += inside[at_row, at_col]
    return total / np.float32(9)


def outline_of(seen: Seen, spots: Spots, number: int) -> Outline:
    """Return the pixels of a spot, in pixels of the picture."""
    size = float(spots.diameter_px[number])
    reach = max(_REACH * size, 4.0) / STEP_PX
    row, col = ((float(at[number]) + 0.5) / STEP_PX - 0.5 for at in (spots.rows, spots.cols))
    top, left = max(0, int(row - reach)), max(0, int(col - reach))
    part = seen.inside[top : int(row + reach) + 2, left : int(col + reach) + 2]
    larger = cv2.resize(part, None, fx=STEP_PX, fy=STEP_PX, interpolation=cv2.INTER_LINEAR)
    down, right = np.mgrid[0 : larger.shape[0], 0 : larger.shape[1]].astype(np.float32)
    down, right = down + STEP_PX * top, right + STEP_PX * left
    own = np.hypot(down - spots.rows[number], right - spots.cols[number]) / size
    mask = (larger > 0) & (own < _REACH)
    for other in _near(spots, number, size):
        away = np.hypot(down - spots.rows[other], right - spots.cols[other])
        mask &= own <= away / spots.diameter_px[other]
    if np.count_nonzero(mask) < _NEARLY_ALL * np.pi / 4 * size**2:
        mask = own <= max(0.5, float(own.min()))  # of a tiny one at least a pixel
    return Outline(STEP_PX * top, STEP_PX * left, largest_part(mask))


def _near(spots: Spots, number: int, size: float) -> NDArray[np.intp]:
    away = np.hypot(spots.rows - spots.rows[number], spots.cols - spots.cols[number])
    near = away < _REACH * (size + spots.diameter_px)
    near[number] = False
    return np.flatnonzero(near & (spots.middle > 0))


Pixels = NDArray[np.uint8]

_FROM_EDGE = 0.3  # diameters by which a middle is inside the photo at least


@dataclass(frozen=True, eq=False)
class Spotted:
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
        None of them twice, and none cut off by the photo's edge.
    """

    picture: Pixels = field(repr=False)
    factor: float
    seen: Seen = field(repr=False)
    spots: Spots = field(repr=False)

    def in_photo(self, at: ArrayLike) -> NDArray[np.float64]:
        """Map rows or columns of the picture to the given photo; pixel centres are whole.

        Parameters
        ----------
        at : array_like of float, any shape
            Rows, or columns, in pixels of the picture.

        Returns
        -------
        ndarray of float64, of the same shape
            In pixels of the given photo.
        """
        return np.asarray((np.asarray(at) + 0.5) * self.factor - 0.5, np.float64)

    def values_of(self, plane: NDArray[Any]) -> NDArray[Any]:
        """Return the values of a plane where the spots lie.

        Parameters
        ----------
        plane : ndarray of any dtype, shape (rows, columns)
            Of the given photo's size.

        Returns
        -------
        ndarray of the plane's dtype, shape (spots,)
        """
        rows, cols = (
            np.clip(np.rint(self.in_photo(at)).astype(np.intp), 0, most - 1)
            for at, most in zip((self.spots.rows, self.spots.cols), plane.shape, strict=True)
        )
        return np.asarray(plane[rows, cols])

    def only(self, which: Bools) -> "Spotted":
        """Return the same with some of the spots.

        Parameters
        ----------
        which : ndarray of bool, shape (spots,)
            True for those kept.
        """
        return replace(self, spots=self.spots.only(which))


def spotted(pixels: Pixels) -> Spotted:
    """Return what may be droppings in a photo.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Not changed.
    """
    picture = _brought_down(pixels)
    seen = look_at(picture)
    spots = find_spots(seen)
    whole = _inside(spots, picture.shape)
    return Spotted(picture, pixels.shape[1] / picture.shape[1], seen, spots.only(whole))


def _brought_down(pixels: Pixels) -> Pixels:
    """Bring a photo to the usual size; linear steps of less than half cost a fifth of means."""
    picture = pixels
    while (factor := LOOKED_AT_LONG_PX / max(picture.shape[:2])) < 1:
        if factor < 0.5:
            picture = shrunk(picture, 0.5)
            continue
        size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR), np.uint8)
    return picture


def _inside(spots: Spots, shape: tuple[int, ...]) -> Bools:
    """Whether spots are not cut off by the edge of the photo, where half a thing looks round."""
    rows, cols = shape[:2]
    room = np.minimum(
        np.minimum(spots.rows, rows - 1 - spots.rows), np.minimum(spots.cols, cols - 1 - spots.cols)
    )
    return np.asarray(room >= _FROM_EDGE * spots.diameter_px)
