"""Smooth random fields: the raw material of every texture that is painted here."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["AnyFloats", "Floats", "blur", "bumps", "network", "smooth_field", "smoothstep"]

Floats = NDArray[np.float32]
AnyFloats = NDArray[np.floating[Any]]


def smooth_field(
    rng: np.random.Generator,
    shape: tuple[int, int],
    cell_px: float,
    octaves: int = 1,
    gain: float = 0.5,
) -> Floats:
    """Return a random field with features about ``cell_px`` wide.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    shape : tuple of int
        Rows and columns of the field.
    cell_px : float
        Distance between independent values in pixels, at least 1.
    octaves : int
        Number of layers, each with half the cell of the one before.
    gain : float
        Strength of each layer relative to the one before.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        Mean near 0, standard deviation near 1.
    """
    total = np.zeros(shape, np.float32)
    strength, power, cell = 1.0, 0.0, cell_px
    for _ in range(octaves):
        total += strength * _layer(rng, shape, max(cell, 1.0))
        power += strength**2
        strength, cell = strength * gain, cell / 2
    return total / np.float32(np.sqrt(power))


def _layer(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> Floats:
    """One octave: a coarse grid of normal numbers, enlarged with a cubic kernel."""
    if cell_px < 1.5:
        return rng.standard_normal(shape, dtype=np.float32)
    rows, cols = (int(np.ceil(side / cell_px)) + 3 for side in shape)
    grid = rng.standard_normal((rows, cols), dtype=np.float32)
    # The grid is shifted by part of a cell so that its lattice does not sit at the frame's corner.
    scale = np.float32(1 / cell_px)
    shift = rng.random(2) + 0.5
    to_grid = np.array([[scale, 0, shift[0]], [0, scale, shift[1]]], np.float32)
    fine = cv2.warpAffine(
        grid,
        to_grid,
        (shape[1], shape[0]),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REFLECT_101,
    )
    return np.asarray(fine, np.float32) * np.float32(1.4)  # interpolation lowers the variance


def network(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> Floats:
    """Return a net of thin bright lines (1 on a line, falling to 0), like fine veins."""
    first = np.abs(smooth_field(rng, shape, cell_px))
    second = np.abs(smooth_field(rng, shape, cell_px * 0.6))
    lines: Floats = np.exp(-4 * np.minimum(first, second * 1.3))
    return lines


def bumps(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> Floats:
    """Return rounded swellings parted by narrow valleys, about 0 to 1.5, like blistered tissue."""
    swell: Floats = np.sqrt(np.abs(smooth_field(rng, shape, cell_px)) + np.float32(0.02))
    return swell


def blur(values: Floats, sigma_px: float) -> Floats:
    """Return the values after a Gaussian blur; wide ones are made on a reduced copy.

    A blur of many pixels leaves nothing that the reduced copy could lose, and takes a fraction of
    the time.
    """
    factor = int(np.clip(sigma_px / 3, 1, 16))
    if factor == 1:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma_px), np.float32)
    size = (values.shape[1], values.shape[0])
    less = (-(-size[0] // factor), -(-size[1] // factor))
    small = cv2.resize(values, less, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / factor)
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR), np.float32)


def smoothstep(values: AnyFloats, low: float, high: float) -> Floats:
    """Return 0 below ``low``, 1 above ``high`` and an S-curve between."""
    t = np.clip((values - np.float32(low)) / np.float32(high - low), 0, 1)
    curve: Floats = (t * t * (3 - 2 * t)).astype(np.float32)
    return curve
