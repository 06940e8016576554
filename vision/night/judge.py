"""How likely a body is a caterpillar, a pair of pieces one body, a parting right: learned numbers.

``judge.json`` holds the weights of three small perceptrons over named, physical measurements and
what they were fitted on; ``python -m scripts.workshop learn night`` fits them again. Applying them
is plain arithmetic.
"""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.learned import through
from vision.night.features import FEATURES
from vision.night.join import PAIR_FEATURES
from vision.night.partings import PARTING_FEATURES

__all__ = [
    "ALL_FEATURES",
    "JUDGE_VERSION",
    "Net",
    "NightJudge",
    "chances_of",
    "load_night_judge",
    "net_from",
]

JUDGE_VERSION = 2
"""Version of the file's layout; a file of another version is refused."""

_SHORTEST, _LONGEST = float(np.log(1.3)), float(np.log(16))
_IMPOSSIBLE = 0.001

ALL_FEATURES = (*FEATURES, "ln_alike")

_NETS = {"body": ALL_FEATURES, "pair": PAIR_FEATURES, "parting": PARTING_FEATURES}

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Net:
    """A small perceptron with standardised, clipped input.

    Attributes
    ----------
    low, high : ndarray of float32
        What lies beyond is taken for this: nothing is concluded beyond what was learned from.
    middle, spread : ndarray of float32
        Taken off the input, and dividing it.
    weights, offsets : tuple of ndarray of float32
        Layer by layer.
    """

    low: Floats
    high: Floats
    middle: Floats
    spread: Floats
    weights: tuple[Floats, ...] = field(repr=False)
    offsets: tuple[Floats, ...] = field(repr=False)

    def probability(self, described: Floats) -> Floats:
        """Return the probability for each row.

        Parameters
        ----------
        described : ndarray of float32, shape (rows, inputs)
            The features that the perceptron was trained on, in their order and units.

        Returns
        -------
        ndarray of float32, shape (rows,)
            0 to 1.
        """
        rows = (np.clip(described, self.low, self.high) - self.middle) / self.spread
        score = through(rows, self.weights, self.offsets)
        return np.asarray(1 / (1 + np.exp(-np.clip(score, -30, 30))), np.float32)


@dataclass(frozen=True, eq=False)
class NightJudge:
    """The three perceptrons.

    Attributes
    ----------
    body : Net
        A caterpillar or not, over ``ALL_FEATURES``.
    pair : Net
        Two pieces of one body or not, over ``PAIR_FEATURES``.
    parting : Net
        A region in which bodies may meet read rightly or not, over ``PARTING_FEATURES``.
    """

    body: Net
    pair: Net
    parting: Net

    def caterpillar(self, described: Floats) -> Floats:
        """Return the probability that each body is a caterpillar.

        What no caterpillar can be, however it shines, has hardly any: one is 4 to 10 times as long
        as wide, and up to half of that where a part is hidden.

        Parameters
        ----------
        described : ndarray of float32, shape (bodies, len(ALL_FEATURES))
            From ``vision.night.features``.

        Returns
        -------
        ndarray of float32, shape (bodies,)
            0 to 1.
        """
        return chances_of(self.body, described)


def chances_of(body: Net, described: Floats) -> Floats:
    """Return the probabilities of ``NightJudge.caterpillar`` by a judge of bodies alone.

    Parameters
    ----------
    body : Net
        Over ``ALL_FEATURES``.
    described : ndarray of float32, shape (bodies, len(ALL_FEATURES))
        From ``vision.night.features``.

    Returns
    -------
    ndarray of float32, shape (bodies,)
        0 to 1.
    """
    slenderness = described[:, ALL_FEATURES.index("ln_slenderness")]
    possible = (slenderness > _SHORTEST) & (slenderness < _LONGEST)
    return np.where(possible, body.probability(described), np.float32(_IMPOSSIBLE))


@cache
def load_night_judge(path: Path = learned.NIGHT_JUDGE) -> NightJudge:
    """Load the judge that ships with the product, or another of the same layout.

    Raises
    ------
    ValueError
        In one sentence, when the file belongs to another version.
    """
    stored = learned.stored_in(path)
    made_for = [stored.get("version"), *(stored.get(f"{name}_features") for name in _NETS)]
    learned.refuse_others(path, made_for, [JUDGE_VERSION, *map(list, _NETS.values())])
    return NightJudge(*(net_from(stored[name]) for name in _NETS))


def net_from(stored: dict[str, list[list[float]]]) -> Net:
    """Return a net from what the file holds of it."""
    low, high, middle, spread = (
        np.array(stored[name], np.float32) for name in ("low", "high", "middle", "spread")
    )
    weights, offsets = (
        tuple(np.array(layer, np.float32) for layer in stored[name])
        for name in ("weights", "offsets")
    )
    return Net(low, high, middle, spread, weights, offsets)
