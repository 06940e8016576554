"""The files of learned numbers that measuring reads: one list, from which nothing may be missing.

A kept reading is measured again when one of them changes. How each came about (command, seed,
data, day, measuring version, libraries) stands in ``learned.json`` beside this module.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CHEWED",
    "DROPPING_JUDGE",
    "DROPPING_NETWORK",
    "DROPPING_NETWORK_CLOSE",
    "FARTHEST",
    "LEAF_NETWORK",
    "LEAF_NETWORK_SECOND",
    "LEARNED_FILES",
    "NIGHT_JUDGE",
    "OUTLINE",
    "SURFACE",
    "SYMPTOMS",
    "Layers",
    "layers_of",
    "load_onnx",
    "numbers_of",
    "refuse_others",
    "stored_in",
    "through",
]

_HERE = Path(__file__).parent

OUTLINE = _HERE / "day" / "outline.json"
LEAF_NETWORK = _HERE / "day" / "leaf_network.onnx"
LEAF_NETWORK_SECOND = _HERE / "day" / "leaf_network_second.onnx"
SURFACE = _HERE / "day" / "surface.json"
SYMPTOMS = _HERE / "day" / "symptoms.onnx"
CHEWED = _HERE / "chewed" / "chewed.json"
DROPPING_NETWORK = _HERE / "droppings" / "network.onnx"
DROPPING_NETWORK_CLOSE = _HERE / "droppings" / "close.onnx"
DROPPING_JUDGE = _HERE / "droppings" / "judge.json"
NIGHT_JUDGE = _HERE / "night" / "judge.json"

LEARNED_FILES = (
    OUTLINE,
    LEAF_NETWORK,
    LEAF_NETWORK_SECOND,
    SURFACE,
    SYMPTOMS,
    CHEWED,
    DROPPING_NETWORK,
    DROPPING_NETWORK_CLOSE,
    DROPPING_JUDGE,
    NIGHT_JUDGE,
)


Floats = NDArray[np.float32]
Many = tuple[Floats, ...]

FARTHEST = 6.0
"""Standard deviations from the mean that an input is taken for at most."""


def through(rows: Floats, weights: Sequence[Floats], offsets: Sequence[Floats]) -> Floats:
    """Pass rows through rectified layers, and return the last one's only output.

    Parameters
    ----------
    rows : ndarray of float32, shape (rows, inputs)
        Standardised.
    weights : sequence of ndarray of float32, shape (inputs, outputs)
        Layer by layer.
    offsets : sequence of ndarray of float32, shape (outputs,)
        Likewise.

    Returns
    -------
    ndarray of float32, shape (rows,)
    """
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
        """Return the natural log-odds of each row.

        Parameters
        ----------
        rows : ndarray of float32, shape (rows, inputs)
            Not standardised; each input in its own unit.

        Returns
        -------
        ndarray of float32, shape (rows,)
        """
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


def stored_in(path: Path) -> dict[str, Any]:
    """Return what a learned file in JSON holds."""
    stored: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return stored


def refuse_others(file: Path, made_for: object, measured: object) -> None:
    """Refuse numbers that were made for other measures than this program takes.

    Parameters
    ----------
    file : Path
        That holds them.
    made_for : object
        Names of the measures, or the version, for which they were made.
    measured : object
        The same of this program.

    Raises
    ------
    ValueError
        In one sentence, when the two differ.
    """
    if made_for != measured:
        raise ValueError(f"{file.name} was made for other measures: learn it again.")


def load_onnx(path: Path) -> cv2.dnn.Net:
    """Load a network in the open format ONNX; it runs in OpenCV.

    OpenCV 5 brings a second way to run networks, which takes a third longer for ours.
    """
    classic = getattr(cv2.dnn, "ENGINE_CLASSIC", None)
    if classic is None:
        return cv2.dnn.readNetFromONNX(str(path))
    return cv2.dnn.readNetFromONNX(str(path), classic)
