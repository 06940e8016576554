"""The learned part of finding droppings: a convolutional network, its numbers in ``network.onnx``.

For each output, two pixels wide, it says whether the middle of a dropping is there, whether a
dropping is there at all, and how large it is. ``python -m scripts.workshop learn droppings`` learns
it again.
"""

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.learned import load_onnx

__all__ = [
    "CONTRAST",
    "GREY",
    "LOOKED_AT_LONG_PX",
    "NET_PATH",
    "STEP_PX",
    "Seen",
    "load_network",
    "see",
]

NET_PATH = learned.DROPPING_NETWORK

LOOKED_AT_LONG_PX = 1280
"""Long side at which droppings are looked for; smaller photos are used as they are."""

STEP_PX = 2
"""Pixels from one output to the next."""

GREY, CONTRAST = 0.5, 0.25
"""What is taken from an sRGB value of 0 to 1, and by what the rest is divided, before seeing."""

_SIDE_PX = 32  # sides are continued to multiples of it

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Seen:
    """What the network sees in a picture of so many rows and columns.

    Attributes
    ----------
    middle : ndarray of float32, shape (rows / STEP_PX, columns / STEP_PX), rounded up
        Log-odds that the middle of a dropping is here.
    inside : ndarray of float32, same shape
        Log-odds that a dropping is here.
    diameter_px : ndarray of float32, same shape
        Diameter of a disc of its area, in pixels of the picture; holds near middles only.
    """

    middle: Floats = field(repr=False)
    inside: Floats = field(repr=False)
    diameter_px: Floats = field(repr=False)


def see(picture: NDArray[np.uint8]) -> Seen:
    """Let the network see a picture.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first; droppings are about 6 to 150 px long.
    """
    rows, columns = picture.shape[:2]
    wide = cv2.copyMakeBorder(
        picture, 0, -rows % _SIDE_PX, 0, -columns % _SIDE_PX, cv2.BORDER_REFLECT
    )
    network = load_network()
    grey, contrast = 255 * GREY, 255 * CONTRAST
    network.setInput(cv2.dnn.blobFromImage(wide, 1 / contrast, mean=(grey, grey, grey)))
    outputs = network.forward()[0][:, : -(-rows // STEP_PX), : -(-columns // STEP_PX)]
    middle, inside, size = np.asarray(outputs, np.float32)
    return Seen(middle, inside, np.exp(size) * np.float32(STEP_PX))


@cache
def load_network() -> cv2.dnn.Net:
    """Load the network that ships with the product."""
    return load_onnx(NET_PATH)
