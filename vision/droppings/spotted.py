"""A photo brought to the usual size, with all that may be a dropping on it.

The picture is what the networks see; positions are mapped back to the photo it was made from.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.droppings.looks import look_at
from vision.droppings.network import FRASS_LONG_PX, Seen
from vision.droppings.spots import Spots, find_spots
from vision.raster import shrunk

__all__ = ["Spotted", "spotted"]

Bools = NDArray[np.bool_]
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
        """Map rows or columns of the picture to the given photo; pixel centres are whole."""
        return np.asarray((np.asarray(at) + 0.5) * self.factor - 0.5, np.float64)

    def values_of(self, plane: NDArray[Any]) -> NDArray[Any]:
        """Return the values of a plane of the given photo's size where the spots lie."""
        rows, cols = (
            np.clip(np.rint(self.in_photo(at)).astype(np.intp), 0, most - 1)
            for at, most in zip((self.spots.rows, self.spots.cols), plane.shape, strict=True)
        )
        return np.asarray(plane[rows, cols])

    def only(self, which: Bools) -> "Spotted":
        """Return the same with some of the spots."""
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
    while (factor := FRASS_LONG_PX / max(picture.shape[:2])) < 1:
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
