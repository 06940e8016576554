"""What is known exactly about a painted photo of droppings."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.droppings.scene import DroppingScene

__all__ = ["FAINT_STEP", "DroppingTruth", "LitterTruth", "RenderedDroppings"]

FAINT_STEP = 4.0
"""Colour step, in CIELAB units, below which a dropping can hardly be told from its ground.

About twice what a person just sees between two plain fields side by side (2.3: Mahy, Van Eycken
& Oosterlinck 1994, Color Res. Appl. 19:105) [memory], for the ground is not plain.
"""


@dataclass(frozen=True)
class DroppingTruth:
    """One painted dropping.

    Attributes
    ----------
    number : int
        Its value in the photo's ``numbers``, from 1.
    row_px, col_px : float
        Centroid of its pixels.
    length_px, width_px : float
        Along and across its axis as it is seen; nearly equal when it is seen from an end.
    length_mm, width_mm : float
        The same in millimetres.
    area_px : int
        Visible pixels.
    on_end : bool
        Whether it is seen from an end.
    step : float
        Distance of its mean colour in the photo from that of what it lies on, within half its
        length around it, in CIELAB units.
    """

    number: int
    row_px: float
    col_px: float
    length_px: float
    width_px: float
    length_mm: float
    width_mm: float
    area_px: int
    on_end: bool
    step: float

    @property
    def faint(self) -> bool:
        """Whether nobody can be blamed for not seeing it, nor for seeing it."""
        return self.step < FAINT_STEP


@dataclass(frozen=True)
class LitterTruth:
    """All litter of one kind.

    Attributes
    ----------
    number : int
        Its value in the photo's ``litter_numbers``, from 1.
    kind : str
        One of ``LITTER``.
    area_px : int
        Visible pixels.
    """

    number: int
    kind: str
    area_px: int


@dataclass(frozen=True, eq=False)
class RenderedDroppings:
    """A painted photo of droppings with its exact truth. All arrays are read-only.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    numbers : ndarray of uint8, shape (rows, columns)
        0, or the number of the dropping seen at this pixel.
    litter_numbers : ndarray of uint8, shape (rows, columns)
        0, or the number of the kind of litter seen at this pixel.
    leaf : ndarray of bool, shape (rows, columns)
        Leaf pixels, also under droppings.
    droppings : tuple of DroppingTruth
        In the order of their numbers.
    litter : tuple of LitterTruth
        Kinds of which something can be seen.
    scene : DroppingScene
        What was painted.
    seed : int
        With the scene it gives the same photo again.
    px_per_mm : float
        Scale of the photo.
    """

    pixels: NDArray[np.uint8] = field(repr=False)
    numbers: NDArray[np.uint8] = field(repr=False)
    litter_numbers: NDArray[np.uint8] = field(repr=False)
    leaf: NDArray[np.bool_] = field(repr=False)
    droppings: tuple[DroppingTruth, ...] = field(repr=False)
    litter: tuple[LitterTruth, ...] = field(repr=False)
    scene: DroppingScene
    seed: int
    px_per_mm: float
