"""Plain backgrounds: what a picked leaf is laid on."""

import cv2
import numpy as np

from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.light import shade
from scripts.workshop.rendered.scene import Scene

__all__ = ["paint_plain"]

_WHITE = np.array([0.80, 0.79, 0.76], np.float32)
_GREY = np.array([0.32, 0.31, 0.30], np.float32)
_VIOLET = np.array([0.30, 0.265, 0.33], np.float32)
_WOODS = (np.array([0.34, 0.21, 0.11]), np.array([0.20, 0.14, 0.09]), np.array([0.36, 0.31, 0.25]))
_CLOTHS = (
    np.array([0.022, 0.022, 0.024]),
    np.array([0.02, 0.03, 0.07]),
    np.array([0.05, 0.045, 0.04]),
)


def paint_plain(rng: np.random.Generator, scene: Scene, px_per_mm: float) -> Floats:
    """Return the light from a plain background, shape (rows, columns, 3), without shadows."""
    shape = (scene.height_px, scene.width_px)
    painters = {
        "paper": _paper, "grey_board": _grey_board, "violet_board": _violet_board,
        "bench": _bench, "cloth": _cloth,
    }  # fmt: skip
    reflectance, height = painters[scene.background](rng, shape, px_per_mm)
    gloss = 0.25 if scene.background in ("grey_board", "violet_board") else 0.0
    out = shade(rng, scene, reflectance, height, gloss * scene.gloss)
    out *= _uneven(rng, scene, shape)[..., None]
    return out


def _uneven(rng: np.random.Generator, scene: Scene, shape: tuple[int, int]) -> Floats:
    """Light that falls off to one side, as beside a window."""
    angle = rng.uniform(0, 2 * np.pi)
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    slope = x * np.float32(np.cos(angle)) + y * np.float32(np.sin(angle))
    cloudy = 0.3 * smooth_field(rng, shape, 0.5 * min(shape))
    return np.asarray(np.exp(np.float32(0.45 * scene.unevenness) * (slope + cloudy)), np.float32)


def _plain(shape: tuple[int, int], colour: Floats, factor: Floats) -> Floats:
    return np.broadcast_to(colour, (*shape, 3)) * factor[..., None]


def _paper(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[Floats, Floats]:
    tint = _WHITE * rng.uniform(0.72, 1.1) * np.exp(rng.normal(0, (0.03, 0.015, 0.04)))
    fibre = smooth_field(rng, shape, max(0.8 * px_per_mm, 1.5), 2)
    creases = smooth_field(rng, shape, max(25 * px_per_mm, 8))
    height = 0.03 * fibre + np.float32(0.25 * px_per_mm) * creases
    return _plain(shape, tint.astype(np.float32), 1 + 0.012 * fibre), height


def _board(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, colour: Floats
) -> tuple[Floats, Floats]:
    tint = colour * rng.uniform(0.55, 1.35) * np.exp(rng.normal(0, 0.035, 3))
    grain = smooth_field(rng, shape, 1.3)
    cloud = smooth_field(rng, shape, max(9 * px_per_mm, 6), 3, 0.6)
    factor = np.exp(rng.uniform(0.03, 0.10) * grain + rng.uniform(0.01, 0.045) * cloud)
    height = np.float32(rng.uniform(0.05, 0.4)) * smooth_field(rng, shape, 1.3)
    return _plain(shape, tint.astype(np.float32), factor.astype(np.float32)), height


def _grey_board(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[Floats, Floats]:
    return _board(rng, shape, px_per_mm, _GREY)


def _violet_board(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[Floats, Floats]:
    return _board(rng, shape, px_per_mm, _VIOLET)


def _bench(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[Floats, Floats]:
    """Boards with grain along them and dark gaps between them."""
    wood = _WOODS[int(rng.integers(len(_WOODS)))] * rng.uniform(0.7, 1.3)
    along = _stretched(rng, shape, max(1.2 * px_per_mm, 1.5), 26)
    figure = _stretched(rng, shape, max(9 * px_per_mm, 6), 14)
    lines = np.sin(9 * figure + np.float32(rng.uniform(0, 6)))
    tone = np.exp(0.16 * along + 0.10 * lines + 0.10 * figure)
    pitch = rng.uniform(70, 140) * px_per_mm
    rows = (np.arange(shape[0]) + rng.uniform(0, pitch)) % pitch
    gap = np.exp(-((np.minimum(rows, pitch - rows) / (1.0 * px_per_mm + 0.6)) ** 2))
    tone *= np.exp(0.06 * smooth_field(rng, shape, 1.4))
    tone *= (1 - 0.85 * gap).astype(np.float32)[:, None]
    board = _plain(shape, wood.astype(np.float32), tone.astype(np.float32))
    height = 0.35 * along
    if rng.random() < 0.5:
        return board, height
    return _upright(board, shape), np.ascontiguousarray(_upright(height, shape))


def _upright(values: Floats, shape: tuple[int, int]) -> Floats:
    """Turn boards to run up and down, resampled to the same size."""
    turned = np.swapaxes(values, 0, 1)
    return np.asarray(cv2.resize(turned, shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)


def _stretched(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, ratio: float
) -> Floats:
    """Return a field drawn out along the columns."""
    narrow = (shape[0], max(4, int(shape[1] / ratio) + 2))
    field = smooth_field(rng, narrow, cell_px, 3, 0.6)
    return np.asarray(cv2.resize(field, shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)


def _cloth(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[Floats, Floats]:
    """Dark woven cloth with a few soft folds."""
    colour = _CLOTHS[int(rng.integers(len(_CLOTHS)))] * rng.uniform(0.7, 1.8)
    pitch = max(0.8 * px_per_mm, 2.5)
    y = np.arange(shape[0], dtype=np.float32)[:, None] * np.float32(2 * np.pi / pitch)
    x = np.arange(shape[1], dtype=np.float32)[None, :] * np.float32(2 * np.pi / pitch)
    weave = np.sin(x) * np.sin(y)
    lint = smooth_field(rng, shape, 1.4)
    folds = np.float32(2.2 * px_per_mm) * smooth_field(rng, shape, max(30 * px_per_mm, 10), 2)
    factor = np.exp(0.12 * weave + 0.10 * lint).astype(np.float32)
    return _plain(shape, colour.astype(np.float32), factor), folds + 0.1 * weave
