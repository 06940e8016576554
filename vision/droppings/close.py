"""A closer look at each spot: small pictures of one size, and the network that judges them.

The network that finds spots sees the whole photo, and of a small dropping only a few pixels. Here
each spot is brought to one size, so that ridges, blunt ends and a ragged edge look the same in all,
and a second network, its numbers in ``close.onnx``, says how like a dropping it is.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.droppings.network import CONTRAST, GREY
from vision.droppings.spots import Spots
from vision.learned import load_onnx

__all__ = ["CLOSE_PATH", "CLOSE_PX", "close_log_odds", "load_close", "pictures_of"]

CLOSE_PATH = learned.DROPPING_NETWORK_CLOSE

CLOSE_PX = 48
"""Side of a picture."""

_HOPELESS = -2.0  # log-odds below which one look is enough
_DIAMETERS = 3.2  # side of a picture, in diameters of the spot

Pixels = NDArray[np.uint8]


def pictures_of(picture: Pixels, spots: Spots) -> Pixels:
    """Return the small pictures of all spots.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first: the picture in which they were found.
    spots : Spots
        From ``vision.droppings.spots``.

    Returns
    -------
    ndarray of uint8, shape (spots, CLOSE_PX, CLOSE_PX, 3)
        sRGB, the spot in the middle; beyond the edge the picture is continued, mirrored.
    """
    small = np.empty((len(spots.rows), CLOSE_PX, CLOSE_PX, 3), np.uint8)
    middle = (CLOSE_PX - 1) / 2
    for number, (row, col, size) in enumerate(
        zip(spots.rows, spots.cols, spots.diameter_px, strict=True)
    ):
        step = _DIAMETERS * float(size) / CLOSE_PX
        to_picture = np.array([[step, 0, col - middle * step], [0, step, row - middle * step]])
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        small[number] = cv2.warpAffine(
            picture, to_picture, (CLOSE_PX, CLOSE_PX), flags=how, borderMode=cv2.BORDER_REFLECT
        )
    return small


def close_log_odds(pictures: Pixels) -> NDArray[np.float32]:
    """Return how like a dropping each picture is, as log-odds.

    The mean of four mirror pictures where it is not hopeless: a photo and its mirror picture must
    give the same.

    Parameters
    ----------
    pictures : ndarray of uint8, shape (spots, CLOSE_PX, CLOSE_PX, 3)
        From `pictures_of`.

    Returns
    -------
    ndarray of float32, shape (spots,)
        Natural log-odds.
    """
    if not len(pictures):
        return np.zeros(0, np.float32)
    odds = _odds(pictures)
    also = np.flatnonzero(odds > _HOPELESS)
    if len(also):
        some = pictures[also]
        ways = (some[:, ::-1], some[:, :, ::-1], some[:, ::-1, ::-1])
        odds[also] = np.mean([odds[also], *(_odds(way) for way in ways)], axis=0)
    return odds


def _odds(pictures: Pixels) -> NDArray[np.float32]:
    network = load_close()
    colours = np.ascontiguousarray(pictures.transpose(0, 3, 1, 2), np.float32)
    network.setInput((colours / np.float32(255) - np.float32(GREY)) / np.float32(CONTRAST))
    return np.array(network.forward().reshape(-1), np.float32)


@cache
def load_close() -> cv2.dnn.Net:
    """Load the network that ships with the product."""
    return load_onnx(CLOSE_PATH)
