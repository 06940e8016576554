"""What is known exactly about a painted night photo."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.shape import Points

__all__ = ["CaterpillarTruth", "DecoyTruth", "RenderedNight"]


@dataclass(frozen=True, eq=False)
class CaterpillarTruth:
    """One painted caterpillar.

    Attributes
    ----------
    number : int
        Its value in the photo's ``numbers``, from 1.
    row_px, col_px : float
        Centroid of its visible pixels.
    length_px : float
        Whole length along the body's axis, hidden parts included, horn left out.
    width_px : float
        Greatest width of the body.
    area_px : int
        Visible pixels, horn included.
    visible_share : float
        Visible pixels ÷ all its pixels.
    pieces : int
        Parts into which a leaf, a stem or another caterpillar cuts what is visible.
    axis : ndarray of float64, shape (points, 2)
        x and y of the body's axis, head first.
    pose : str
        One of ``POSES``.
    hue : float
        0 yellow-green to 1 cyan.
    contrast : float
        Its mean green light ÷ that of the foliage around it, before the camera.
    """

    number: int
    row_px: float
    col_px: float
    length_px: float
    width_px: float
    area_px: int
    visible_share: float
    pieces: int
    axis: Points = field(repr=False)
    pose: str
    hue: float
    contrast: float


@dataclass(frozen=True)
class DecoyTruth:
    """One bright thing, or one group of them, that is no caterpillar.

    Attributes
    ----------
    number : int
        Its value in the photo's ``decoy_numbers``, from 1.
    kind : str
        One of ``DECOYS``.
    row_px, col_px : float
        Centroid of its visible pixels.
    area_px : int
        Visible pixels.
    """

    number: int
    kind: str
    row_px: float
    col_px: float
    area_px: int


@dataclass(frozen=True, eq=False)
class RenderedNight:
    """A painted night photo with its exact truth. All arrays are read-only.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    torch_off : ndarray of uint8, shape (rows, columns, 3), or None
        The same scene with the torch off and the exposure held; None unless asked for.
    numbers : ndarray of uint8, shape (rows, columns)
        0, or the number of the caterpillar seen at this pixel.
    decoy_numbers : ndarray of uint8, shape (rows, columns)
        0, or the number of the decoy seen at this pixel.
    caterpillars : tuple of CaterpillarTruth
        In the order of their numbers.
    decoys : tuple of DecoyTruth
        Those of which something can be seen, in the order of their numbers.
    scene : NightScene
        What was painted.
    seed : int
        With the scene it gives the same photo again.
    px_per_mm : float
        Scale of the photo.
    """

    pixels: NDArray[np.uint8] = field(repr=False)
    torch_off: NDArray[np.uint8] | None = field(repr=False)
    numbers: NDArray[np.uint8] = field(repr=False)
    decoy_numbers: NDArray[np.uint8] = field(repr=False)
    caterpillars: tuple[CaterpillarTruth, ...] = field(repr=False)
    decoys: tuple[DecoyTruth, ...] = field(repr=False)
    scene: NightScene
    seed: int
    px_per_mm: float

    @property
    def trouble(self) -> str:
        """What spoils the photo, "" for nothing; one of ``TROUBLES``."""
        return self.scene.trouble
