"""Mulch of bark or wood: flat chips of many sizes lying over each other, with dark gaps."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.light import shade, shadow_offset_px
from scripts.workshop.rendered.scene import Scene

__all__ = ["paint_bark"]

_BARKS = np.array(
    [[0.20, 0.115, 0.07], [0.11, 0.065, 0.042], [0.29, 0.19, 0.12], [0.15, 0.13, 0.11]]
)
_WOODS = np.array([[0.48, 0.34, 0.20], [0.36, 0.25, 0.15], [0.30, 0.27, 0.23], [0.22, 0.13, 0.08]])
"""Fresh, drying, weathered and wet chips of wood."""
_GAP = (3, 2, 2)
_MOST_CHIPS = 2500


def paint_bark(
    rng: np.random.Generator, scene: Scene, px_per_mm: float, pale: float = 0.0
) -> Floats:
    """Return the light from a bed of chips, shape (rows, columns, 3), without shadows on it.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the frame and the light.
    px_per_mm : float
        Scale.
    pale : float
        0 = bark, 1 = fresh chips of wood.
    """
    colours = _BARKS + pale * (_WOODS - _BARKS)
    away = np.clip(shadow_offset_px(scene, 1.0), -2, 2) * rng.uniform(0.02, 0.05)
    shape = (scene.height_px, scene.width_px)
    sheet, height = np.full((*shape, 3), _GAP, np.uint8), np.zeros(shape, np.uint8)
    long = rng.uniform(14, 32) * px_per_mm
    count = int(np.clip(14 * shape[0] * shape[1] / long**2, 30, _MOST_CHIPS))
    for number in range(count):
        colour = colours[int(rng.integers(len(colours)))]
        size, near = long * np.exp(rng.normal(0, 0.4)), 0.3 + 0.7 * number / count
        _lay_chip(rng, sheet, height, colour, size, near, size * away)
    grain = smooth_field(rng, shape, max(0.5 * px_per_mm, 1.5), 2, 0.8)
    patches = smooth_field(rng, shape, max(4 * px_per_mm, 3), 2)
    reflectance = sheet.astype(np.float32) / np.float32(255)
    reflectance *= np.exp(0.18 * grain + 0.15 * patches)[..., None]
    relief = (
        height.astype(np.float32) * np.float32(0.012 * px_per_mm) + 0.35 * grain + 0.5 * patches
    )
    relief = np.asarray(cv2.GaussianBlur(relief, (0, 0), 0.8), np.float32)
    return shade(rng, scene, reflectance, relief, 0.05)


def _lay_chip(
    rng: np.random.Generator,
    sheet: NDArray[np.uint8],
    height: NDArray[np.uint8],
    face: NDArray[np.float64],
    long: float,
    near: float,
    shadow: NDArray[np.float64],
) -> None:
    """Lay one chip: its shadow, its face with some fibres, and how high it lies."""
    middle = rng.uniform((-0.05, -0.05), (1.05, 1.05)) * (sheet.shape[1], sheet.shape[0])
    points = _outline(rng, long)
    angle = rng.uniform(0, 2 * np.pi)
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, sin], [-sin, cos]])
    placed = points @ turn + middle
    colour = 255 * face * np.exp(rng.normal(0, 0.2)) * near
    _fill(sheet, placed + shadow, colour * 0.2)
    _fill(sheet, placed, colour)
    high = int(60 + 150 * near + rng.uniform(-25, 25))
    cv2.fillPoly(height, [_fixed(placed)], high, cv2.LINE_AA, shift=4)
    wide = float(np.abs(points[:, 1]).max())
    for _ in range(int(rng.integers(1, 5))):
        across = rng.uniform(-0.6, 0.6) * wide
        ends = np.array([[-0.4 * long, across], [0.4 * long, across + rng.normal(0, 0.1) * wide]])
        line = _fixed(ends @ turn + middle)
        tone = tuple(float(c) for c in np.clip(colour * rng.uniform(0.4, 1.4), 0, 255))
        thick = max(1, round(0.02 * long))
        cv2.polylines(sheet, [line], False, tone, thick, cv2.LINE_AA, shift=4)


def _outline(rng: np.random.Generator, long: float) -> NDArray[np.float64]:
    """Return an irregular four- to eight-cornered outline along x."""
    wide = long * rng.uniform(0.15, 0.6)
    corners = int(rng.integers(2, 5))
    x = np.linspace(-0.5, 0.5, corners) * long
    upper = np.stack([x, 0.5 * wide * rng.uniform(0.6, 1.1, corners)], axis=1)
    lower = np.stack([x[::-1], -0.5 * wide * rng.uniform(0.6, 1.1, corners)], axis=1)
    points = np.concatenate([upper, lower])
    return np.asarray(points + rng.normal(0, 0.03 * long, points.shape))


def _fill(
    sheet: NDArray[np.uint8], outline: NDArray[np.float64], colour: NDArray[np.float64]
) -> None:
    tone = tuple(float(c) for c in np.clip(colour, 0, 255))
    cv2.fillPoly(sheet, [_fixed(outline)], tone, cv2.LINE_AA, shift=4)


def _fixed(points: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.rint(points * 16).astype(np.int32)
