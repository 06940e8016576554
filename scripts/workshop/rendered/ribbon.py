"""Long bent things with round ends: an axis with half-widths, and coordinates that follow it."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.shape import Points

__all__ = ["Ribbon", "Swath", "Window", "follow", "frame_window", "window_size"]

Window = tuple[slice, slice]


@dataclass(frozen=True, eq=False)
class Ribbon:
    """An axis of points at nearly equal steps, with half-widths.

    Attributes
    ----------
    axis : ndarray of float64, shape (points, 2)
        x and y in pixels, at least two points.
    half_width : ndarray of float64, shape (points,)
        In pixels.
    """

    axis: Points = field(repr=False)
    half_width: Points = field(repr=False)

    @property
    def length_px(self) -> float:
        """Length along the axis."""
        return float(np.hypot(*np.diff(self.axis, axis=0).T).sum())

    @property
    def area_px(self) -> float:
        """Area that the half-widths span along a gently bent axis."""
        steps = np.hypot(*np.diff(self.axis, axis=0).T)
        return float((steps * (self.half_width[1:] + self.half_width[:-1])).sum())


@dataclass(frozen=True, eq=False)
class Swath:
    """A ribbon's part of the frame, with coordinates along and across it.

    Attributes
    ----------
    window : tuple of slice
        Rows and columns of the frame.
    cover : ndarray of float32, shape of the window
        Share of each pixel that is covered, 0 to 1.
    along : ndarray of float32, shape of the window
        0 at the first end, 1 at the last.
    across : ndarray of float32, shape of the window
        -1 and 1 at the edges, 0 on the axis.
    """

    window: Window
    cover: Floats
    along: Floats
    across: Floats


def frame_window(points: Points, margin: float, shape: tuple[int, ...]) -> Window | None:
    """Return the part of a frame around points; None where too little of it lies inside."""
    low = np.maximum(np.floor(points.min(axis=0) - margin).astype(int), 0)
    high = np.minimum(np.ceil(points.max(axis=0) + margin + 1).astype(int), (shape[1], shape[0]))
    if np.any(high - low < 3):
        return None
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))


def window_size(window: Window) -> tuple[int, int]:
    """Return a window's rows and columns."""
    return window[0].stop - window[0].start, window[1].stop - window[1].start


def follow(ribbon: Ribbon, shape: tuple[int, ...]) -> Swath | None:
    """Return the ribbon's part of a frame; None where it lies outside.

    Parameters
    ----------
    ribbon : Ribbon
        The thing.
    shape : tuple of int
        Rows and columns of the frame.
    """
    widest = float(ribbon.half_width.max())
    window = frame_window(ribbon.axis, widest + 2, shape)
    if window is None:
        return None
    size = window_size(window)
    axis = ribbon.axis - (window[1].start, window[0].start)
    near = _near(axis, widest + 2, size)
    rows, cols = np.nonzero(near)
    places = np.stack([cols, rows], axis=1).astype(np.float64)
    cover, along, across = (np.zeros(size, np.float32) for _ in range(3))
    if len(places):
        cover[near], along[near], across[near] = _coordinates(axis, ribbon.half_width, places)
    return Swath(window, cover, along, across)


def _near(axis: Points, reach: float, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Return the pixels within reach of the axis."""
    canvas = np.zeros(size, np.uint8)
    points = np.rint(axis * 16).astype(np.int32)
    cv2.polylines(canvas, [points], False, 255, int(2 * reach) + 2, cv2.LINE_8, shift=4)
    return canvas > 0


def _coordinates(axis: Points, half_width: Points, places: Points) -> tuple[Points, Points, Points]:
    """Return cover, along and across of places, from the nearest point of the axis."""
    _, nearest = cKDTree(axis).query(places)
    tangent = np.gradient(axis, axis=0)
    step = np.maximum(np.hypot(*tangent.T), 1e-9)
    tangent /= step[:, None]
    away = places - axis[nearest]
    forward = (away * tangent[nearest]).sum(axis=1)
    sideways = tangent[nearest][:, 0] * away[:, 1] - tangent[nearest][:, 1] * away[:, 0]
    index = np.clip(nearest + forward / step[nearest], 0, len(axis) - 1)
    half = np.interp(index, np.arange(len(axis)), half_width)
    beyond = np.abs(forward) - 0.5 * step[nearest]  # before the first or after the last point
    ends = (nearest == 0) | (nearest == len(axis) - 1)
    distance = np.where(ends & (beyond > 0), np.hypot(sideways, beyond), np.abs(sideways))
    cover = np.clip(0.5 + half - distance, 0, 1)
    return cover, index / (len(axis) - 1), sideways / np.maximum(half, 0.5)
