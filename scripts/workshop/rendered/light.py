"""Light on surfaces: shading from relief, gloss, and the shadows that leaves cast."""

import cv2
import numpy as np

from scripts.workshop.rendered.fields import AnyFloats, Floats, blur, smooth_field
from scripts.workshop.rendered.scene import Scene

__all__ = ["cast_shadow", "normals", "shade", "shadow_offset_px"]

_SUN = np.array([1.04, 1.0, 0.93], np.float32)
_SKY = np.array([0.90, 1.0, 1.14], np.float32)


def normals(height_px: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the unit normal (x, y, z) of a relief given in pixels."""
    slope_x = cv2.Sobel(height_px, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    slope_y = cv2.Sobel(height_px, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    # Slopes beyond about 60 degrees do not stay visible on a real blade: they fold away.
    slope_x, slope_y = (1.7 * np.tanh(slope / 1.7) for slope in (slope_x, slope_y))
    z = 1 / np.sqrt(1 + slope_x * slope_x + slope_y * slope_y)
    return -slope_x * z, -slope_y * z, z


def _direction(scene: Scene) -> tuple[float, float, float]:
    around, up = np.deg2rad(scene.light_azimuth_deg), np.deg2rad(scene.light_elevation_deg)
    return (
        float(np.cos(up) * np.cos(around)),
        float(np.cos(up) * np.sin(around)),
        float(np.sin(up)),
    )


def shade(
    rng: np.random.Generator,
    scene: Scene,
    reflectance: AnyFloats,
    height_px: Floats,
    gloss: Floats | float,
) -> Floats:
    """Return the light that leaves a surface, 1 = a flat white sheet in this light.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance for the glitter of hairs and cells.
    scene : Scene
        Gives the light.
    reflectance : ndarray of float32, shape (rows, columns, 3)
        Linear, 0 to 1.
    height_px : ndarray of float32, shape (rows, columns)
        Relief.
    gloss : ndarray of float32 or float
        Specular strength, 0 = matt.
    """
    light = _direction(scene)
    n = normals(height_px)
    facing = np.maximum(n[0] * light[0] + n[1] * light[1] + n[2] * light[2], 0)
    direct = np.float32(scene.direct) * facing / np.float32(light[2])
    ambient = np.float32(1 - scene.direct) * (0.55 + 0.45 * n[2]) + 0.06
    falling = direct[..., None] * _SUN + ambient[..., None] * _SKY
    out = reflectance * falling
    if np.any(gloss):
        out += (_glint(rng, scene, n, light) * gloss)[..., None] * _SUN
    return np.asarray(out, np.float32)


def _glint(
    rng: np.random.Generator,
    scene: Scene,
    n: tuple[Floats, Floats, Floats],
    light: tuple[float, float, float],
) -> Floats:
    """Specular light of a hairy, waxy surface: a broad sheen broken into fine sparkle."""
    half = np.array([light[0], light[1], light[2] + 1])
    half /= np.linalg.norm(half)
    shape = n[0].shape
    grain = smooth_field(rng, shape, 1.0) + 0.6 * smooth_field(rng, shape, 2.2)
    tilt = np.float32(0.06 + 0.12 * scene.roughness)
    x = n[0] + tilt * grain
    y = n[1] + tilt * smooth_field(rng, shape, 1.0)
    aligned = np.clip(x * half[0] + y * half[1] + n[2] * half[2], 0, 1.08) ** 2
    # Hairs and wax sparkle unevenly: some cells send back many times what their neighbours do.
    sparkle = np.exp(np.float32(0.2 + 0.6 * scene.roughness) * grain)
    sheen = np.float32(0.06) * aligned**2 + np.float32(0.24) * aligned**9
    glint: Floats = sheen * sparkle * np.float32(0.25 + 0.9 * scene.direct)
    return glint


def shadow_offset_px(scene: Scene, lift_px: float) -> tuple[float, float]:
    """Return how far (x, y) the shadow of a point at this height falls from it."""
    light = _direction(scene)
    return -lift_px * light[0] / light[2], -lift_px * light[1] / light[2]


def cast_shadow(canvas: Floats, cover: Floats, scene: Scene, lift_px: float) -> None:
    """Darken what lies below a leaf, in place.

    Parameters
    ----------
    canvas : ndarray of float32, shape (rows, columns, 3)
        Light painted so far.
    cover : ndarray of float32, shape (rows, columns)
        1 where the leaf covers.
    scene : Scene
        Gives the light and the shadow's strength.
    lift_px : float
        Height of the leaf above what lies below.
    """
    strength = scene.shadow * (0.25 + 0.75 * scene.direct)
    if strength <= 0.01:
        return
    dark = _sweep(cover, shadow_offset_px(scene, lift_px))
    penumbra = 0.6 + lift_px * (0.06 + 0.5 * (1 - scene.direct))
    dark = blur(dark, penumbra)
    left_over = _SKY * np.float32(1 - 0.92 * strength)
    factor = 1 + dark[..., None] * np.float32(min(1.0, strength * 1.3)) * (left_over - 1)
    canvas *= factor


def _sweep(cover: Floats, offset: tuple[float, float]) -> Floats:
    """Join the cover with its copies shifted up to the offset, as an edge near the ground does."""
    steps = int(np.clip(np.hypot(*offset) / 3, 2, 10))
    dark = cover
    for step in range(1, steps + 1):
        part = step / steps
        move = np.array([[1, 0, offset[0] * part], [0, 1, offset[1] * part]], np.float32)
        moved = cv2.warpAffine(cover, move, cover.shape[::-1], flags=cv2.INTER_NEAREST)
        dark = np.maximum(dark, moved)
    return dark
