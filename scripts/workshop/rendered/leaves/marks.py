"""Marks that are not disease: holes and bites through the blade, crumbs of soil upon it."""

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.leaves.symptoms import Symptoms, stamp_spot
from scripts.workshop.rendered.leaves.tissue import Blade

__all__ = ["draw_holes", "paint_specks"]

_SOIL = np.array([0.085, 0.060, 0.042], np.float32)


def draw_holes(rng: np.random.Generator, cover: Floats, count: int) -> Floats:
    """Return a factor on the cover: 0 inside a hole or bite, 1 elsewhere, smooth at the edge."""
    blade = cover >= 0.5
    inside = np.argwhere(blade)
    if count == 0 or inside.size == 0:
        return np.ones_like(cover)
    holes = Symptoms.none(cover.shape)
    size = float(np.sqrt(len(inside)))
    for row, col in inside[rng.integers(len(inside), size=count)]:
        radius = size * rng.uniform(0.02, 0.09)
        stamp_spot(holes, blade, (row, col), radius, 0.0, rng.uniform(0.1, 0.35), rng)
    return np.asarray(np.clip(holes.depth_px + np.float32(0.5), 0, 1), np.float32)


def paint_specks(
    rng: np.random.Generator,
    count: int,
    blade: Blade,
    visible: NDArray[np.bool_],
    px_per_mm: float,
) -> Floats:
    """Put crumbs of soil on the blade, in place; return where they make it matt (0 to 1)."""
    inside = np.argwhere(visible)
    if count == 0 or inside.size == 0:
        return np.zeros_like(blade.texture)
    crumbs = Symptoms.none(visible.shape)
    for row, col in inside[rng.integers(len(inside), size=count)]:
        radius = max(0.6, px_per_mm * float(np.exp(rng.normal(-1.1, 0.45))))
        stamp_spot(crumbs, visible, (row, col), radius, 0.0, 0.18, rng)
    cover = np.clip(np.float32(0.5) - crumbs.depth_px, 0, 1)
    tone = np.exp(0.3 * smooth_field(rng, visible.shape, max(0.4 * px_per_mm, 1.5)))
    colour = _SOIL * np.float32(rng.uniform(0.7, 1.8)) * tone[..., None]
    blade.colour[:] += cover[..., None] * (colour - blade.colour)
    blade.height_px[:] += np.clip(-crumbs.depth_px, 0, px_per_mm) * cover
    return np.asarray(cover, np.float32)
