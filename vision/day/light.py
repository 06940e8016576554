"""Is the photo usable? Sharpness, brightness and colour of the light, as named flags.

Thresholds are common practice of this project, not published values; each says what it was
chosen on. They judge the leaf's own pixels, because a dark cloth behind a well-lit leaf does no
harm.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import DARK, LINEAR_LIGHT
from vision.day.tissue import Healthy

__all__ = ["LightReading", "is_blurred", "light_flags", "read_light"]

_BLUR_LIMIT = 0.55  # painted leaves with a defocus of 0.7 % of their length lie above
_DARK_LIGHTNESS = 16.0  # median L*; sensor noise then hides a difference of 5 L*
_BURNT_SHARE = 0.08  # of the leaf: gloss alone reaches 2.6 % on real and 7.9 % on painted photos
_BURNT_VALUE = 250  # in one channel: from there on, the colour is no longer the leaf's
_GREEN_HUES_DEG = (92.0, 172.0)  # hue of healthy tissue in any common daylight
_BLUE_CAST = -0.1  # redness; 14 of 1475 real photos lie below, and 95 of 100 with colours swapped
_LEAST_SIDE_PX = 16  # in a narrower photo nothing can be said of its sharpness
_SWAPPED = -0.6  # of 664 leaves in the field, bluish shade among them, none lies below


@dataclass(frozen=True)
class LightReading:
    """Light and sharpness on one leaf.

    Attributes
    ----------
    blur : float
        0 sharp to 1 blurred (Crété-Roffet et al. 2007, Proc. SPIE 6492, 64920I).
    lightness : float
        Median L* of the leaf.
    burnt_share : float
        Share of the leaf's pixels that are burnt out in a channel at least, 0 to 1.
    hue_deg : float or None
        Hue angle of the healthy tissue; None where there is none.
    redness : float
        How far the leaf's red outweighs its blue, in natural-log units of linear light; exchanging
        the two turns its sign. See `_redness`.
    """

    blur: float
    lightness: float
    burnt_share: float
    hue_deg: float | None
    redness: float


def read_light(
    pixels: NDArray[np.uint8],
    lab: NDArray[np.float32],
    leaf: NDArray[np.bool_],
    healthy: Healthy,
) -> LightReading:
    """Read sharpness and light on one leaf.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the same picture.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's pixels; at least one.
    healthy : Healthy
        The leaf's healthy colour.
    """
    lightness = np.ascontiguousarray(lab[..., 0])
    at = np.flatnonzero(leaf)
    some = at[:: max(1, len(at) // 20_000)]
    brightest = np.maximum.reduce(cv2.split(pixels))
    burnt = np.count_nonzero((brightest >= _BURNT_VALUE) & leaf) / len(at)
    hue = float(np.degrees(np.arctan2(healthy.lab[2], healthy.lab[1])) % 360)
    return LightReading(
        blur=_blur(lightness, leaf),
        lightness=float(np.median(np.take(lightness, some))),
        burnt_share=float(burnt),
        hue_deg=hue if healthy.share > 0 else None,
        redness=_redness(pixels.reshape(-1, 3)[some]),
    )


def _redness(colours: NDArray[np.uint8]) -> float:
    """Tell a leaf from a leaf whose red and blue were exchanged, in cool light too.

    Carotenoids and chlorophyll take more blue than red from the light, so the median of
    ln(red ÷ blue) is above 0; in the cool light of a deep shade it may be below. But in any light
    veins and yellow and brown tissue lie farther above the median than gloss and shade below it,
    so the skewness is added, twice, which parts real photos from exchanged ones best.
    """
    light = LINEAR_LIGHT[colours] + DARK
    low, middle, high = np.percentile(np.log(light[:, 0] / light[:, 2]), (10, 50, 90))
    return float(middle + 2 * (high + low - 2 * middle))


def is_blurred(pixels: NDArray[np.uint8]) -> bool:
    """Tell whether nothing in a photo is sharp, so that no leaf stands out.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, at the size at which leaves are judged.
    """
    if min(pixels.shape[:2]) < _LEAST_SIDE_PX:
        return False
    lightness = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.float32)
    return _blur(lightness, np.ones(lightness.shape, bool)) > _BLUR_LIMIT


def _blur(lightness: NDArray[np.float32], leaf: NDArray[np.bool_]) -> float:
    """How little a second blur changes the picture, the worse of both directions."""
    inner = cv2.erode(leaf.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    if min(lightness.shape) < 2 or not inner.any():
        return 0.0
    return max(_blur_along(lightness, inner, axis) for axis in (0, 1))


def _blur_along(lightness: NDArray[np.float32], inner: NDArray[np.bool_], axis: int) -> float:
    width, height = ((1, 9), (9, 1))[axis]
    keep = np.ascontiguousarray(inner[1:] if axis == 0 else inner[:, 1:]).view(np.uint8)
    before = _steps(lightness, axis)
    after = _steps(np.asarray(cv2.blur(lightness, (width, height)), np.float32), axis)
    # OpenCV's sums of what a mask lets through take a seventh of NumPy's time here.
    _, less = cv2.threshold(cv2.subtract(before, after), 0, 0, cv2.THRESH_TOZERO)
    lost = cv2.mean(less, keep)[0]
    total = cv2.mean(before, keep)[0]
    return 1 - lost / total if total > 0 else 1.0


def _steps(plane: NDArray[np.float32], axis: int) -> NDArray[np.float32]:
    """Return how much each pixel differs from the one before it."""
    ahead, behind = (plane[1:], plane[:-1]) if axis == 0 else (plane[:, 1:], plane[:, :-1])
    return np.asarray(cv2.absdiff(ahead, behind), np.float32)


def light_flags(light: LightReading) -> tuple[str, ...]:
    """Name what is wrong with the light, in the order of the registry."""
    return tuple(
        name
        for name, wrong in (
            ("blurred", light.blur > _BLUR_LIMIT),
            ("too_dark", light.lightness < _DARK_LIGHTNESS),
            ("over_exposed", light.burnt_share > _BURNT_SHARE),
            ("colour_cast", not _natural(light)),
            ("red_blue_swapped", light.redness < _SWAPPED),
        )
        if wrong
    )


def _natural(light: LightReading) -> bool:
    low, high = _GREEN_HUES_DEG
    return light.redness >= _BLUE_CAST and (light.hue_deg is None or low <= light.hue_deg <= high)
