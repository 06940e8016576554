"""Natural backgrounds: soil, straw mulch, other plants near and far, sky, a hand."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, blur, smooth_field
from scripts.workshop.rendered.leaves.foliage import paint_foliage
from scripts.workshop.rendered.light import shade
from scripts.workshop.rendered.scene import Scene

__all__ = ["paint_natural"]

_SOILS = np.array([[0.085, 0.058, 0.038], [0.045, 0.035, 0.028], [0.15, 0.095, 0.055]])
_STONE = np.array([0.26, 0.25, 0.23])
_STRAWS = np.array([[0.46, 0.35, 0.17], [0.34, 0.25, 0.13], [0.56, 0.46, 0.27], [0.22, 0.17, 0.11]])
_SKINS = np.array(
    [[0.56, 0.33, 0.24], [0.40, 0.22, 0.145], [0.20, 0.105, 0.065], [0.09, 0.05, 0.035]]
)


def paint_natural(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Return the light from a natural background, shape (rows, columns, 3), without shadows.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the background's name, the frame and the light.
    px_per_mm : float
        Scale at the leaf.
    """
    painters = {
        "soil": _soil,
        "straw": _straw,
        "foliage_far": _foliage_far,
        "foliage_near": _foliage_near,
        "sky": _sky,
        "hand": _hand,
    }
    return painters[scene.background](rng, scene, px_per_mm)


def _soil(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Paint crumbs of many sizes, some small stones, moist and dry patches."""
    shape = (scene.height_px, scene.width_px)
    colour = _SOILS[int(rng.integers(len(_SOILS)))] * rng.uniform(0.7, 1.4)
    height = np.float32(0.8 * px_per_mm) * smooth_field(rng, shape, max(9 * px_per_mm, 4), 6, 0.62)
    tone = np.exp(0.2 * smooth_field(rng, shape, max(18 * px_per_mm, 6), 3))
    reflectance = colour.astype(np.float32) * tone[..., None]
    for size_mm in (1.2, 2.6, 6.0):
        dome, crumb_tone, stone = _crumbs(rng, shape, max(size_mm * px_per_mm, 2.0))
        reflectance *= 1 + (dome > 0)[..., None] * (crumb_tone[..., None] - 1)
        reflectance += stone[..., None] * (_STONE.astype(np.float32) * 0.8 - reflectance)
        height = np.maximum(height, height * 0.4 + dome)
    grain = np.exp(0.18 * smooth_field(rng, shape, 1.5))
    return shade(rng, scene, reflectance * grain[..., None], height, 0.0)


def _crumbs(
    rng: np.random.Generator, shape: tuple[int, int], size_px: float
) -> tuple[Floats, Floats, Floats]:
    """Return domes (height in pixels), a tone for each dome, and where a dome is a stone."""
    count = max(3, int(0.35 * shape[0] * shape[1] / size_px**2))
    free = np.ones(shape, np.uint8)
    free[rng.integers(shape[0], size=count), rng.integers(shape[1], size=count)] = 0
    distance, label = cv2.distanceTransformWithLabels(
        free, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    most = int(label.max()) + 1
    radius = (size_px * rng.beta(1.2, 2.2, most)).astype(np.float32)[label]
    ragged = 1 + 0.22 * smooth_field(rng, shape, max(size_px * 0.6, 1.6))
    dome = np.sqrt(np.maximum(radius**2 - (distance * ragged) ** 2, 0))
    tone = np.exp(rng.normal(0, 0.28, most)).astype(np.float32)[label]
    stone = ((rng.random(most) < 0.04)[label] & (dome > 0)).astype(np.float32)
    return np.asarray(dome, np.float32), tone, stone


def _straw(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Paint stalks lying across each other over dark gaps; later ones lie higher."""
    shape = (scene.height_px, scene.width_px)
    sheet = np.full((*shape, 3), (14, 10, 7), np.uint8)
    width_mm = rng.uniform(1.6, 3.2)
    cover = 5.0 * shape[0] * shape[1] / (width_mm * 70 * px_per_mm**2)
    count = int(np.clip(cover, 40, 2500))
    for number in range(count):
        _draw_stalk(rng, sheet, width_mm * px_per_mm, 70 * px_per_mm, 0.35 + 0.65 * number / count)
    reflectance = sheet.astype(np.float32) / np.float32(255)
    fibre = smooth_field(rng, shape, 1.5, 1) + smooth_field(rng, shape, max(2 * px_per_mm, 2))
    relief = 0.3 * smooth_field(rng, shape, max(1.5 * px_per_mm, 2), 2)
    reflectance *= np.exp(0.10 * fibre)[..., None]
    return shade(rng, scene, reflectance, relief, 0.1)


def _draw_stalk(
    rng: np.random.Generator,
    sheet: NDArray[np.uint8],
    width_px: float,
    length_px: float,
    light: float,
) -> None:
    """Draw one straw: its shadow, a dark edge, the body and a highlight, narrower each time."""
    rows, cols = sheet.shape[:2]
    middle = rng.uniform((-0.05 * cols, -0.05 * rows), (1.05 * cols, 1.05 * rows))
    angle, reach = rng.uniform(0, np.pi), length_px * rng.uniform(0.3, 1.2)
    way = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-way[1], way[0]])
    colour = _STRAWS[int(rng.integers(len(_STRAWS)))] * np.exp(rng.normal(0, 0.15)) * light * 255
    width = width_px * rng.uniform(0.5, 1.3)
    for shift, share, tone in (
        (0.45, 1.1, 0.10),
        (0, 1, 0.55),
        (-0.05, 0.7, 0.9),
        (-0.15, 0.3, 1.15),
    ):
        ends = [middle + sign * reach / 2 * way + shift * width * across for sign in (-1, 1)]
        points = [(round(float(x) * 16), round(float(y) * 16)) for x, y in ends]
        drawn = tuple(float(min(c * tone, 255)) for c in colour)
        thick = max(1, round(width * share))
        cv2.line(sheet, points[0], points[1], drawn, thick, cv2.LINE_AA, shift=4)


