"""One thing in the middle of a small photo: a dropping, or what looks like one."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.collage.bits import (
    DARK,
    lay_bit,
    lay_gap,
    lay_seed,
    lay_shell,
    lay_spot,
    scatter,
)
from scripts.workshop.rendered.collage.camera import photograph
from scripts.workshop.rendered.collage.droppings import draw_build, lay_dropping
from scripts.workshop.rendered.collage.grounds import GROUNDS, lay_ground
from scripts.workshop.rendered.collage.palette import colour_of, draw_palette
from scripts.workshop.rendered.collage.sheet import Sheet, open_sheet
from scripts.workshop.rendered.fields import AnyFloats
from scripts.workshop.rendered.shape import Points

__all__ = ["Alone", "paint_alone"]

Rng = np.random.Generator

_SIDE_PX = 200
_SHORTEST_PX, _LONGEST_PX = 8, 50
_SCATTERED = 0.3  # of photos have other bits too


@dataclass(frozen=True, eq=False)
class Alone:
    """A painted thing.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    middle : tuple of float
        Row and column of its middle.
    diameter_px : float
        Of a disc of its area, roughly.
    """

    pixels: NDArray[np.uint8] = field(repr=False)
    middle: tuple[float, float]
    diameter_px: float


def paint_alone(seed: int, dropping: bool) -> Alone:
    """Paint one thing; the same seed gives like ground for a dropping and for what is none.

    Parameters
    ----------
    seed : int
        Fixes everything.
    dropping : bool
        Whether it is a dropping.
    """
    rng = np.random.default_rng(seed)
    sheet = open_sheet(rng, (_SIDE_PX, _SIDE_PX))
    size = float(np.exp(rng.uniform(np.log(_SHORTEST_PX), np.log(_LONGEST_PX))))
    kinds = [name for name in GROUNDS if name != "photo"]
    lay_ground(rng, sheet, str(rng.choice(kinds)), size, ())
    if rng.random() < _SCATTERED:
        scatter(rng, sheet, size)
    at = np.array([_SIDE_PX, _SIDE_PX]) / 2 + rng.uniform(-0.5, 0.5, 2)
    if dropping:
        sheet.numbers[:] = 0
        lay_dropping(rng, sheet, draw_build(rng), at, size, 1)
        size = float(np.sqrt(4 * max(int(np.count_nonzero(sheet.numbers)), 9) / np.pi))
    else:
        kind = str(rng.choice(list(_OTHERS), p=_OFTEN))
        _OTHERS[kind](rng, sheet, at, size)
        size *= 0.85
    return Alone(photograph(rng, sheet), (float(at[1]), float(at[0])), size)


def _crumb(rng: Rng, sheet: Sheet, at: Points, size: float) -> None:
    earth = draw_palette(rng, str(rng.choice(["soil", "mulch", "gravel"])))
    colour: AnyFloats = colour_of(rng, earth * np.float32(rng.uniform(0.2, 1.0)))
    if rng.random() < 0.4:
        colour = DARK * np.exp(rng.normal(0, 0.6))
    kind = str(rng.choice(["crumb", "crust", "polygon", "blob"], p=[0.35, 0.35, 0.15, 0.15]))
    lay_bit(rng, sheet, kind, at, size, colour, rng.uniform(0.3, 0.95),
            mottle=rng.uniform(0.1, 0.4))  # fmt: skip


def _stone(rng: Rng, sheet: Sheet, at: Points, size: float) -> None:
    colour = colour_of(rng, draw_palette(rng, "gravel")) * rng.uniform(0.2, 1.5)
    lay_bit(rng, sheet, "blob", at, size, colour, rng.uniform(0.3, 0.9), mottle=0.12)


_OTHERS: dict[str, Callable[[Rng, Sheet, Points, float], None]] = {
    "crumb": _crumb, "shell": lay_shell, "seed": lay_seed, "stone": _stone, "spot": lay_spot,
    "gap": lay_gap,
}  # fmt: skip
_OFTEN = (0.36, 0.18, 0.2, 0.08, 0.1, 0.08)
