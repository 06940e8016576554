"""Fit the network that looks at pictures of spots (``vision.frass_picture``).

By Adam (Kingma & Ba 2015, arXiv:1412.6980), with each picture mirrored by chance. It is written out
here, for it is short, and a library for it would be many times as large as all of this project.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scripts.fit_layers import standardised
from vision.frass_picture import FIRST, KERNELS, SECOND, Kernel, planes_of

__all__ = ["fit_picture"]

Floats = NDArray[np.float32]
Pixels = NDArray[np.uint8]

_BATCH, _RATE, _DECAY = 256, np.float32(2e-3), np.float32(3e-3)
_LEFT_OUT = 0.1  # of the values between kernels and layers, by chance, at each step
_STEADY = (np.float32(0.9), np.float32(0.999))  # of the means of slopes and of their squares
_SEEN = SECOND.outputs**2 * KERNELS[1]
_PLACES = FIRST.places(), SECOND.places()


@dataclass(eq=False)
class _Fitted:
    """Weights and offsets in turn, and the running means of their slopes and of those squared."""

    numbers: list[Floats]
    slopes: list[Floats] = field(default_factory=list)
    squares: list[Floats] = field(default_factory=list)
    steps: int = 0

    def __post_init__(self) -> None:
        self.slopes = [np.zeros_like(one) for one in self.numbers]
        self.squares = [np.zeros_like(one) for one in self.numbers]

    @property
    def weights(self) -> list[Floats]:
        return self.numbers[::2]

    @property
    def offsets(self) -> list[Floats]:
        return self.numbers[1::2]

    def move(self, slopes: list[Floats], rate: np.float32) -> None:
        self.steps += 1
        first, second = (np.float32(1 - steady**self.steps) for steady in _STEADY)
        for number, mean, square, slope in zip(
            self.numbers, self.slopes, self.squares, slopes, strict=True
        ):
            mean += (1 - _STEADY[0]) * (slope - mean)
            square += (1 - _STEADY[1]) * (slope * slope - square)
            shrunk = _DECAY * number if number.ndim > 1 else np.float32(0)
            number -= rate * (mean / first / (np.sqrt(square / second) + np.float32(1e-8)) + shrunk)


def fit_picture(
    rows: Floats,
    pictures: Pixels,
    wanted: NDArray[np.bool_],
    hidden: tuple[int, ...],
    names: tuple[str, ...],
    seed: int,
    rounds: int,
) -> dict[str, Any]:
    """Fit a network.

    Parameters
    ----------
    rows : ndarray of float32, shape (spots, len(names))
        What is measured of spots.
    pictures : ndarray of uint8, shape (spots, PICTURE_PX, PICTURE_PX, 3)
        Their pictures.
    wanted : ndarray of bool, shape (spots,)
        What they are.
    hidden : tuple of int
        Sizes of the hidden layers above the kernels.
    names : tuple of str
        Names of the measures, stored with the numbers.
    seed : int
        Fixes chance.
    rounds : int
        How often all spots are gone through.
    """
    rng = np.random.default_rng(seed)
    standard, mean, spread = standardised(rows)
    measures = standard.astype(np.float32)
    net = _begin(rng, rows.shape[1], hidden)
    steps = rounds * -(-len(rows) // _BATCH)
    for _ in range(rounds):
        order = rng.permutation(len(rows))
        for start in range(0, len(order), _BATCH):
            use = order[start : start + _BATCH]
            rate = _RATE * np.float32(0.5 + 0.5 * np.cos(np.pi * net.steps / steps))
            seen = planes_of(_mirrored(rng, pictures[use])).reshape(len(use), -1)
            net.move(_slopes(rng, net, seen, measures[use], wanted[use]), rate)
    return {
        "inputs": list(names),
        "mean": _short(mean, 5),
        "spread": _short(spread, 5),
        "layers": [
            {"weights": _short(weights, 4), "offsets": _short(offsets, 4)}
            for weights, offsets in zip(net.weights, net.offsets, strict=True)
        ],
    }


def _short(values: Floats, digits: int) -> list[Any]:
    """Round, and round again in double precision, or single precision would show in the file."""
    return list(np.round(np.round(values, digits).astype(np.float64), digits).tolist())


def _begin(rng: np.random.Generator, measures: int, hidden: tuple[int, ...]) -> _Fitted:
    """Return a network of chance (He et al. 2015, arXiv:1502.01852)."""
    sizes = [(kernel.side**2 * kernel.channels, many) for kernel, many in _KERNELS]
    wide = [_SEEN + measures, *hidden, 1]
    sizes += list(pairwise(wide))
    numbers: list[Floats] = []
    for ins, outs in sizes:
        numbers.append(rng.normal(0, np.sqrt(2 / ins), (ins, outs)).astype(np.float32))
        numbers.append(np.zeros(outs, np.float32))
    return _Fitted(numbers)


_KERNELS: tuple[tuple[Kernel, int], ...] = ((FIRST, KERNELS[0]), (SECOND, KERNELS[1]))


def _mirrored(rng: np.random.Generator, pictures: Pixels) -> Pixels:
    """Mirror each picture along and across its axis, or not, by chance: the ends are alike."""
    out = pictures.copy()
    for axis in (1, 2):
        which = rng.random(len(out)) < 0.5
        out[which] = np.flip(out[which], axis)
    return out


def _slopes(
    rng: np.random.Generator,
    net: _Fitted,
    seen: Floats,
    measures: Floats,
    wanted: NDArray[np.bool_],
) -> list[Floats]:
    """Return the slopes of the mean log loss, by the chain rule from the last layer back."""
    weights, offsets, count = net.weights, net.offsets, len(seen)
    under = [seen[:, _PLACES[0]]]
    first = np.maximum(under[0] @ weights[0] + offsets[0], 0)
    under.append(first.reshape(count, -1)[:, _PLACES[1]])
    second = np.maximum(under[1] @ weights[1] + offsets[1], 0)
    joined = np.concatenate([second.reshape(count, -1), measures], axis=1)
    kept = (rng.random(joined.shape, np.float32) >= _LEFT_OUT) / np.float32(1 - _LEFT_OUT)
    values = [joined * kept.astype(np.float32)]
    for inner, offset in zip(weights[2:-1], offsets[2:-1], strict=True):
        values.append(np.maximum(values[-1] @ inner + offset, 0))
    odds = values[-1] @ weights[-1] + offsets[-1]
    off = (1 / (1 + np.exp(-odds)) - wanted[:, None]).astype(np.float32) / np.float32(count)
    found: list[Floats] = []
    for number in range(len(weights) - 1, 1, -1):
        below = values[number - 2]
        found += [off.sum(axis=0), below.T @ off]
        off = off @ weights[number].T * ((below > 0) if number > 2 else kept)
    off = off[:, :_SEEN].reshape(second.shape) * (second > 0)
    found += [off.sum(axis=(0, 1)), np.tensordot(under[1], off, ([0, 1], [0, 1]))]
    off = _back(off @ weights[1].T).reshape(first.shape) * (first > 0)
    found += [off.sum(axis=(0, 1)), np.tensordot(under[0], off, ([0, 1], [0, 1]))]
    return [np.asarray(one, np.float32) for one in reversed(found)]


def _back(off: Floats) -> Floats:
    """Bring slopes of what the second kernels look at back to the places they look at."""
    side, step, outs = SECOND.side, SECOND.step, SECOND.outputs
    parts = off.reshape(len(off), outs, outs, side, side, SECOND.channels)
    whole = np.zeros((len(off), SECOND.inputs, SECOND.inputs, SECOND.channels), np.float32)
    for row in range(side):
        for col in range(side):
            rows = slice(row, row + step * outs, step)
            cols = slice(col, col + step * outs, step)
            whole[:, rows, cols] += parts[:, :, :, row, col]
    return whole