def _foliage_far(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Paint other plants well out of focus, with bright gaps."""
    light = paint_foliage(rng, scene, px_per_mm * rng.uniform(0.4, 0.8), gaps=rng.uniform(0, 0.25))
    return blur(light, min(scene.width_px, scene.height_px) * rng.uniform(0.015, 0.06))


def _foliage_near(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Paint other leaves close behind: in the shade of the first one, nearly in focus."""
    light = paint_foliage(rng, scene, px_per_mm * rng.uniform(0.5, 0.9), gaps=0.0)
    light *= np.float32(rng.uniform(0.3, 0.65))
    return blur(light, min(scene.width_px, scene.height_px) * rng.uniform(0.001, 0.006))


def _sky(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Paint sky with soft clouds, and on one side the tops of far plants."""
    shape = (scene.height_px, scene.width_px)
    blue = np.array([0.30, 0.47, 0.78]) * rng.uniform(0.7, 1.1)
    down = np.linspace(0, 1, shape[0], dtype=np.float32)[:, None]
    sky = blue.astype(np.float32) * (1 + 0.5 * down)[..., None] * np.ones((*shape, 1), np.float32)
    cloud = smooth_field(rng, shape, 0.35 * min(shape), 5, 0.55) + np.float32(rng.normal(0, 0.7))
    white = np.clip(0.5 + 0.6 * cloud, 0, 1)[..., None]
    sky += white * (np.float32(rng.uniform(0.75, 0.95)) - sky)
    plants = paint_foliage(rng, scene, px_per_mm * 0.5, gaps=0.0)
    edge = rng.uniform(0.45, 1.1) + 0.12 * smooth_field(rng, shape, 0.15 * min(shape), 3)
    sky += (down > edge)[..., None] * (plants - sky)
    return blur(sky, min(shape) * rng.uniform(0.01, 0.03))


def _hand(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Paint three or four fingers and part of a palm, held before far plants or soil."""
    shape = (scene.height_px, scene.width_px)
    behind = (_foliage_far if rng.random() < 0.6 else _soil)(rng, scene, px_per_mm)
    skin = _SKINS[int(rng.integers(len(_SKINS)))] * rng.uniform(0.85, 1.15)
    cover = np.zeros(shape, np.uint8)
    depth = np.zeros(shape, np.float32)
    for finger in _fingers(rng, shape, px_per_mm):
        one = np.zeros(shape, np.uint8)
        cv2.line(one, finger[0], finger[1], 255, finger[2], cv2.LINE_AA)
        inner = cv2.distanceTransform((one > 127).astype(np.uint8), cv2.DIST_L2, 3)
        across = np.clip(inner / (finger[2] / 2), 0, 1)
        rounded = (finger[2] / 2) * np.sqrt(np.maximum(1 - (1 - across) ** 2, 0))
        depth = np.where(one > 127, rounded, depth)
        cover = np.maximum(cover, one)
    lines = smooth_field(rng, shape, max(0.9 * px_per_mm, 1.6), 2, 0.8)
    warm = 1 + 0.08 * smooth_field(rng, shape, max(12 * px_per_mm, 5))
    reflectance = skin.astype(np.float32) * (warm * np.exp(0.05 * lines))[..., None]
    relief = np.asarray(cv2.GaussianBlur(depth, (0, 0), 1.5), np.float32) * 0.8 + 0.12 * lines
    light = shade(rng, scene, reflectance, relief, 0.25 * scene.gloss)
    alpha = (cover.astype(np.float32) / np.float32(255))[..., None]
    return np.asarray(behind + alpha * (light - behind), np.float32)


def _fingers(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> list[tuple[tuple[int, int], tuple[int, int], int]]:
    """Return start, end (x, y) and thickness of fingers that enter from one side of the frame."""
    thick = 17 * px_per_mm * rng.uniform(0.9, 1.2)
    angle = rng.uniform(-0.5, 0.5) + rng.choice((0, np.pi / 2, np.pi, -np.pi / 2))
    way = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-way[1], way[0]])
    middle = np.array([shape[1], shape[0]]) / 2
    fingers = []
    for number in range(int(rng.integers(2, 5))):
        offset = (number - 1.5) * thick * 1.04 * across
        tip = middle + offset + way * rng.uniform(-0.25, 0.15) * min(shape)
        root = tip - way * 2.0 * max(shape)
        fingers.append((_point(root), _point(tip), max(3, round(thick * rng.uniform(0.9, 1.05)))))
    return fingers


def _point(xy: NDArray[np.float64]) -> tuple[int, int]:
    return round(float(xy[0])), round(float(xy[1]))
