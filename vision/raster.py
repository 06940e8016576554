"""Small raster operations that several stages share."""

from dataclasses import dataclass
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Turn",
    "disc",
    "distance_inside",
    "filled",
    "hull_area",
    "largest_part",
    "shrunk",
    "thinned",
    "usual_turn",
    "window_around",
]

Level = TypeVar("Level", np.uint8, np.float32)


def disc(radius_px: int) -> NDArray[np.uint8]:
    """Return a disc as a structuring element.

    Parameters
    ----------
    radius_px : int
        At least 0.

    Returns
    -------
    ndarray of uint8, shape (2·radius_px + 1, 2·radius_px + 1)
        1 inside, 0 outside.
    """
    side = 2 * radius_px + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def distance_inside(part: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return each pixel's distance in pixels from what is not the part; the frame is not.

    Parameters
    ----------
    part : ndarray of bool, shape (rows, columns)
        Not changed.
    """
    inside = cv2.distanceTransform(np.pad(part, 1).view(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(inside, np.float32)[1:-1, 1:-1]


def filled(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return a mask with all holes closed.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Not changed.
    """
    outlines, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    drawn = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(drawn, outlines, -1, 1, cv2.FILLED)
    return drawn.view(np.bool_)


def hull_area(outline: cv2.typing.MatLike) -> float:
    """Return the pixels inside the convex hull of an outline.

    Parameters
    ----------
    outline : ndarray of int32, shape (points, 1, 2)
        From ``cv2.findContours``. It runs through pixel centres: half a pixel all round belongs to
        the hull too.
    """
    hull = cv2.convexHull(outline)
    return float(cv2.contourArea(hull) + cv2.arcLength(hull, closed=True) / 2 + 1)


def largest_part(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the largest connected part of a mask.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        Not changed; returned as it is where it has no more than one part.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if count <= 2:
        return mask
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))


def shrunk(picture: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    """Make a picture smaller, each new pixel the mean of the area it covers.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns) or (rows, columns, 3)
        Not changed.
    factor : float
        New size ÷ old size; from 1 on the picture is returned as it is.

    Returns
    -------
    ndarray of uint8, shape (new rows, new columns) or (new rows, new columns, 3)
        At least one pixel each way.
    """
    if factor >= 1:
        return picture
    rows, columns = picture.shape[:2]
    size = (max(1, round(columns * factor)), max(1, round(rows * factor)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def thinned(plane: NDArray[Level], factor: float, how: int = cv2.INTER_LINEAR) -> NDArray[Level]:
    """Make a picture smaller by exactly this factor each way, but for its last pixels.

    Parameters
    ----------
    plane : ndarray of uint8 or float32, shape (rows, columns)
        Not changed. A strip so narrow that nothing would be left of it keeps one pixel.
    factor : float
        New size ÷ old size, below 1.
    how : int
        OpenCV's number of the way.
    """
    if min(round(side * factor) for side in plane.shape[:2]) >= 1:
        small = cv2.resize(plane, None, fx=factor, fy=factor, interpolation=how)
        return np.asarray(small, plane.dtype)
    rows, columns = (max(1, round(side * factor)) for side in plane.shape[:2])
    return np.asarray(cv2.resize(plane, (columns, rows), interpolation=how), plane.dtype)


def window_around(
    part: NDArray[np.bool_], least_px: int, share: float = 0.0
) -> tuple[tuple[slice, slice], int]:
    """Return the window that holds a part and some pixels around it, and the part's length.

    Parameters
    ----------
    part : ndarray of bool, shape (rows, columns)
        At least one pixel is True.
    least_px : int
        Pixels around the part at least, as far as the picture goes.
    share : float
        The same as a share of the part's length.

    Returns
    -------
    window : tuple of slice
        Rows and columns, inside the picture.
    length_px : int
        The longer side of the part's bounding box.
    """
    left, top, width, height = cv2.boundingRect(part.astype(np.uint8))
    length = max(width, height)
    pad = max(least_px, round(share * length))
    rows, columns = part.shape
    window = (
        slice(max(0, top - pad), min(rows, top + height + pad)),
        slice(max(0, left - pad), min(columns, left + width + pad)),
    )
    return window, length


@dataclass(frozen=True)
class Turn:
    """A turn by quarters, or a reflection: exchange rows and columns first, then reverse."""

    exchanged: bool
    rows_reversed: bool
    columns_reversed: bool

    def there(self, picture: NDArray[Any]) -> NDArray[Any]:
        """Turn a picture, shape (rows, columns, ...)."""
        turned = picture.swapaxes(0, 1) if self.exchanged else picture
        turned = turned[::-1] if self.rows_reversed else turned
        return np.ascontiguousarray(turned[:, ::-1] if self.columns_reversed else turned)

    def back(self, picture: NDArray[Any]) -> NDArray[Any]:
        """Turn a picture back that `there` has turned, shape (rows, columns, ...)."""
        turned = picture[:, ::-1] if self.columns_reversed else picture
        turned = turned[::-1] if self.rows_reversed else turned
        return np.ascontiguousarray(turned.swapaxes(0, 1) if self.exchanged else turned)


def usual_turn(weight: NDArray[Any]) -> Turn:
    """Return the turn that brings most of the weight to the left, and then to the top.

    A network sees a leaf a little differently upside down. Turned so first, the same picture is
    read alike however it was held.

    Parameters
    ----------
    weight : ndarray of any number, shape (rows, columns)
        Not negative, such as a mask or a brightness.
    """
    rows, columns = weight.shape
    along = weight.sum(axis=1, dtype=np.float64), weight.sum(axis=0, dtype=np.float64)
    down, across = (
        float((np.arange(size) - (size - 1) / 2) @ line) / size
        for size, line in zip((rows, columns), along, strict=True)
    )
    exchanged = abs(down) > abs(across)
    if exchanged:
        down, across = across, down
    return Turn(exchanged, down > 0, across > 0)
