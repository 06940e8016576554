"""A spot as a small picture, and the small convolutional network that looks at it.

The picture is turned along the spot's axis and scaled to its size, so that ridges, blunt ends, the
lit and the shaded side and the cast shadow of a dropping lie at about the same places in all.
"""

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_peaks import LOG_STEPS, LOG_TABLE
from vision.frass_regions import Region
from vision.layers import FARTHEST, numbers_of, through

__all__ = [
    "FIRST",
    "KERNELS",
    "PICTURE_PX",
    "SECOND",
    "Kernel",
    "PictureNet",
    "picture_net_of",
    "picture_of",
    "planes_of",
]

Floats = NDArray[np.float32]
Pixels = NDArray[np.uint8]

PICTURE_PX = 28
"""Side of a picture."""

_REACH = 2.94  # side of the picture, in diameters of the outline
_TO_PLANES = np.array([[0.3, -1, 0], [0.6, 1, 1], [0.1, 0, -1]], np.float32) / LOG_STEPS
_RIM = np.ones((PICTURE_PX, PICTURE_PX), bool)
_RIM[2:-2, 2:-2] = False


def picture_of(region: Region, row: float, col: float) -> Pixels:
    """Return the picture of an outlined spot.

    Parameters
    ----------
    region : Region
        Its outline.
    row, col : float
        Its middle in the view's picture.

    Returns
    -------
    ndarray of uint8, shape (PICTURE_PX, PICTURE_PX, 3)
        sRGB, its long axis from left to right.
    """
    moments = cv2.moments(region.inside.view(np.uint8), binaryImage=True)
    angle = 0.5 * np.arctan2(2 * moments["mu11"], moments["mu20"] - moments["mu02"])
    step = _REACH * 2 * np.sqrt(moments["m00"] / np.pi) / PICTURE_PX
    cos, sin, middle = step * np.cos(angle), step * np.sin(angle), (PICTURE_PX - 1) / 2
    turn = np.array(
        [[cos, -sin, col - (cos - sin) * middle], [sin, cos, row - (sin + cos) * middle]]
    )
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = (PICTURE_PX, PICTURE_PX)
    seen = cv2.warpAffine(
        region.spot.view.pixels, turn, size, flags=how, borderMode=cv2.BORDER_REFLECT
    )
    return np.asarray(seen, np.uint8)


def planes_of(pictures: Pixels) -> Floats:
    """Return logarithms of grey, of green ÷ red and of green ÷ blue, against the rim's medians.

    Parameters
    ----------
    pictures : ndarray of uint8, shape (spots, PICTURE_PX, PICTURE_PX, 3)

    Returns
    -------
    ndarray of float32, of the same shape
    """
    planes = LOG_TABLE[pictures].astype(np.float32) @ _TO_PLANES
    planes -= np.median(planes[:, _RIM], axis=1)[:, None, None]
    return np.asarray(planes, np.float32)


@dataclass(frozen=True)
class Kernel:
    """Where a square kernel looks: places of its inputs, for each of its outputs.

    Attributes
    ----------
    side, step : int
        Width of the kernel, and how far it moves.
    inputs, channels : int
        Width of the square it moves over, and values at each of its places.
    """

    side: int
    step: int
    inputs: int
    channels: int

    @property
    def outputs(self) -> int:
        """Width of the square of its outputs."""
        return (self.inputs - self.side) // self.step + 1

    def places(self) -> NDArray[np.intp]:
        """Return the inputs of each output, shape (outputs², side² · channels)."""
        at = np.arange(self.outputs)[:, None] * self.step + np.arange(self.side)
        rows = at[:, None, :, None, None] * self.inputs + at[None, :, None, :, None]
        every = rows * self.channels + np.arange(self.channels)
        return np.asarray(every.reshape(self.outputs**2, -1), np.intp)


FIRST = Kernel(5, 2, PICTURE_PX, 3)
KERNELS = (16, 24)
SECOND = Kernel(3, 2, FIRST.outputs, KERNELS[0])
"""Where the kernels look, and how many there are of each row."""


@dataclass(frozen=True, eq=False)
class PictureNet:
    """Two rows of kernels over the picture, then layers over their outputs and the measures.

    Attributes
    ----------
    mean, spread : ndarray of float32, shape (measures,)
        Measures are standardised by these.
    weights, offsets : tuple of ndarray of float32
        Of the first and second kernels, and of the layers.
    """

    mean: Floats = field(repr=False)
    spread: Floats = field(repr=False)
    weights: tuple[Floats, ...] = field(repr=False)
    offsets: tuple[Floats, ...] = field(repr=False)

    def log_odds(self, rows: Floats, pictures: Pixels) -> Floats:
        """Return the log-odds of each spot, from its measures and its picture."""
        measures = np.clip((rows - self.mean) / self.spread, -FARTHEST, FARTHEST)
        seen = planes_of(pictures).reshape(len(rows), -1)
        for kernel, weights, offsets in zip(
            (FIRST, SECOND), self.weights, self.offsets, strict=False
        ):
            seen = np.maximum(seen[:, kernel.places()] @ weights + offsets, 0)
            seen = seen.reshape(len(rows), -1)
        values = np.concatenate([seen, measures], axis=1)
        return through(values, self.weights[2:], self.offsets[2:])


def picture_net_of(stored: dict[str, Any]) -> PictureNet:
    """Return the network whose numbers are given."""
    return PictureNet(*numbers_of(stored))
