"""The blade itself: reflectance (linear, 0 to 1) and relief (height in pixels)."""

from dataclasses import dataclass

import numpy as np

from scripts.workshop.rendered.fields import Floats, blisters, smooth_field, smoothstep
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Leaflet, swept

__all__ = ["Blade", "paint_blade"]

# Linear reflectance of the upper side, from blue-green to yellow-green; read off photos of tomato
# leaflets on neutral boards.
_GREENS = np.array([[0.040, 0.105, 0.060], [0.065, 0.150, 0.045], [0.160, 0.275, 0.050]])
_VEIN = np.array([0.27, 0.36, 0.15], np.float32)
_YELLOW_LEAF = np.array([0.42, 0.40, 0.06], np.float32)
_TABLE = 4096  # steps along the midrib; fewer would show as stairs on large photos


@dataclass(frozen=True, eq=False)
class Blade:
    """A leaflet's surface over its window.

    Attributes
    ----------
    colour : ndarray of float32, shape (rows, columns, 3)
        Linear reflectance before texture.
    texture : ndarray of float32, shape (rows, columns)
        Factor on the colour, mean near 1.
    height_px : ndarray of float32, shape (rows, columns)
        Relief above the leaf's plane.
    vein : ndarray of float32, shape (rows, columns)
        1 on a main vein, 0 off it.
    """

    colour: Floats
    texture: Floats
    height_px: Floats
    vein: Floats


def paint_blade(
    rng: np.random.Generator,
    scene: Scene,
    leaflet: Leaflet,
    coordinates: tuple[Floats, Floats],
    px_per_mm: float,
) -> Blade:
    """Paint a leaflet without symptoms.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives hue, brightness, roughness, curl and yellowing.
    leaflet : Leaflet
        The placed leaflet.
    coordinates : tuple of ndarray
        ``u`` and ``v`` from ``blade_coordinates``.
    px_per_mm : float
        Scale.
    """
    u, v = coordinates
    wander = np.float32(0.008) * smooth_field(rng, u.shape, max(12 * px_per_mm, 4))
    midrib, secondary, pillow = _veins(leaflet, u + wander, v, px_per_mm)
    domes, fine = blisters(rng, u.shape, rng.uniform(1.8, 3.6) * px_per_mm)
    vein = np.maximum(midrib, 0.75 * secondary)
    colour = _base_colour(rng, scene, u, v, px_per_mm)
    contrast = rng.uniform(0.15, 0.75)
    pale = (contrast * vein + 0.12 * contrast * fine)[..., None]
    colour += pale * (_VEIN * np.float32(scene.brightness) - colour)
    height = _relief(rng, scene, (u, v), (vein, fine, pillow, domes), px_per_mm, leaflet.length)
    return Blade(colour, _texture(rng, scene, u.shape, px_per_mm), height, vein)


def _veins(
    leaflet: Leaflet, u: Floats, v: Floats, px_per_mm: float
) -> tuple[Floats, Floats, Floats]:
    """Midrib and secondary veins (1 on the line), and the swelling between secondaries (0 to 1)."""
    length = np.float32(leaflet.length)
    taper = np.clip(1.15 - u, 0.15, 1.1)
    midrib = np.exp(-((v * length / (np.float32(0.55 * px_per_mm) * taper + 0.5)) ** 2))
    s = np.clip(swept(leaflet, u, v), 0, 1)
    index = (s * (_TABLE - 1)).astype(np.intp)
    side = (v > 0).astype(np.intp)
    tables = [_vein_tables(positions) for positions in leaflet.veins]
    distance = np.stack([t[0] for t in tables])[side, index] * length
    pillow = np.stack([t[1] for t in tables])[side, index]
    thin = np.clip(1 - 2.0 * np.abs(v), 0.15, 1) * np.float32(0.32 * px_per_mm) + 0.4
    secondary = np.exp(-((distance / thin) ** 2)) * np.clip(1.1 - 1.6 * np.abs(v), 0.1, 1)
    return midrib, secondary, pillow * np.minimum(1, np.abs(v) * 12)


