"""How likely each pixel of a small overview is leaf: measured features, weighed by a small network.

What is measured is physical: colour, colour against the photo's own border, sharpness against
the photo's sharpest parts (the leaf that was photographed is in focus), texture, and all this
seen at several scales. What is learned is how to weigh it: two small networks, the second of
which also sees the first one's verdict over wider surroundings and the colours that it took for
leaf and for background (auto-context: Tu 2008, CVPR, doi:10.1109/CVPR.2008.4587436). Their
weights are in ``outline.json``, which names what they were learned from;
``python -m scripts.workshop learn outline`` makes it anew.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.colour import lab_8bit, log_chromaticity
from vision.raster import thinned

__all__ = [
    "CONTEXT_FEATURES",
    "FEATURES",
    "OVERVIEW_PX",
    "PHOTO_FEATURES",
    "WEIGHTS_PATH",
    "Measured",
    "Network",
    "box_mean",
    "leaf_score",
    "load_networks",
    "measure",
    "measure_context",
]

Floats = NDArray[np.float32]
Cells = NDArray[np.intp]

OVERVIEW_PX = 352
"""Long side of the overview on which leaves are looked for; smaller photos are used as they are."""

WEIGHTS_PATH = learned.OUTLINE

_RING_SHARE = 0.04  # width of the border that shows the background, of the photo's short side
_NEAR, _WIDE, _FAR = 0.01, 0.03, 0.1  # half widths of surroundings, of the photo's long side
_LOW, _HIGH = 0.02, 0.98  # the first network's verdict is not taken for more certain than this
_CHUNK = 8192  # pixels weighed at once, so that the hidden layer stays in the processor's cache

FEATURES = (
    *("lightness", "red_green", "yellow_blue", "yellowness", "greenness"),
    *("unlike_border_lab", "unlike_border_chroma"),
    *("lightness_off_border", "yellowness_off_border", "greenness_off_border"),
    *("lightness_near", "yellowness_near", "greenness_near"),
    *("lightness_wide", "yellowness_wide", "greenness_wide"),
    *("lightness_far", "yellowness_far", "greenness_far"),
    *("sharp_near", "sharp_wide", "sharp_far", "texture_near", "texture_wide"),
    *("off_middle", "to_frame"),
)
"""What the first network sees of a pixel, in order."""

PHOTO_FEATURES = (
    *("border_lightness", "border_yellowness", "border_greenness"),
    *("border_lightness_spread", "border_chroma_spread", "border_sharp", "photo_sharp"),
)
"""What both networks know of the whole photo."""

CONTEXT_FEATURES = (
    *("verdict", "verdict_near", "verdict_wide", "verdict_far", "closed_wide", "closed_far"),
    *("likelihood", "likelihood_near", "likelihood_wide", "chroma_likelihood"),
    *("chroma_likelihood_near", "lightness_off_leaf", "yellowness_off_leaf"),
    *("greenness_off_leaf", "sharp_off_leaf", "off_leaf_centre", "verdict_mean"),
)
"""What the second network sees besides: the first one's verdict and the colours it implies."""


@dataclass(frozen=True, eq=False)
class Measured:
    """The features of one overview.

    Attributes
    ----------
    pixels : ndarray of float32, shape (features, rows · columns)
        ``FEATURES``, then room for ``CONTEXT_FEATURES``; most are about −3 to 3.
    photo : ndarray of float32, shape (photo features, 1)
        ``PHOTO_FEATURES``.
    lab_cells, chroma_cells : ndarray of intp, shape (rows, columns)
        In which cell of the colour tables each pixel lies.
    """

    pixels: Floats
    photo: Floats
    lab_cells: Cells
    chroma_cells: Cells


