"""Natural backgrounds: soil, straw, other plants, sky, a hand."""

import numpy as np

from vision.rendered.fields import Floats, smooth_field
from vision.rendered.light import shade
from vision.rendered.scene import Scene

__all__ = ["paint_natural"]


def paint_natural(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Return the light from a natural background, shape (rows, columns, 3), without shadows."""
    shape = (scene.height_px, scene.width_px)
    height = np.float32(px_per_mm) * smooth_field(rng, shape, max(5 * px_per_mm, 3), 5, 0.6)
    tone = np.exp(0.25 * smooth_field(rng, shape, max(3 * px_per_mm, 2), 3))
    return shade(rng, scene, np.array([0.09, 0.06, 0.04], np.float32) * tone[..., None], height, 0)
