"""One photo of droppings on a ground of any make."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.collage.bits import lay_bit, scatter
from scripts.workshop.rendered.collage.camera import photograph
from scripts.workshop.rendered.collage.droppings import draw_build, lay_dropping
from scripts.workshop.rendered.collage.grounds import GROUNDS, lay_ground
from scripts.workshop.rendered.collage.palette import FAMILIES, draw_palette
from scripts.workshop.rendered.collage.sheet import Sheet, open_sheet
from scripts.workshop.rendered.shape import Points

__all__ = ["Collage", "paint_collage"]

Rng = np.random.Generator

_SHORTEST_PX, _LONGEST_PX = 8, 70  # of the usual dropping of a photo
_LEAST_PX = 6.0
_TRIES = 15
_HALF_HIDDEN, _HIDDEN = 0.45, 0.15  # share of a dropping that still shows
_OVER = ("rod", "chip", "polygon", "crumb")


@dataclass(frozen=True, eq=False)
class Collage:
    """A painted photo with its exact truth.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    numbers : ndarray of uint16, shape (rows, columns)
        0, or the number of the dropping seen at this pixel.
    unclear : ndarray of bool, shape (rows, columns)
        What is left of droppings that are mostly covered: to be counted or not.
    ground : str
        What they lie on.
    """

    pixels: NDArray[np.uint8] = field(repr=False)
    numbers: NDArray[np.uint16] = field(repr=False)
    unclear: NDArray[np.bool_] = field(repr=False)
    ground: str


def paint_collage(
    seed: int, photos: Sequence[NDArray[np.uint8]] = (), shape: tuple[int, int] = (512, 640)
) -> Collage:
    """Paint a photo of droppings.

    Parameters
    ----------
    seed : int
        Fixes everything.
    photos : sequence of ndarray of uint8, shape (rows, columns, 3)
        Photos without droppings that may serve as grounds; soil is painted where there are none.
    shape : tuple of int
        Rows and columns of the photo.

    Returns
    -------
    Collage
        About one in five shows no dropping.
    """
    rng = np.random.default_rng(seed)
    sheet = open_sheet(rng, shape)
    dropping_px = float(np.exp(rng.uniform(np.log(_SHORTEST_PX), np.log(_LONGEST_PX))))
    ground = str(rng.choice(list(GROUNDS), p=list(GROUNDS.values())))
    lay_ground(rng, sheet, ground, dropping_px, photos)
    scatter(rng, sheet, dropping_px)
    places = _lay_droppings(rng, sheet, dropping_px)
    if ground != "paper" and rng.random() < 0.35:
        _lay_over(rng, sheet, ground, places, dropping_px)
    numbers, unclear = _seen(sheet)
    return Collage(photograph(rng, sheet), numbers, unclear, ground)


def _lay_droppings(rng: Rng, sheet: Sheet, dropping_px: float) -> list[Points]:
    """Lay droppings of one build, some of them against others, and return where."""
    count = 0 if rng.random() < 0.22 else int(np.exp(rng.uniform(0, np.log(30))))
    build, places = draw_build(rng), list[Points]()
    for _ in range(count):
        for _ in range(_TRIES):
            at = rng.uniform((0, 0), sheet.shape[::-1])
            length = max(float(dropping_px * np.exp(rng.normal(0, 0.18))), _LEAST_PX)
            if places and rng.random() < 0.25:
                angle, near = rng.uniform(0, 2 * np.pi), length * rng.uniform(0.6, 1.3)
                beside = places[int(rng.integers(len(places)))]
                at = beside + near * np.array([np.cos(angle), np.sin(angle)])
            if lay_dropping(rng, sheet, build, at, length, len(places) + 1):
                places.append(at)
                break
    return places


def _lay_over(
    rng: Rng, sheet: Sheet, ground: str, places: list[Points], dropping_px: float
) -> None:
    """Lay bits of the ground over parts of some droppings."""
    family = ground if ground in FAMILIES else "soil"
    for at in places:
        if rng.random() < 0.35:
            colour = draw_palette(rng, family)[0]
            length = dropping_px * rng.uniform(0.5, 2.5)
            beside = at + rng.normal(0, 0.5 * dropping_px, 2)
            lay_bit(rng, sheet, str(rng.choice(_OVER)), beside, length, colour,
                    rng.uniform(0.05, 0.4))  # fmt: skip


def _seen(sheet: Sheet) -> tuple[NDArray[np.uint16], NDArray[np.bool_]]:
    """Return the numbers, and what is left of droppings that are mostly covered."""
    numbers = sheet.numbers.copy()
    left = np.bincount(numbers.ravel(), minlength=len(sheet.whole) + 1)
    unclear = np.zeros(numbers.shape, np.bool_)
    for number, whole in sheet.whole.items():
        if left[number] < _HALF_HIDDEN * whole:
            unclear |= numbers == number
        if left[number] < _HIDDEN * whole:
            numbers[numbers == number] = 0
    return numbers, unclear
