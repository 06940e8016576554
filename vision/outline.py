"""How likely each pixel of a small overview is leaf: measured features, weighed by a small network.

What is measured is physical: colour, colour against the photo's own border, sharpness against
the photo's sharpest parts (the leaf that was photographed is in focus), texture, and all this
seen at several scales. What is learned is how to weigh it: two small networks, the second of
which also sees the first one's verdict over wider surroundings and the colours that it took for
leaf and for background (auto-context: Tu 2008, CVPR, doi:10.1109/CVPR.2008.4587436). Their
weights are in ``outline.json``, which names what they were learned from;
``python -m scripts.train_outline`` makes it anew.
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import lab_8bit, log_chromaticity

__all__ = [
    "CONTEXT_FEATURES",
    "FEATURES",
    "OVERVIEW_PX",
    "WEIGHTS_PATH",
    "Network",
    "context_features",
    "leaf_score",
    "load_networks",
    "pixel_features",
]

Floats = NDArray[np.float32]

OVERVIEW_PX = 400
"""Long side of the overview on which leaves are looked for; smaller photos are used as they are."""

WEIGHTS_PATH = Path(__file__).with_name("outline.json")

_RING_SHARE = 0.04  # width of the border that shows the background, of the photo's short side
_RADII = (4, 12, 40)  # surroundings, in pixels of an overview of full size
_LOW, _HIGH = 0.02, 0.98  # the first network's verdict is not taken for more certain than this

FEATURES = (
    *("lightness", "red_green", "yellow_blue", "yellowness", "greenness"),
    *("border_lab", "border_chroma", "lightness_off", "yellowness_off", "greenness_off"),
    *("lightness_4", "yellowness_4", "greenness_4"),
    *("lightness_12", "yellowness_12", "greenness_12"),
    *("lightness_40", "yellowness_40", "greenness_40"),
    *("sharp_4", "sharp_12", "sharp_40", "sharp", "texture_4", "texture_12"),
    *("off_centre", "to_border"),
    *("ring_lightness", "ring_spread", "ring_chroma_spread", "ring_yellowness", "ring_greenness"),
    *("ring_sharp", "photo_sharp"),
)
"""What the first network sees of a pixel, in order."""

CONTEXT_FEATURES = (
    *("verdict", "verdict_4", "verdict_12", "verdict_40", "verdict_mean"),
    *("likelihood", "likelihood_4", "likelihood_12", "likelihood_chroma", "likelihood_chroma_4"),
    *("lightness_off_leaf", "yellowness_off_leaf", "greenness_off_leaf", "sharp_off_leaf"),
    *("off_leaf_centre",),
)
"""What the second network sees besides: the first one's verdict and the colours it implies."""


@dataclass(frozen=True, eq=False)
class Network:
    """A small feed-forward network: rectified hidden layers, one log-odds out.

    Attributes
    ----------
    weights : tuple of ndarray of float32, shape (outputs, inputs)
        One matrix a layer.
    biases : tuple of ndarray of float32, shape (outputs, 1)
        One column a layer.
    """

    weights: tuple[Floats, ...]
    biases: tuple[Floats, ...]

    def log_odds(self, features: Floats) -> Floats:
        """Return the natural log-odds of leaf for each column of ``features``."""
        values = features
        for number, (weight, bias) in enumerate(zip(self.weights, self.biases, strict=True)):
            if number:
                np.maximum(values, 0, out=values)
            values = weight @ values
            values += bias
        return values[0]


@cache
def load_networks(path: Path = WEIGHTS_PATH) -> tuple[Network, Network]:
    """Read both networks.

    Raises
    ------
    ValueError
        When the file was made for other features than this program measures.
    """
    kept: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    expected = [list(FEATURES), [*FEATURES, *CONTEXT_FEATURES]]
    if [network["features"] for network in kept["networks"]] != expected:
        raise ValueError(f"{path.name} was made for other features: make it anew.")
    first, second = (_network(network["layers"]) for network in kept["networks"])
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
    features = pixel_features(overview)
    verdict = first.log_odds(features)
    context = context_features(overview, features, verdict)
    score = second.log_odds(np.concatenate([features, context]))
    return score.reshape(overview.shape[:2])