def _vein_tables(positions: np.ndarray) -> tuple[Floats, Floats]:
    """Distance to the nearest vein and the swelling between neighbours, over s = 0 to 1."""
    s = np.linspace(0, 1, _TABLE)
    distance = np.abs(s[:, None] - positions[None, :]).min(axis=1)
    knots = np.concatenate([[-0.1], positions, [1.1]])
    right = np.clip(np.searchsorted(knots, s), 1, knots.size - 1)
    phase = (s - knots[right - 1]) / (knots[right] - knots[right - 1])
    return distance.astype(np.float32), np.sqrt(np.sin(np.pi * phase) + 1e-3).astype(np.float32)


def _base_colour(
    rng: np.random.Generator, scene: Scene, u: Floats, v: Floats, px_per_mm: float
) -> Floats:
    """Green with slow changes over the blade, and yellowing that starts between veins and edge."""
    cell = max(14 * px_per_mm, 4)
    hue = scene.hue + 0.09 * smooth_field(rng, u.shape, cell, 2)
    hue += 0.05 * smooth_field(rng, u.shape, max(2.5 * px_per_mm, 2))
    colour = np.stack(
        [np.interp(hue, (0, 0.5, 1), _GREENS[:, band]) for band in range(3)], axis=-1
    ).astype(np.float32)
    colour[..., 2] *= np.float32(np.exp(min(rng.normal(-0.25, 0.35), 0.1)))  # some are purer green
    shade = 1 + 0.10 * smooth_field(rng, u.shape, cell, 3)
    colour *= np.float32(scene.brightness) * np.clip(shade, 0.5, 1.6)[..., None]
    if scene.yellowing > 0:
        toward = rng.uniform(0.2, 0.9) * u + rng.uniform(0.4, 1.4) * np.abs(v)
        patchy = toward - 0.45 + 0.25 * smooth_field(rng, u.shape, max(10 * px_per_mm, 4), 2)
        tint = np.float32(0.4 * scene.yellowing) * smoothstep(patchy, -0.35, 0.6)
        colour += tint[..., None] * (_YELLOW_LEAF * np.float32(scene.brightness) - colour)
    return colour


def _texture(
    rng: np.random.Generator, scene: Scene, shape: tuple[int, int], px_per_mm: float
) -> Floats:
    """Grain of the tissue from hairs, cells and tertiary veins: a factor with mean near 1."""
    coarse = smooth_field(rng, shape, max(0.9 * px_per_mm, 1.6), 2, 0.8)
    grain = smooth_field(rng, shape, 1.6)
    amount = 0.03 + 0.10 * scene.roughness
    return np.asarray(np.exp(np.float32(amount) * (0.8 * coarse + 0.7 * grain)), np.float32)


def _relief(
    rng: np.random.Generator,
    scene: Scene,
    coordinates: tuple[Floats, Floats],
    nets: tuple[Floats, Floats, Floats, Floats],
    px_per_mm: float,
    length_px: float,
) -> Floats:
    """Height in pixels: fold along the midrib, curl, wavy edge, blisters between veins, grain."""
    u, v = coordinates
    vein, fine, pillow, domes = nets
    rough, curl = scene.roughness, scene.curl
    px = np.float32(px_per_mm)
    fold = np.float32(rng.normal(0.08, 0.18 + 0.25 * curl)) * np.sqrt(v * v + 1e-4)
    cup = np.float32(rng.normal(0, 0.25 + 1.1 * curl)) * v * v
    arch = np.float32(rng.normal(0, 0.15 + 0.35 * curl)) * (u - 0.5) ** 2
    waves = np.sin(u * np.float32(rng.uniform(10, 22)) + np.sign(v) * np.float32(rng.uniform(0, 3)))
    height = np.float32(length_px) * (fold + cup + arch)
    height += np.float32(length_px * (0.05 + 0.35 * curl) * rng.uniform(0.3, 1)) * waves * v * v
    height += np.float32(px * (0.3 + 1.3 * rough)) * pillow
    uneven = np.exp(0.5 * smooth_field(rng, u.shape, max(8 * px_per_mm, 4)))
    height += np.float32(px * (0.06 + 0.36 * rough)) * domes * uneven
    height += np.float32(px * 0.5 * rough) * smooth_field(rng, u.shape, max(4 * px_per_mm, 4))
    height -= np.float32(px * 0.5) * vein + np.float32(px * 0.22 * rough) * fine
    height += np.float32(0.10 + 0.30 * rough) * smooth_field(rng, u.shape, max(0.55 * px_per_mm, 2))
    return np.asarray(height, np.float32)
