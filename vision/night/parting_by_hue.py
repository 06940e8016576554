"""Parting a glowing region by the hue of its light, such as bodies from the paper they lie on.

One body glows in one hue. Paper under the torch is blue-white and often brighter than a caterpillar
on it, so that brightness alone takes both for one thing; but what is green or cyan lacks the red
and the blue that white has.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night.light import FLOOR, NightLight
from vision.night.regions import Region
from vision.raster import disc

__all__ = ["parted_by_hue"]

_PERCENTILES, _LEAST_APART, _SPREADS = (1.5, 98.5), 0.5, 1.3  # ln
_SPECKLE_PX, _RIM_PX = 1, 2  # the rim of a soft body has a little of the ground's hue
_LEAST_PART_PX, _LEAST_SHARE, _MOST_GREEN, _LEAST_REST = 25, 0.15, 3, 0.15

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]


def parted_by_hue(region: Region, night: NightLight) -> list[Region]:
    """Return the greener parts of a region, then the largest of the rest; none in one hue.

    Parameters
    ----------
    region : Region
        From ``find_regions``.
    night : NightLight
        The photo.
    """
    greenness = _greenness(night.light[region.window])
    split = _split(greenness[region.mask])
    if split is None:
        return []
    green = _calm(region.mask & (greenness >= split), _SPECKLE_PX)
    rest = _calm(region.mask & ~green, _RIM_PX)
    if np.count_nonzero(rest) < _LEAST_REST * np.count_nonzero(green):
        return []
    parts = [*_parts(green, _MOST_GREEN), *_parts(rest, 1)]
    return [_moved(part, region) for part in parts] if len(parts) > 1 else []


def _greenness(light: Floats) -> Floats:
    """Return ln of green against the (geometric) mean of red and blue."""
    logs = np.log(light + FLOOR)
    return np.asarray(logs[..., 1] - (logs[..., 0] + logs[..., 2]) / 2, np.float32)


def _split(own: Floats) -> float | None:
    """Return the greenness between two hues; None where there is but one."""
    low, high = (float(v) for v in np.percentile(own, _PERCENTILES))
    if high - low < _LEAST_APART:
        return None
    split = (low + high) / 2
    for _ in range(3):  # the middle between the means of both sides
        split = float(own[own < split].mean() + own[own >= split].mean()) / 2
    sides = own[own < split], own[own >= split]
    apart = float(sides[1].mean() - sides[0].mean())
    return split if apart > _SPREADS * float(sides[0].std() + sides[1].std()) else None


def _calm(mask: Bools, reach_px: int) -> Bools:
    """Close the pinholes of a mask and drop what is thin: print on paper, noise, a soft rim."""
    seen = np.pad(mask, 2 * reach_px).astype(np.uint8)
    closed = cv2.morphologyEx(seen, cv2.MORPH_CLOSE, disc(1))
    opened = cv2.morphologyEx(closed, cv2.MORPH_OPEN, disc(reach_px))
    rows, columns = mask.shape
    kept = opened[2 * reach_px :, 2 * reach_px :][:rows, :columns]
    return np.asarray((kept > 0) & mask)


def _parts(mask: Bools, most: int) -> list[Region]:
    """Return the largest connected parts, at most so many, none far smaller than the largest."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    areas = stats[1:, cv2.CC_STAT_AREA]
    if not len(areas):
        return []
    least = max(_LEAST_PART_PX, _LEAST_SHARE * int(areas.max()))
    large = [number + 1 for number in np.argsort(-areas)[:most] if areas[number] >= least]
    return [_region(np.asarray(labels == number), stats[number]) for number in large]


def _region(part: Bools, box: NDArray[np.integer]) -> Region:
    x, y, width, height = (int(v) for v in box[:4])
    return Region(y, x, part[y : y + height, x : x + width])


def _moved(part: Region, within: Region) -> Region:
    return replace(part, top=part.top + within.top, left=part.left + within.left)
