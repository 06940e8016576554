"""Find bleached, dead patches on the leaves of a photo, as a spray may burn them.

Burn is white to pale tan, with little chroma, and lies on green: no dark rim, no yellow halo. Each
pixel is compared with the leaf's own healthy colour. Gloss and dew are as bright, but add white
light to green tissue, so that most of its green stays; the pale middle of a lesion lies in dark
tissue. White tissue may be taken for a hole that shows the background, so holes that look
bleached are counted beside, as unsure. Thresholds are practice of this project, chosen on painted
photos that no published figure was measured on.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT
from vision.lesion import LEAF_LENGTH_PX
from vision.raster import disc, shrunk, window_around
from vision.records import DayMeasurement, LeafReading, Photo
from vision.tissue import leaf_lab

__all__ = ["BLEACHED", "GLARE", "UNSURE", "BurnReading", "read_burn"]

BLEACHED, UNSURE, GLARE = 1, 2, 3
"""Values of the mask's pixels; 0 is all else."""

Bools = NDArray[np.bool_]
Floats = NDArray[np.float32]

_GREEN_LEFT = 0.42  # a* as a share of the healthy a*: gloss and dew keep more
_MOST_SATURATION = 0.55  # (max − min) ÷ max of linear light: halos and papery lesions have more
_LEAST_PALER = 8.0  # L* above the healthy tissue
_BURNT_OUT = 250  # in all channels: the colour is no longer the leaf's
_SMALLEST = 0.006  # diameter of the smallest patch, in leaf lengths: half a millimetre of 80
_SMALLEST_SURE = 0.010  # below, glints of gloss look alike
_RING = 0.015  # width of the ring around a patch that is looked at, in leaf lengths
_GREEN_RING = 0.5  # a* as a share of the healthy a*: a pixel of the ring is living tissue
_LEAST_GREEN = 0.6  # share of the ring


@dataclass(frozen=True, eq=False)
class BurnReading:
    """How much of the leaves of a photo is bleached.

    Attributes
    ----------
    leaf_area_px : float
        Area of all leaves in px² of ``Photo.pixels``, with holes that look bleached.
    bleached_pct : float
        Bleached tissue, percent of that area.
    unsure_pct : float
        Pale patches that may be holes, pale middles of lesions or glints, percent.
    glare_pct : float
        Burnt-out pixels, whose colour cannot be judged, percent.
    patch_count : int
        Bleached patches.
    mask : ndarray of uint8, shape of ``Photo.pixels``
        BLEACHED, UNSURE, GLARE or 0.
    flags : tuple of str
        Names from ``vision.flags`` that the day reading carries.
    """

    leaf_area_px: float
    bleached_pct: float
    unsure_pct: float
    glare_pct: float
    patch_count: int
    mask: NDArray[np.uint8] = field(repr=False)
    flags: tuple[str, ...] = ()


def read_burn(photo: Photo, measurement: DayMeasurement) -> BurnReading | None:
    """Measure bleached tissue on a day photo that has been measured.

    Parameters
    ----------
    photo : Photo
        The photo.
    measurement : DayMeasurement
        From ``vision.measure.measure_day_photo`` of the same photo.

    Returns
    -------
    BurnReading or None
        None where no leaf was found.
    """
    if not measurement.reading.leaves:
        return None
    mask = np.zeros(measurement.leaf_numbers.shape, np.uint8)
    area, patches = 0, 0
    for leaf in measurement.reading.leaves:
        own = measurement.leaf_numbers == leaf.leaf
        window, length = window_around(own, 2, 0.02)
        found, blade, count = _read_leaf(photo.pixels[window], own[window], leaf, length)
        np.copyto(mask[window], found, where=blade)
        area += int(np.count_nonzero(blade))
        patches += count
    bleached, unsure, glare = (
        float(100 * np.count_nonzero(mask == kind) / area) for kind in (BLEACHED, UNSURE, GLARE)
    )
    mask.flags.writeable = False
    return BurnReading(
        float(area), bleached, unsure, glare, patches, mask, measurement.reading.flags
    )


