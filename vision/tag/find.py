"""The story of a stake tag: is there one, whose is it, how long is a millimetre in the photo.

OpenCV proposes four-sided figures on a small copy. Everything that decides is done here on the
photo's own pixels: the square's edges, each cell, the tilt. A tag that is not beyond doubt is
refused with a flag. No cell is ever corrected, so for a wrong number 11 cells at least would have
to be read wrongly and surely.
"""

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT
from vision.raster import shrunk
from vision.records import Photo, TagReading
from vision.tag.card import CELLS, marker_family
from vision.tag.cells import CellReading, may_be_tag, read_cells
from vision.tag.edges import Placed, from_mm, place_square
from vision.tag.scale import tilt_deg
from vision.tag.torn import corner_of_a_tag
from vision.tag.white_balance import white_balance

__all__ = ["LEAST_SIDE_PX", "MOST_TILT_DEG", "find_tag"]

Matrix = NDArray[np.float64]

LEAST_SIDE_PX = 32
"""Smallest side of a black square that is read, at the scale of the decoded photo: 4 px a cell."""

MOST_TILT_DEG = 45.0
"""A tag tilted farther from the camera is refused: its far side has too few pixels."""

_LOOKED_AT_PX = 1000  # long side of the copy on which figures are proposed
_WINDOW_PX = 15  # of the adaptive threshold on that copy
_SMALLEST_PX = 14  # side of a figure on that copy
_TORN_WINDOW_PX, _TORN_SMALLEST_PX = 9, 20  # the same on a copy of half the size
_CROOKED = 0.012  # of the side: a card more bent or an edge more ragged gives no sure scale
_MARGIN_CELLS = 2.5  # around a figure, for its white ring and the profiles across its edges
_SAME_PLACE = 0.5  # of the side: figures nearer to each other are one


@dataclass(frozen=True, eq=False)
class _Seen:
    """A figure that looks like a tag, at the scale of the decoded photo."""

    placed: Placed
    cells: CellReading


def find_tag(photo: Photo) -> TagReading | None:
    """Find a photo's stake tag.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.decode.read_photo``; not changed.

    Returns
    -------
    TagReading or None
        None where nothing looks like a tag.
    """
    small = shrunk(photo.pixels, _LOOKED_AT_PX / max(photo.pixels.shape[:2]))
    grey = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.uint8)
    seen = _look_at_each(photo.pixels, grey)
    if not seen:
        return _torn(photo, grey)
    largest = max(seen, key=lambda one: one.placed.side_px)
    reading = _read(photo, largest)
    if len(seen) > 1:
        return replace(reading, number=None, flags=("tag_doubled",), white_balance=None)
    return reading


def _torn(photo: Photo, grey: NDArray[np.uint8]) -> TagReading | None:
    """Refuse what is left of a tag, where only a corner of it is seen."""
    half = shrunk(grey, 0.5)
    square = corner_of_a_tag(half, _TORN_WINDOW_PX, _TORN_SMALLEST_PX)
    if square is None:
        return None
    full = (square + 0.5) * _ratio(photo.pixels, half) * photo.reduction - 0.5
    corners = tuple((float(y), float(x)) for x, y in full)
    return TagReading(None, ("tag_unclear",), corners, _side_px(full))


def _ratio(pixels: NDArray[np.uint8], grey: NDArray[np.uint8]) -> Matrix:
    """Return how many pixels make one of the small copy, across and down."""
    return np.array([pixels.shape[1] / grey.shape[1], pixels.shape[0] / grey.shape[0]])


def _look_at_each(pixels: NDArray[np.uint8], grey: NDArray[np.uint8]) -> list[_Seen]:
    """Return each figure that looks like a tag, once."""
    seen: list[_Seen] = []
    for coarse in _proposed(pixels, grey):
        if any(_same_place(one.placed.corners, coarse) for one in seen):
            continue
        one = _look(pixels, coarse)
        if one and not any(_same_place(one.placed.corners, other.placed.corners) for other in seen):
            seen.append(one)
    return seen


def _proposed(pixels: NDArray[np.uint8], grey: NDArray[np.uint8]) -> list[Matrix]:
    """Return four-sided figures, (x, y) corners clockwise at the scale of ``pixels``."""
    accepted, _, rejected = _detector(max(grey.shape)).detectMarkers(grey)
    figures = [np.asarray(c, np.float64).reshape(4, 2) for c in (*accepted, *rejected)]
    ratio = _ratio(pixels, grey)
    return [(corners + 0.5) * ratio - 0.5 for corners in figures if may_be_tag(grey, corners)]


@cache
def _detector(long_px: int) -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = _WINDOW_PX
    parameters.minMarkerPerimeterRate = 4 * _SMALLEST_PX / long_px
    parameters.errorCorrectionRate = 0.0
    return cv2.aruco.ArucoDetector(marker_family(), parameters)


def _look(pixels: NDArray[np.uint8], coarse: Matrix) -> _Seen | None:
    margin = 3 + _MARGIN_CELLS * _side_px(coarse) / CELLS
    low = np.maximum(np.floor(coarse.min(axis=0) - margin).astype(int), 0)
    high = np.ceil(coarse.max(axis=0) + margin).astype(int) + 1
    part = pixels[low[1] : high[1], low[0] : high[0]]
    light = cv2.transform(cv2.LUT(part, LINEAR_LIGHT), np.full((1, 3), 1 / 3, np.float32))
    placed = place_square(np.asarray(light, np.float32), coarse - low)
    if placed is None:
        return None
    cells = read_cells(np.asarray(light, np.float32), placed)
    if not cells.like_a_tag:
        return None
    shift = np.array([[1, 0, low[0]], [0, 1, low[1]], [0, 0, 1.0]])
    return _Seen(Placed(shift @ placed.mm_to_px, placed.corners + low, placed.crookedness), cells)


def _same_place(one: Matrix, other: Matrix) -> bool:
    apart = np.hypot(*(one.mean(axis=0) - other.mean(axis=0)))
    return bool(apart < _SAME_PLACE * max(_side_px(one), _side_px(other)))


def _side_px(corners: Matrix) -> float:
    """Return the root of a four-sided figure's area."""
    return float(np.sqrt(abs(cv2.contourArea(corners.astype(np.float32)))))


def _read(photo: Photo, seen: _Seen) -> TagReading:
    corners = np.roll(seen.placed.corners, -seen.cells.turns, axis=0)
    full = (corners + 0.5) * photo.reduction - 0.5
    reading = TagReading(
        seen.cells.number,
        corners_px=tuple((float(y), float(x)) for x, y in full),
        side_px=seen.placed.side_px * photo.reduction,
    )
    reading = replace(reading, tilt_deg=tilt_deg(reading))
    flags = _doubts(seen, reading.tilt_deg)
    if flags:
        return replace(reading, number=None, flags=flags)
    return replace(reading, white_balance=white_balance(photo.pixels, from_mm(corners)))


def _doubts(seen: _Seen, tilt: float) -> tuple[str, ...]:
    """Name the first reason to refuse a tag; empty where there is none."""
    for name, holds in (
        ("tag_tilted", tilt > MOST_TILT_DEG),
        ("tag_small", seen.placed.side_px < LEAST_SIDE_PX),
        ("tag_unclear", seen.cells.number is None or seen.placed.crookedness > _CROOKED),
    ):
        if holds:
            return (name,)
    return ()
