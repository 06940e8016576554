"""White balance from the tag's grey patch, in linear light."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT, encoded
from vision.records import Photo
from vision.tag.card import GREY_MM, WHITE_MM, Box

__all__ = ["CAST_THAT_MATTERS", "balanced", "white_balance"]

Matrix = NDArray[np.float64]

CAST_THAT_MATTERS = 0.1
"""Natural log of the largest gain below which a photo is left as it is.

A printed grey is neutral to about 5 %, and the measuring itself copes with mild casts: correcting
those made severity a little worse on painted photos, correcting stronger ones much better.
"""

_CLIPPED = (5, 250)  # mean levels of a patch's channel at or beyond which it says nothing
_INNER = 0.6  # of a patch's sides: its edges are blurred
_LEAST_PX = 4  # side of a patch
_UNEVEN = 0.12  # standard deviation ÷ mean: a shadow's edge, dirt or a tear lies on the patch
_GREY_TO_WHITE = (0.12, 0.6)  # grey patch ÷ white patch in linear light, whatever the printer
_TINT_APART = 0.15  # by which the two patches' tints may differ, natural-log units


@dataclass(frozen=True, eq=False)
class _Patch:
    """Mean linear light of a patch, red, green and blue, and whether a channel is clipped."""

    light: Matrix
    clipped: bool


def white_balance(pixels: NDArray[np.uint8], mm_to_px: Matrix) -> tuple[float, float, float] | None:
    """Return the gains that make the grey patch grey.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    mm_to_px : ndarray of float64, shape (3, 3)
        Homography from mm on the card to (x, y) pixels.

    Returns
    -------
    tuple of float or None
        Gains of red, green and blue in linear light, their geometric mean 1, so that brightness
        stays; None where the grey patch is clipped, where a patch is dirty, hidden or unevenly
        lit, or where both disagree. gain = target ÷ patch mean (grey-patch correction [practice]).
    """
    grey, white = (_patch(pixels, mm_to_px, box) for box in (GREY_MM, WHITE_MM))
    if grey is None or white is None or grey.clipped:
        return None
    darker = float(grey.light.mean() / white.light.mean())
    if not _GREY_TO_WHITE[0] < darker < _GREY_TO_WHITE[1]:
        return None
    tints = [np.log(light) - np.log(light).mean() for light in (grey.light, white.light)]
    if not white.clipped and np.abs(tints[0] - tints[1]).max() > _TINT_APART:
        return None
    red, green, blue = np.exp(-tints[0]).tolist()
    return red, green, blue


def balanced(photo: Photo, gains: tuple[float, float, float] | None) -> Photo:
    """Return a photo in neutral light, or as it is where its light is neutral or not known.

    Parameters
    ----------
    photo : Photo
        Not changed.
    gains : tuple of float or None
        From ``white_balance``; linear light is multiplied by them.
    """
    if gains is None or np.abs(np.log(gains)).max() < CAST_THAT_MATTERS:
        return photo
    pixels = _multiplied(photo.pixels, gains)
    pixels.flags.writeable = False
    return replace(photo, pixels=pixels)


def _multiplied(pixels: NDArray[np.uint8], gains: tuple[float, float, float]) -> NDArray[np.uint8]:
    linear = LINEAR_LIGHT[:, None].astype(np.float64) * np.array(gains)
    table = np.clip(np.rint(255 * encoded(linear)), 0, 255).astype(np.uint8)
    return np.asarray(cv2.LUT(pixels, table[None]), np.uint8)


def _patch(pixels: NDArray[np.uint8], mm_to_px: Matrix, box: Box) -> _Patch | None:
    """Return a patch's mean linear light; None where it is not seen whole and evenly lit."""
    middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    half = np.array([box[2] - box[0], box[3] - box[1]]) / 2 * _INNER
    steps = np.linspace(-1, 1, 12)
    mm = (middle + half * np.stack(np.meshgrid(steps, steps), axis=-1)).reshape(1, -1, 2)
    px = np.round(cv2.perspectiveTransform(mm, mm_to_px)[0]).astype(int)
    rows, columns = pixels.shape[:2]
    inside = (px >= 0).all() and (px[:, 0] < columns).all() and (px[:, 1] < rows).all()
    if not inside or np.ptp(px, axis=0).min() < _LEAST_PX:
        return None
    values = pixels[px[:, 1], px[:, 0]]
    means = values.mean(axis=0)
    light = LINEAR_LIGHT[values].astype(np.float64)
    even = (light.mean(axis=1).std() / max(light.mean(), 1e-6)) < _UNEVEN
    clipped = bool((means <= _CLIPPED[0]).any() or (means >= _CLIPPED[1]).any())
    return _Patch(np.maximum(light.mean(axis=0), 1e-6), clipped) if even else None
