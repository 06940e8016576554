"""Leaf stalks beyond the blades: round and pale green; they are background in the mask."""

from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.leaves.layout import LeafPlan
from scripts.workshop.rendered.light import shade
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Points

__all__ = ["paint_stalks", "stalk_cover"]

_GREEN = np.array([0.20, 0.29, 0.10], np.float32)


def stalk_cover(scene: Scene, plans: tuple[LeafPlan, ...]) -> Floats:
    """Return the share of each pixel that stalks cover, shape (rows, columns)."""
    canvas = np.zeros((scene.height_px, scene.width_px), np.uint8)
    for plan in plans:
        for stalk in plan.stalks:
            _draw(canvas, stalk)
    return canvas.astype(np.float32) / np.float32(255)


def _draw(canvas: NDArray[np.uint8], stalk: Points) -> None:
    for (x0, y0, width), (x1, y1, _) in pairwise(stalk):
        ends = [(round(float(x) * 16), round(float(y) * 16)) for x, y in ((x0, y0), (x1, y1))]
        thick = max(1, round(float(width)))
        cv2.line(canvas, ends[0], ends[1], 255, thick, cv2.LINE_AA, shift=4)


def paint_stalks(rng: np.random.Generator, scene: Scene, canvas: Floats, cover: Floats) -> None:
    """Paint stalks over the canvas, in place."""
    if not cover.any():
        return
    rows, cols = np.nonzero(cover)
    window = (slice(rows.min(), rows.max() + 1), slice(cols.min(), cols.max() + 1))
    part = cover[window]
    inner = cv2.distanceTransform((part > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
    colour = np.broadcast_to(_GREEN * np.float32(scene.brightness), (*part.shape, 3))
    smooth = replace(scene, roughness=0.2)
    light = shade(rng, smooth, colour, np.asarray(1.6 * np.sqrt(inner), np.float32), 0.3)
    canvas[window] += part[..., None] * (light - canvas[window])