@dataclass(frozen=True, eq=False)
class Network:
    """A small feed-forward network: rectified hidden layers, one log-odds out.

    Attributes
    ----------
    weights : tuple of ndarray of float32, shape (outputs, inputs)
        One matrix a layer; the first one's last columns weigh the photo's own features.
    biases : tuple of ndarray of float32, shape (outputs, 1)
        One column a layer.
    """

    weights: tuple[Floats, ...]
    biases: tuple[Floats, ...]

    def log_odds(self, pixels: Floats, photo: Floats) -> Floats:
        """Return the natural log-odds of leaf of each pixel.

        Parameters
        ----------
        pixels : ndarray of float32, shape (features, pixels)
            The first rows of ``Measured.pixels``, as many as the network was trained on.
        photo : ndarray of float32, shape (photo features, 1)
            ``Measured.photo``.

        Returns
        -------
        ndarray of float32, shape (pixels,)
        """
        first = self.weights[0]
        seen = np.ascontiguousarray(first[:, : len(pixels)])
        bias = self.biases[0] + first[:, len(pixels) :] @ photo
        out = np.empty(pixels.shape[1], np.float32)
        for start in range(0, pixels.shape[1], _CHUNK):
            part = slice(start, start + _CHUNK)
            values = seen @ pixels[:, part]
            values += bias
            for weight, shift in zip(self.weights[1:], self.biases[1:], strict=True):
                np.maximum(values, 0, out=values)
                values = weight @ values
                values += shift
            out[part] = values[0]
        return out


@cache
def load_networks(path: Path = WEIGHTS_PATH) -> tuple[Network, Network]:
    """Read both networks.

    Raises
    ------
    ValueError
        When the file was made for other features than this program measures.
    """
    kept = learned.stored_in(path)["networks"]
    both = FEATURES + CONTEXT_FEATURES
    expected = [[*FEATURES, *PHOTO_FEATURES], [*both, *PHOTO_FEATURES]]
    learned.refuse_others(path, [network["features"] for network in kept], expected)
    first, second = (_network(network["layers"]) for network in kept)
    return first, second


def _network(layers: list[dict[str, Any]]) -> Network:
    weights = tuple(np.array(layer["weights"], np.float32) for layer in layers)
    biases = tuple(np.array(layer["biases"], np.float32)[:, None] for layer in layers)
    return Network(weights, biases)


def leaf_score(overview: NDArray[np.uint8]) -> Floats:
    """Return the log-odds that each pixel is leaf.

    Parameters
    ----------
    overview : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, long side at most about ``OVERVIEW_PX``.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        Natural log-odds, above 0 for leaf.
    """
    first, second = load_networks()
    measured = measure(overview)
    verdict = first.log_odds(measured.pixels[: len(FEATURES)], measured.photo)
    measure_context(measured, verdict)
    return second.log_odds(measured.pixels, measured.photo).reshape(overview.shape[:2])


