"""Other plants behind the photographed leaf: many simple leaves, grass, and dark depths."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, blisters, smooth_field
from scripts.workshop.rendered.light import shade
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Leaflet, Points, draw_leaflet, place

__all__ = ["paint_foliage"]

_GREENS = np.array(
    [[0.035, 0.10, 0.045], [0.06, 0.16, 0.04], [0.15, 0.27, 0.05], [0.10, 0.19, 0.09]]
)
_PATTERNS = 5  # outlines drawn; each is used many times, turned and scaled


def paint_foliage(rng: np.random.Generator, scene: Scene, px_per_mm: float, gaps: float) -> Floats:
    """Return the light from a thicket of leaves, shape (rows, columns, 3).

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the frame and the light.
    px_per_mm : float
        Scale of the plants behind.
    gaps : float
        Share of bright gaps among the leaves, 0 to 1.
    """
    shape = (scene.height_px, scene.width_px)
    sheet = np.full((*shape, 3), (4, 8, 3), np.uint8)
    leaves = [draw_leaflet(rng, scene) for _ in range(_PATTERNS)]
    length = 55 * px_per_mm
    count = int(np.clip(7 * shape[0] * shape[1] / length**2, 25, 400))
    for number in range(count):
        near = 0.15 + 0.85 * number / count
        if rng.random() < gaps:
            _draw_gap(rng, sheet, length * 0.3)
        elif rng.random() < 0.25:
            _draw_blade_of_grass(rng, sheet, length, near)
        else:
            leaf = leaves[int(rng.integers(_PATTERNS))]
            _draw_leaf(rng, sheet, leaf, length * rng.uniform(0.6, 1.3), near)
    reflectance = sheet.astype(np.float32) / np.float32(255)
    cell = max(4 * px_per_mm, 3)
    height = np.float32(0.5 * px_per_mm) * blisters(rng, shape, cell)[0]
    height += np.float32(px_per_mm) * smooth_field(rng, shape, 4 * cell)
    reflectance *= np.exp(0.08 * smooth_field(rng, shape, 1.6))[..., None]
    return shade(rng, scene, reflectance, height, 0.35 * scene.gloss)


def _anywhere(rng: np.random.Generator, sheet: NDArray[np.uint8]) -> tuple[float, float]:
    rows, cols = sheet.shape[:2]
    return float(rng.uniform(-0.1, 1.1) * cols), float(rng.uniform(-0.1, 1.1) * rows)


def _green(rng: np.random.Generator, near: float) -> NDArray[np.float64]:
    """Return a green on the sheet's scale, darker in the depths."""
    mix = rng.dirichlet(np.full(len(_GREENS), 0.7)) @ _GREENS
    return np.asarray(255 * mix * near * np.exp(rng.normal(0, 0.3)))


def _draw_leaf(
    rng: np.random.Generator, sheet: NDArray[np.uint8], leaf: Leaflet, length: float, near: float
) -> None:
    """Draw a leaf with its shadow, a lighter half and its main veins."""
    placed = place(leaf, rng.uniform(0, 2 * np.pi), length, _anywhere(rng, sheet))
    colour = _green(rng, near)
    shift = length * 0.05
    _fill(sheet, placed.outline + shift, colour * 0.15)
    _fill(sheet, placed.outline, colour)
    half = len(placed.outline) // 2
    _fill(sheet, placed.outline[:half], colour * rng.uniform(0.6, 1.5))
    tip = placed.outline[half]
    thick = max(1, round(length * 0.012))
    vein = _tone(colour * 1.6 + 8)
    cv2.line(sheet, _fixed(np.asarray(placed.base)), _fixed(tip), vein, thick, cv2.LINE_AA, shift=4)
    for at in placed.veins[0][1:-1]:
        start = np.asarray(placed.base) + at * (tip - placed.base)
        for side in (placed.outline[:half], placed.outline[half:][::-1]):
            end = start + 0.8 * (side[int(len(side) * min(at + 0.1, 0.95))] - start)
            cv2.line(
                sheet, _fixed(start), _fixed(end), vein, max(1, thick // 2), cv2.LINE_AA, shift=4
            )


def _draw_blade_of_grass(
    rng: np.random.Generator, sheet: NDArray[np.uint8], length: float, near: float
) -> None:
    x, y = _anywhere(rng, sheet)
    t = np.linspace(0, 1, 14)
    heading = rng.uniform(0, 2 * np.pi) + rng.normal(0, 0.8) * t
    reach = length * rng.uniform(1, 2.5)
    line = np.stack([x + reach * t * np.cos(heading), y + reach * t * np.sin(heading)], axis=1)
    width = length * rng.uniform(0.02, 0.05) * (1 - t)
    across = np.stack([-np.sin(heading), np.cos(heading)], axis=1) * width[:, None]
    colour = _green(rng, near) * 1.3
    _fill(sheet, np.concatenate([line + across, (line - across)[::-1]]), colour)
    _fill(sheet, np.concatenate([line + across, line[::-1]]), colour * 0.7)


def _draw_gap(rng: np.random.Generator, sheet: NDArray[np.uint8], size: float) -> None:
    """Draw a gap through which bright sky is seen."""
    x, y = _anywhere(rng, sheet)
    radius = max(1, round(size * rng.uniform(0.2, 1)))
    bright = rng.uniform(60, 230)
    cv2.circle(sheet, (round(x), round(y)), radius, (bright * 0.9, bright, bright), -1, cv2.LINE_AA)


def _fill(sheet: NDArray[np.uint8], outline: Points, colour: NDArray[np.float64]) -> None:
    points = np.rint(outline * 16).astype(np.int32)
    cv2.fillPoly(sheet, [points], _tone(colour), cv2.LINE_AA, shift=4)


def _fixed(xy: Points) -> tuple[int, int]:
    return round(float(xy[0]) * 16), round(float(xy[1]) * 16)


def _tone(colour: NDArray[np.float64]) -> tuple[float, float, float]:
    red, green, blue = (float(min(max(c, 0), 255)) for c in colour)
    return red, green, blue
