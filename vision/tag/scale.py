"""How long a millimetre is in a photo with a stake tag, and how far the tag is tilted."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import DayReading, TagReading
from vision.tag.card import CARD_MM, SIDE_MM
from vision.tag.edges import from_mm

__all__ = ["card_outline", "leaf_scale", "mm_per_px", "tilt_deg"]

Matrix = NDArray[np.float64]

_MOST_CHANGE = 1.4  # of the scale between a tilted tag and the leaves; beyond, it is a guess


def mm_per_px(tag: TagReading, row_px: float | None = None, col_px: float | None = None) -> float:
    """Return the scale that turns areas into mm², corrected for tilt.

    Parameters
    ----------
    tag : TagReading
        A tag that was read.
    row_px, col_px : float, optional
        Where the scale is wanted in the full-size photo; a tilted plane's scale changes from
        place to place. The tag's own centre by default.

    Returns
    -------
    float
        Millimetres for a pixel: root of mm² for a square pixel in the tag's plane.
    """
    mm_to_px = _homography(tag)
    px_to_mm = np.asarray(np.linalg.inv(mm_to_px), np.float64)
    if row_px is None or col_px is None:
        middle = cv2.perspectiveTransform(np.full((1, 1, 2), SIDE_MM / 2), mm_to_px)[0, 0]
        col_px, row_px = float(middle[0]), float(middle[1])
    return float(np.sqrt(abs(np.linalg.det(_slope(px_to_mm, col_px, row_px)))))


def leaf_scale(tag: TagReading, reading: DayReading | None) -> float | None:
    """Return mm per px where the leaves lie, or at the tag where there are none.

    None where the tag was refused, and where the leaves lie so far from a tilted tag that the
    scale there is a guess.
    """
    if tag.number is None:
        return None
    at_tag = mm_per_px(tag)
    if reading is None or not reading.leaves:
        return at_tag
    area = sum(leaf.area_px for leaf in reading.leaves)
    row_px = sum(leaf.row_px * leaf.area_px for leaf in reading.leaves) / area
    col_px = sum(leaf.col_px * leaf.area_px for leaf in reading.leaves) / area
    at_leaves = mm_per_px(tag, row_px, col_px)
    sure = 1 / _MOST_CHANGE < at_leaves / at_tag < _MOST_CHANGE
    return at_leaves if sure else None


def tilt_deg(tag: TagReading) -> float:
    """Angle between the tag's plane and the picture's: lengths shrink by its cosine one way."""
    mm_to_px = _homography(tag)
    stretch = np.linalg.svd(_slope(mm_to_px, SIDE_MM / 2, SIDE_MM / 2), compute_uv=False)
    return float(np.degrees(np.arccos(np.clip(stretch[1] / stretch[0], 0, 1))))


def card_outline(tag: TagReading) -> Matrix:
    """Return the whole card's corners in the full-size photo, shape (4, 2), as (row, column).

    Of a tag that was refused it is not known where its foot is: the square and the white around it.
    """
    left, top, right, bottom = CARD_MM
    if tag.number is None:
        bottom = SIDE_MM - top
    box = np.array([[[left, top], [right, top], [right, bottom], [left, bottom]]], np.float64)
    return np.asarray(cv2.perspectiveTransform(box, _homography(tag))[0, :, ::-1], np.float64)


def _homography(tag: TagReading) -> Matrix:
    """Return the homography from mm on the card to (x, y) pixels of the full-size photo."""
    return from_mm(np.array(tag.corners_px)[:, ::-1])


def _slope(homography: Matrix, x: float, y: float) -> Matrix:
    """Return the 2 × 2 derivative of a homography at a point."""
    u, v, w = homography @ np.array([x, y, 1.0])
    value = np.array([u / w, v / w])
    return np.asarray((homography[:2, :2] - np.outer(value, homography[2, :2])) / w, np.float64)
