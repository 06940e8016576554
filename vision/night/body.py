"""Bodies of a night photo: each glowing region laid straight along its midline.

A body is sampled on a grid that runs along it and across it, so that length, width, ends, bend and
marks are read off directly, however it is bent.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property
from math import ceil

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night.light import NightLight
from vision.night.midline import Line, longest_midline, midlines
from vision.night.parting import usual_half_width, ways_to_part
from vision.night.parting_by_hue import parted_by_hue
from vision.night.regions import Region
from vision.raster import distance_inside, largest_part

__all__ = ["STATIONS", "Body", "Parted", "bodies_of", "lay_straight"]

STATIONS = 40
"""Points along a midline at which a body is measured."""

_WORK_HALF_WIDTH_PX = 6.0  # masks are brought to about this half-width before they are thinned
_MOST_ENLARGED = 4.0
_MOST_SIDE_PX = 400
_MARGIN_PX, _MARGIN_LEFT_PX = 3, 1.5  # of the working picture, and of the mask when it is reduced
_STANDS_OUT = 0.8  # ln of how many times greener than foliage: else no groove is looked for

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Body:
    """One elongated thing at the working scale; rows and columns of the working picture.

    Attributes
    ----------
    midline : ndarray of float64, shape (STATIONS, 2)
        Row and column, evenly spaced from end to end.
    widths : ndarray of float64, shape (STATIONS,)
        Width across at each station.
    mask : ndarray of bool, shape (rows, columns)
        Its own pixels in the window that begins at ``top`` and ``left``.
    top, left : int
        Corner of the window.
    arms : int
        Arms of the connected region it was parted from; 1 when it was not parted.
    gap_share : float
        Share of the length that is hidden between two seen pieces; 0 for one piece.
    region_share : float
        Share of the connected region's pixels; 1 when it was not parted.
    cut_ends : tuple of bool
        Whether the region goes on, as another part, beyond the midline's first and last point.
    hidden : ndarray of bool, shape (STATIONS,)
        Which stations lie in a gap between two seen pieces.
    """

    midline: Floats = field(repr=False)
    widths: Floats = field(repr=False)
    mask: Bools = field(repr=False)
    top: int
    left: int
    arms: int = 1
    gap_share: float = 0.0
    region_share: float = 1.0
    cut_ends: tuple[bool, bool] = (False, False)
    hidden: Bools = field(default_factory=lambda: np.zeros(STATIONS, bool), repr=False)

    @cached_property
    def length(self) -> float:
        """Length along the midline, in working pixels."""
        return float(np.hypot(*np.diff(self.midline, axis=0).T).sum())

    @cached_property
    def width(self) -> float:
        """Usual width: median of the middle stations, in working pixels."""
        quarter = STATIONS // 5
        return float(max(np.median(self.widths[quarter:-quarter]), 0.5))

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the mask's window in the working picture."""
        rows, columns = self.mask.shape
        return slice(self.top, self.top + rows), slice(self.left, self.left + columns)


@dataclass(frozen=True, eq=False)
class Parted:
    """A region as one body, and as several where bodies may cross or touch in it.

    Attributes
    ----------
    whole : Body
        All of it as one body.
    ways : tuple of tuple of Body
        Ways to part it into at least two bodies; none where nothing speaks for several.
    """

    whole: Body
    ways: tuple[tuple[Body, ...], ...] = ()


def bodies_of(region: Region, night: NightLight) -> Parted:
    """Return a region as a body, and as the bodies that may cross or touch in it.

    Parameters
    ----------
    region : Region
        From ``find_regions``.
    night : NightLight
        The photo; its glow smooths the outline of small regions.
    """
    mask, scale, row, col = _at_common_width(region)
    half = usual_half_width(mask)
    lines = midlines(mask, half)
    shape = (night.glow.shape[0], night.glow.shape[1])

    def body(line: Line, own: Bools) -> Body:
        straight = lay_straight(own, line.points, half)
        cut = _cut_ends(straight.midline, own, mask, half)
        found = _to_picture(straight, own, scale, (row, col), line.arms)
        share = np.count_nonzero(own) / max(int(np.count_nonzero(mask)), 1)
        return _within(replace(found, region_share=share, cut_ends=cut), shape)

    stands_out = bool(np.median(night.ratio[region.window][region.mask]) > _STANDS_OUT)
    glow = np.pad(night.glow[region.window], region.top - row, mode="edge")
    ways = ways_to_part(mask, lines, half, glow, stands_out=stands_out)
    parted = [tuple(body(line, own) for line, own in way) for way in ways]
    whole = body(lines[0], mask)
    of_one_hue = [_within_whole(part, whole, night) for part in parted_by_hue(region, night)]
    return Parted(whole, tuple(parted + ([tuple(of_one_hue)] if of_one_hue else [])))