def measure(overview: NDArray[np.uint8]) -> Measured:
    """Measure ``FEATURES`` and ``PHOTO_FEATURES``.

    Parameters
    ----------
    overview : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    smooth = np.asarray(cv2.GaussianBlur(overview, (0, 0), 0.8), np.uint8)
    lab = lab_8bit(smooth)
    yellowness, greenness = log_chromaticity(smooth)
    light = lab[..., 0] * np.float32(1 / 64) - 2
    planes = (light, yellowness, greenness)
    ring = _ring(light.shape)
    border = [float(np.median(plane[ring])) for plane in planes]
    spread = [float(np.std(plane[ring])) for plane in planes]
    cells, chroma = _lab_cells(lab), _chroma_cells(yellowness, greenness)
    rows = [light, lab[..., 1] / np.float32(16) - 8, lab[..., 2] / np.float32(16) - 8]
    rows += [yellowness, greenness, _unlike_ring(cells, 16, ring), _unlike_ring(chroma, 1, ring)]
    rows += [plane - np.float32(middle) for plane, middle in zip(planes, border, strict=True)]
    rows += [box_mean(plane, reach) - plane for reach in (_NEAR, _WIDE, _FAR) for plane in planes]
    sharp, border_sharp, photo_sharp = _sharpness(overview, ring)
    rows += sharp + _texture(light) + _place(light.shape)
    photo = (*border, spread[0], float(np.hypot(spread[1], spread[2])), border_sharp, photo_sharp)
    pixels = np.empty((len(FEATURES) + len(CONTEXT_FEATURES), light.size), np.float32)
    np.stack([row.ravel() for row in rows], out=pixels[: len(FEATURES)])
    return Measured(pixels, np.array(photo, np.float32)[:, None], cells, chroma)


def measure_context(measured: Measured, verdict: Floats) -> None:
    """Fill in ``CONTEXT_FEATURES``.

    Parameters
    ----------
    measured : Measured
        What ``measure`` gave; its last rows are written.
    verdict : ndarray of float32, shape (rows · columns,)
        Log-odds from the first network.
    """
    shape = measured.lab_cells.shape
    share = np.asarray(np.clip(1 / (1 + np.exp(-verdict)), _LOW, _HIGH), np.float32).reshape(shape)
    by_lab = _likelihood(measured.lab_cells, 16, share)
    by_chroma = _likelihood(measured.chroma_cells, 1, share)
    rows = [np.log(share / (1 - share))]
    rows += [4 * box_mean(share, reach) - 2 for reach in (_NEAR, _WIDE, _FAR)]
    rows += [_closed(share, reach) for reach in (_WIDE, _FAR)]
    rows += [by_lab, box_mean(by_lab, _NEAR), box_mean(by_lab, _WIDE)]
    rows += [by_chroma, box_mean(by_chroma, _NEAR)]
    weight = share.ravel() / share.sum()
    for name in ("lightness", "yellowness", "greenness", "sharp_wide"):
        own = measured.pixels[FEATURES.index(name)]
        rows.append(own - np.dot(own, weight))
    rows += [_off_leaf_centre(share), np.full(shape, 4 * share.mean() - 2, np.float32)]
    np.stack([row.ravel() for row in rows], out=measured.pixels[len(FEATURES) :])


def box_mean(plane: Floats, reach: float) -> Floats:
    """Return the mean over a square around each pixel.

    Parameters
    ----------
    plane : ndarray of float32, shape (rows, columns)
        Any measure; mirrored beyond its edges.
    reach : float
        From the square's middle to its side, as a share of the plane's long side.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        In the plane's unit.
    """
    side = 2 * max(1, round(reach * max(plane.shape))) + 1
    return np.asarray(cv2.blur(plane, (side, side), borderType=cv2.BORDER_REFLECT), np.float32)


def _closed(share: Floats, reach: float) -> Floats:
    """Share of leaf with its gaps and bays narrower than twice ``reach`` closed; −2 to 2.

    Worked out at half size: closing needs no more, and takes a fifth of the time.
    """
    half = thinned(share * np.float32(255), 0.5).astype(np.uint8)
    side = 2 * max(1, round(reach * max(half.shape))) + 1
    square = np.ones((side, side), np.uint8)
    closed = cv2.morphologyEx(half, cv2.MORPH_CLOSE, square).astype(np.float32)
    return np.asarray(cv2.resize(closed, share.shape[::-1]) * np.float32(4 / 255) - 2, np.float32)


def _ring(shape: tuple[int, ...]) -> NDArray[np.bool_]:
    width = max(2, round(_RING_SHARE * min(shape)))
    ring = np.ones(shape, np.bool_)
    ring[width:-width, width:-width] = False
    return ring


_LIGHT_CELL = (np.arange(256, dtype=np.intp) >> 4) * 1024
_HUE_CELL = np.clip((np.arange(256, dtype=np.intp) - 64) >> 2, 0, 31)


def _lab_cells(lab: NDArray[np.uint8]) -> Cells:
    """Return each pixel's cell in a table of 16 × 32 × 32 CIELAB cells."""
    cells = _LIGHT_CELL[lab[..., 0]] + 32 * _HUE_CELL[lab[..., 1]] + _HUE_CELL[lab[..., 2]]
    return np.asarray(cells, np.intp)


def _chroma_cells(yellowness: Floats, greenness: Floats) -> Cells:
    """Return each pixel's cell in a table of 32 × 32 chromaticities; shadows change it little."""
    first = np.clip((yellowness + 1) * 8, 0, 31).astype(np.intp)
    second = np.clip((greenness + 1) * 16, 0, 31).astype(np.intp)
    return np.asarray(32 * first + second, np.intp)


