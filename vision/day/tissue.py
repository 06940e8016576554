"""Tell symptoms from healthy tissue by colour, relative to the leaf's own healthy colour.

Every pixel of a leaf is described by 17 colour differences in CIELAB (CIE 1976): against the
healthy tissue around it, at several distances, and against the healthy tissue of the whole leaf.
A small learned threshold surface (``vision.day.surface``) turns them into the probability that the
pixel shows a symptom, and a second one into the probability that it is dead rather than yellow.
Absolute colours are not used: another light moves the leaf and its reference together.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT

__all__ = ["CONTRASTS", "Healthy", "contrasts", "healthy_colour", "leaf_lab"]

Floats = NDArray[np.float32]

CONTRASTS = (
    *("dL", "da", "db"),  # against the healthy tissue around the pixel
    *("dL_fine", "da_fine", "db_fine"),  # the same, mean over 0.8 % of the leaf's length
    *("dL_middle", "da_middle", "db_middle"),  # over 3 %
    *("dL_wide", "da_wide", "db_wide"),  # over 10 %
    "L_grain",  # standard deviation of L* over 1.5 %: veins, gloss and pores
    *("gL", "ga", "gb"),  # against the whole leaf's healthy tissue, over 2 %
    "margin",  # distance from the outline in leaf lengths, at most 0.1
)
"""Names of the colour differences in CIELAB units (``margin``: leaf lengths), in their order."""

_FINE, _GRAIN, _GLOBAL, _MIDDLE, _WIDE = 0.008, 0.015, 0.02, 0.03, 0.1
_AROUND = 0.15  # leaf lengths over which healthy tissue is averaged: wider than most lesions
_LEAST_AROUND = 0.06  # share of healthy tissue below which the whole leaf's colour takes over
_GREEN_HUE_DEG = 104.0  # greens lie above, yellows and browns below (common practice, no source)
_LEAST_GREEN_HUE_DEG = 98.0
_LEAST_CHROMA = 3.0  # below, hue is noise
_FARTHEST_MARGIN = 0.1
_USUAL_LIGHTNESS = 40.0  # L* of healthy tissue from which nothing is changed
_MOST_STRETCH = 1.4  # more would bring out noise


@dataclass(frozen=True)
class Healthy:
    """The colour of a leaf's healthy tissue.

    Attributes
    ----------
    lab : tuple of float
        Median CIELAB L*, a*, b*.
    share : float
        Share of the leaf's pixels near that hue, 0 to 1; 0 where there is no green.
    """

    lab: tuple[float, float, float]
    share: float


TYPICAL = Healthy((45.0, -18.0, 28.0), 0.0)
"""Assumed where a leaf shows no green: median of healthy leaves of the training photos, rounded."""


def leaf_lab(pixels: NDArray[np.uint8]) -> Floats:
    """Convert sRGB to CIELAB after a light smoothing that takes off sensor noise.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 3)
        L* from 0 to 100, a*, b*.
    """
    calm = cv2.GaussianBlur(pixels, (3, 3), 0.8)
    # By way of linear light: straight from sRGB, OpenCV interpolates in a table, which is slower
    # and up to 0.3 units off.
    light = cv2.LUT(calm, LINEAR_LIGHT)
    return np.asarray(cv2.cvtColor(light, cv2.COLOR_LRGB2LAB), np.float32)


def healthy_colour(lab: Floats, leaf: NDArray[np.bool_]) -> Healthy:
    """Find the colour of healthy tissue: the greenest hue that a good part of the leaf has.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's pixels; at least one.

    Returns
    -------
    Healthy
        ``TYPICAL`` where no hue is green.
    """
    at = np.flatnonzero(leaf)
    colours = lab.reshape(-1, 3)[at[:: max(1, len(at) // 20_000)]]
    chroma = np.hypot(colours[:, 1], colours[:, 2])
    hue = np.degrees(np.arctan2(colours[:, 2], colours[:, 1])) % 360
    peak = _greenest_hue(hue, np.minimum(chroma, 20.0))
    near = (np.abs(hue - peak) < 9) & (chroma > _LEAST_CHROMA)
    if peak < _LEAST_GREEN_HUE_DEG or np.count_nonzero(near) < 20:
        return TYPICAL
    lightness, a, b = np.median(colours[near], axis=0)
    return Healthy((float(lightness), float(a), float(b)), float(near.mean()))


def _greenest_hue(hue_deg: Floats, weight: Floats) -> float:
    counts, edges = np.histogram(hue_deg, bins=85, range=(30, 200), weights=weight)
    smooth = cv2.GaussianBlur(counts.astype(np.float32)[None], (0, 0), 2)[0]
    centres = (edges[:-1] + edges[1:]) / 2
    preferred = smooth / (1 + np.exp(-(centres - _GREEN_HUE_DEG) / 5))
    return float(centres[int(preferred.argmax())])


def _box(plane: Floats, size_px: float) -> Floats:
    odd = max(3, round(size_px) | 1)
    return np.asarray(cv2.boxFilter(plane, -1, (odd, odd), borderType=cv2.BORDER_REFLECT))


def _local_reference(
    lab: Floats, leaf: NDArray[np.bool_], healthy: Healthy, length: float
) -> list[Floats]:
    """Average the healthy tissue around each pixel; the whole leaf's colour where there is none."""
    lightness, a, b = (np.float32(value) for value in healthy.lab)
    planes = cv2.split(lab)
    # In the shade of a fold the same tissue has less chroma in proportion to its lightness.
    scale = np.clip(planes[0] / max(lightness, np.float32(5)), 0.4, 1.6)
    green = np.abs(planes[1] - a * scale) < 0.24 * abs(a) + 2.5
    green &= np.abs(planes[2] - b * scale) < 0.3 * abs(b) + 3
    weight = (green & leaf).astype(np.float32)
    per = np.float32(1) / (_box(weight, _AROUND * length) + np.float32(_LEAST_AROUND))
    return [
        np.asarray((_box(plane * weight, _AROUND * length) + own * np.float32(_LEAST_AROUND)) * per)
        for plane, own in zip(planes, (lightness, a, b), strict=True)
    ]


