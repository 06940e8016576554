"""Colour measures that a leaf's outline and its lesions rest on.

Log-chromaticities of linear light do not change when the light grows weaker, so that a shadow
keeps nearly the colour of what it falls on, while a leaf differs in both: it takes away blue
(carotenoids and chlorophyll) and, where alive, red.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["DARK", "LINEAR_LIGHT", "encoded", "lab_8bit", "log_chromaticity"]

DARK = np.float32(0.01)
"""Added to linear light before its logarithm, so that sensor noise in the dark stays small."""


def _linear_light() -> NDArray[np.float32]:
    """Decode sRGB as IEC 61966-2-1 (1999) gives it, for all 256 values."""
    value = np.arange(256) / 255
    low, high = value / 12.92, ((value + 0.055) / 1.055) ** 2.4
    return np.where(value <= 0.04045, low, high).astype(np.float32)


LINEAR_LIGHT = _linear_light()
"""Linear light, 0 to 1, of the 256 sRGB values (IEC 61966-2-1)."""
LINEAR_LIGHT.flags.writeable = False


def encoded(light: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
    """Return the sRGB values of linear light (IEC 61966-2-1).

    Parameters
    ----------
    light : ndarray of float, any shape
        0 to 1.

    Returns
    -------
    ndarray of float, of the same shape
        0 to 1.
    """
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def log_chromaticity(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return how much blue and how much red and blue are missing, in natural-log units.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.

    Returns
    -------
    yellowness, greenness : ndarray of float32, shape (rows, columns)
        ln((R+G)/2) − ln B and ln G − ln((R+B)/2) of linear light; both 0 for grey. The second is
        the logarithmic kin of the excess green index 2G − R − B (Woebbecke et al. 1995, Trans.
        ASAE 38:259–269).
    """
    red, green, blue = cv2.split(cv2.LUT(pixels, LINEAR_LIGHT))
    yellowness = cv2.log((red + green) * np.float32(0.5) + DARK) - cv2.log(blue + DARK)
    greenness = cv2.log(green + DARK) - cv2.log((red + blue) * np.float32(0.5) + DARK)
    return np.asarray(yellowness, np.float32), np.asarray(greenness, np.float32)


def lab_8bit(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return CIELAB (CIE 1976, D65 white) in OpenCV's 8-bit coding.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        L*·255/100, a* + 128, b* + 128.
    """
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB), np.uint8)
