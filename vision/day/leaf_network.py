"""Where the leaves are that a photo is of: a convolutional network, ``leaf_network.onnx``.

For each output, two pixels of a small overview wide, it says whether a leaf that the photo is of
is there, and whether two leaves meet there; and, for the whole photo, whether it shows a leaf that
can be measured at all. ``python -m scripts.workshop learn leaf_network`` learns it again.
"""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.learned import LEAF_NETWORK, LEAF_NETWORK_SECOND, load_onnx
from vision.raster import usual_turn

__all__ = ["LEAF_NETWORK_SECOND", "Seen", "load_network", "see_leaves"]

Floats = NDArray[np.float32]

_SIDE_PX = 32  # sides are continued to multiples of it


@dataclass(frozen=True, eq=False)
class Seen:
    """What the network sees in an overview; natural log-odds, above 0 where it is likelier.

    Attributes
    ----------
    leaf : ndarray of float32, shape (rows, columns)
        A leaf that the photo is of.
    border : ndarray of float32, shape (rows, columns)
        Two leaves meet.
    any_leaf : float
        The photo shows a leaf that can be measured.
    """

    leaf: Floats = field(repr=False)
    border: Floats = field(repr=False)
    any_leaf: float


def see_leaves(overview: NDArray[np.uint8], path: Path = LEAF_NETWORK) -> Seen:
    """Let a network see an overview.

    Parameters
    ----------
    overview : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, long side at most about ``vision.day.outline.OVERVIEW_PX``.
    path : Path
        Of the network; ``LEAF_NETWORK_SECOND`` is the other one.
    """
    turn = usual_turn(overview[..., 1])
    overview = turn.there(overview)
    rows, columns = overview.shape[:2]
    wide = cv2.copyMakeBorder(
        overview, 0, -rows % _SIDE_PX, 0, -columns % _SIDE_PX, cv2.BORDER_REPLICATE
    )
    network = load_network(path)
    network.setInput(cv2.dnn.blobFromImage(wide, 1 / 255))
    seen, whole = network.forward(["seen", "whole"])
    size = (wide.shape[1], wide.shape[0])
    leaf, border = (
        np.asarray(turn.back(cv2.resize(plane, size)[:rows, :columns]), np.float32)
        for plane in seen[0]
    )
    return Seen(leaf, border, float(np.asarray(whole).ravel()[0]))


@cache
def load_network(path: Path = LEAF_NETWORK) -> cv2.dnn.Net:
    """Load a network that ships with the product, once."""
    return load_onnx(path)
