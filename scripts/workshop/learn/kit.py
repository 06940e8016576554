"""Fit a small network (``vision.learned``) and return its numbers for a JSON file."""

import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression
from sklearn.neural_network import MLPClassifier

from vision.learned import FARTHEST

Floats = NDArray[np.float32]

_LEAST_SPREAD = 1e-5  # as stored: inputs that never differ are divided by it

__all__ = ["as_stored", "fit", "standardised"]


def fit(
    inputs: NDArray[np.float32],
    wanted: NDArray[np.bool_],
    hidden: tuple[int, ...],
    names: tuple[str, ...],
    seed: int,
    rounds: int = 25,
) -> dict[str, Any]:
    """Fit a network; without hidden layers it is a logistic regression.

    Parameters
    ----------
    inputs : ndarray of float32, shape (rows, len(names))
        What is measured.
    wanted : ndarray of bool, shape (rows,)
        What it is.
    hidden : tuple of int
        Sizes of the hidden layers.
    names : tuple of str
        Names of the measures, stored with the numbers.
    seed : int
        Fixes chance.
    rounds : int
        How often all rows are gone through.
    """
    rows, mean, spread = standardised(inputs)
    if hidden:
        network = MLPClassifier(
            hidden, alpha=0.3, batch_size=min(256, len(rows)), max_iter=rounds, random_state=seed
        )
        with warnings.catch_warnings():  # stopping early is meant: it keeps the weights small
            warnings.simplefilter("ignore", ConvergenceWarning)
            network.fit(rows, wanted)
        layers = list(zip(network.coefs_, network.intercepts_, strict=True))
    else:
        line = LogisticRegression(max_iter=1000).fit(rows, wanted)
        layers = [(line.coef_.T, line.intercept_)]
    return as_stored(names, mean, spread, layers)


def standardised(inputs: Floats) -> tuple[Floats, Floats, Floats]:
    """Return rows as ``vision.learned`` standardises them, and the mean and spread of each."""
    mean, spread = inputs.mean(axis=0), inputs.std(axis=0) + 1e-6
    return np.clip((inputs - mean) / spread, -FARTHEST, FARTHEST), mean, spread


def as_stored(
    names: tuple[str, ...],
    mean: Floats,
    spread: Floats,
    layers: list[tuple[NDArray[Any], NDArray[Any]]],
) -> dict[str, Any]:
    """Return a network's numbers, rounded, as ``vision.learned`` reads them."""
    return {
        "inputs": list(names),
        "mean": np.round(mean, 5).tolist(),
        "spread": np.maximum(np.round(spread, 5), _LEAST_SPREAD).tolist(),
        "layers": [
            {"weights": np.round(weights, 4).tolist(), "offsets": np.round(offsets, 4).tolist()}
            for weights, offsets in layers
        ],
    }