def contrasts(lab: Floats, leaf: NDArray[np.bool_], healthy: Healthy, length: float) -> Floats:
    """Describe each pixel of a leaf by its colour differences from healthy tissue.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of a picture that shows the leaf.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's pixels.
    healthy : Healthy
        From `healthy_colour`.
    length : float
        The leaf's length in pixels: the unit of all distances.

    Returns
    -------
    ndarray of float32, shape (pixels of the leaf, len(CONTRASTS))
        In the order of ``CONTRASTS``, pixels in row-major order.
    """
    inside = leaf.astype(np.float32)
    at = np.flatnonzero(leaf)
    reference = _local_reference(lab, leaf, healthy, length)
    # Column by column in memory: each is then one plane, taken at the leaf's pixels in one go.
    columns = np.empty((len(CONTRASTS), len(at)), np.float32)
    planes = cv2.split(lab)
    from_local = [(plane - own) * inside for plane, own in zip(planes, reference, strict=True)]
    from_whole = [
        (plane - np.float32(own)) * inside for plane, own in zip(planes, healthy.lab, strict=True)
    ]
    for column, plane in enumerate(from_local):
        columns[column] = np.take(plane, at)  # twice as fast as indexing
    for column, parts, reach in (
        (3, from_local, _FINE),
        (6, from_local, _MIDDLE),
        (9, from_local, _WIDE),
        (13, from_whole, _GLOBAL),
    ):
        columns[column : column + 3] = _means_inside(parts, inside, reach * length, at)
    columns[12] = _grain(from_local[0], inside, _GRAIN * length, at)
    columns[:16] *= _stretch(healthy)
    depth = cv2.distanceTransform(leaf.astype(np.uint8), cv2.DIST_L2, 3)
    columns[16] = np.minimum(np.take(depth, at) / np.float32(length), np.float32(_FARTHEST_MARGIN))
    return columns.T


def _stretch(healthy: Healthy) -> np.float32:
    """Return the factor that brings a dark leaf's colour differences to those in good light.

    Light stretches L* + 16, a* and b* by one factor, the cube root of its own (CIE 1976), so in
    half the light the same lesion differs from its leaf by a fifth less.
    """
    factor = (_USUAL_LIGHTNESS + 16) / (max(healthy.lab[0], 0.0) + 16)
    return np.float32(np.clip(factor, 1.0, _MOST_STRETCH))


def _means_inside(
    planes: Sequence[Floats], inside: Floats, size_px: float, at: NDArray[np.intp]
) -> list[Floats]:
    """Average each plane, which is 0 outside the leaf, over the leaf's pixels around each pixel."""
    weight = np.float32(1) / (np.take(_box(inside, size_px), at) + np.float32(1e-3))
    return [np.take(_box(plane, size_px), at) * weight for plane in planes]


def _grain(lightness: Floats, inside: Floats, size_px: float, at: NDArray[np.intp]) -> Floats:
    mean, square = _means_inside((lightness, lightness * lightness), inside, size_px, at)
    return np.asarray(np.sqrt(np.maximum(square - mean * mean, 0)))
