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
from vision.day.lesion import LEAF_LENGTH_PX
from vision.day.tissue import leaf_lab
from vision.raster import disc, shrunk, window_around
from vision.records import DayMeasurement, LeafReading, Photo

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
_NOTCH = 0.03  # half the width of a notch in the margin, in leaf lengths
_GROUND_REACH = 0.10  # within which the ground beside a notch is averaged, in leaf lengths
_GROUND_CLEAR = 0.06  # of the ground looks bleached at most: no hole can look so
_LIGHTER_THAN_GROUND, _YELLOWER_THAN_GROUND = 8.0, 6.0  # L* and b* of bleached tissue in a notch
_RIM_PX = 3.0  # pixels at the common length
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
    ground_pale : float
        Share of what lies around a leaf that looks as bleached tissue would, 0 to 1; 1 where
        nothing of it is seen.
    ground_rough : float
        Mean difference of L* there from what lies close by: a few units on paper and boards, more
        on straw.
    """

    leaf_area_px: float
    bleached_pct: float
    unsure_pct: float
    glare_pct: float
    patch_count: int
    mask: NDArray[np.uint8] = field(repr=False)
    flags: tuple[str, ...] = ()
    ground_pale: float = 0.0
    ground_rough: float = 0.0


def read_burn(photo: Photo, measurement: DayMeasurement) -> BurnReading | None:
    """Measure bleached tissue on a day photo that has been measured.

    Parameters
    ----------
    photo : Photo
        In the light in which it was measured.
    measurement : DayMeasurement
        From ``vision.measure.measure_day``, with the photo.

    Returns
    -------
    BurnReading or None
        None where no leaf was found.
    """
    if not measurement.reading.leaves:
        return None
    mask = np.zeros(measurement.leaf_numbers.shape, np.uint8)
    area, patches, ground_pale, ground_rough = 0, 0, 0.0, 0.0
    for leaf in measurement.reading.leaves:
        own = measurement.leaf_numbers == leaf.leaf
        window, length = window_around(own, 2, 4 * _NOTCH)
        found = _read_leaf(photo.pixels[window], own[window], leaf, length)
        np.copyto(mask[window], found.mask, where=found.blade)
        area += int(np.count_nonzero(found.blade))
        patches += found.patches
        ground_pale = max(ground_pale, found.ground.pale)
        ground_rough = max(ground_rough, found.ground.rough)
    bleached, unsure, glare = (
        float(100 * np.count_nonzero(mask == kind) / area) for kind in (BLEACHED, UNSURE, GLARE)
    )
    mask.flags.writeable = False
    return BurnReading(
        float(area),
        bleached,
        unsure,
        glare,
        patches,
        mask,
        measurement.reading.flags,
        ground_pale,
        ground_rough,
    )


@dataclass(frozen=True)
class _Ground:
    """How pale and how rough is what lies around a leaf."""

    pale: float
    rough: float


@dataclass(frozen=True, eq=False)
class _LeafBurn:
    """Mask, blade with holes filled, count of bleached patches, and the ground."""

    mask: NDArray[np.uint8]
    blade: Bools
    patches: int
    ground: _Ground


def _read_leaf(pixels: NDArray[np.uint8], own: Bools, leaf: LeafReading, longest: int) -> _LeafBurn:
    """Look for burn on one leaf, at the common length."""
    factor = min(1.0, LEAF_LENGTH_PX / longest)
    small = shrunk(pixels, factor)
    seen = np.asarray(shrunk(own.astype(np.uint8) * 255, factor) > 127)
    look = _look(small, leaf.healthy_lab)
    blade = _filled(seen)
    lost, ground = _lost_margin(blade, look, factor * longest)
    blade |= lost
    # Where the ground does not look bleached, what does is tissue, though the outline left it out.
    clear = ground.pale < _GROUND_CLEAR
    tissue = blade if clear else seen
    # Beside pale ground the outermost pixels are mixed with it.
    rim = np.zeros(seen.shape, bool) if clear else seen & (_depth(blade) <= _RIM_PX)
    mask = np.zeros(blade.shape, np.uint8)
    mask[look.glare & blade] = GLARE
    core = _patches(look.pale & blade, rim)
    count = _sort_patches(mask, core, look.green & seen, tissue, factor * longest)
    size = (pixels.shape[1], pixels.shape[0])
    back = cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    whole = cv2.resize(blade.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return _LeafBurn(np.asarray(back, np.uint8), whole | own, count, ground)


def _filled(leaf: Bools) -> Bools:
    """Fill the holes of a leaf."""
    outlines, _ = cv2.findContours(leaf.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    full = np.zeros(leaf.shape, np.uint8)
    cv2.drawContours(full, outlines, -1, 1, cv2.FILLED)
    return full > 0


@dataclass(frozen=True, eq=False)
class _Look:
    """Which pixels look bleached, living and burnt out, and the colours themselves."""

    pale: Bools
    green: Bools
    glare: Bools
    lab: Floats


def _lost_margin(blade: Bools, look: _Look, length: float) -> tuple[Bools, _Ground]:
    """Return pale notches of the margin that differ from the ground, and the ground's look.

    Bleached tissue at the margin is easily left out of the outline. It is told from the ground
    between a leaf's teeth by being lighter or yellower than the ground beside; a shadow on the
    ground is darker and bluer.
    """
    reach = max(2, round(_NOTCH * length))
    padded = np.pad(blade.astype(np.uint8), reach)
    closed = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, disc(reach))[reach:-reach, reach:-reach] > 0
    # Not next to the leaf: what was lost there may reach beyond the closed notches.
    ground = _dilated(closed, 3 * reach) & ~_dilated(closed, reach)
    if not ground.any():
        return np.zeros(blade.shape, bool), _Ground(1.0, 0.0)  # nothing is known of it
    usual = _local_mean(look.lab, ground, round(_GROUND_REACH * length))
    lighter = look.lab[..., 0] - usual[..., 0] > _LIGHTER_THAN_GROUND
    yellower = look.lab[..., 2] - usual[..., 2] > _YELLOWER_THAN_GROUND
    close_by = _local_mean(look.lab, ground, max(2, reach // 2))
    rough = float(np.mean(np.abs(look.lab[..., 0] - close_by[..., 0])[ground]))
    pale = float(np.mean(look.pale[ground]))
    # Beside clear ground, all that looks bleached and touches the leaf is of the leaf.
    within = closed if pale >= _GROUND_CLEAR else _dilated(blade, 2 * reach)
    lost = within & ~blade & look.pale & (lighter | yellower)
    return _touching(lost, blade), _Ground(pale, rough)


def _touching(patches: Bools, blade: Bools) -> Bools:
    """Keep the patches that touch the blade."""
    count, labels = cv2.connectedComponents(patches.astype(np.uint8))
    kept = np.zeros(count, bool)
    kept[labels[patches & _dilated(blade, 2)]] = True
    return np.asarray(kept[labels] & patches)


def _dilated(part: Bools, radius_px: int) -> Bools:
    return np.asarray(cv2.dilate(part.astype(np.uint8), disc(radius_px)) > 0)


def _local_mean(lab: Floats, part: Bools, reach_px: int) -> Floats:
    """Average a part's colour around each pixel; the whole part's where none is near."""
    weight = part.astype(np.float32)
    size = (2 * reach_px + 1, 2 * reach_px + 1)
    near = cv2.boxFilter(weight, -1, size) + np.float32(1e-3)
    whole = np.mean(lab[part], axis=0)
    sums = cv2.boxFilter(lab * weight[..., None], -1, size) + np.float32(1e-3) * whole
    return np.asarray(sums / near[..., None], np.float32)


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
    return _Look(pale & ~glare, green_left > _GREEN_RING, glare, lab)


def _depth(part: Bools) -> Floats:
    return np.asarray(cv2.distanceTransform(part.astype(np.uint8), cv2.DIST_L2, 3), np.float32)


def _patches(pale: Bools, rim: Bools) -> Bools:
    """Take off specks, and patches that lie in the rim alone."""
    opened = cv2.morphologyEx(pale.astype(np.uint8), cv2.MORPH_OPEN, disc(1))
    count, labels = cv2.connectedComponents(opened)
    kept = np.zeros(count, bool)
    kept[labels[(opened > 0) & ~rim]] = True
    return np.asarray(kept[labels])


def _sort_patches(
    mask: NDArray[np.uint8], core: Bools, green: Bools, seen: Bools, length: float
) -> int:
    """Write patches into the mask as bleached or unsure; return the count of bleached ones."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(core.astype(np.uint8))
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
    """Whether a patch is tissue, and lies in living rather than in dead tissue."""
    if np.count_nonzero(patch & seen) < 0.5 * np.count_nonzero(patch):
        return False
    ring = _dilated(patch, width) & ~_dilated(patch, 2) & seen
    living = int(np.count_nonzero(ring & green))
    return bool(living >= _LEAST_GREEN * max(1, int(np.count_nonzero(ring))))
