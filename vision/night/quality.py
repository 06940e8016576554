"""What is wrong with a UV night photo, as named flags.

Thresholds are common practice of this project, chosen on painted scenes with known troubles; no
published values exist.
"""

import cv2
import numpy as np

from vision.night.light import NightLight

__all__ = ["night_flags", "steepest_edge", "unevenness"]

_WEAK_FOLIAGE, _WEAK_BRIGHT = 0.0042, 0.014  # linear light: a few levels of sRGB
_BURNT, _BURNT_SHARE = 0.97, 0.01
_UNEVEN = 3.0
_SOFT = 0.072  # of the brightness, per pixel
_HIDDEN_BELOW, _HIDDEN_ABOVE = -2.1, 0.25  # ln; foliage of other photos lies between
_EDGE_PX = 15
_BRIGHT_TIMES, _LEAST_BRIGHT = 2.0, 0.02
_LEAST_STRONG_PX, _ENOUGH_PX = 300, 10_000


def night_flags(night: NightLight) -> tuple[str, ...]:
    """Name what is wrong with the light and the sharpness, in the order of the registry."""
    some = np.ascontiguousarray(night.light[::4, ::4])
    red, green, blue = cv2.split(some)  # numpy takes ten times as long over the last axis
    bright = float(np.percentile(red + green + blue, 97)) / 3
    burnt = float((np.minimum(np.minimum(red, green), blue) >= _BURNT).mean())
    edge = steepest_edge(night)
    weak = float(night.foliage.mean()) < _WEAK_FOLIAGE and bright < _WEAK_BRIGHT
    wrong = {
        "torch_weak": weak,
        "hot_spot": not weak and (burnt > _BURNT_SHARE or unevenness(night) > _UNEVEN),
        "shaken": edge is not None and edge < _SOFT,
        "glow_hidden": not _HIDDEN_BELOW <= night.foliage_greenness <= _HIDDEN_ABOVE,
    }
    return tuple(name for name, applies in wrong.items() if applies)


def unevenness(night: NightLight) -> float:
    """Return the torch's light where it is brightest ÷ where half of the picture is darker."""
    return float(night.torch.max() / np.median(night.torch[::4, ::4]))


def steepest_edge(night: NightLight) -> float | None:
    """Return how steep the edges of glowing things are in the direction in which they are softest.

    As a share of their own brightness, per working pixel. A shaken photo is drawn out along one
    direction, in which no steep edge is left. None where too little glows.
    """
    red, green, blue = cv2.split(night.light)
    brightest = cv2.max(cv2.max(red, green), blue)
    calm = np.asarray(cv2.GaussianBlur(brightest, (0, 0), 1.2), np.float32)
    nearby = cv2.dilate(calm, np.ones((_EDGE_PX, _EDGE_PX), np.uint8))
    strong = nearby > max(_BRIGHT_TIMES * float(night.foliage.max()), _LEAST_BRIGHT)
    count = int(np.count_nonzero(strong))
    if count < _LEAST_STRONG_PX:
        return None
    some = np.flatnonzero(strong)[:: max(1, count // _ENOUGH_PX)]
    across, down = (
        cv2.Sobel(calm, cv2.CV_32F, x, 1 - x, scale=1 / 8).ravel()[some] / nearby.ravel()[some]
        for x in (1, 0)
    )
    return min(
        float(np.percentile(np.abs(np.cos(angle) * across + np.sin(angle) * down), 98))
        for angle in np.linspace(0, np.pi, 8, endpoint=False)
    )