def _within_whole(part: Region, whole: Body, night: NightLight) -> Body:
    """Lay a part straight at a scale of its own, and put its mask into the whole's window.

    A body may be far narrower than the paper that it lies on.
    """
    mask, scale, row, col = _at_common_width(part)
    half = usual_half_width(mask)
    straight = lay_straight(mask, longest_midline(mask), half)
    found = _to_picture(straight, mask, scale, (row, col), 2)
    found = _within(found, (night.glow.shape[0], night.glow.shape[1]))
    own = np.zeros_like(whole.mask)
    top, left = part.top - whole.top, part.left - whole.left
    room = own[top : top + part.mask.shape[0], left : left + part.mask.shape[1]]
    room[:] = part.mask[: room.shape[0], : room.shape[1]]  # windows are rounded
    share = np.count_nonzero(own) / max(int(np.count_nonzero(whole.mask)), 1)
    return replace(found, mask=own, top=whole.top, left=whole.left, region_share=min(share, 1.0))


def _cut_ends(midline: Floats, own: Bools, mask: Bools, half: float) -> tuple[bool, bool]:
    """Return whether another part of the mask lies just beyond the ends of a part's midline."""
    if own is mask:
        return False, False
    steps = np.stack([midline[0] - midline[3], midline[-1] - midline[-4]])
    steps /= np.hypot(*steps.T)[:, None] + 1e-9
    beyond = midline[[0, -1]] + 0.6 * half * steps
    first, last = _looked_up(mask & ~own, beyond)
    return bool(first), bool(last)


def _at_common_width(region: Region) -> tuple[Bools, float, int, int]:
    """Return the mask at a scale at which it is some dozen pixels wide, with an empty margin.

    Also returned: working pixels per pixel of this mask, and the row and column of its corner.
    """
    half = max(float(np.percentile(distance_inside(region.mask)[region.mask], 95)), 0.7)
    side = max(region.mask.shape) + 2 * _MARGIN_PX
    factor = min(_MOST_ENLARGED, _WORK_HALF_WIDTH_PX / half, _MOST_SIDE_PX / side)
    margin = max(_MARGIN_PX, ceil(_MARGIN_LEFT_PX / factor))
    padded = np.pad(region.mask, margin)
    soft = padded.astype(np.float32)
    if factor > 1:
        soft = np.asarray(cv2.GaussianBlur(soft, (0, 0), 0.6), np.float32)
    rows, columns = (max(3, round(side * factor)) for side in padded.shape)
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    large = cv2.resize(soft, (columns, rows), interpolation=how)
    mask = largest_part(np.asarray(large > 0.5))
    return mask, padded.shape[0] / rows, region.top - margin, region.left - margin


@dataclass(frozen=True, eq=False)
class _Straight:
    midline: Floats
    widths: Floats


def lay_straight(mask: Bools, points: Floats, half: float) -> _Straight:
    """Follow a midline to the ends of a mask, and measure the width across it.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        One body.
    points : ndarray of float64, shape (points, 2)
        Row and column along the middle; it may end short of the mask's ends.
    half : float
        Half the usual width.
    """
    smooth = _smoothed(points, half)
    whole = _evenly(np.concatenate([_out(mask, smooth, 0), smooth, _out(mask, smooth, -1)]))
    across = _normals(whole)
    reach = np.arange(0.0, 4 * half + 4, 0.5)
    sides = [_extent(mask, whole, sign * across, reach) for sign in (1, -1)]
    middle = whole + across * ((sides[0] - sides[1]) / 2)[:, None] * 0.5
    return _Straight(_evenly(middle), sides[0] + sides[1])


