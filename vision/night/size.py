"""Length and width of a counted body at half of its own brightness.

A body is found by a low cut, so that dim parts belong to it; blur and glare then widen it. Its size
is read where the glow across it falls to a half, which blur moves little.
"""

import numpy as np
from numpy.typing import NDArray

from vision.night.body import STATIONS, Body
from vision.night.features import normals_of, remapped
from vision.night.light import NightLight

__all__ = ["size_at_half"]

_REACH = 0.9  # widths to each side
_SAMPLES = 61
_HALF = 0.5

Floats = NDArray[np.float64]


def size_at_half(body: Body, night: NightLight) -> tuple[float, float]:
    """Return length and width of a body in working pixels.

    Parameters
    ----------
    body : Body
        From ``vision.night.decide``.
    night : NightLight
        The photo.
    """
    cut = STATIONS // 5
    line = body.midline[cut:-cut]
    offsets = np.linspace(-_REACH, _REACH, _SAMPLES) * body.width
    points = line[:, None] + normals_of(body.midline)[cut:-cut, None] * offsets[:, None]
    profile = remapped(night.glow, points)
    middle = profile[:, _SAMPLES // 3 : -_SAMPLES // 3]
    own = np.percentile(middle, 75, axis=1, keepdims=True)
    inside = _connected_to_middle(profile >= _HALF * own)
    step = offsets[1] - offsets[0]
    width = float(np.median(inside.sum(axis=1)) * step)
    width = min(max(width, step), body.width)
    return max(body.length - (body.width - width), width), width


def _connected_to_middle(bright: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Keep what is connected to the middle column, row by row."""
    middle = bright.shape[1] // 2
    right = np.logical_and.accumulate(bright[:, middle:], axis=1)
    left = np.logical_and.accumulate(bright[:, middle::-1], axis=1)[:, ::-1]
    return np.concatenate([left, right[:, 1:]], axis=1)
