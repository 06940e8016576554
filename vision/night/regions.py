"""Connected glowing regions of a night photo, cut at a share of the brightness nearby.

A fixed threshold would swell bright bodies by the glare around them and lose dim ones. So each
region is cut at a share of its own brightest part nearby; what the cut leaves over is looked
through again, so that a dim body beside a bright tag is found too.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night.light import NightLight
from vision.raster import disc

__all__ = ["MOST_REGIONS", "Region", "find_regions"]

MOST_REGIONS = 120
"""The largest are looked at: a meadow of dew has more, and none of the rest matters."""

_LEAST_GLOW = 0.25  # green beyond the foliage's, in units of the torch's light on foliage
_LEAST_RATIO = (0.18, 0.4)  # ln of how many times more green than foliage would send back
_RATIO_PER_LN_GLOW = 0.1  # less of it is asked of what is brighter: a leaf in the beam is not
_NOISE_MADS = 6.0
_LEAST_LIGHT = 0.002  # linear; below it, a few levels of sRGB are mostly noise and JPEG's blocks
_CUT = 0.22  # of the brightness nearby: about half of it as the eye and sRGB see it
_NEARBY_PX = 41
_LEAST_AREA_PX = 12
_BURNT = 0.9  # linear light
_ROUNDS = 3
_RIM_PX = 3  # glare and blur around what has been cut out
_LARGEST_HOLE = 0.2  # of the region: marks on a body are filled, a ring stays a ring

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Region:
    """A connected region at the working scale.

    Attributes
    ----------
    top, left : int
        Corner of its window in the working picture.
    mask : ndarray of bool, shape (rows, columns)
        The region in its window, which fits it tightly.
    """

    top: int
    left: int
    mask: Bools = field(repr=False)

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the window in the working picture."""
        rows, columns = self.mask.shape
        return slice(self.top, self.top + rows), slice(self.left, self.left + columns)

    @property
    def area_px(self) -> int:
        """Pixels of the region."""
        return int(np.count_nonzero(self.mask))


def find_regions(night: NightLight) -> list[Region]:
    """Return the glowing regions, largest first.

    Parameters
    ----------
    night : NightLight
        From ``read_night_light``.
    """
    left = _above_floor(night)
    taken = np.zeros(left.shape, np.uint8)
    found: list[Region] = []
    for _ in range(_ROUNDS):
        cut = [
            part
            for region in _connected(left)
            if not _is_rim(night.glow, region, taken)
            for part in _at_share(night.glow, region)
        ]
        if not cut:
            break
        found += cut
        for region in cut:
            taken[region.window] |= region.mask.astype(np.uint8)
        left &= cv2.dilate(taken, disc(_RIM_PX)) == 0
    found.sort(key=lambda region: -region.area_px)
    return found[:MOST_REGIONS]


def _above_floor(night: NightLight) -> Bools:
    """Glow beyond noise, and more green than any foliage might have."""
    step = max(1, min(night.glow.shape) // 200)
    some = night.glow[::step, ::step]
    middle = float(np.median(some))
    noise = 1.48 * float(np.median(np.abs(some - middle)))
    floor = max(_LEAST_GLOW, middle + _NOISE_MADS * noise)
    seen = night.glow * night.torch > _LEAST_LIGHT
    asked = _LEAST_RATIO[1] - _RATIO_PER_LN_GLOW * cv2.log(night.glow / _LEAST_GLOW + 1e-6)
    asked = np.clip(asked, *_LEAST_RATIO)
    # What is burnt out has lost its hue.
    green = (night.ratio > asked) | (night.light[..., 1] > _BURNT)
    return np.asarray((night.glow > floor) & green & seen)


def _connected(where: Bools, top: int = 0, left: int = 0) -> Iterator[Region]:
    """Yield the connected parts of a mask that are large enough."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(where.astype(np.uint8))
    for number in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= _LEAST_AREA_PX) + 1:
        x, y, width, height, _ = (int(v) for v in stats[number])
        own = labels[y : y + height, x : x + width] == number
        yield Region(top + y, left + x, np.asarray(own))


def _at_share(glow: NDArray[np.float32], region: Region) -> Iterator[Region]:
    """Cut one region at a share of its own brightness nearby; it may fall into several."""
    seen = np.where(region.mask, glow[region.window], np.float32(0))
    calm = cv2.blur(seen, (3, 3), borderType=cv2.BORDER_REPLICATE)
    peak = cv2.dilate(calm, np.ones((_NEARBY_PX, _NEARBY_PX), np.uint8))
    kept = region.mask & (seen >= np.float32(_CUT) * peak)
    closed = cv2.morphologyEx(kept.astype(np.uint8), cv2.MORPH_CLOSE, disc(1))
    for part in _connected(np.asarray(closed > 0), region.top, region.left):
        yield Region(part.top, part.left, _filled(part.mask))


def _filled(mask: Bools) -> Bools:
    """Fill the small holes of a region."""
    outside = cv2.copyMakeBorder((~mask).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=1)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(outside, connectivity=4)
    if count <= 2:
        return mask
    small = stats[:, cv2.CC_STAT_AREA] <= _LARGEST_HOLE * np.count_nonzero(mask)
    small[0] = small[labels[0, 0]] = False
    return np.asarray(mask | small[labels[1:-1, 1:-1]])


def _is_rim(glow: NDArray[np.float32], region: Region, taken: NDArray[np.uint8]) -> bool:
    """Whether a region is only the glare around what was cut out before: brightest beside it."""
    rows, columns = region.window
    reach = _RIM_PX + 2
    window = (
        slice(max(rows.start - reach, 0), rows.stop + reach),
        slice(max(columns.start - reach, 0), columns.stop + reach),
    )
    if not taken[window].any():
        return False
    beside = cv2.dilate(taken[window], disc(reach)) > 0
    own = np.zeros(beside.shape, bool)
    top, left = rows.start - window[0].start, columns.start - window[1].start
    own[top : top + region.mask.shape[0], left : left + region.mask.shape[1]] = region.mask
    bright = own & (glow[window] >= np.percentile(glow[window][own], 85))
    return bool(np.count_nonzero(bright & beside) > 0.3 * np.count_nonzero(bright))
