"""One leaf cut out of a photo and brought to the common length, and the way back."""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.day.leaf import Leaves
from vision.day.lesion import (
    LEAF_LENGTH_PX,
    Symptoms,
)
from vision.day.tissue import Healthy, healthy_colour, leaf_lab
from vision.droppings.find import (
    FoundDroppings,
)
from vision.raster import shrunk, window_around
from vision.records import (
    Lesion,
    Photo,
)

__all__ = ["Crop", "cut", "droppings_on", "full_size", "outline_of", "paste", "to_full_size"]

_OUTLINE_TOLERANCE = 0.003  # of the leaf's length


@dataclass(frozen=True, eq=False)
class Crop:
    """One leaf cut out of a photo and brought to the common length.

    Attributes
    ----------
    number : int
        Of the leaf, from 1.
    window : tuple of slice
        Rows and columns of ``Photo.pixels``.
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the same.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's own pixels.
    length : float
        The leaf's longer side, in crop pixels.
    scale : float
        Pixels of the full-size photo per crop pixel.
    origin_px : tuple of float
        Row and column of the crop's corner in the full-size photo.
    healthy : Healthy
        The leaf's own healthy colour.
    """

    number: int
    window: tuple[slice, slice]
    pixels: NDArray[np.uint8] = field(repr=False)
    lab: NDArray[np.float32] = field(repr=False)
    leaf: NDArray[np.bool_] = field(repr=False)
    length: float
    scale: float
    origin_px: tuple[float, float]
    healthy: Healthy


def cut(photo: Photo, leaves: Leaves, number: int) -> Crop:
    """Cut the leaf with a number out of its photo."""
    window, longest = window_around(leaves.numbers == number, 2, 0.02)
    pixels, leaf = photo.pixels[window], leaves.numbers[window] == number
    factor = min(1.0, LEAF_LENGTH_PX / longest)
    pixels = shrunk(pixels, factor)
    leaf = _mask_as_large(leaf, pixels.shape)
    lab = leaf_lab(pixels)
    return Crop(
        number,
        window,
        pixels,
        lab,
        leaf,
        length=factor * longest,
        scale=photo.reduction / factor,
        origin_px=(window[0].start * photo.reduction, window[1].start * photo.reduction),
        healthy=healthy_colour(lab, leaf),
    )


def _mask_as_large(mask: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Bring a mask to the size of a picture that ``shrunk`` has made smaller."""
    size = (shape[1], shape[0])
    share = cv2.resize(mask.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA)
    return np.asarray(share) > 127


def paste(
    classes: NDArray[np.uint8], numbers: NDArray[np.uint8], crop: Crop, symptoms: Symptoms
) -> None:
    """Bring a leaf's classes back to the photo's scale, inside the leaf's own outline.

    Parameters
    ----------
    classes : ndarray of uint8, shape (rows, columns)
        The photo's mask values; those of this leaf are written into it.
    numbers : ndarray of uint8, shape (rows, columns)
        ``Leaves.numbers``: 0 background, otherwise the number of the leaf.
    crop : Crop
        The leaf.
    symptoms : Symptoms
        The classes of the crop's pixels.
    """
    target = classes[crop.window]
    own = numbers[crop.window] == crop.number
    size = (target.shape[1], target.shape[0])
    inner = cv2.resize(symptoms.classes, size, interpolation=cv2.INTER_NEAREST)
    # Where rounding left a gap along the outline, the pixel is leaf.
    np.copyto(target, np.maximum(inner, 1), where=own)


def full_size(crop: Crop, position: float, axis: int) -> float:
    """Map a crop's pixel position to the full-size photo; pixel centres are whole numbers."""
    return crop.origin_px[axis] + (position + 0.5) * crop.scale - 0.5


def to_full_size(lesion: Lesion, crop: Crop) -> Lesion:
    """Return a lesion measured on a crop in pixels of the full-size photo."""
    scale = crop.scale
    return replace(
        lesion,
        row_px=full_size(crop, lesion.row_px, 0),
        col_px=full_size(crop, lesion.col_px, 1),
        area_px=lesion.area_px * scale**2,
        equivalent_diameter_px=lesion.equivalent_diameter_px * scale,
        halo_width_px=lesion.halo_width_px * scale,
        margin_distance_px=lesion.margin_distance_px * scale,
    )


def droppings_on(crop: Crop, droppings: FoundDroppings) -> NDArray[np.bool_]:
    """Return the droppings on one leaf, the size of its crop."""
    seen = droppings.mask[crop.window]
    if not seen.any():
        return np.zeros_like(crop.leaf)
    return _mask_as_large(seen, crop.leaf.shape)


def outline_of(crop: Crop) -> tuple[tuple[float, float], ...]:
    """Return the leaf's outline as rows and columns of the full-size photo."""
    outlines, _ = cv2.findContours(
        crop.leaf.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    longest = max(outlines, key=len)
    points = cv2.approxPolyDP(longest, max(0.5, _OUTLINE_TOLERANCE * crop.length), closed=True)
    return tuple(
        (full_size(crop, float(y), 0), full_size(crop, float(x), 1)) for x, y in points[:, 0]
    )
