"""Where on the leaf dead tissue lies: towards the tip, along the midrib, crowded or strewn."""

import numpy as np
from numpy.typing import NDArray

from models.pattern.leaf_view import LeafView, LesionTable

__all__ = ["position_measures"]

_FEW_PX = 5
_FEWEST = 5  # lesions; the distances between fewer are all chance


def position_measures(view: LeafView, table: LesionTable) -> dict[str, float]:
    """Return ``tip_reach``, ``off_midrib`` and ``clustering`` of a leaf; NaN where it has none."""
    along, across = _along_and_across(view)
    return {
        "tip_reach": along,
        "off_midrib": across,
        "clustering": _clustering(view, table.centre[table.inner]),
    }


def _along_and_across(view: LeafView) -> tuple[float, float]:
    """Mean distance of dead tissue from the leaf's middle, along and across its length."""
    if np.count_nonzero(view.dead) <= _FEW_PX:
        return np.nan, np.nan
    leaf = np.argwhere(view.leaf).astype(np.float32)
    middle = leaf.mean(axis=0)
    spread, axes = np.linalg.eigh(np.cov((leaf - middle).T))
    half_length = np.abs((leaf - middle) @ axes[:, 1]).max()
    dead = np.abs((np.argwhere(view.dead) - middle) @ axes).mean(axis=0)
    half_breadth = 2 * np.sqrt(spread[0])  # of an ellipse with the same spread
    return float(dead[1] / half_length), float(dead[0] / half_breadth)


def _clustering(view: LeafView, centres: NDArray[np.float32]) -> float:
    """Mean distance to the nearest lesion over that of points strewn at random.

    The ratio of Clark & Evans 1954, Ecology 35:445 (from memory): under 1 where lesions crowd.
    """
    if len(centres) < _FEWEST:
        return np.nan
    apart = np.hypot(*(centres[:, None] - centres).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    nearest = apart.min(axis=1)  # SciPy's tree would take longer to import than this to compute
    return float(nearest.mean() / (0.5 * np.sqrt(view.area_px / len(centres))))
