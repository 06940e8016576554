"""Ways to part a glowing region into bodies that may cross or touch in it.

Along the arms of its midlines, at a neck, and where what is deep inside it, or bright, falls apart.
Which way holds, if any, is for the judge.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.midline import Line, midlines

__all__ = ["Way", "largest", "usual_half_width", "ways_to_part"]

_NECK = 0.6  # of the half-width on either side
_NECK_FROM_END = 1.5  # half-widths
_LEAST_PARTED_PX = 150  # at the scale at which masks are thinned
_PEAK_PX = 25  # about two bodies wide
_SEED_CUTS = ((0.0, 0.5), (0.5, 0.35), (0.0, 0.7), (0.7, 0.35))  # share of the peak, of the depth
_LEAST_SEED_SHARE, _MOST_SEEDS = 0.12, 3

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Way = list[tuple[Line, Bools]]


def ways_to_part(
    mask: Bools, lines: Sequence[Line], half: float, light: NDArray[np.float32]
) -> list[Way]:
    """Return each way as midlines with the pixels of each; none where nothing speaks for several.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        One connected region.
    lines : sequence of Line
        Its midlines, from ``vision.midline.midlines``.
    half : float
        Half its usual width in pixels.
    light : ndarray of float32, shape (rows, columns)
        How bright it is.
    """
    if len(lines) == 1:
        first = _parted_at_neck(lines[0], mask, half)
    else:
        points = [line.points for line in lines[1:]]
        first = [(line, _near(mask, points, line.points)) for line in lines[1:]]
    return [way for way in (first, _parted_at_seeds(mask, light)) if way]


def usual_half_width(mask: Bools) -> float:
    """Return half the usual width of a mask, in pixels; 1 for an empty one."""
    return float(np.percentile(_depth(mask)[mask], 90)) if mask.any() else 1.0


def largest(mask: Bools) -> Bools:
    """Return the largest connected part of a mask.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Not changed.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if count <= 2:
        return mask
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))


def _parted_at_neck(line: Line, mask: Bools, half: float) -> Way:
    """Part a mask where it narrows sharply between two bodies that touch; nothing without a neck.

    Whether they are two, or one that a stalk half covers, is for the judge.
    """
    depth = _depth(mask)
    along = depth[tuple(np.rint(line.points).astype(int).T)]
    margin = round(_NECK_FROM_END * half)
    if len(along) < 2 * margin + 3:
        return []
    neck = margin + int(np.argmin(along[margin:-margin]))
    sides = [float(np.median(part)) for part in (along[:neck], along[neck + 1 :])]
    if along[neck] > _NECK * min(sides):
        return []
    halves = [line.points[: max(neck, 1)], line.points[neck + 1 :]]
    return [(Line(points, 2), _near(mask, halves, points)) for points in halves]


def _parted_at_seeds(mask: Bools, light: NDArray[np.float32]) -> Way:
    """Part a mask into what stays connected where it is deep and bright; nothing if one does.

    Bodies that lie side by side have a darker groove between them or a narrow bridge.
    """
    if np.count_nonzero(mask) < _LEAST_PARTED_PX:
        return []
    peak = cv2.dilate(light, np.ones((_PEAK_PX, _PEAK_PX), np.uint8))
    depth = _depth(mask)
    greatest = float(depth.max())
    for bright, deep in _SEED_CUTS:
        kept = mask & (light >= bright * peak) & (depth >= deep * greatest)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(kept.astype(np.uint8))
        areas = stats[1:, cv2.CC_STAT_AREA]
        large = np.flatnonzero(areas >= _LEAST_SEED_SHARE * areas.sum()) + 1
        if 2 <= len(large) <= _MOST_SEEDS:
            return _grown(mask, [np.asarray(labels == number) for number in large])
    return []


def _depth(mask: Bools) -> NDArray[np.float32]:
    """Return how far each pixel of a mask lies from its edge."""
    return np.asarray(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5), np.float32)


def _grown(mask: Bools, seeds: list[Bools]) -> Way:
    """Give each pixel of a mask to the nearest seed, and thin each part to its midline."""
    away = np.stack(
        [cv2.distanceTransform((~seed).astype(np.uint8), cv2.DIST_L2, 5) for seed in seeds]
    )
    nearest = away.argmin(axis=0)
    found = []
    for number in range(len(seeds)):
        own = largest(mask & (nearest == number))
        line = midlines(own, usual_half_width(own))[0]
        found.append((Line(line.points, len(seeds)), own))
    return found


def _near(mask: Bools, lines: list[Floats], own: Floats) -> Bools:
    """Return the part of a mask that is nearer to one line than to the others."""
    canvas = np.full((len(lines), *mask.shape), 255, np.uint8)
    for number, line in enumerate(lines):
        canvas[number][tuple(np.rint(line).astype(int).T)] = 0
    away = [cv2.distanceTransform(one, cv2.DIST_L2, 5) for one in canvas]
    this = next(number for number, line in enumerate(lines) if line is own)
    return np.asarray(mask & (away[this] <= np.min(away, axis=0) + 1.0))
