"""Edges of lesions: how sharp they are, how deeply cut, and how wide the yellow rim beside them."""

import cv2
import numpy as np
from numpy.typing import NDArray

from models.pattern.leaf_view import LeafView, LesionTable, mean_by
from vision.raster import hull_area

__all__ = ["edge_measures"]

_SMALL = 0.1  # leaf sides across
_SHAPED_PX = 12  # a smaller lesion's hull says nothing
_OFF_OUTLINE_PX = 3  # the leaf's own outline is no edge of a lesion
_SOFTENED_PX = 0.8  # standard deviation: noise and JPEG blocks are finer than edges
_FEW_PX = 5

Bools = NDArray[np.bool_]


def edge_measures(view: LeafView, table: LesionTable) -> dict[str, float]:
    """Return ``small_edge``, ``solidity`` and ``halo_width`` of a leaf; NaN where it has none."""
    edge = _edge(view.dead) & (view.depth > _OFF_OUTLINE_PX)
    small = view.of_lesions(table.inner & (table.diameter < _SMALL))
    return {
        "small_edge": _sharpness(view, edge & _grown(small)),
        "solidity": _solidity(view, table),
        "halo_width": _halo_width(view, edge),
    }


def _edge(part: Bools) -> Bools:
    """Mark the pixels on both sides of a part's border."""
    inner = cv2.erode(part.astype(np.uint8), np.ones((3, 3), np.uint8))
    return np.asarray(_grown(part) & (np.asarray(inner) == 0))


def _grown(part: Bools) -> Bools:
    return np.asarray(cv2.dilate(part.astype(np.uint8), np.ones((3, 3), np.uint8))) > 0


def _sharpness(view: LeafView, edge: Bools) -> float:
    """Mean step of lightness and redness along an edge, of the healthy lightness, a pixel."""
    if np.count_nonzero(edge) <= _FEW_PX:
        return np.nan
    steps = np.zeros(edge.shape, np.float32)
    for channel in (0, 1):
        soft = cv2.GaussianBlur(view.lab[..., channel], (0, 0), _SOFTENED_PX)
        for dx, dy in ((1, 0), (0, 1)):
            steps += np.asarray(cv2.Sobel(soft, cv2.CV_32F, dx, dy, scale=1 / 8)) ** 2
    return float(np.sqrt(steps[edge]).mean() / view.healthy_lab[0])


def _solidity(view: LeafView, table: LesionTable) -> float:
    """Area over that of the convex hull, by area, of lesions large enough to have a shape."""
    shaped = table.clear & (table.area >= _SHAPED_PX)
    share = np.ones(len(table.area), np.float32)
    for index in np.flatnonzero(shaped):
        left, top, width, height, area = (int(value) for value in view.stats[index])
        own = view.labels[top : top + height, left : left + width] == index + 1
        outlines, _ = cv2.findContours(
            own.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
        )
        share[index] = min(1.0, area / hull_area(max(outlines, key=len)))
    return mean_by(share, table.area, shaped)


def _halo_width(view: LeafView, edge: Bools) -> float:
    """Area of the halos by the length of the lesions' edges, in leaf sides."""
    halo_px = np.count_nonzero(view.halo)
    if not halo_px:
        return np.nan
    length_px = max(_FEW_PX, np.count_nonzero(edge) / 2)  # the edge is marked on both sides
    return float(halo_px / length_px / view.side_px)
