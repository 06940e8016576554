"""Ways to part a glowing region into bodies that may cross or touch in it.

Along the arms of its midlines, at a neck or a sharp bend, and where what is deep inside it, or
bright, falls apart. Which way holds, if any, is for the judge.
"""

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night.midline import Line, longest_midline
from vision.raster import largest_part

__all__ = ["Way", "usual_half_width", "ways_to_part"]

_NECK = 0.6  # of the half-width on either side
_NECK_FROM_END = 1.5  # half-widths
_BEND_OVER, _SHARP_BEND = 2.5, 0.5  # half-widths to each side; cosine of 60°
_LEAST_PARTED_PX = 150  # at the scale at which masks are thinned
_DEPTHS, _BRIGHT = (0.5, 0.7), (0.55, 0.7, 0.82)  # of the greatest depth; of the brightness nearby
_OWN_WIDTH_PERCENT, _OWN_WIDTHS = 40, 1.2
_PEAK_REACH = 1.2  # half-widths
_LEAST_SEED_SHARE, _MOST_SEEDS = 0.12, 3

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Way = list[tuple[Line, Bools]]


def ways_to_part(
    mask: Bools,
    lines: tuple[Line, list[list[Line]]],
    half: float,
    light: NDArray[np.float32],
    *,
    stands_out: bool,
) -> list[Way]:
    """Return each way as midlines with the pixels of each; none where nothing speaks for several.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        One connected region.
    lines : tuple of Line and list of list of Line
        Its midlines, from ``vision.night.midline.midlines``.
    half : float
        Half its usual width in pixels.
    light : ndarray of float32, shape (rows, columns)
        How bright it is over the same ground at the photo's own scale: a groove between two bodies
        may be finer than the mask's pixels.
    stands_out : bool
        Whether it is bright enough for a groove to be looked for.
    """
    whole, paired = lines
    if paired:
        ways = [[(line, _along(mask, line.points)) for line in way] for way in paired]
    else:
        ways = [_parted_at_neck(whole, mask, half), _parted_at_bend(whole, mask, half)]
    ways.append(_parted_at_depth(mask))
    if stands_out:
        ways.append(_parted_at_groove(mask, light))
    return [way for way in ways if way]


def usual_half_width(mask: Bools) -> float:
    """Return half the usual width of a mask, in pixels; 1 for an empty one.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        One glowing region, or a part of one.
    """
    return float(np.percentile(_depth(mask)[mask], 90)) if mask.any() else 1.0


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
    return [] if along[neck] > _NECK * min(sides) else _parted_at(line, mask, neck)


def _parted_at_bend(line: Line, mask: Bools, half: float) -> Way:
    """Part a mask where its midline turns sharply: a body bends gently, two that meet need not."""
    points, span = line.points, max(2, round(_BEND_OVER * half))
    if len(points) < 4 * span:
        return []
    before = points[span:-span] - points[: -2 * span]
    after = points[2 * span :] - points[span:-span]
    cosine = (before * after).sum(axis=1) / (np.hypot(*before.T) * np.hypot(*after.T) + 1e-9)
    if cosine.min() > _SHARP_BEND:
        return []
    return _parted_at(line, mask, span + int(np.argmin(cosine)))


def _parted_at(line: Line, mask: Bools, place: int) -> Way:
    """Part a mask in two at a point of its midline."""
    halves = [line.points[: max(place, 1)], line.points[place + 1 :]]
    return [(Line(points, 2), _near(mask, halves, points)) for points in halves]


def _parted_at_depth(mask: Bools) -> Way:
    """Part a mask into what stays connected deep inside it: bodies with a bridge between them."""
    if np.count_nonzero(mask) < _LEAST_PARTED_PX:
        return []
    depth = _depth(mask)
    return _first_parted(mask, (depth >= share * float(depth.max()) for share in _DEPTHS))


def _parted_at_groove(mask: Bools, light: NDArray[np.float32]) -> Way:
    """Part a mask into what stays connected where it is bright: bodies side by side."""
    if np.count_nonzero(mask) < _LEAST_PARTED_PX:
        return []
    inside = _at_scale(mask, light.shape)
    seen = np.where(inside, light, np.float32(0))
    reach = 2 * max(2, round(_PEAK_REACH * usual_half_width(inside))) + 1
    peak = cv2.dilate(cv2.blur(seen, (3, 3)), np.ones((reach, reach), np.uint8))
    return _first_parted(mask, (inside & (seen >= share * peak) for share in _BRIGHT))


def _at_scale(mask: Bools, shape: tuple[int, ...]) -> Bools:
    """Return a mask over the same ground at another scale."""
    size = (shape[1], shape[0])
    return np.asarray(cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)) > 0


def _first_parted(mask: Bools, cuts: Iterable[Bools]) -> Way:
    """Part a mask by the first cut that leaves two or three large pieces."""
    for kept in cuts:
        found = cv2.connectedComponentsWithStats(kept.astype(np.uint8), connectivity=4)
        _, labels, stats, _ = found
        areas = stats[1:, cv2.CC_STAT_AREA]
        large = np.flatnonzero(areas >= _LEAST_SEED_SHARE * areas.sum()) + 1
        if 2 <= len(large) <= _MOST_SEEDS:
            size = (mask.shape[1], mask.shape[0])
            seeds = [(labels == number).astype(np.uint8) for number in large]
            fitted = [cv2.resize(one, size, interpolation=cv2.INTER_AREA) for one in seeds]
            return _grown(mask, [np.asarray(one > 0) for one in fitted])
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
        own = largest_part(mask & (nearest == number))
        if not own.any():
            return []
        found.append((Line(longest_midline(own), len(seeds)), own))
    return found


def _near(mask: Bools, lines: Sequence[Floats], own: Floats) -> Bools:
    """Return the part of a mask that is nearer to one line than to the others."""
    away = [_away(mask, line) for line in lines]
    this = next(number for number, line in enumerate(lines) if line is own)
    return np.asarray(mask & (away[this] <= np.min(away, axis=0) + 1.0))


def _along(mask: Bools, line: Floats) -> Bools:
    """Return the part of a mask that is as near to a line as the line's body is wide.

    Bodies that cross share what lies where they cross, a thin one no more of a thick one than that.
    """
    at = tuple(np.rint(line).astype(int).T)
    half = max(float(np.percentile(_depth(mask)[at], _OWN_WIDTH_PERCENT)), 1.0)
    return np.asarray(mask & (_away(mask, line) <= _OWN_WIDTHS * half + 0.5))


def _away(mask: Bools, line: Floats) -> NDArray[np.float32]:
    """Return how far each pixel lies from a line, over the gaps between its points too."""
    canvas = np.full(mask.shape, 255, np.uint8)
    course = np.rint(line[:, ::-1]).astype(np.int32)
    cv2.polylines(canvas, [course], False, 0, 1)
    return np.asarray(cv2.distanceTransform(canvas, cv2.DIST_L2, 5), np.float32)
