"""Where exactly a tag's black square lies: its four edges as lines, to a tenth of a pixel.

An edge is looked for along profiles across it, in linear light, where a symmetric blur leaves the
place of half brightness where it was; in sRGB values a blurred edge would wander into the black.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.tag.card import CELLS, SIDE_MM

__all__ = ["Placed", "from_mm", "place_square"]

Floats = NDArray[np.float32]
Matrix = NDArray[np.float64]

_ROUNDS = 3  # the first finds the edge from the coarse corners, the next ones settle on it
_ALONG = np.linspace(0.08, 0.92, 48)  # of the side: near corners the other edge would interfere
_ACROSS = np.linspace(-1, 1, 25)
_REACH_CELLS = 0.7  # of a profile on both sides of the edge: the rim and the quiet zone are wider
_LEAST_REACH_PX = 2.0
_FAR_OFF = 2.5  # median deviations beyond which a point belongs to no straight edge


@dataclass(frozen=True, eq=False)
class Placed:
    """A black square in the photo.

    Attributes
    ----------
    mm_to_px : ndarray of float64, shape (3, 3)
        Homography from mm on the card to (x, y) pixels.
    corners : ndarray of float64, shape (4, 2)
        (x, y) in px, in the order of the coarse corners.
    crookedness : float
        Root mean square distance of edge points from their straight edges, as a share of the side.
    """

    mm_to_px: Matrix = field(repr=False)
    corners: Matrix
    crookedness: float

    @property
    def side_px(self) -> float:
        """Root of the square's area."""
        return float(np.sqrt(abs(cv2.contourArea(self.corners.astype(np.float32)))))


def place_square(light: Floats, coarse: Matrix) -> Placed | None:
    """Find a black square's edges near its coarse corners.

    Parameters
    ----------
    light : ndarray of float32, shape (rows, columns)
        Linear light.
    coarse : ndarray of float64, shape (4, 2)
        Corners as (x, y), clockwise, a few pixels off at most.

    Returns
    -------
    Placed or None
        None where the edges do not form a square seen from anywhere.
    """
    corners, crooked = coarse, 1.0
    for _ in range(_ROUNDS):
        lines = [_edge(light, corners[n], corners[(n + 1) % 4]) for n in range(4)]
        met = [_meet(lines[n - 1][0], lines[n][0]) for n in range(4)]
        if any(point is None for point in met):
            return None
        corners = np.array(met, np.float64)
        crooked = float(np.sqrt(np.mean([line[1] ** 2 for line in lines])))
    if not _plausible(corners, coarse):
        return None
    side = np.sqrt(abs(cv2.contourArea(corners.astype(np.float32))))
    return Placed(from_mm(corners), corners, crooked / float(side))


def from_mm(corners: Matrix) -> Matrix:
    """Return the homography from mm on the card to pixels.

    Parameters
    ----------
    corners : ndarray of float64, shape (4, 2)
        (x, y) of the square's corners in pixels, clockwise.

    Returns
    -------
    ndarray of float64, shape (3, 3)
    """
    square = np.array([[0, 0], [SIDE_MM, 0], [SIDE_MM, SIDE_MM], [0, SIDE_MM]], np.float32)
    there = np.ascontiguousarray(corners, np.float32)
    return np.asarray(cv2.getPerspectiveTransform(square, there), np.float64)


def _edge(light: Floats, start: Matrix, end: Matrix) -> tuple[Matrix, float]:
    """Return a line (a, b, c with ax + by = c, a² + b² = 1) and the points' deviation in px."""
    along = end - start
    length = float(np.hypot(*along))
    outwards = np.array([along[1], -along[0]]) / max(length, 1e-9)
    reach = max(_LEAST_REACH_PX, _REACH_CELLS * length / CELLS)
    feet = start + _ALONG[:, None] * along
    points = feet[:, None] + reach * _ACROSS[:, None] * outwards
    x, y = (np.ascontiguousarray(points[..., n], np.float32) for n in (0, 1))
    profile = cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    found = feet + (reach * _step_at(np.asarray(profile, np.float64)))[:, None] * outwards
    return _straight(found)


def _step_at(profile: Matrix) -> Matrix:
    """Return where each profile steps from black to white, -1 to 1: centroid of its slope."""
    slope = np.maximum(np.diff(profile, axis=1), 0)
    slope = np.where(slope < 0.15 * slope.max(axis=1, keepdims=True), 0, slope)
    middle = (_ACROSS[1:] + _ACROSS[:-1]) / 2
    return np.asarray((slope @ middle) / np.maximum(slope.sum(axis=1), 1e-9), np.float64)


def _straight(points: Matrix) -> tuple[Matrix, float]:
    """Fit a line by total least squares, once more without points far off."""
    line, off = _fit(points)
    near = np.abs(off) <= _FAR_OFF * max(float(np.median(np.abs(off))) * 1.5, 0.05)
    if np.count_nonzero(near) >= len(points) // 2:
        line, _ = _fit(points[near])
    off = points @ line[:2] - line[2]
    return line, float(np.sqrt(np.mean(off**2)))


def _fit(points: Matrix) -> tuple[Matrix, Matrix]:
    middle = points.mean(axis=0)
    _, _, turned = np.linalg.svd(points - middle, full_matrices=False)
    line = np.array([*turned[1], turned[1] @ middle])
    return line, points @ line[:2] - line[2]


def _meet(one: Matrix, other: Matrix) -> Matrix | None:
    both = np.array([one[:2], other[:2]])
    if abs(np.linalg.det(both)) < 0.1:
        return None
    return np.asarray(np.linalg.solve(both, np.array([one[2], other[2]])), np.float64)


def _plausible(corners: Matrix, coarse: Matrix) -> bool:
    """Whether the corners form a convex four-sided figure not far from where it was seen."""
    side = np.sqrt(abs(cv2.contourArea(coarse.astype(np.float32))))
    moved = np.hypot(*(corners - coarse).T).max()
    convex = cv2.isContourConvex(np.round(corners * 16).astype(np.int32))
    return bool(convex and moved < max(4.0, 0.12 * side))
