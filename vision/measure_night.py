"""The story of a UV night photo: what glows, and which of it are caterpillars."""

import numpy as np

from vision.flags import FLAGS
from vision.records import NightMeasurement, NightReading, Photo
from vision.torch_off import without_stray_light
from vision.uv import is_uv_photo

__all__ = ["measure_night_photo"]


def measure_night_photo(photo: Photo, torch_off: Photo | None = None) -> NightMeasurement:
    """Count the caterpillars of a UV night photo.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.read_photo``.
    torch_off : Photo, optional
        The same scene with the torch off; passed over, with a flag, when its size differs.

    Returns
    -------
    NightMeasurement
        Without a count, and with the flag ``not_uv_photo``, where the photo is no UV photo.
    """
    pixels, flags, used = photo.pixels, photo.flags, False
    if torch_off is not None:
        used = torch_off.pixels.shape == pixels.shape
        if used:
            pixels = without_stray_light(pixels, torch_off.pixels)
        else:
            flags = (*flags, "torch_off_unfit")
    empty = np.zeros(photo.pixels.shape[:2], np.uint8)
    if not is_uv_photo(pixels):
        flags = (*flags, "not_uv_photo")
    ordered = tuple(name for name in FLAGS if name in flags)
    return NightMeasurement(NightReading(flags=ordered, torch_off_used=used), empty)
