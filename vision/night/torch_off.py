"""Torch-off photos: the same scene without the UV torch, so that stray light can be subtracted.

A photo ``plant.jpg`` has its torch-off photo beside it as ``plant-off.jpg``, with any photo
ending. What shines in both, such as a lamp, a screen or the moon, is not the torch's doing.
"""

from collections.abc import Sequence
from pathlib import PurePosixPath

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT, encoded
from vision.photo.find import PhotoFile

__all__ = ["TORCH_OFF_ENDING", "pair_torch_off", "without_stray_light"]

TORCH_OFF_ENDING = "-off"
"""What the name of a torch-off photo has more than the photo's own, before the file's ending."""

_SPREAD_SHARE = 0.004  # of the long side: by so much a hand moves between the two photos
_STEPS = 4095


def pair_torch_off(
    photos: Sequence[PhotoFile],
) -> tuple[tuple[PhotoFile, ...], dict[str, PhotoFile]]:
    """Part torch-off photos from the photos that they belong to.

    Parameters
    ----------
    photos : sequence of PhotoFile
        As found.

    Returns
    -------
    photos : tuple of PhotoFile
        Those that stand for themselves, in the same order. A photo whose name ends in ``-off``
        without a photo of the shorter name beside it stands for itself.
    torch_off : dict of str to PhotoFile
        Each torch-off photo by the name of the photo that it belongs to.
    """
    stems = {_stem(photo) for photo in photos}
    off = {_stem(photo): photo for photo in photos if _owner(photo) in stems}
    owners = {_owner(photo): photo for photo in off.values()}
    kept = tuple(photo for photo in photos if _stem(photo) not in off)
    return kept, {one.name: owners[_stem(one)] for one in kept if _stem(one) in owners}


def _stem(photo: PhotoFile) -> str:
    return str(PurePosixPath(photo.name).with_suffix("")).lower()


def _owner(photo: PhotoFile) -> str:
    stem = _stem(photo)
    return stem.removesuffix(TORCH_OFF_ENDING) if stem.endswith(TORCH_OFF_ENDING) else ""


def without_stray_light(pixels: NDArray[np.uint8], off: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Subtract, in linear light, what shines with the torch off.

    Each point loses the brightest that stands within a small reach of it in the other photo, since
    no hand holds still between the two.

    Parameters
    ----------
    pixels, off : ndarray of uint8, shape (rows, columns, 3)
        sRGB of the same size, red first; not changed.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB, read-only.
    """
    reach = 2 * max(1, round(_SPREAD_SHARE * max(pixels.shape))) + 1
    stray = cv2.dilate(off, np.ones((reach, reach), np.uint8))
    light = np.maximum(cv2.LUT(pixels, LINEAR_LIGHT) - cv2.LUT(stray, LINEAR_LIGHT), 0)
    coded = np.asarray(_coded()[np.rint(light * _STEPS).astype(np.int32)], np.uint8)
    coded.setflags(write=False)
    return coded


def _coded() -> NDArray[np.uint8]:
    """Return sRGB values (IEC 61966-2-1) of evenly spaced steps of linear light."""
    return np.asarray(np.rint(255 * encoded(np.linspace(0, 1, _STEPS + 1))), np.uint8)
