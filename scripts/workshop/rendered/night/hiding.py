"""What lies over part of a caterpillar: a leaf or a stem. The body stays one."""

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.night.body import Body
from scripts.workshop.rendered.night.foliage import LeafMaterial, leaflet_piece, stem_piece
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import Painted, Sheet
from scripts.workshop.rendered.night.thicket import oval_piece
from scripts.workshop.rendered.ribbon import Ribbon

__all__ = ["lay_over"]

_LEAST_VISIBLE = 0.6
_MOST_VISIBLE = 0.95
_TRIES = 30


def lay_over(
    rng: np.random.Generator,
    scene: NightScene,
    sheet: Sheet,
    material: LeafMaterial,
    body: Body,
    numbers: NDArray[np.uint8],
) -> NDArray[np.bool_]:
    """Lay a leaf or a stem over the first caterpillar; return the pixels that it hides.

    Every caterpillar stays visible by more than half; where no such place is found, nothing is
    laid.
    """
    hidden = np.zeros(numbers.shape, bool)
    paint = _leaf if scene.hiding == "leaf" else _stem
    for _ in range(_TRIES):
        piece = paint(rng, scene, material, body, sheet.shape)
        if piece is None or not _leaves_enough(numbers, piece):
            continue
        sheet.lay(piece, 0.4)
        hidden[piece.window] = piece.cover >= 0.5
        break
    return hidden


def _leaves_enough(numbers: NDArray[np.uint8], piece: Painted) -> bool:
    whole = np.bincount(numbers.ravel(), minlength=10)[1:]
    gone = np.bincount(numbers[piece.window][piece.cover >= 0.5], minlength=10)[1:]
    left = 1 - gone / np.maximum(whole, 1)
    return bool(left.min() >= _LEAST_VISIBLE and left[0] <= _MOST_VISIBLE)


def _leaf(
    rng: np.random.Generator,
    scene: NightScene,
    material: LeafMaterial,
    body: Body,
    shape: tuple[int, int],
) -> Painted | None:
    """Paint a leaflet that reaches over the body from one side."""
    length = body.ribbon.length_px
    at = body.ribbon.axis[int(rng.uniform(0.15, 0.85) * len(body.ribbon.axis))]
    angle = rng.uniform(0, 2 * np.pi)
    size = float(np.clip(scene.leaf_length_mm * scene.px_per_mm, 0.5 * length, 1.2 * length))
    size *= float(rng.uniform(0.4, 1.0))
    tip = at + rng.uniform(0.1, 0.5) * size * np.array([np.cos(angle), np.sin(angle)])
    base = tip - size * np.array([np.cos(angle), np.sin(angle)])
    paint = leaflet_piece if scene.style == "spline" else oval_piece
    return paint(rng, material, (base, float(angle), size), float(rng.uniform(0.7, 1.2)), shape)


def _stem(
    rng: np.random.Generator,
    scene: NightScene,
    material: LeafMaterial,
    body: Body,
    shape: tuple[int, int],
) -> Painted | None:
    """Paint a stem that crosses the body, at most a third of it wide."""
    axis = body.ribbon.axis
    at = int(rng.uniform(0.3, 0.7) * len(axis))
    along = axis[at + 2] - axis[at - 2]
    angle = np.arctan2(along[1], along[0]) + rng.uniform(0.9, 2.2)
    way = np.array([np.cos(angle), np.sin(angle)])
    u = np.linspace(-1, 1, 60)[:, None] * rng.uniform(1.2, 4) * body.ribbon.length_px
    half = min(scene.px_per_mm * rng.uniform(1.5, 5), 0.12 * body.ribbon.length_px)
    line = axis[at] + u * way
    return stem_piece(material, Ribbon(line, np.full(60, max(half, 1.0))), 0.9, 1.0, shape)
