"""Parts of lessons, changed at random, with what the network for droppings should see there."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.dropping_lessons import Lesson
from vision.droppings.network import LOOKED_AT_LONG_PX, STEP_PX

__all__ = ["CROP_PX", "Crop", "cut_crop", "targets_of"]

Floats = NDArray[np.float32]
Plane = NDArray[Any]
Rng = np.random.Generator

CROP_PX = 256
_SMALLEST, _LARGEST = 0.45, 1.5  # change of size
_SMALL_PHOTO_PX, _ENLARGED = 300, (0.8, 4.0)  # small photos of whole leaves are enlarged more
_LEAST_PX = 5.0  # usual diameter of droppings in a crop
_FROM_AFAR = 0.3  # of crops are shown at half that size, as at the first looks
_AROUND_ONE = 0.6  # of crops from a photo with droppings lie around one
_CUT, _LEAST_AREA_PX = 0.45, 6  # share that must be in the crop, and pixels
_SPREAD, _LEAST_SPREAD = 0.13, 0.7  # of the hill at a middle, in diameters and in outputs
_KNOWN_SIZE = 0.3  # height of that hill from which the size is learned


@dataclass(frozen=True, eq=False)
class Crop:
    """One part of a photo.

    Attributes
    ----------
    colours : ndarray of float32, shape (CROP_PX, CROP_PX, 3)
        sRGB, about 0 to 1, red first.
    numbers : ndarray of uint16, shape (CROP_PX, CROP_PX)
        The number of the dropping at each pixel.
    no_matter : ndarray of uint8, shape (CROP_PX, CROP_PX)
        1 where it is no matter what is seen.
    whole_px : ndarray of float64, shape (droppings + 1,)
        Area of each dropping by its number, at the crop's size, in and outside of it.
    """

    colours: Floats = field(repr=False)
    numbers: NDArray[np.uint16] = field(repr=False)
    no_matter: NDArray[np.uint8] = field(repr=False)
    whole_px: NDArray[np.float64] = field(repr=False)


def cut_crop(rng: Rng, lesson: Lesson) -> Crop:
    """Cut part of a lesson, at another size, turned, mirrored, in other light."""
    pixels, truth, no_matter = lesson.pixels, lesson.truth, lesson.no_matter
    areas = np.bincount(truth.ravel())
    factor = _factor(rng, max(truth.shape), areas[1:])
    side = round(CROP_PX / factor)
    top, left = _corner(rng, truth, side)
    parts = [
        _fitted(plane[top : top + side, left : left + side], side, fill)
        for plane, fill in ((pixels, None), (truth, 0), (no_matter, 1))
    ]
    size, how = (CROP_PX, CROP_PX), cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    shown = [cv2.resize(parts[0], size, interpolation=how)]
    shown += [cv2.resize(part, size, interpolation=cv2.INTER_NEAREST) for part in parts[1:]]
    turns, mirrored = int(rng.integers(4)), bool(rng.random() < 0.5)
    colours, numbers, unclear = (_turned(plane, turns, mirrored) for plane in shown)
    whole = np.asarray(areas * factor**2, np.float64)
    return Crop(_in_other_light(rng, colours), numbers, unclear, whole)


def _factor(rng: Rng, long_px: int, areas: NDArray[np.intp]) -> float:
    """Draw the change of size; droppings stay large enough to be seen."""
    nearness = 0.5 if rng.random() < _FROM_AFAR else 1.0
    low, high = _ENLARGED if long_px <= _SMALL_PHOTO_PX else (_SMALLEST, _LARGEST)
    factor = min(float(np.exp(rng.uniform(np.log(low), np.log(high)))), LOOKED_AT_LONG_PX / long_px)
    if not (areas > 0).any():
        return nearness * factor
    return nearness * max(
        factor, _LEAST_PX / float(np.sqrt(4 * np.median(areas[areas > 0]) / np.pi))
    )


def _corner(rng: Rng, truth: NDArray[np.uint16], side: int) -> tuple[int, int]:
    """Return the first row and column: around a dropping, or anywhere."""
    rows, cols = np.nonzero(truth == rng.integers(1, max(int(truth.max()), 1) + 1))
    if len(rows) and rng.random() < _AROUND_ONE:
        middle = np.array([rows.mean(), cols.mean()]) + rng.uniform(-0.45, 0.45, 2) * side
    else:
        middle = rng.uniform((0, 0), truth.shape)
    most = np.maximum(np.array(truth.shape) - side, 0)
    top, left = np.clip(middle - side / 2, 0, most).astype(int)
    return int(top), int(left)


def _fitted(part: Plane, side: int, fill: int | None) -> Plane:
    """Continue a part that is smaller than wanted, mirrored or with a fixed value."""
    missing = (0, side - part.shape[0], 0, side - part.shape[1])
    if not any(missing):
        return part
    how = cv2.BORDER_REFLECT if fill is None else cv2.BORDER_CONSTANT
    return np.asarray(cv2.copyMakeBorder(part, *missing, how, value=fill or 0))


def _turned(plane: Plane, turns: int, mirrored: bool) -> Plane:
    return np.ascontiguousarray(np.rot90(plane[:, ::-1] if mirrored else plane, turns))


def _in_other_light(rng: Rng, pixels: Plane) -> Floats:
    """Change exposure, tint and contrast; now and then add noise or blur."""
    colours = pixels.astype(np.float32) / np.float32(255)
    gains = np.exp(rng.normal(0, 0.15) + rng.normal(0, 0.05, 3)).astype(np.float32)
    colours = np.clip(colours * gains, 0, 1) ** np.float32(np.exp(rng.normal(0, 0.15)))
    if rng.random() < 0.3:
        grain = rng.standard_normal(colours.shape, dtype=np.float32)
        colours = colours + np.float32(rng.uniform(0, 0.03)) * grain
    if rng.random() < 0.2:
        colours = np.asarray(cv2.GaussianBlur(colours, (0, 0), rng.uniform(0.4, 1.0)), np.float32)
    return colours


def targets_of(crop: Crop) -> Floats:
    """Return what the network should see.

    Returns
    -------
    ndarray of float32, shape (5, CROP_PX / STEP_PX, CROP_PX / STEP_PX)
        Hills of height 1 at the middles; 1 at the middles alone; natural log of the diameter in
        outputs near them, 0 elsewhere; share of droppings; and 0 where it is no matter, else 1.
    """
    side = CROP_PX // STEP_PX
    hills, tops, sizes = np.zeros((3, side, side), np.float32)
    size = (side, side)
    inside = cv2.resize((crop.numbers > 0).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    matters = (1 - _widened(crop.no_matter, 3, size)).astype(np.float32)
    down, right = np.mgrid[0:side, 0:side].astype(np.float32)
    for number in np.unique(crop.numbers[crop.numbers > 0]):
        own = crop.numbers == number
        area = np.count_nonzero(own)
        if area < _CUT * crop.whole_px[number] or area < _LEAST_AREA_PX:
            matters[_widened(own.astype(np.uint8), 5, size) > 0] = 0
        elif np.mean(crop.no_matter[own]) <= 0.5:
            row, col = ((np.mean(at) + 0.5) / STEP_PX - 0.5 for at in np.nonzero(own))
            wide = np.sqrt(4 * area / np.pi) / STEP_PX
            spread = max(_LEAST_SPREAD, _SPREAD * wide)
            hill = np.exp(-((down - row) ** 2 + (right - col) ** 2) / (2 * spread**2))
            hills = np.maximum(hills, hill)
            sizes[hill > _KNOWN_SIZE] = np.log(wide)
            tops[min(max(round(row), 0), side - 1), min(max(round(col), 0), side - 1)] = 1
    return np.stack([hills, tops, sizes, inside, matters]).astype(np.float32)


def _widened(mask: NDArray[np.uint8], side: int, size: Sequence[int]) -> NDArray[np.uint8]:
    wide = cv2.dilate(mask, np.ones((side, side), np.uint8))
    return np.asarray(cv2.resize(wide, size, interpolation=cv2.INTER_NEAREST), np.uint8)
