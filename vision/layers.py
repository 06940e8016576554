"""Small learned networks as plain numbers: measures in, the log-odds of one thing out."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["FARTHEST", "Layers", "layers_of", "numbers_of", "through"]

Floats = NDArray[np.float32]
Many = tuple[Floats, ...]

FARTHEST = 6.0
"""Standard deviations from the mean that an input is taken for at most."""


def through(rows: Floats, weights: Sequence[Floats], offsets: Sequence[Floats]) -> Floats:
    """Pass standardised rows through rectified layers, and return the last one's only output."""
    for inner, offset in zip(weights[:-1], offsets[:-1], strict=True):
        rows = np.maximum(rows @ inner + offset, 0)
    return np.asarray((rows @ weights[-1] + offsets[-1])[:, 0], np.float32)


@dataclass(frozen=True, eq=False)
class Layers:
    """A small feed-forward network: rectified hidden layers, one log-odds out.

    Attributes
    ----------
    mean, spread : ndarray of float32, shape (inputs,)
        Inputs are standardised by these.
    weights, offsets : tuple of ndarray of float32
        Layer by layer, shapes (inputs, outputs) and (outputs,).
    """

    mean: Floats = field(repr=False)
    spread: Floats = field(repr=False)
    weights: tuple[Floats, ...] = field(repr=False)
    offsets: tuple[Floats, ...] = field(repr=False)

    def log_odds(self, rows: Floats) -> Floats:
        """Return the log-odds for each row of inputs."""
        values = np.clip((rows - self.mean) / self.spread, -FARTHEST, FARTHEST)
        return through(values, self.weights, self.offsets)


def layers_of(stored: dict[str, Any]) -> Layers:
    """Return the network whose numbers are given."""
    return Layers(*numbers_of(stored))


def numbers_of(stored: dict[str, Any]) -> tuple[Floats, Floats, Many, Many]:
    """Return mean, spread, weights and offsets of a network as arrays."""
    layers = stored["layers"]
    return (
        np.array(stored["mean"], np.float32),
        np.array(stored["spread"], np.float32),
        tuple(np.array(layer["weights"], np.float32) for layer in layers),
        tuple(np.array(layer["offsets"], np.float32) for layer in layers),
    )
