"""The colour of a leaf, and of its healthy tissue, in CIELAB (CIE 1976).

What is sick is judged against the leaf's own healthy colour (``vision.symptom_network``): another
light moves the leaf and its reference together.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT

__all__ = ["Healthy", "healthy_colour", "leaf_lab"]

Floats = NDArray[np.float32]

_GREEN_HUE_DEG = 104.0  # greens lie above, yellows and browns below (common practice, no source)
_LEAST_GREEN_HUE_DEG = 98.0
_LEAST_CHROMA = 3.0  # below, hue is noise


@dataclass(frozen=True)
class Healthy:
    """The colour of a leaf's healthy tissue.

    Attributes
    ----------
    lab : tuple of float
        Median CIELAB L*, a*, b*.
    share : float
        Share of the leaf's pixels near that hue, 0 to 1; 0 where there is no green.
    """

    lab: tuple[float, float, float]
    share: float


TYPICAL = Healthy((45.0, -18.0, 28.0), 0.0)
"""Assumed where a leaf shows no green: median of healthy leaves of the training photos, rounded."""


def leaf_lab(pixels: NDArray[np.uint8]) -> Floats:
    """Convert sRGB to CIELAB after a light smoothing that takes off sensor noise.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 3)
        L* from 0 to 100, a*, b*.
    """
    calm = cv2.GaussianBlur(pixels, (3, 3), 0.8)
    # By way of linear light: straight from sRGB, OpenCV interpolates in a table, which is slower
    # and up to 0.3 units off.
    light = cv2.LUT(calm, LINEAR_LIGHT)
    return np.asarray(cv2.cvtColor(light, cv2.COLOR_LRGB2LAB), np.float32)


def healthy_colour(lab: Floats, leaf: NDArray[np.bool_]) -> Healthy:
    """Find the colour of healthy tissue: the greenest hue that a good part of the leaf has.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's pixels; at least one.

    Returns
    -------
    Healthy
        ``TYPICAL`` where no hue is green.
    """
    at = np.flatnonzero(leaf)
    colours = lab.reshape(-1, 3)[at[:: max(1, len(at) // 20_000)]]
    chroma = np.hypot(colours[:, 1], colours[:, 2])
    hue = np.degrees(np.arctan2(colours[:, 2], colours[:, 1])) % 360
    peak = _greenest_hue(hue, np.minimum(chroma, 20.0))
    near = (np.abs(hue - peak) < 9) & (chroma > _LEAST_CHROMA)
    if peak < _LEAST_GREEN_HUE_DEG or np.count_nonzero(near) < 20:
        return TYPICAL
    lightness, a, b = np.median(colours[near], axis=0)
    return Healthy((float(lightness), float(a), float(b)), float(near.mean()))


def _greenest_hue(hue_deg: Floats, weight: Floats) -> float:
    counts, edges = np.histogram(hue_deg, bins=85, range=(30, 200), weights=weight)
    smooth = cv2.GaussianBlur(counts.astype(np.float32)[None], (0, 0), 2)[0]
    centres = (edges[:-1] + edges[1:]) / 2
    preferred = smooth / (1 + np.exp(-(centres - _GREEN_HUE_DEG) / 5))
    return float(centres[int(preferred.argmax())])
