"""The second painter's foliage: pointed ovals in sprays, folded along the middle, and thin shoots.

It shares no outline, texture or shading with ``foliage.py``.
"""

import numpy as np

from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.night.foliage import LeafMaterial, cover_of, leaf_surface
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import Painted, Sheet
from scripts.workshop.rendered.ribbon import Ribbon, follow, frame_window
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["lay_thicket", "oval_piece"]


def lay_thicket(
    rng: np.random.Generator, scene: NightScene, sheet: Sheet, material: LeafMaterial
) -> None:
    """Lay everything that grows behind the caterpillars, from the farthest on."""
    _lay_haze(rng, scene, sheet, material)
    length = 0.8 * scene.leaf_length_mm * scene.px_per_mm
    whole = sheet.shape[0] * sheet.shape[1] / (1.1 * length**2)
    count = int(np.clip(2.6 * scene.density * whole, 0, 200))
    for number in range(count):
        depth = (number + 1) / count
        at = rng.uniform((-0.08, -0.08), (1.08, 1.08)) * sheet.shape[::-1]
        bright = (0.12 + 0.88 * depth**1.5) * np.exp(rng.normal(0, 0.25))
        _lay_spray(rng, sheet, material, at, length * rng.uniform(0.6, 1.25), bright)


def _lay_haze(
    rng: np.random.Generator, scene: NightScene, sheet: Sheet, material: LeafMaterial
) -> None:
    """Lay what is out of focus and nearly dark: broad patches."""
    cell = 0.12 * max(sheet.shape)
    patches = np.clip(0.25 + 0.18 * smooth_field(rng, sheet.shape, cell, 3), 0.02, 1)
    shade = patches * np.float32(rng.uniform(0.1, 0.6))
    surface = leaf_surface(material, shade, np.zeros_like(shade), 1.0)
    everywhere = (slice(0, sheet.shape[0]), slice(0, sheet.shape[1]))
    sheet.lay(Painted(everywhere, np.ones(sheet.shape, np.float32), surface))


def _lay_spray(
    rng: np.random.Generator,
    sheet: Sheet,
    material: LeafMaterial,
    at: Points,
    length: float,
    bright: float,
) -> None:
    """Lay a bent shoot with leaves on both sides and one at its end."""
    heading = rng.uniform(0, 2 * np.pi) + rng.normal(0, 0.9) * np.linspace(0, 1, 30)
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * length * 1.5 / 30
    shoot = at + np.cumsum(steps, axis=0)
    _lay_shoot(sheet, material, Ribbon(shoot, np.linspace(0.028, 0.014, 30) * length), bright)
    for place in range(4, 28, int(rng.integers(6, 10))):
        for side in (-1, 1):
            angle = heading[place] + side * rng.uniform(0.6, 1.3)
            size = length * rng.uniform(0.4, 0.8)
            _lay_oval(rng, sheet, material, (shoot[place], angle, size), bright)
    _lay_oval(rng, sheet, material, (shoot[-1], heading[-1], length), bright)


def _lay_oval(
    rng: np.random.Generator,
    sheet: Sheet,
    material: LeafMaterial,
    where: tuple[Points, float, float],
    bright: float,
) -> None:
    leaf = oval_piece(rng, material, where, bright, sheet.shape)
    if leaf is not None:
        sheet.lay(leaf, 0.45, max(0.02 * where[2], 1.0))


def oval_piece(
    rng: np.random.Generator,
    material: LeafMaterial,
    where: tuple[Points, float, float],
    bright: float,
    shape: tuple[int, int],
) -> Painted | None:
    """Paint a pointed oval leaf: base, tip's direction, length in ``where``; None if outside."""
    base, angle, size = where
    outline = turned(_oval(rng, size), angle) + base
    lit = np.float32(bright * np.exp(rng.normal(0, 0.2)))
    halves = np.exp(rng.normal(0, 0.25, 2))
    ribs, depth = rng.uniform(9, 16), rng.uniform(0, 0.25)
    window = frame_window(outline, 2, shape)
    if window is None:
        return None
    u, v = _blade_places(window, base, angle, size)
    cover = cover_of(outline, window)
    rib = np.cos(np.float32(2 * np.pi * ribs) * (u - 0.7 * np.abs(v))) ** 2
    shade = np.where(v > 0, halves[0], halves[1]) * (1 - np.float32(depth) * rib) * lit
    shade = shade * np.exp(0.1 * smooth_field(rng, u.shape, max(0.03 * size, 1.5)))
    middle = np.exp(-((v * size / (0.008 * size + 0.7)) ** 2)) * np.clip(1.1 - u, 0, 1)
    pale = float(rng.uniform(0.4, 1.4))
    surface = leaf_surface(material, shade.astype(np.float32), middle, pale)
    return Painted(window, cover, surface)


def _oval(rng: np.random.Generator, size: float) -> Points:
    """Return a closed outline from base to tip and back, toothed, tip towards +x."""
    t = np.linspace(0, 1, 90)
    wide = rng.uniform(0.2, 0.36) * np.sin(np.pi * t ** rng.uniform(0.6, 0.9)) ** 0.9
    teeth = rng.uniform(0, 0.05) * np.abs(np.sin(np.pi * t * rng.integers(5, 12)))
    edge = wide * (1 - 3 * teeth)
    upper, lower = np.stack([t, edge], axis=1), np.stack([t, -edge], axis=1)
    return np.concatenate([upper, lower[::-1]]) * size


def _blade_places(
    window: tuple[slice, slice], base: Points, angle: float, size: float
) -> tuple[Floats, Floats]:
    """Return places along and across a leaf in leaf lengths."""
    y = (np.arange(window[0].start, window[0].stop, dtype=np.float32) - np.float32(base[1]))[
        :, None
    ]
    x = (np.arange(window[1].start, window[1].stop, dtype=np.float32) - np.float32(base[0]))[None]
    cos, sin = np.float32(np.cos(angle) / size), np.float32(np.sin(angle) / size)
    return x * cos + y * sin, y * cos - x * sin


def _lay_shoot(sheet: Sheet, material: LeafMaterial, ribbon: Ribbon, bright: float) -> None:
    swath = follow(ribbon, sheet.shape)
    if swath is None:
        return
    shade = (np.float32(bright) * (1 - 0.5 * np.abs(swath.across))).astype(np.float32)
    surface = leaf_surface(material, shade, np.full_like(shade, 0.6), 1.0)
    sheet.lay(Painted(swath.window, swath.cover, surface))