def _table(cells: Cells, deep: int, weights: Floats | None = None) -> Floats:
    """Share of the pixels in each cell, smoothed over neighbouring cells."""
    flat = None if weights is None else weights.ravel()
    counts = np.bincount(cells.ravel(), flat, deep * 1024).astype(np.float32)
    kernel = np.array([0.25, 0.5, 0.25], np.float32)
    table = np.asarray(cv2.filter2D(counts.reshape(-1, 32), -1, kernel[None, :]), np.float32)
    table = table.reshape(deep, 32, 32)
    padded: Floats = np.pad(table, [(min(deep - 1, 1),) * 2, (1, 1), (0, 0)])
    across = padded[:, :-2] + 2 * padded[:, 1:-1] + padded[:, 2:]
    down = across[:-2] + 2 * across[1:-1] + across[2:] if deep > 1 else across
    return np.asarray(down.ravel() / down.sum(), np.float32)


def _unlike_ring(cells: Cells, deep: int, ring: NDArray[np.bool_]) -> Floats:
    """How much rarer a pixel's colour is in the border than in the photo, natural log, halved."""
    return _log_ratio(_table(cells, deep), _table(cells[ring], deep), cells)


def _likelihood(cells: Cells, deep: int, share: Floats) -> Floats:
    """Log-likelihood ratio of a pixel's colour, leaf against background, as believed; halved."""
    return _log_ratio(_table(cells, deep, share), _table(cells, deep, 1 - share), cells)


def _log_ratio(over: Floats, under: Floats, cells: Cells) -> Floats:
    few = np.float32(1e-5)  # so that colours seen in neither say nothing
    ratio = np.clip(np.log((over + few) / (under + few)) / 2, -3, 3)
    return np.asarray(ratio[cells], np.float32)


def _sharpness(
    overview: NDArray[np.uint8], ring: NDArray[np.bool_]
) -> tuple[list[Floats], float, float]:
    """Log of the mean |Laplacian| at three scales against the photo's sharp parts."""
    grey = cv2.cvtColor(overview, cv2.COLOR_RGB2GRAY)
    edge = np.abs(np.asarray(cv2.Laplacian(grey, cv2.CV_32F), np.float32)) + np.float32(0.5)
    level = [np.log(box_mean(edge, reach)) for reach in (_NEAR, _WIDE, _FAR)]
    sharp = float(np.percentile(level[1][::4, ::4], 90))
    rows = [np.asarray(one - np.float32(sharp), np.float32) for one in level]
    return rows, float(np.median(level[1][ring])) - sharp, sharp / 2


def _texture(light: Floats) -> list[Floats]:
    """Local standard deviation of lightness at two scales, logarithmic."""
    square = light * light
    rows = []
    for reach in (_NEAR, _WIDE):
        mean = box_mean(light, reach)
        spread = np.maximum(box_mean(square, reach) - mean * mean, 0)
        rows.append(np.asarray(np.log(spread + np.float32(1e-4)) / 4 + 1, np.float32))
    return rows


def _place(shape: tuple[int, ...]) -> list[Floats]:
    """Distance from the middle, 0 to 1, and from the nearest side of the frame."""
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    off = np.sqrt((x * x + y * y) / 2)
    return [np.asarray(off, np.float32), np.minimum(1 - np.abs(x), 1 - np.abs(y))]


def _off_leaf_centre(share: Floats) -> Floats:
    """Distance from the believed leaf's centroid, against its own extent."""
    rows, cols = share.shape
    y = np.arange(rows, dtype=np.float32)[:, None]
    x = np.arange(cols, dtype=np.float32)[None, :]
    total = share.sum()
    down, across = share.sum(axis=1), share.sum(axis=0)
    middle_y, middle_x = float(down @ y[:, 0] / total), float(across @ x[0] / total)
    distance = (y - middle_y) ** 2 + (x - middle_x) ** 2
    extent = float((distance * share).sum() / total)
    off = np.sqrt(distance / np.float32(max(extent, 1.0))) - 1
    return np.asarray(np.minimum(off, 3), np.float32)
