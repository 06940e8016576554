"""Two phones: from linear light to an sRGB photo, each in a way of its own."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.camera import streak
from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.jpeg import jpeg_loss
from scripts.workshop.rendered.night.scene import NightScene
from vision.colour import encoded

__all__ = ["expose_night", "through_night_lens"]

_LENS_PX = 0.55
_STEPS = 4096
_BRIGHTEST = 4.0  # light beyond that is burnt out by either phone


def through_night_lens(rng: np.random.Generator, scene: NightScene, light: Floats) -> Floats:
    """Return the light after defocus, shaking and the glare of bright things in the lens."""
    sigma = float(np.hypot(_LENS_PX, scene.blur_px))
    out = np.asarray(cv2.GaussianBlur(light, (0, 0), sigma), np.float32)
    kernel = streak(rng, max(scene.motion_px, 3.0))
    if scene.motion_px > 1:
        out = np.asarray(cv2.filter2D(out, -1, kernel), np.float32)
    glare = _bloom(out, 0.02 * max(light.shape[:2]))
    return np.asarray(out + np.float32(rng.uniform(0.01, 0.05)) * glare, np.float32)


def _bloom(light: Floats, sigma: float) -> Floats:
    small = cv2.resize(light, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), max(sigma / 8, 1.0))
    size = (light.shape[1], light.shape[0])
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR), np.float32)


def expose_night(rng: np.random.Generator, scene: NightScene, light: Floats) -> NDArray[np.uint8]:
    """Return the stored photo of light that has come through the lens.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the noise.
    scene : NightScene
        Gives the phone (by its style), exposure, white balance, noise and JPEG quality.
    light : ndarray of float32, shape (rows, columns, 3)
        1 burns out at exposure 1. Not changed.
    """
    seen = light * np.float32(scene.exposure)
    phone = _plain_phone if scene.style == "spline" else _busy_phone
    photo = phone(rng, scene, seen)
    return photo if scene.jpeg_quality >= 100 else jpeg_loss(photo, scene.jpeg_quality)


def _steps(light: Floats) -> NDArray[np.int16]:
    """Return the step of a table with a root scale, which is fine near black."""
    root = np.sqrt(np.clip(light, 0, _BRIGHTEST) * np.float32(1 / _BRIGHTEST))
    return np.asarray(root * np.float32(_STEPS - 1) + np.float32(0.5), np.int16)


def _noisy(rng: np.random.Generator, scene: NightScene, light: Floats) -> Floats:
    """Shot noise grows with the root of the light; read noise is the same everywhere."""
    spread = np.sqrt(np.maximum(light, 0) * np.float32(0.002) + np.float32(0.00004))
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    return np.asarray(light + np.float32(scene.noise) * spread * noise, np.float32)


def _plain_phone(rng: np.random.Generator, scene: NightScene, light: Floats) -> NDArray[np.uint8]:
    """White balance, soft shoulder, the sRGB curve, a little sharpening."""
    seen = _noisy(rng, scene, light) * np.asarray(scene.white_balance, np.float32)
    grid = _BRIGHTEST * np.linspace(0, 1, _STEPS) ** 2
    soft = np.where(grid < 0.75, grid, 1 - 0.25 * np.exp(-(grid - 0.75) / 0.25))
    table = np.clip(np.rint(255 * encoded(soft)), 0, 255).astype(np.uint8)
    photo = table[_steps(seen)]
    fine = cv2.GaussianBlur(photo, (0, 0), 1.2)
    amount = float(rng.uniform(0, 0.5))
    return np.asarray(cv2.addWeighted(photo, 1 + amount, fine, -amount, 0), np.uint8)


def _busy_phone(rng: np.random.Generator, scene: NightScene, light: Floats) -> NDArray[np.uint8]:
    """Colours that leak into each other, a sensor that clips, smoothed colour noise, contrast."""
    leak = np.float32(rng.uniform(0.01, 0.06))
    mix = np.full((3, 3), leak, np.float32) + np.eye(3, dtype=np.float32) * (1 - 3 * leak)
    seen = np.clip(_noisy(rng, scene, light @ mix), 0, 1) * np.asarray(
        scene.white_balance, np.float32
    )
    grid = _BRIGHTEST * np.linspace(0, 1, _STEPS) ** 2
    bright = np.clip(grid - rng.uniform(0, 0.006), 0, 1) ** (1 / rng.uniform(2.0, 2.5))
    table = bright + rng.uniform(0, 0.5) * (bright * bright * (3 - 2 * bright) - bright)
    curve = table.astype(np.float32)[_steps(seen)]
    grey = curve.mean(axis=2, keepdims=True)
    vivid = grey + np.float32(rng.uniform(0.85, 1.25)) * (curve - grey)
    photo = np.clip(np.rint(255 * vivid), 0, 255).astype(np.uint8)
    return _smoothed_colours(rng, scene, photo)


def _smoothed_colours(
    rng: np.random.Generator, scene: NightScene, photo: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Blur colour noise away and leave blotches, as phones do in the dark."""
    y, cr, cb = cv2.split(cv2.cvtColor(photo, cv2.COLOR_RGB2YCrCb))
    sigma = float(rng.uniform(0.5, 1.5))
    blotch = np.float32(3 * scene.noise) * smooth_field(rng, photo.shape[:2], 9.0)
    cr = np.clip(cv2.GaussianBlur(cr, (0, 0), sigma) + blotch, 0, 255).astype(np.uint8)
    cb = np.clip(cv2.GaussianBlur(cb, (0, 0), sigma) - blotch, 0, 255).astype(np.uint8)
    return np.asarray(cv2.cvtColor(cv2.merge([y, cr, cb]), cv2.COLOR_YCrCb2RGB), np.uint8)
