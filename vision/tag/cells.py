"""What a tag's cells say, read strictly: a number only where every cell is beyond doubt.

The marker's 64 cells and the ring of white paper around them are read at 25 points each. Light is
compared as a logarithm, so that a shadow across the tag lowers both black and white by the same
amount and does not turn one into the other.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.tag.card import CELL_MM, CELLS, TAG_NUMBERS, marker_cells
from vision.tag.edges import Placed, from_mm

__all__ = ["CellReading", "may_be_tag", "read_cells", "sampled_at"]

Floats = NDArray[np.float32]
Cells = NDArray[np.bool_]

_LEAST_LEVELS = 20  # grey levels between paper and ink at a first glance
_RIM_AT_A_GLANCE = 0.8  # of the rim's cells that must look dark
_RING_AT_A_GLANCE = 0.65  # of the white ring's cells that must look pale
_POINTS = 5  # along a cell's side
_INNER = 0.6  # of a cell's side: what the points cover
_DARK = 0.004  # added to linear light before its logarithm
_LEAST_CONTRAST = 0.9  # natural-log units between the darkest paper and the lightest ink of the rim
_SURE = 0.84  # of a cell's points that must say the same
_RIM = 0.9  # of the rim's cells that must be black for something to be taken for a tag at all
_RING = 0.75  # of the white ring's cells that must be white
_WITHIN = 5  # cells within the rim that must be of each kind at least


@dataclass(frozen=True)
class CellReading:
    """What stands in a square.

    Attributes
    ----------
    like_a_tag : bool
        Whether it looks like a tag at all: a black rim in a white ring, both kinds of cell within.
    number : int or None
        Of the tag; None unless every cell is as it must be.
    turns : int
        Quarter turns by which the marker's own upper left corner stands on in the corners' order.
    """

    like_a_tag: bool
    number: int | None = None
    turns: int = 0


def read_cells(light: Floats, placed: Placed) -> CellReading:
    """Read the cells of a black square.

    Parameters
    ----------
    light : ndarray of float32, shape (rows, columns)
        Linear light.
    placed : Placed
        Where the square lies.
    """
    values = _sampled(light, placed)
    rim, ring = _rim(), _ring()
    # The darkest of the paper and the lightest of the ink: they differ most where a shadow falls.
    paper = float(np.percentile(values[ring], 12))
    ink = float(np.percentile(values[rim], 88))
    if paper - ink < _LEAST_CONTRAST:
        return CellReading(_looks_like_one(values, rim, ring))
    white = (values > (paper + ink) / 2).mean(axis=-1)
    like = _like_a_tag(white > 0.5, rim, ring)
    sure = np.maximum(white, 1 - white) >= _SURE
    if not (like and sure.all() and (white[ring] > 0.5).all() and (white[rim] < 0.5).all()):
        return CellReading(like)
    number, turns = _look_up(white[1:-1, 1:-1] > 0.5)
    return CellReading(like, number, turns)


def may_be_tag(grey: NDArray[np.uint8], corners: NDArray[np.float64]) -> bool:
    """Whether a figure on a small grey copy is worth a closer look: a dark rim in a pale ring.

    Parameters
    ----------
    grey : ndarray of uint8, shape (rows, columns)
        The copy.
    corners : ndarray of float64, shape (4, 2)
        (x, y), clockwise.
    """
    along = (np.arange(-1, CELLS + 1) + 0.5) * CELL_MM
    seen = sampled_at(grey, from_mm(corners), along).astype(np.float64)
    paper, ink = float(np.median(seen[_ring()])), float(np.median(seen[_rim()]))
    white = seen > (paper + ink) / 2
    dark, pale = 1 - white[_rim()].mean(), white[_ring()].mean()
    return bool(
        paper - ink > _LEAST_LEVELS and dark > _RIM_AT_A_GLANCE and pale > _RING_AT_A_GLANCE
    )


def sampled_at(
    picture: NDArray[Any], mm_to_px: NDArray[np.float64], along: NDArray[Any]
) -> NDArray[Any]:
    """Return a picture's values on a square grid of places, between pixels linearly.

    Parameters
    ----------
    picture : ndarray of uint8 or float32, shape (rows, columns)
        Continued beyond its edge by the nearest pixel.
    mm_to_px : ndarray of float64, shape (3, 3)
        Homography from mm on the card to (x, y) in pixels.
    along : ndarray of float64, shape (places,)
        Places along either side of the card, mm.

    Returns
    -------
    ndarray of the picture's dtype, shape (places, places)
        Rows first.
    """
    x, y = np.meshgrid(along, along)
    mm = np.stack([x, y], axis=-1).reshape(1, -1, 2)
    px = cv2.perspectiveTransform(mm, mm_to_px).reshape(*x.shape, 2).astype(np.float32)
    columns, rows = (np.ascontiguousarray(px[..., n]) for n in (0, 1))
    return np.asarray(
        cv2.remap(picture, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    )


def _sampled(light: Floats, placed: Placed) -> Floats:
    """Return log light at the points of the cells, shape (10, 10, 25), the white ring outermost."""
    steps = (np.arange(_POINTS) - (_POINTS - 1) / 2) * _INNER / (_POINTS - 1) + 0.5
    along = (np.arange(-1, CELLS + 1)[:, None] + steps).ravel() * CELL_MM
    seen = sampled_at(light, placed.mm_to_px, along)
    whole = CELLS + 2
    points = np.log(np.maximum(seen, 0) + np.float32(_DARK))
    blocks = points.reshape(whole, _POINTS, whole, _POINTS).swapaxes(1, 2)
    return np.asarray(blocks.reshape(whole, whole, -1), np.float32)


def _looks_like_one(values: Floats, rim: Cells, ring: Cells) -> bool:
    """Judge a square without clear contrast by halves of its own spread."""
    paper, ink = float(np.median(values[ring])), float(np.median(values[rim]))
    if paper - ink < _LEAST_CONTRAST:
        return False
    return _like_a_tag((values > (paper + ink) / 2).mean(axis=-1) > 0.5, rim, ring)


def _like_a_tag(white: Cells, rim: Cells, ring: Cells) -> bool:
    within = white[2:-2, 2:-2]
    kinds = min(np.count_nonzero(within), np.count_nonzero(~within))
    return bool((~white[rim]).mean() >= _RIM and white[ring].mean() >= _RING and kinds >= _WITHIN)


@cache
def _ring() -> Cells:
    ring = np.ones((CELLS + 2, CELLS + 2), np.bool_)
    ring[1:-1, 1:-1] = False
    return ring


@cache
def _rim() -> Cells:
    rim = ~_ring()
    rim[2:-2, 2:-2] = False
    return rim


@cache
def _known() -> dict[bytes, tuple[int, int]]:
    """Every marker as it looks after 0 to 3 quarter turns: its number and the turns."""
    return {
        np.ascontiguousarray(np.rot90(marker_cells(number), -turns)).tobytes(): (number, turns)
        for number in TAG_NUMBERS
        for turns in range(4)
    }


def _look_up(white: Cells) -> tuple[int | None, int]:
    """Return number and turns of a marker, without correcting a single cell."""
    return _known().get(np.ascontiguousarray(white).tobytes(), (None, 0))
