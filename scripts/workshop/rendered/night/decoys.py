"""Bright things on a night round that are no caterpillars: which there are, and where they lie."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.night.decoy_tools import Pieces, Place
from scripts.workshop.rendered.night.foliage import LeafMaterial
from scripts.workshop.rendered.night.left_behind import (
    paint_cane,
    paint_fabric,
    paint_lint,
    paint_paper,
    paint_tag,
    paint_twine,
)
from scripts.workshop.rendered.night.natural_decoys import (
    paint_bird_dropping,
    paint_dead_leaf,
    paint_dew,
    paint_egg,
    paint_flower,
    paint_fruit,
    paint_glare,
    paint_pollen,
    paint_stem,
    paint_vein,
)
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import Sheet

__all__ = ["lay_decoy"]

_TRIES = 40


def lay_decoy(
    rng: np.random.Generator,
    scene: NightScene,
    sheet: Sheet,
    material: LeafMaterial,
    kind: str,
    keep_free: NDArray[np.uint8],
) -> NDArray[np.bool_]:
    """Lay one decoy, or one group of them, beside the caterpillars.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : NightScene
        Gives the scale.
    sheet : Sheet
        Changed in place.
    material : LeafMaterial
        Of the foliage.
    kind : str
        One of ``DECOYS``.
    keep_free : ndarray of uint8, shape (rows, columns)
        Above 0 where nothing may lie.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        What it covers; nothing where no free place was found.
    """
    seen = np.zeros(sheet.shape, bool)
    for _ in range(_TRIES):
        at = rng.uniform((0.06, 0.06), (0.94, 0.94)) * sheet.shape[::-1]
        pieces = _PAINTERS[kind](Place(rng, scene, material, at, sheet.shape))
        free = [p for p in pieces if not np.any((p.cover > 0.02) & (keep_free[p.window] > 0))]
        if (pieces and len(free) == len(pieces)) or len(free) >= 3:
            for piece in free:
                sheet.lay(piece, 0.2)
                seen[piece.window] |= piece.cover >= 0.5
            break
    return seen


_PAINTERS: dict[str, Callable[[Place], Pieces]] = {
    "paper": paint_paper,
    "tag": paint_tag,
    "twine": paint_twine,
    "lint": paint_lint,
    "fabric": paint_fabric,
    "glare": paint_glare,
    "stem": paint_stem,
    "vein": paint_vein,
    "flower": paint_flower,
    "pollen": paint_pollen,
    "dew": paint_dew,
    "egg": paint_egg,
    "dead_leaf": paint_dead_leaf,
    "bird_dropping": paint_bird_dropping,
    "fruit": paint_fruit,
    "cane": paint_cane,
}
