"""A phone's camera, drawn anew for each photo: light, blur, noise, tone."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.camera import streak
from scripts.workshop.rendered.collage.sheet import Sheet
from scripts.workshop.rendered.fields import AnyFloats, Floats, blur, smooth_field
from vision.colour import encoded

__all__ = ["photograph"]

Rng = np.random.Generator


def photograph(rng: Rng, sheet: Sheet) -> NDArray[np.uint8]:
    """Return the sRGB photo of a sheet, shape (rows, columns, 3); the sheet's light is changed."""
    light = _in_uneven_light(rng, sheet)
    light *= _exposure(rng, light)
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), rng.uniform(0.3, 1.3)), np.float32)
    if rng.random() < 0.1:
        light = np.asarray(cv2.filter2D(light, -1, streak(rng, rng.uniform(2, 6))), np.float32)
    grain = rng.normal(0, rng.uniform(0.001, 0.03), light.shape).astype(np.float32)
    light = np.clip(light + grain * np.sqrt(np.clip(light, 0.005, 1)), 0, 1)
    return np.asarray(np.rint(255 * np.clip(_toned(rng, encoded(light)), 0, 1)), np.uint8)


def _in_uneven_light(rng: Rng, sheet: Sheet) -> Floats:
    """Tint, tilt, and now and then half in the shade."""
    (rows, cols), tilt = sheet.shape, rng.normal(0, 0.25, 2)
    down, right = np.mgrid[0:rows, 0:cols].astype(np.float32) / max(rows, cols) - np.float32(0.5)
    light = sheet.light * np.exp(rng.normal(0, 0.12, 3)).astype(np.float32)
    light *= np.exp(tilt[0] * right + tilt[1] * down)[..., None].astype(np.float32)
    if rng.random() < 0.25:
        field = smooth_field(rng, sheet.shape, cols / rng.uniform(1, 4), 2)
        shade = (field > rng.uniform(-0.5, 0.8)).astype(np.float32)
        light *= (
            1 - np.float32(rng.uniform(0.3, 0.75)) * blur(shade, rng.uniform(0.8, 6))[..., None]
        )
    return np.asarray(light, np.float32)


def _exposure(rng: Rng, light: Floats) -> np.float32:
    """Mostly so that neither the middle nor the brightest parts are too bright."""
    if rng.random() >= 0.8:
        return np.float32(rng.uniform(0.6, 1.4))
    middle, bright = np.percentile(light.mean(axis=2), (50, 99))
    return np.float32(
        min(rng.uniform(0.18, 0.45) / max(middle, 0.01), rng.uniform(0.8, 1.3) / max(bright, 0.01))
    )


def _toned(rng: Rng, srgb: AnyFloats) -> Floats:
    """Do what phones do after: richer or duller colours, sharpening, haze."""
    srgb = np.asarray(srgb, np.float32)
    if rng.random() < 0.5:
        grey = srgb.mean(axis=2, keepdims=True)
        srgb = grey + (srgb - grey) * np.float32(rng.uniform(0.7, 1.35))
    if rng.random() < 0.4:
        srgb = srgb + np.float32(rng.uniform(0.2, 1)) * (srgb - cv2.GaussianBlur(srgb, (0, 0), 1))
    if rng.random() < 0.3:
        srgb = np.float32(rng.uniform(0, 0.08)) + srgb * np.float32(rng.uniform(0.9, 1))
    return srgb
