"""What is wrong with a UV night photo, as named flags.

Thresholds are common practice of this project, chosen on painted scenes with known troubles; no
published values exist.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night_light import NightLight

__all__ = ["night_flags"]

_WEAK_LIGHT = 0.0035  # linear light of lit foliage: a few levels of sRGB
_BURNT = 0.97
_BURNT_SHARE = 0.02
_GREENISH = -0.15  # ln of foliage's green ÷ mean of red and blue: it then looks grey or green
_SHAKEN = 0.75


def night_flags(night: NightLight) -> tuple[str, ...]:
    """Name what is wrong with the light and the sharpness, in the order of the registry."""
    burnt = float((night.light.min(axis=2) >= _BURNT).mean())
    wrong = {
        "torch_weak": float(night.foliage.mean()) < _WEAK_LIGHT,
        "hot_spot": burnt > _BURNT_SHARE,
        "shaken": blur_of(night.pixels) > _SHAKEN,
        "glow_hidden": night.foliage_greenness > _GREENISH,
    }
    return tuple(name for name, applies in wrong.items() if applies)


def blur_of(pixels: NDArray[np.uint8]) -> float:
    """Return 0 for a sharp photo to 1 for a blurred one, the worse of both directions.

    How little a second blur changes it (Crété-Roffet et al. 2007, Proc. SPIE 6492, 64920I), where
    there is anything to see.
    """
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    calm = np.asarray(cv2.GaussianBlur(grey, (0, 0), 1.0), np.float32)
    return max(_blur_along(calm, axis) for axis in (0, 1))


def _blur_along(grey: NDArray[np.float32], axis: int) -> float:
    smooth = cv2.blur(grey, ((1, 9), (9, 1))[axis])
    before, after = (np.abs(np.diff(one, axis=axis)) for one in (grey, smooth))
    strong = before > np.percentile(before[::4, ::4], 97)
    total = float(before[strong].sum())
    lost = float(np.maximum(before - after, 0)[strong].sum())
    return 1 - lost / total if total > 0 else 0.0