def _read_leaf(
    pixels: NDArray[np.uint8], own: Bools, leaf: LeafReading, longest: int
) -> tuple[NDArray[np.uint8], Bools, int]:
    """Return the mask, the blade with its holes filled, and the count of bleached patches."""
    factor = min(1.0, LEAF_LENGTH_PX / longest)
    small = shrunk(pixels, factor)
    seen = np.asarray(shrunk(own.astype(np.uint8) * 255, factor) > 127)
    blade = _filled(seen)
    look = _look(small, leaf.healthy_lab)
    mask = np.zeros(blade.shape, np.uint8)
    mask[look.glare & blade] = GLARE
    count = _sort_patches(mask, look.pale & blade, look.green & seen, seen, factor * longest)
    size = (pixels.shape[1], pixels.shape[0])
    back = cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    whole = cv2.resize(blade.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return np.asarray(back, np.uint8), whole | own, count


def _filled(leaf: Bools) -> Bools:
    """Fill the holes of a leaf."""
    outlines, _ = cv2.findContours(leaf.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    full = np.zeros(leaf.shape, np.uint8)
    cv2.drawContours(full, outlines, -1, 1, cv2.FILLED)
    return full > 0


@dataclass(frozen=True, eq=False)
class _Look:
    """Which pixels look bleached, living and burnt out."""

    pale: Bools
    green: Bools
    glare: Bools


def _look(pixels: NDArray[np.uint8], healthy_lab: tuple[float, float, float]) -> _Look:
    calm = np.asarray(cv2.blur(pixels, (3, 3)), np.uint8)
    lab = leaf_lab(calm)
    light = np.asarray(cv2.LUT(calm, LINEAR_LIGHT), np.float32)
    brightest, faintest = light.max(axis=2), light.min(axis=2)
    # A leaf without green has no yardstick: its a* is set to that of a dull green.
    green_left = lab[..., 1] / np.float32(min(healthy_lab[1], -6.0))
    pale = green_left < _GREEN_LEFT
    pale &= (brightest - faintest) < _MOST_SATURATION * brightest
    pale &= lab[..., 0] > healthy_lab[0] + _LEAST_PALER
    glare = np.asarray(pixels.min(axis=2) >= _BURNT_OUT)
    return _Look(pale & ~glare, green_left > _GREEN_RING, glare)


def _sort_patches(
    mask: NDArray[np.uint8], pale: Bools, green: Bools, seen: Bools, length: float
) -> int:
    """Write patches into the mask as bleached or unsure; return the count of bleached ones."""
    core = cv2.morphologyEx(pale.astype(np.uint8), cv2.MORPH_OPEN, disc(1))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(core)
    least, sure_from = (
        max(5.0, np.pi / 4 * (size * length) ** 2) for size in (_SMALLEST, _SMALLEST_SURE)
    )
    width = max(3, round(_RING * length))
    bleached = 0
    for number in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= least):
        if number == 0:
            continue
        window = _around(stats[number], width)
        patch = labels[window] == number
        sure = stats[number, cv2.CC_STAT_AREA] >= sure_from
        sure = sure and _is_sure(patch, green[window], seen[window], width)
        mask[window][patch] = BLEACHED if sure else UNSURE
        bleached += sure
    return bleached


def _around(stats: NDArray[np.int32], width: int) -> tuple[slice, slice]:
    left, top, columns, rows = (int(value) for value in stats[:4])
    return (
        slice(max(0, top - width), top + rows + width),
        slice(max(0, left - width), left + columns + width),
    )


def _is_sure(patch: Bools, green: Bools, seen: Bools, width: int) -> bool:
    """Whether a patch lies on the blade, and in living rather than in dead tissue."""
    if np.count_nonzero(patch & seen) < 0.5 * np.count_nonzero(patch):
        return False
    near, around = (cv2.dilate(patch.astype(np.uint8), disc(r)) > 0 for r in (2, width))
    ring = around & ~near & seen
    living = int(np.count_nonzero(ring & green))
    return bool(living >= _LEAST_GREEN * max(1, int(np.count_nonzero(ring))))
