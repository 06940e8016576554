"""What is measured of an outlined spot: its form, its colour, and that of its surroundings.

A dropping is a solid, convex barrel of one colour, darker than most things whatever it lies on. A
crumb is ragged, a lesion part of the leaf, a shade has no colour of its own.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_net import Seen
from vision.frass_spots import Outline, Spots, outline_of
from vision.raster import hull_area

__all__ = ["MEASURES", "measure", "measure_all"]

MEASURES = (
    "elongation",  # long ÷ short side of the narrowest box
    "solidity",  # area ÷ area of the convex hull
    "fullness",  # area ÷ area of the ellipse in the narrowest box
    *("lightness", "a", "b"),  # medians inside, CIELAB
    "grain",  # standard deviation of L* inside
    *("lightness_around", "a_around", "b_around"),  # medians around it
    "grain_around",  # standard deviation of L* around it
    "step",  # distance of its colour from that of its surroundings
    *("lightness_near", "a_near", "b_near"),  # close to its edge minus all around: a halo
)
"""What is measured of one outlined spot, in order."""

_LAB_SCALE = np.array([100 / 255, 1, 1], np.float32)  # of OpenCV's 8-bit coding
_LAB_ZERO = np.array([0, 128, 128], np.float32)
_RIM_PX = 1.5
_NEAR = 0.2  # of the root of its area: how far what is close to its edge reaches


def measure(picture: NDArray[np.uint8], outline: Outline) -> NDArray[np.float32]:
    """Measure a spot.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first: the picture in which it was outlined.
    outline : Outline
        From ``vision.frass_spots``.

    Returns
    -------
    ndarray of float32, shape (len(MEASURES),)
    """
    height, width = outline.mask.shape
    part = picture[outline.row : outline.row + height, outline.col : outline.col + width]
    mask = outline.mask[: part.shape[0], : part.shape[1]]
    lab = cv2.cvtColor(part, cv2.COLOR_RGB2LAB).astype(np.float32) * _LAB_SCALE - _LAB_ZERO
    away = cv2.distanceTransform((~mask).view(np.uint8), cv2.DIST_L2, 3)
    around = away > _RIM_PX
    near = around & (away <= 2 * _RIM_PX + _NEAR * np.sqrt(np.count_nonzero(mask)))
    own, other, close = (lab[part if part.any() else mask] for part in (mask, around, near))
    middle, middle_around = np.median(own, axis=0), np.median(other, axis=0)
    colours = (*middle, own[:, 0].std(), *middle_around, other[:, 0].std())
    step = np.linalg.norm(middle - middle_around)
    halo = np.median(close, axis=0) - middle_around
    return np.array([*_form(mask), *colours, step, *halo], np.float32)


def measure_all(picture: NDArray[np.uint8], seen: Seen, spots: Spots) -> NDArray[np.float32]:
    """Outline and measure all spots; shape (spots, len(MEASURES))."""
    rows = [measure(picture, outline_of(seen, spots, number)) for number in range(len(spots.rows))]
    return np.array(rows, np.float32).reshape(-1, len(MEASURES))


def _form(mask: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Return elongation, solidity and fullness."""
    outlines, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edge = max(outlines, key=len)
    _, (one, other), _ = cv2.minAreaRect(edge)
    length, width = max(one, other) + 1, min(one, other) + 1
    area = float(np.count_nonzero(mask))
    return length / width, area / hull_area(edge), area / (np.pi / 4 * length * width)
