"""Masks and overlays as files: how they are named, and which reading they were made from.

A picture carries the key of its reading in its own bytes (a PNG text chunk, a JPEG comment), so
that a run sees at once whether the picture in the folder belongs to the photo of that name.
"""

import struct
import zlib
from collections import Counter
from collections.abc import Sequence
from pathlib import PurePosixPath

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.day.overlay import draw_overlay
from vision.night.overlay import draw_night_overlay
from vision.photo.address import Address, Place
from vision.records import DayMeasurement, NightMeasurement, Photo

__all__ = ["carries_key", "full_size_mask", "jpg_bytes", "mask_png", "overlay_jpg", "picture_names"]

_HAS_FILTERS = hasattr(cv2, "IMWRITE_PNG_FILTER")  # from OpenCV 4.12 on
_LABEL = b"spotlamp reading "
_HEAD_BYTES = 512
_PNG_HEADER_BYTES = 8 + 25  # signature and IHDR chunk; other chunks may follow in any order
_JPEG_QUALITY = 88
# Large even areas: run-length coding is as small as any other. Where OpenCV lets us choose the
# filter, the difference to the row above takes 25 ms for 12 megapixels instead of 105.
_PNG_SETTINGS = [
    *(cv2.IMWRITE_PNG_COMPRESSION, 1),
    *(cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE),
    *((cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_UP) if _HAS_FILTERS else ()),
]


def picture_names(names: Sequence[str]) -> list[str]:
    """Return each photo's picture name without the picture's own ending.

    The photo's ending goes, unless another photo would then have the same picture.

    >>> picture_names(["a/x.jpg", "a/y.jpg", "a/y.png"])
    ['a/x', 'a/y.jpg', 'a/y.png']
    """
    shown = [str(PurePosixPath(name).with_suffix("")) for name in names]
    while doubled := {name for name, count in Counter(shown).items() if count > 1}:
        longer = [
            name if picture in doubled else picture
            for name, picture in zip(names, shown, strict=True)
        ]
        if longer == shown:  # the same photo given twice: one picture serves both
            break
        shown = longer
    return shown


def full_size_mask(classes: NDArray[np.uint8], photo: Photo) -> NDArray[np.uint8]:
    """Return mask values at the upright photo's full size.

    Parameters
    ----------
    classes : ndarray of uint8, shape (rows, columns)
        Mask values at the size at which the photo was measured.
    photo : Photo
        The photo.

    Returns
    -------
    ndarray of uint8, shape (height_px, width_px)
    """
    if photo.reduction == 1:
        return classes
    rows, columns = classes.shape
    size = (columns * photo.reduction, rows * photo.reduction)
    large = cv2.resize(classes, size, interpolation=cv2.INTER_NEAREST)
    return large[: photo.height_px, : photo.width_px].astype(np.uint8, copy=False)


def mask_png(photo: Photo, measurement: DayMeasurement | NightMeasurement, key: str) -> bytes:
    """Return the mask as a one-channel 8-bit PNG that carries its reading's key."""
    mask = full_size_mask(measurement.classes, photo)
    png = cv2.imencode(".png", mask, _PNG_SETTINGS)[1].tobytes()
    text = b"tEXt" + b"Comment\0" + _LABEL + key.encode()
    chunk = struct.pack(">I", len(text) - 4) + text + struct.pack(">I", zlib.crc32(text))
    return png[:_PNG_HEADER_BYTES] + chunk + png[_PNG_HEADER_BYTES:]


def jpg_bytes(drawn: NDArray[np.uint8], quality: int = _JPEG_QUALITY) -> bytes:
    """Return a drawn picture as a JPEG.

    Parameters
    ----------
    drawn : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    quality : int
        Of the JPEG, 0 to 100.
    """
    picture = cv2.cvtColor(drawn, cv2.COLOR_RGB2BGR)
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def overlay_jpg(
    photo: Photo,
    measurement: DayMeasurement | NightMeasurement,
    key: str,
    patterns: Sequence[str] = (),
) -> bytes:
    """Return the overlay as a JPEG that carries its reading's key."""
    if isinstance(measurement, NightMeasurement):
        drawn = draw_night_overlay(photo, measurement)
    else:
        drawn = draw_overlay(photo, measurement, patterns)
    jpg = jpg_bytes(drawn)
    text = _LABEL + key.encode()
    return jpg[:2] + b"\xff\xfe" + struct.pack(">H", len(text) + 2) + text + jpg[2:]


def carries_key(picture: Place, key: str) -> bool:
    """Return whether the picture is there and was made from the reading with this key."""
    try:
        if isinstance(picture, Address):
            return _LABEL + key.encode() in picture.read_bytes(_HEAD_BYTES)
        with picture.open("rb") as stream:
            return _LABEL + key.encode() in stream.read(_HEAD_BYTES)
    except OSError:
        return False
