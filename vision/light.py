"""Is the photo usable? Sharpness, brightness and colour of the light, as named flags.

Thresholds are common practice of this project, not published values; each says what it was
chosen on. They judge the leaf's own pixels, because a dark cloth behind a well-lit leaf does no
harm.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.tissue import Healthy

__all__ = ["LightReading", "light_flags", "read_light"]

_BLUR_LIMIT = 0.55  # painted leaves with a defocus of 0.7 % of their length lie above
_DARK_LIGHTNESS = 16.0  # median L*; sensor noise then hides a difference of 5 L*
_WHITE_SHARE = 0.08  # of the leaf burnt out; gloss alone stays below on the training photos
_WHITE_VALUE = 250
_GREEN_HUES_DEG = (92.0, 172.0)  # hue of healthy tissue in any common daylight
_BLUE_HUE_DEG = 188.0  # beyond, healthy tissue looks cyan: red and blue exchanged


@dataclass(frozen=True)
class LightReading:
    """Light and sharpness on one leaf.

    Attributes
    ----------
    blur : float
        0 sharp to 1 blurred (Crété-Roffet et al. 2007, Proc. SPIE 6492, 64920I).
    lightness : float
        Median L* of the leaf.
    white_share : float
        Share of the leaf's pixels that are burnt out, 0 to 1.
    hue_deg : float or None
        Hue angle of the healthy tissue; None where there is none.
    """

    blur: float
    lightness: float
    white_share: float
    hue_deg: float | None


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
    burnt = cv2.inRange(pixels, (_WHITE_VALUE,) * 3, (255,) * 3)
    white = np.count_nonzero((np.asarray(burnt) > 0) & leaf) / np.count_nonzero(leaf)
    hue = float(np.degrees(np.arctan2(healthy.lab[2], healthy.lab[1])) % 360)
    return LightReading(
        blur=_blur(lightness, leaf),
        lightness=float(np.median(lightness[leaf])),
        white_share=float(white),
        hue_deg=hue if healthy.share > 0 else None,
    )


def _blur(lightness: NDArray[np.float32], leaf: NDArray[np.bool_]) -> float:
    """How little a second blur changes the picture, the worse of both directions."""
    inner = cv2.erode(leaf.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    if not inner.any():
        return 0.0
    return max(_blur_along(lightness, inner, axis) for axis in (0, 1))


def _blur_along(lightness: NDArray[np.float32], inner: NDArray[np.bool_], axis: int) -> float:
    width, height = ((1, 9), (9, 1))[axis]
    smooth = cv2.blur(lightness, (width, height))
    keep = inner[1:] if axis == 0 else inner[:, 1:]
    before = np.abs(np.diff(lightness, axis=axis))[keep]
    after = np.abs(np.diff(smooth, axis=axis))[keep]
    lost = np.maximum(before - after, 0).sum()
    total = before.sum()
    return float(1 - lost / total) if total > 0 else 1.0


def light_flags(light: LightReading) -> tuple[str, ...]:
    """Name what is wrong with the light, in the order of the registry."""
    return tuple(
        name
        for name, wrong in (
            ("blurred", light.blur > _BLUR_LIMIT),
            ("too_dark", light.lightness < _DARK_LIGHTNESS),
            ("over_exposed", light.white_share > _WHITE_SHARE),
            ("colour_cast", light.hue_deg is not None and not _natural(light.hue_deg)),
            ("red_blue_swapped", light.hue_deg is not None and light.hue_deg > _BLUE_HUE_DEG),
        )
        if wrong
    )


def _natural(hue_deg: float) -> bool:
    return _GREEN_HUES_DEG[0] <= hue_deg <= _GREEN_HUES_DEG[1]