def _smoothed(points: Floats, half: float) -> Floats:
    """Smooth a line of pixels over about half a body's width, its ends held."""
    if len(points) < 4:
        return points if len(points) > 1 else np.concatenate([points, points + 1e-3])
    sigma = min(0.8 * half, len(points) / 6)
    reach = int(2 * sigma) + 1
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    before = 2 * points[0] - points[1 : reach + 1][::-1]
    after = 2 * points[-1] - points[-reach - 1 : -1][::-1]
    padded = np.concatenate([before, points, after])
    smooth = [np.convolve(padded[:, axis], kernel, "valid") for axis in (0, 1)]
    lost = len(points) - len(smooth[0])
    line = np.stack(smooth, axis=1)
    return line if lost <= 0 else np.concatenate([points[:1], line, points[-1:]])


def _out(mask: Bools, line: Floats, end: int) -> Floats:
    """Return points from a line's end straight on to the mask's edge, in the line's order."""
    inner = line[min(len(line) - 1, 5)] if end == 0 else line[-1 - min(len(line) - 1, 5)]
    step = line[end] - inner
    step = step / (np.hypot(*step) + 1e-9)
    way = line[end] + step * np.arange(0.5, 4 * max(mask.shape), 0.5)[:, None]
    inside = _looked_up(mask, way)
    count = int(np.argmin(inside)) if not inside.all() else len(inside)
    out = way[:count]
    return np.asarray(out[::-1] if end == 0 else out)


def _looked_up(mask: Bools, points: Floats) -> Bools:
    at = np.rint(points).astype(int)
    rows, columns = mask.shape
    within = (at >= 0).all(axis=-1) & (at[..., 0] < rows) & (at[..., 1] < columns)
    row, col = np.clip(at[..., 0], 0, rows - 1), np.clip(at[..., 1], 0, columns - 1)
    return np.asarray(mask[row, col] & within)


def _evenly(points: Floats) -> Floats:
    """Return STATIONS points evenly spaced along a line."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(steps)])
    even = np.linspace(0, way[-1], STATIONS)
    return np.stack([np.interp(even, way, points[:, axis]) for axis in (0, 1)], axis=1)


def _normals(line: Floats) -> Floats:
    ahead = np.gradient(line, axis=0)
    ahead = cv2.blur(ahead, (1, 5), borderType=cv2.BORDER_REPLICATE)
    length = np.hypot(*ahead.T)[:, None] + 1e-9
    return np.asarray(np.stack([-ahead[:, 1], ahead[:, 0]], axis=1) / length)


def _extent(mask: Bools, line: Floats, across: Floats, reach: Floats) -> Floats:
    """Return how far the mask goes on from each station in its direction."""
    points = line[:, None] + across[:, None] * reach[None, :, None]
    inside = _looked_up(mask, points)
    ends = np.where(inside.all(axis=1), len(reach), np.argmin(inside, axis=1))
    return np.asarray(np.maximum(ends - 0.5, 0) * (reach[1] - reach[0]))


def _to_picture(
    straight: _Straight, own: Bools, scale: float, corner: tuple[float, float], arms: int
) -> Body:
    """Bring a body from the scale at which it was laid straight to the working picture."""
    midline = (straight.midline + 0.5) * scale - 0.5 + np.array(corner)
    rows, columns = (max(1, round(side * scale)) for side in own.shape)
    soft = cv2.resize(own.astype(np.float32), (columns, rows), interpolation=cv2.INTER_LINEAR)
    mask = np.asarray(soft > 0.5)
    top, left = round(corner[0]), round(corner[1])
    return Body(midline, straight.widths * scale, mask, top, left, arms)


def _within(body: Body, shape: tuple[int, int]) -> Body:
    """Cut a body's window off where it reaches beyond the picture."""
    top, left = max(body.top, 0), max(body.left, 0)
    rows, columns = shape[0] - body.top, shape[1] - body.left
    mask = body.mask[top - body.top : rows, left - body.left : columns]
    midline = np.clip(body.midline, 0, np.array(shape) - 1.0)
    return replace(body, midline=midline, mask=mask, top=top, left=left)
