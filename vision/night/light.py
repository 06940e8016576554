"""A UV night photo as light: what foliage sends back, and what glows beyond it.

Foliage under the torch sends back leaked violet and the red of its chlorophyll. Both fall off with
the torch together, so that the green that foliage would have follows from red and blue by one
factor of the scene, whatever the phone's white balance. Green beyond that is glow.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT
from vision.raster import shrunk, thinned

__all__ = ["FLOOR", "WORKING_LONG_SIDE_PX", "NightLight", "read_night_light"]

WORKING_LONG_SIDE_PX = 1280
"""Long side at which glowing things are looked for."""

FLOOR = np.float32(0.0015)
"""Added to linear light before ratios and logarithms, so that noise in the dark stays small."""

_SMOOTHING_PX = 0.8
_TORCH_SHARE = 0.08  # of the long side: the torch's light changes over such reaches
_FOLIAGE_PERCENTILES = (12, 42)  # of the greenness of what is lit
_LEAST_LIT = 0.15  # of the picture; large caterpillars alone cover less
_BRIGHTEST_LEAF = np.float32(4)  # times the usual; paper and cloth are brighter and no measure
_DIMMEST = 0.06  # of the brightest part of the scene: what lies deeper in the dark counts as there

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class NightLight:
    """A night photo at the working scale.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    scale : float
        Pixels of ``Photo.pixels`` per working pixel, at least 1.
    light : ndarray of float32, shape (rows, columns, 3)
        Linear light, a little smoothed.
    foliage_greenness : float
        ln of green ÷ mean of red and blue of the foliage.
    foliage : ndarray of float32, shape (3,)
        Usual linear light of lit foliage.
    glow : ndarray of float32, shape (rows, columns)
        Green beyond the foliage's, in units of the torch's light on foliage nearby, at least 0.
    ratio : ndarray of float32, shape (rows, columns)
        ln of how many times more green there is than foliage would send back.
    torch : ndarray of float32, shape (rows, columns)
        Light that foliage sends back nearby (mean of red and blue, linear).
    """

    pixels: NDArray[np.uint8]
    scale: float
    light: Floats = field(repr=False)
    foliage_greenness: float
    foliage: Floats
    glow: Floats = field(repr=False)
    ratio: Floats = field(repr=False)
    torch: Floats = field(repr=False)


def read_night_light(pixels: NDArray[np.uint8]) -> NightLight:
    """Part foliage from glow.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB of a UV night photo, red first.
    """
    factor = min(1.0, WORKING_LONG_SIDE_PX / max(pixels.shape[:2]))
    small = shrunk(pixels, factor)
    light = np.asarray(
        cv2.GaussianBlur(cv2.LUT(small, LINEAR_LIGHT), (0, 0), _SMOOTHING_PX), np.float32
    )
    red, green, blue = (np.asarray(part, np.float32) for part in cv2.split(light))
    sent_back = (red + blue) * np.float32(0.5)
    foliage = _foliage_light(light)
    greenness = float(np.log((foliage[1] + FLOOR) / (foliage[0] / 2 + foliage[2] / 2 + FLOOR)))
    expected = np.float32(np.exp(greenness)) * sent_back
    beyond = np.maximum(green - expected, 0)
    usual = np.float32((foliage[0] + foliage[2]) / 2)
    torch = _torch_light(np.minimum(sent_back, _BRIGHTEST_LEAF * usual + FLOOR), beyond)
    return NightLight(
        small,
        1 / factor,
        light,
        greenness,
        foliage,
        np.asarray(beyond / torch, np.float32),
        np.asarray(cv2.log((green + FLOOR) / (expected + FLOOR)), np.float32),
        torch,
    )


def _foliage_light(light: Floats) -> Floats:
    """Take what is least green of what is lit: glowing things, large ones too, are greener."""
    step = max(1, min(light.shape[:2]) // 200)
    some = np.asarray(light[::step, ::step]).reshape(-1, 3)
    sent_back = (some[:, 0] + some[:, 2]) / 2
    lit = sent_back > max(float(2 * FLOOR), float(np.percentile(sent_back, 40)))
    if np.count_nonzero(lit) < _LEAST_LIT * len(some):  # a weak torch: only what glows is lit
        lit = sent_back >= np.percentile(sent_back, 40)
    greenness = np.log((some[lit, 1] + FLOOR) / (sent_back[lit] + FLOOR))
    low, high = np.percentile(greenness, _FOLIAGE_PERCENTILES)
    usual = (greenness >= low) & (greenness <= high)
    return np.asarray(np.median(some[lit][usual], axis=0), np.float32)


def _torch_light(sent_back: Floats, beyond: Floats) -> Floats:
    """Return the light on foliage nearby: a mean that bright leaves lead and dark gaps do not."""
    foliage = np.where(beyond > 0.5 * sent_back, np.float32(0), sent_back)
    quarter = thinned(foliage, 0.25, cv2.INTER_AREA)
    sigma = _TORCH_SHARE * max(quarter.shape)
    weighted, weight = (cv2.GaussianBlur(part, (0, 0), sigma) for part in (quarter**2, quarter))
    near = weighted / (weight + np.float32(1e-6))
    near = np.maximum(near, np.float32(_DIMMEST) * near.max()) + FLOOR
    size = (sent_back.shape[1], sent_back.shape[0])
    return np.asarray(cv2.resize(near, size, interpolation=cv2.INTER_LINEAR), np.float32)
