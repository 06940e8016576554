"""What lies between droppings and is none: crumbs, shade, aphids, seeds, chips, flat specks."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from scripts.workshop.rendered.droppings.scene import DroppingScene
from scripts.workshop.rendered.fields import AnyFloats, Floats, blur, smooth_field
from scripts.workshop.rendered.ribbon import Ribbon, Window, follow, frame_window, window_size
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["PAINTERS", "Bit", "shade_patch"]

_SOILS = np.array(
    [[0.10, 0.065, 0.04], [0.055, 0.04, 0.03], [0.17, 0.11, 0.065], [0.026, 0.021, 0.018],
     [0.05, 0.047, 0.043]],
    np.float32,
)  # fmt: skip
_APHIDS = np.array([[0.20, 0.30, 0.08], [0.02, 0.02, 0.02], [0.35, 0.18, 0.14]], np.float32)
_SEEDS = np.array(
    [[0.50, 0.38, 0.20], [0.30, 0.20, 0.10], [0.06, 0.035, 0.02], [0.018, 0.016, 0.015]], np.float32
)
_STAINS = np.array(
    [[0.02, 0.014, 0.012], [0.04, 0.025, 0.016], [0.075, 0.042, 0.022], [0.12, 0.07, 0.035]],
    np.float32,
)
_RIM = np.array([0.34, 0.36, 0.07], np.float32)  # yellowed leaf
_WOODS = np.array([[0.30, 0.19, 0.10], [0.16, 0.09, 0.05], [0.06, 0.04, 0.03]], np.float32)


@dataclass(frozen=True, eq=False)
class Bit:
    """A small thing on the ground.

    Attributes
    ----------
    window : tuple of slice
        Rows and columns.
    cover : ndarray of float32, shape of the window
        Share of each pixel that it covers.
    height_px : ndarray of float32, shape of the window
        Relief.
    reflectance : ndarray of float32, shape (rows, columns, 3)
        Linear, 0 to 1.
    gloss : float
        Specular strength.
    """

    window: Window
    cover: Floats
    height_px: Floats
    reflectance: Floats
    gloss: float


def _polygon(points: Points, shape: tuple[int, ...]) -> tuple[Window, Floats, Floats] | None:
    """Return the window, cover and inner distance of a closed outline."""
    window = frame_window(points, 3, shape)
    if window is None:
        return None
    canvas = np.zeros(window_size(window), np.uint8)
    fixed = np.rint((points - (window[1].start, window[0].start)) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [fixed], 255, cv2.LINE_AA, shift=4)
    inner = cv2.distanceTransform((canvas > 127).astype(np.uint8), cv2.DIST_L2, 3)
    return window, canvas.astype(np.float32) / np.float32(255), np.asarray(inner, np.float32)


def _coloured(
    rng: np.random.Generator, colour: AnyFloats, size: tuple[int, int], grain: float
) -> Floats:
    tone = np.exp(0.2 * smooth_field(rng, size, max(grain, 1.2), 2))
    return np.asarray(tone[..., None] * colour * np.float32(np.exp(rng.normal(0, 0.2))), np.float32)


def _crumb(
    rng: np.random.Generator, scene: DroppingScene, at: Points, px: float, shape: tuple[int, ...]
) -> Bit | None:
    """Paint an irregular, angular crumb of soil about as large as a dropping."""
    radius = 0.5 * scene.dropping_mm * px * rng.uniform(0.5, 1.4)
    corners = int(rng.integers(5, 10))
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    reach = radius * rng.uniform(0.55, 1.25, corners)
    ring = np.stack([np.cos(angle) * reach, np.sin(angle) * reach], axis=1)
    made = _polygon(ring + at, shape)
    if made is None:
        return None
    window, cover, inner = made
    rough = 1 + 0.35 * smooth_field(rng, cover.shape, max(0.3 * radius, 1.3), 3)
    height = np.sqrt(np.maximum(inner, 0) * np.float32(radius)) * np.clip(rough, 0.1, 2)
    colour = _SOILS[int(rng.integers(len(_SOILS)))] * np.asarray(scene.tint, np.float32)
    return Bit(window, cover, height, _coloured(rng, colour, cover.shape, 0.2 * radius), 0.0)


def _aphid(
    rng: np.random.Generator, scene: DroppingScene, at: Points, px: float, shape: tuple[int, ...]
) -> Bit | None:
    """Paint a pear-shaped aphid of 1.5 to 3 mm with legs."""
    half = max(0.5 * rng.uniform(1.5, 3.0) * px, 2.5)
    t = np.linspace(0, 2 * np.pi, 60)
    pear = np.stack([np.cos(t), 0.62 * np.sin(t) * (1 - 0.3 * np.cos(t))], axis=1) * half
    turn = rng.uniform(0, 2 * np.pi)
    window = frame_window(at[None], 1.9 * half + 3, shape)
    if window is None:
        return None
    corner = np.array([window[1].start, window[0].start])
    canvas = np.zeros(window_size(window), np.uint8)
    for place in (-0.1, 0.25, 0.5):
        for side in (-1, 1):
            xs = (place, place + 0.2, place - 0.3 * rng.random())
            leg = np.stack([xs, (0.3 * side, 1.0 * side, 1.5 * side)], axis=1) * half
            points = np.rint((turned(leg, turn) + at - corner) * 16).astype(np.int32)
            thick = max(1, round(0.06 * half))
            cv2.polylines(canvas, [points], False, 190, thick, cv2.LINE_AA, shift=4)
    body = np.rint((turned(pear, turn) + at - corner) * 16).astype(np.int32)
    inside = np.zeros_like(canvas)
    cv2.fillPoly(inside, [body], 255, cv2.LINE_AA, shift=4)
    inner = cv2.distanceTransform((inside > 127).astype(np.uint8), cv2.DIST_L2, 3)
    height = np.sqrt(np.asarray(inner, np.float32) * np.float32(half))
    cover = np.maximum(canvas, inside).astype(np.float32) / np.float32(255)
    colour = _APHIDS[int(rng.integers(len(_APHIDS)))]
    reflectance = _coloured(rng, colour, cover.shape, half)
    return Bit(window, cover, np.asarray(height, np.float32), reflectance, 0.5)


def _seed(
    rng: np.random.Generator, scene: DroppingScene, at: Points, px: float, shape: tuple[int, ...]
) -> Bit | None:
    """Paint a smooth, flat seed, a drop with a point, pale to black."""
    half = max(0.5 * rng.uniform(2.5, 7) * px, 2.5)
    t = np.linspace(0, 2 * np.pi, 80)
    wide = rng.uniform(0.4, 0.75)
    drop = np.stack([np.cos(t), wide * np.sin(t) * np.sin(t / 2) ** rng.uniform(0.5, 1.2)], axis=1)
    made = _polygon(turned(drop * half, rng.uniform(0, 6)) + at, shape)
    if made is None:
        return None
    window, cover, inner = made
    height = 0.5 * np.sqrt(np.maximum(inner, 0) * np.float32(half))
    colour = _SEEDS[int(rng.integers(len(_SEEDS)))]
    gloss = float(rng.uniform(0, 0.5))
    reflectance = _coloured(rng, colour, cover.shape, 3 * half)
    return Bit(window, cover, np.asarray(height, np.float32), reflectance, gloss)


def _chip(
    rng: np.random.Generator, scene: DroppingScene, at: Points, px: float, shape: tuple[int, ...]
) -> Bit | None:
    """Paint a splinter of wood or bark: straight sides, grain along it."""
    long = rng.uniform(4, 25) * px
    half = max(long * rng.uniform(0.08, 0.25), 1.5)
    turn = rng.uniform(0, np.pi)
    way = np.array([np.cos(turn), np.sin(turn)])
    line = at + np.linspace(-0.5, 0.5, 30)[:, None] * long * way
    taper = np.clip(np.minimum(np.linspace(0.5, 5, 30), np.linspace(5, 0.5, 30)), 0, 1)
    swath = follow(Ribbon(line, half * taper * rng.uniform(0.8, 1)), shape)
    if swath is None:
        return None
    fibres = np.interp(swath.across, np.linspace(-1, 1, 24), rng.normal(0, 0.3, 24))
    colour = _WOODS[int(rng.integers(len(_WOODS)))] * np.exp(fibres)[..., None]
    height = np.float32(0.4 * half) * (1 - 0.5 * swath.across**2) + fibres
    reflectance = _coloured(rng, np.ones(3), swath.cover.shape, 2.0) * colour
    return Bit(swath.window, swath.cover, height.astype(np.float32),
               reflectance.astype(np.float32), 0.05)  # fmt: skip


def _speck(
    rng: np.random.Generator, scene: DroppingScene, at: Points, px: float, shape: tuple[int, ...]
) -> Bit | None:
    """Paint a flat, dark stain of 0.6 to 3.5 mm, round or angular, mostly with a pale rim."""
    radius = max(0.5 * float(np.clip(np.exp(rng.normal(0.35, 0.4)), 0.6, 3.5)) * px, 1.8)
    corners = int(rng.integers(6, 14))
    angle = np.arange(corners) * (2 * np.pi / corners)
    reach = radius * (1 + rng.normal(0, rng.uniform(0.03, 0.2), corners)).clip(0.5, 1.5)
    rim = 1 + rng.uniform(0.4, 1.6) * (rng.random() < 0.7)
    window = frame_window(at[None], rim * radius + 4, shape)
    if window is None:
        return None
    ring = np.stack([np.cos(angle) * reach, np.sin(angle) * reach], axis=1)
    ring += at - (window[1].start, window[0].start)
    canvas = np.zeros(window_size(window), np.uint8)
    cv2.fillPoly(canvas, [np.rint(ring * 16).astype(np.int32)], 255, cv2.LINE_AA, shift=4)
    core = blur(canvas.astype(np.float32) / np.float32(255), max(0.1 * radius, 0.6))
    halo = np.float32(0.75) * blur(core, 0.6 * (rim - 1) * radius + 0.3) if rim > 1 else core
    cover = np.maximum(core, halo)
    dark, pale = _STAINS[int(rng.integers(len(_STAINS)))], _RIM * np.exp(rng.normal(0, 0.2))
    share = (core / np.maximum(cover, np.float32(1e-3)))[..., None]
    colour = _coloured(rng, dark, cover.shape, 0.4 * radius) * share + (1 - share) * pale
    flat = np.zeros(cover.shape, np.float32)
    return Bit(window, cover, flat, colour.astype(np.float32), float(rng.uniform(0, 0.15)))


PAINTERS: dict[str, Callable[..., Bit | None]] = {
    "crumb": _crumb,
    "aphid": _aphid,
    "seed": _seed,
    "chip": _chip,
    "speck": _speck,
}
"""Painters of litter that lies on the ground: source of chance, scene, place, scale, frame."""


def shade_patch(
    rng: np.random.Generator, at: Points, size_px: float, shape: tuple[int, ...]
) -> tuple[Window, Floats]:
    """Return the shadow of something above: where it falls and how dark, 0 to 1."""
    angle = np.linspace(0, 2 * np.pi, 90)
    waves = sum(rng.normal(0, 0.25 / n) * np.cos(n * angle + rng.uniform(0, 6)) for n in (2, 3, 5))
    ring = np.stack([np.cos(angle), rng.uniform(0.3, 0.9) * np.sin(angle)], axis=1)
    ring *= np.asarray(np.clip(1 + waves, 0.3, 2) * size_px)[:, None]
    ring = turned(ring, rng.uniform(0, 6))
    soft = max(0.12 * size_px, 1.0)
    window = frame_window(ring + at, 3 * soft, shape)
    if window is None:
        return (slice(0, 0), slice(0, 0)), np.zeros((0, 0), np.float32)
    canvas = np.zeros(window_size(window), np.float32)
    points = ring + at - (window[1].start, window[0].start)
    cv2.fillPoly(canvas, [np.rint(points * 16).astype(np.int32)], 1.0, cv2.LINE_8, shift=4)
    return window, blur(canvas, soft) * np.float32(rng.uniform(0.45, 0.8))
