"""What is left of a torn or half-hidden tag: one whole corner of the black rim with both its edges.

Nothing is read from it. It is only noticed, so that the photo gets a flag and its owner knows why
the tag was not used.
"""

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.tag.card import CELL_MM, CELLS
from vision.tag.cells import sampled_at
from vision.tag.edges import from_mm

__all__ = ["corner_of_a_tag"]

Matrix = NDArray[np.float64]

_ROUGH = 0.014  # of a figure's perimeter: smaller bends are no corners
_LEAST_POINTS = 5  # of a figure: specks have fewer
_COMPACT = 0.006  # area ÷ squared perimeter: textures have less, half a square 0.04
_MOST_CORNERS = 24
_RIGHT_ANGLE = 0.45  # cosine: a square seen aslant has corners of 65 to 115 degrees
_UNEQUAL = 1.5  # length of one whole edge, of the other's
_LEAST_LEVELS = 30  # grey levels between paper and ink
_CLEAR = 0.3  # of these: how far a cell may lie from both
_MOSTLY = 0.85  # of the cells near the corner that must be clear
_OF_EACH = 3  # cells of each kind within the rim near the corner, at least


def corner_of_a_tag(grey: NDArray[np.uint8], window_px: int, least_px: float) -> Matrix | None:
    """Find the corner of a tag of which the rest is torn off or hidden.

    Parameters
    ----------
    grey : ndarray of uint8, shape (rows, columns)
        The photo, small: about 500 pixels along the long side, for this takes time.
    window_px : int
        Window of the adaptive threshold.
    least_px : float
        Shortest edge that counts.

    Returns
    -------
    ndarray of float64, shape (4, 2), or None
        Where the whole square would be, (x, y); None where there is no such corner.
    """
    dark = cv2.adaptiveThreshold(
        grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, window_px, 7
    )
    figures, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    for figure in figures:
        if len(figure) < _LEAST_POINTS:
            continue
        perimeter = cv2.arcLength(figure, closed=True)
        if perimeter < 3 * least_px or cv2.contourArea(figure) < _COMPACT * perimeter**2:
            continue
        bends = cv2.approxPolyDP(figure, _ROUGH * perimeter, closed=True)[:, 0].astype(np.float64)
        for square in _squares(bends, least_px):
            if _is_corner(grey, square):
                return square
    return None


def _squares(bends: Matrix, least_px: float) -> Iterator[Matrix]:
    """Yield the square that each right-angled corner with two long edges belongs to."""
    if not 4 <= len(bends) <= _MOST_CORNERS:
        return
    before, after = np.roll(bends, 1, axis=0) - bends, np.roll(bends, -1, axis=0) - bends
    lengths = np.stack([np.hypot(*before.T), np.hypot(*after.T)])
    shorter, longer = lengths.min(axis=0), lengths.max(axis=0)
    cosine = np.abs((before * after).sum(axis=1)) / np.maximum(shorter * longer, 1e-9)
    fit = (shorter >= least_px) & (longer <= _UNEQUAL * shorter) & (cosine < _RIGHT_ANGLE)
    for n in np.flatnonzero(fit):
        corner, one, other = bends[n], before[n], after[n]
        yield np.array([corner, corner + one, corner + one + other, corner + other])


def _is_corner(grey: NDArray[np.uint8], square: Matrix) -> bool:
    """Whether both edges have a black rim in a white ring, and clear cells within."""
    along = (np.arange(-1, CELLS + 1) + 0.5) * CELL_MM
    seen = sampled_at(grey, from_mm(square), along).astype(np.float64)
    ring = np.concatenate([seen[0], seen[1:, 0]])
    rim = np.concatenate([seen[1, 1:-1], seen[2:-1, 1]])
    paper, ink = float(np.median(ring)), float(np.median(rim))
    if paper - ink < _LEAST_LEVELS:
        return False
    middle = (paper + ink) / 2
    if np.count_nonzero(rim > middle) > 1 or np.count_nonzero(ring < middle) > 2:
        return False
    rows, columns = np.indices((CELLS - 2, CELLS - 2))
    near = seen[2:-2, 2:-2][rows + columns < CELLS - 2]
    white = np.count_nonzero(near > middle)
    clear = np.minimum(np.abs(near - paper), np.abs(near - ink)) < _CLEAR * (paper - ink)
    return bool(min(white, near.size - white) >= _OF_EACH and clear.mean() >= _MOSTLY)