def pixel_features(overview: NDArray[np.uint8]) -> Floats:
    """Measure ``FEATURES`` of every pixel.

    Returns
    -------
    ndarray of float32, shape (features, rows · columns)
        Each about −3 to 3.
    """
    smooth = cv2.GaussianBlur(overview, (0, 0), 0.8)
    lab = lab_8bit(np.asarray(smooth, np.uint8))
    light, red_green, yellow_blue = (np.asarray(c, np.float32) for c in cv2.split(lab))
    light = light * np.float32(1 / 64) - 2
    yellowness, greenness = log_chromaticity(np.asarray(smooth, np.uint8))
    planes = (light, yellowness, greenness)
    ring = _ring(light.shape)
    middles = [np.median(plane[ring]) for plane in planes]
    rows = [light, red_green / 16 - 8, yellow_blue / 16 - 8, yellowness, greenness]
    rows += [
        _unlike_ring(_lab_code(lab), 16, ring),
        _unlike_ring(_chroma_code(*planes[1:]), 1, ring),
    ]
    rows += [plane - middle for plane, middle in zip(planes, middles, strict=True)]
    rows += [box_mean(plane, radius) - plane for radius in _RADII for plane in planes]
    sharp_rows, sharp_level, ring_level = _sharpness(light, overview, ring)
    rows += sharp_rows + _texture(light) + _place(light.shape)
    spread = [np.std(plane[ring]) for plane in planes]
    photo = [middles[0], spread[0], np.hypot(spread[1], spread[2]), middles[1], middles[2]]
    rows += [np.full(light.shape, v, np.float32) for v in (*photo, ring_level, sharp_level)]
    return np.stack(rows).reshape(len(rows), -1).astype(np.float32, copy=False)


def context_features(overview: NDArray[np.uint8], features: Floats, verdict: Floats) -> Floats:
    """Measure ``CONTEXT_FEATURES`` of every pixel.

    Parameters
    ----------
    overview : ndarray of uint8, shape (rows, columns, 3)
        The pixels.
    features : ndarray of float32, shape (features, rows · columns)
        What ``pixel_features`` gave.
    verdict : ndarray of float32, shape (rows · columns,)
        Log-odds from the first network.
    """
    shape = overview.shape[:2]
    share = np.clip(1 / (1 + np.exp(-verdict)), _LOW, _HIGH).reshape(shape)
    lab = lab_8bit(np.asarray(cv2.GaussianBlur(overview, (0, 0), 0.8), np.uint8))
    named = dict(zip(FEATURES, features, strict=True))
    chroma = _chroma_code(named["yellowness"], named["greenness"]).reshape(shape)
    by_lab, by_chroma = _likelihood(_lab_code(lab), 16, share), _likelihood(chroma, 1, share)
    rows = [np.log(share / (1 - share)), *(4 * box_mean(share, r) - 2 for r in _RADII)]
    rows.append(np.full(shape, 4 * share.mean() - 2, np.float32))
    rows += [by_lab, box_mean(by_lab, _RADII[0]), box_mean(by_lab, _RADII[1])]
    rows += [by_chroma, box_mean(by_chroma, _RADII[0])]
    weight = share.ravel() / share.sum()
    for name in ("lightness", "yellowness", "greenness", "sharp_12"):
        rows.append((named[name] - np.dot(named[name], weight)).reshape(shape))
    rows.append(_off_leaf_centre(share))
    return np.stack(rows).reshape(len(rows), -1).astype(np.float32, copy=False)


def box_mean(plane: Floats, radius: int) -> Floats:
    """Return the mean over a square around each pixel; ``radius`` is for a full-size overview."""
    reach = max(1, round(radius * max(plane.shape) / OVERVIEW_PX))
    side = 2 * reach + 1
    return np.asarray(cv2.blur(plane, (side, side), borderType=cv2.BORDER_REFLECT), np.float32)


def _ring(shape: tuple[int, ...]) -> NDArray[np.bool_]:
    width = max(2, round(_RING_SHARE * min(shape)))
    ring = np.ones(shape, np.bool_)
    ring[width:-width, width:-width] = False
    return ring


