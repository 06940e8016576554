"""Smooth random fields: the raw material of every texture that is painted here."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["AnyFloats", "Floats", "blisters", "blur", "smooth_field", "smoothstep"]

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


def blisters(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float
) -> tuple[Floats, Floats]:
    """Return swellings and the net between them, as between the fine veins of a leaf.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    shape : tuple of int
        Rows and columns.
    cell_px : float
        Usual distance between the swellings' tops in pixels, at least 3.

    Returns
    -------
    domes : ndarray of float32
        Near 1 on a top, near 0 in the valleys.
    net : ndarray of float32
        1 on the lines between swellings, falling to 0.
    """
    tops = np.ones(shape, np.uint8)
    rows, cols = _jittered(rng, shape, max(cell_px, 3.0))
    tops[rows, cols] = 0
    distance, label = cv2.distanceTransformWithLabels(
        tops, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    size = np.exp(rng.normal(0, 0.25, int(label.max()) + 1)).astype(np.float32)
    domes = np.clip(1 - (distance / np.float32(0.75 * cell_px)) ** 2, 0, 1) * size[label]
    net = np.zeros(shape, np.float32)
    net[:, 1:] = label[:, 1:] != label[:, :-1]
    net[1:] = np.maximum(net[1:], label[1:] != label[:-1])
    width = max(0.06 * cell_px, 0.6)
    net = np.minimum(blur(net, width) * np.float32(2.5 * width), 1)
    return blur(domes.astype(np.float32), max(0.10 * cell_px, 0.6)), net


def _jittered(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return one random place in each square of a grid, rows and columns."""
    across, down = (np.arange(0, side, cell_px) for side in (shape[1], shape[0]))
    grid = np.stack(np.meshgrid(down, across, indexing="ij"), axis=-1).reshape(-1, 2)
    places = (grid + rng.uniform(0, cell_px, grid.shape)).astype(np.intp)
    return np.minimum(places[:, 0], shape[0] - 1), np.minimum(places[:, 1], shape[1] - 1)


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
