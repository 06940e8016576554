"""The camera: lens, exposure, sensor and tone, from linear light to sRGB."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.scene import Scene
from vision.colour import encoded

__all__ = ["photograph", "streak"]

_LENS_PX = 0.55  # every lens and demosaicing blurs this much; it also smooths painted edges
_STEPS = 4096
_BRIGHTEST = 2.0  # light beyond twice a white sheet is burnt out anyway


def photograph(rng: np.random.Generator, scene: Scene, light: Floats) -> NDArray[np.uint8]:
    """Return the sRGB photo of a scene's linear light.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the sensor's noise.
    scene : Scene
        Gives blur, exposure, cast, vignette, noise and sharpening.
    light : ndarray of float32, shape (rows, columns, 3)
        1 = a white sheet. Changed in place.
    """
    seen = _through_lens(rng, scene, light)
    seen *= np.asarray(scene.cast, np.float32) * np.float32(scene.exposure)
    seen *= _vignette(scene)[..., None]
    _add_noise(rng, scene, seen)
    photo = _encode(seen)
    return _sharpen(photo, scene.sharpen)


def _through_lens(rng: np.random.Generator, scene: Scene, light: Floats) -> Floats:
    sigma = float(np.hypot(_LENS_PX, scene.blur_px))
    out = np.asarray(cv2.GaussianBlur(light, (0, 0), sigma), np.float32)
    if scene.motion_px > 1:
        out = np.asarray(cv2.filter2D(out, -1, streak(rng, scene.motion_px)), np.float32)
    return out


def streak(rng: np.random.Generator, length_px: float) -> Floats:
    """Return a straight kernel in a random direction."""
    side = int(length_px) | 1
    kernel = np.zeros((side, side), np.float32)
    angle, middle = rng.uniform(0, np.pi), side / 2 - 0.5
    reach = middle * np.array([np.cos(angle), np.sin(angle)])
    ends = [tuple(round(float(v) * 16) for v in middle + sign * reach) for sign in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_AA, shift=4)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _vignette(scene: Scene) -> Floats:
    y = np.linspace(-1, 1, scene.height_px, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, scene.width_px, dtype=np.float32)[None, :]
    falloff: Floats = 1 - np.float32(0.5 * scene.vignette) * (x * x + y * y)
    return falloff


def _add_noise(rng: np.random.Generator, scene: Scene, light: Floats) -> None:
    """Shot noise grows with the root of the light; read noise is the same everywhere."""
    if scene.noise <= 0:
        return
    spread = np.float32(scene.noise) * np.sqrt(np.maximum(light, 0) * 0.0012 + 0.00003)
    light += spread * rng.standard_normal(light.shape, dtype=np.float32)


def _encode(light: Floats) -> NDArray[np.uint8]:
    """Soft shoulder above 0.8, then the sRGB curve (IEC 61966-2-1), by table."""
    light_grid = np.linspace(0, 1, _STEPS) ** 2 * _BRIGHTEST  # a root scale is fine near black
    soft = np.where(light_grid < 0.8, light_grid, 1 - 0.2 * np.exp((0.8 - light_grid) / 0.2))
    table = np.clip(np.rint(255 * encoded(soft)), 0, 255).astype(np.uint8)
    root = np.sqrt(np.clip(light, 0, _BRIGHTEST) * np.float32(1 / _BRIGHTEST))
    steps = np.rint(root * np.float32(_STEPS - 1)).astype(np.int16)
    return np.asarray(table[steps], np.uint8)


def _sharpen(photo: NDArray[np.uint8], amount: float) -> NDArray[np.uint8]:
    if amount <= 0:
        return photo
    soft = cv2.GaussianBlur(photo, (0, 0), 1.1)
    return np.asarray(cv2.addWeighted(photo, 1 + amount, soft, -amount, 0), np.uint8)