def _lab_code(lab: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Return each pixel's cell in a table of 16 × 32 × 32 CIELAB cells."""
    return _LIGHT_CELL[lab[..., 0]] + 32 * _HUE_CELL[lab[..., 1]] + _HUE_CELL[lab[..., 2]]


_LIGHT_CELL = (np.arange(256, dtype=np.int32) >> 4) * 1024
_HUE_CELL = np.clip((np.arange(256, dtype=np.int32) - 64) >> 2, 0, 31)


def _chroma_code(yellowness: Floats, greenness: Floats) -> NDArray[np.int32]:
    """Return each pixel's cell in a table of 32 × 32 chromaticities; shadows change it little."""
    first = np.clip((yellowness + 1) * 8, 0, 31).astype(np.int32)
    second = np.clip((greenness + 1) * 16, 0, 31).astype(np.int32)
    return 32 * first + second


def _table(code: NDArray[np.int32], deep: int, weights: Floats | None = None) -> Floats:
    """Share of the pixels in each cell, smoothed over neighbouring cells."""
    flat = None if weights is None else weights.ravel()
    counts = np.bincount(code.ravel(), flat, deep * 1024).reshape(deep, 32, 32)
    for axis in range(3) if deep > 1 else (1, 2):
        padded = np.pad(counts, [(1, 1) if a == axis else (0, 0) for a in range(3)])
        parts = [padded.take(range(i, i + counts.shape[axis]), axis) for i in range(3)]
        counts = (parts[0] + 2 * parts[1] + parts[2]) / 4
    return np.asarray(counts.ravel() / max(counts.sum(), 1e-9), np.float32)


def _unlike_ring(code: NDArray[np.int32], deep: int, ring: NDArray[np.bool_]) -> Floats:
    """How much rarer a pixel's colour is in the border than in the photo, natural log, halved."""
    border, photo = _table(code[ring], deep), _table(code, deep)
    ratio = np.log(photo + np.float32(1e-5)) - np.log(border + np.float32(1e-5))
    return np.clip(ratio / 2, -3, 3)[code]


def _likelihood(code: NDArray[np.int32], deep: int, share: Floats) -> Floats:
    """Log-likelihood ratio of a pixel's colour, leaf against background, as now believed."""
    leaf, rest = _table(code, deep, share), _table(code, deep, 1 - share)
    ratio = np.log(leaf + np.float32(1e-5)) - np.log(rest + np.float32(1e-5))
    return np.clip(ratio / 2, -3, 3)[code]


def _sharpness(
    light: Floats, overview: NDArray[np.uint8], ring: NDArray[np.bool_]
) -> tuple[list[Floats], float, float]:
    """Log of the mean |Laplacian| at three scales against the photo's sharp parts."""
    grey = cv2.cvtColor(overview, cv2.COLOR_RGB2GRAY)
    edge = np.abs(np.asarray(cv2.Laplacian(grey, cv2.CV_32F), np.float32)) + np.float32(0.5)
    level = [np.log(box_mean(edge, radius)) for radius in _RADII]
    sharp = float(np.percentile(level[1][::4, ::4], 90))
    rows = [one - np.float32(sharp) for one in level]
    rows.append(level[1] / 2)
    return rows, sharp / 2, float(np.median(level[1][ring])) - sharp


def _texture(light: Floats) -> list[Floats]:
    """Local standard deviation of lightness at two scales, logarithmic."""
    square = light * light
    rows = []
    for radius in _RADII[:2]:
        mean = box_mean(light, radius)
        spread = np.maximum(box_mean(square, radius) - mean * mean, 0)
        rows.append(np.log(spread + np.float32(1e-4)) / 4 + 1)
    return rows


def _place(shape: tuple[int, ...]) -> list[Floats]:
    """Distance from the middle, 0 to about 1, and from the nearest border."""
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    off = np.sqrt((x * x + y * y) / 2)
    return [off, np.minimum(1 - np.abs(x), 1 - np.abs(y))]


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
    return np.minimum(np.sqrt(distance / np.float32(max(extent, 1.0))) - 1, 3).astype(np.float32)
