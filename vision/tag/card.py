"""The stake tag as it is printed: where everything lies on the card, in millimetres.

The printed page, the painted photos and the reader of tags all take their measures from here.
Positions are (x, y) in mm, x to the right and y down, from the upper left corner of the marker's
black square. The marker is of the published family AprilTag 36h11 (Olson 2011, ICRA,
doi:10.1109/ICRA.2011.5979561): any two of its markers differ in 11 of 36 cells at least, however
they are turned.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CARD_MM",
    "CELLS",
    "CELL_MM",
    "GREY_MM",
    "INK_GREY",
    "NAME_MM",
    "SIDE_MM",
    "TAG_NUMBERS",
    "WHITE_MM",
    "Box",
    "marker_cells",
    "marker_family",
]

Box = tuple[float, float, float, float]

CELLS = 8
"""Cells along a side of the black square: six that carry the number, and the black rim."""

CELL_MM = 4.0
SIDE_MM = CELLS * CELL_MM
"""Side of the black square."""

CARD_MM: Box = (-6.0, -6.0, 38.0, 62.0)
"""Left, top, right and bottom edge of the whole card, along which it is cut out."""

WHITE_MM: Box = (0.0, 38.0, 14.0, 48.0)
"""The white patch: bare paper in a thin frame."""

GREY_MM: Box = (18.0, 38.0, 32.0, 48.0)
"""The grey patch."""

NAME_MM: Box = (-3.0, 50.0, 35.0, 59.0)
"""Room for the plant's name in words."""

INK_GREY = 0.5
"""Level of the grey patch as it is sent to the printer, 0 black to 1 white, sRGB."""

TAG_NUMBERS = range(1, 587)
"""Numbers of tags: those of the family but 0, which reads like "none"."""


@cache
def marker_family() -> cv2.aruco.Dictionary:
    """Return OpenCV's own table of the marker family."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def marker_cells(number: int) -> NDArray[np.bool_]:
    """Return a marker's cells, shape (8, 8): True is white paper, False black ink.

    Raises
    ------
    ValueError
        When there is no tag of this number.
    """
    if number not in TAG_NUMBERS:
        raise ValueError(f"There is no tag {number}: tags are numbered from 1 to 586.")
    picture = cv2.aruco.generateImageMarker(marker_family(), number, CELLS)
    return np.asarray(picture > 127, np.bool_)
