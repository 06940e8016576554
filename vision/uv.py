"""Whether a photo shows plants under a UV torch in the dark.

Under the torch, foliage sends back the torch's own leaked violet and its chlorophyll's red, and
next to no green; what the torch does not reach is dark, so that the brightest parts stand far
above the middle, and what glows far above those. By day, foliage is green, boards, paper and soil
are near neutral, and most of the picture is light; violet grow lights light it too.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT

__all__ = ["UvLook", "is_uv_photo", "look_at", "why_not_uv"]

_GRID = 128  # points along the short side that are looked at
_FLOOR = np.float32(0.0015)  # linear light; sensor noise below it has no colour
_LEAST_LIGHT = 0.004  # linear light of the brightest points: some ten levels of sRGB
_LEAF_GREEN, _LEAF_LIGHT = 0.15, 0.015

# Fitted on 2,762 real day photos, the same darkened and tinted, 500 painted day photos, and 520
# painted night scenes of two painters.
_DARK_WEIGHT, _GREEN_WEIGHT, _LEAST_SCORE = 1.8, 1.27, 4.75
_GLOWING_WEIGHT, _MOST_GLOWING = 1.5, 2.5
_LEAFY_WEIGHT, _MOST_LEAFY = 20.0, 0.3  # a leaf by day on black cloth is as dark a picture


@dataclass(frozen=True)
class UvLook:
    """What tells a UV photo from others.

    Attributes
    ----------
    middle, bright, brightest : float
        Median, 97th and 99.9th percentile of linear light, mean of the channels, 0 to 1.
    greenness : float
        Median of ln green − ln mean of red and blue, in linear light; 0 for grey.
    leafy_share : float
        Share of points that are lit, green, and redder than blue, as leaves are by day; 0 to 1.
    """

    middle: float
    bright: float
    brightest: float
    greenness: float
    leafy_share: float

    @property
    def score(self) -> float:
        """How much it looks like a UV photo: dark, something glows, and hardly any green leaf."""
        dark, bright, brightest = (
            float(np.log(level + _FLOOR)) for level in (self.middle, self.bright, self.brightest)
        )
        glowing = _GLOWING_WEIGHT * min(brightest - bright, _MOST_GLOWING)
        night = bright - _DARK_WEIGHT * dark - _GREEN_WEIGHT * self.greenness + glowing
        return night - _LEAFY_WEIGHT * min(self.leafy_share, _MOST_LEAFY)


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
    greenness = np.log((green + _FLOOR) / ((red + blue) / 2 + _FLOOR))
    leafy = (greenness > _LEAF_GREEN) & (light > _LEAF_LIGHT) & (red > blue)
    middle, bright, brightest = (float(level) for level in np.percentile(light, (50, 97, 99.9)))
    return UvLook(middle, bright, brightest, float(np.median(greenness)), float(leafy.mean()))


def why_not_uv(pixels: NDArray[np.uint8]) -> str:
    """Return the flag that says why a photo cannot be read as a UV photo, empty where it can.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    look = look_at(pixels)
    if look.brightest < _LEAST_LIGHT:
        return "nothing_lit"
    return "" if look.score >= _LEAST_SCORE else "not_uv_photo"


def is_uv_photo(pixels: NDArray[np.uint8]) -> bool:
    """Tell whether a photo shows plants under a UV torch in the dark."""
    return not why_not_uv(pixels)
