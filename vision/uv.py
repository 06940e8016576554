"""Whether a photo shows plants under a UV torch in the dark.

Under the torch, foliage sends back the torch's own leaked violet and its chlorophyll's red, and
next to no green; all that the torch does not reach is dark. By day, foliage is green, and boards,
paper and soil are near neutral; violet grow lights light the whole picture.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT

__all__ = ["UvLook", "is_uv_photo", "look_at"]

_GRID = 128  # points along the short side that are looked at
_FLOOR = np.float32(0.0015)  # linear light; sensor noise below it has no colour
_LIT_SHARE = 0.02
_MOST_LIGHT = 0.16  # median of linear light; a UV torch lights a part of the picture at most
_GREENEST = -0.45  # lack of green in the greater part of what is lit


@dataclass(frozen=True)
class UvLook:
    """What tells a UV photo from others.

    Attributes
    ----------
    light : float
        Median of linear light, mean of the three channels, 0 to 1.
    lit_share : float
        Share of points that have light enough for a colour, 0 to 1.
    greenness : float
        Median over the lit points of ln green − ln mean of red and blue, in linear light.
    """

    light: float
    lit_share: float
    greenness: float


def look_at(pixels: NDArray[np.uint8]) -> UvLook:
    """Measure what tells a UV photo from others, on a coarse grid of points.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    step = max(1, min(pixels.shape[:2]) // _GRID)
    red, green, blue = LINEAR_LIGHT[pixels[::step, ::step].reshape(-1, 3)].T
    light = (red + green + blue) / 3
    lit = light > 2 * _FLOOR
    greenness = np.log((green + _FLOOR) / ((red + blue) / 2 + _FLOOR))
    return UvLook(
        float(np.median(light)),
        float(lit.mean()),
        float(np.median(greenness[lit])) if lit.any() else 0.0,
    )


def is_uv_photo(pixels: NDArray[np.uint8]) -> bool:
    """Tell whether a photo shows plants under a UV torch in the dark.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    look = look_at(pixels)
    lit = look.lit_share >= _LIT_SHARE
    return lit and look.light <= _MOST_LIGHT and look.greenness <= _GREENEST
