"""How much the leaves of one plant differ on one day, learned from the whole garden.

Two or three leaves say little about their own spread. The other visits of the garden say more:
relative to its severity, one plant's leaves differ about as much as another's. Each visit's own
variance is therefore joined with the garden's at about the same severity, as if that were the
variance of four further leaves (a moderated variance; the number was chosen by how often the
intervals then held the truth on simulated plants).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.progress.rates import clip_share, logit

__all__ = ["GARDEN_FREEDOM", "LeafSpread", "Visits", "learn_spread", "scarcer"]

GARDEN_FREEDOM = 4.0
"""Degrees of freedom that the garden's variance counts for, at most."""

_WIDTH = 0.7  # of the bell by which visits of like severity count, logit: a factor of 2
_FAR = 0.05  # share of the degrees of freedom that visits of quite another severity lend
_GRID = np.linspace(float(logit(0)), float(logit(1)), 81)

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Visits:
    """Plants' leaves, summed up by plant and day; one position a visit.

    Attributes
    ----------
    plant, day : ndarray of int
        As in ``LeafTable``; sorted by plant, then by day.
    leaves, photos : ndarray of int
        How many.
    mean, low, high : ndarray of float
        Means of the leaves' severities and of their measuring intervals' ends, shares 0 to 1.
    variance : ndarray of float
        Of the leaves' severities, divisor leaves - 1; 0 for a single leaf.
    lesions : ndarray of float
        Mean number on a leaf; NaN where none was counted.
    """

    plant: NDArray[np.int64]
    day: NDArray[np.int64]
    leaves: NDArray[np.int64]
    photos: NDArray[np.int64]
    mean: Floats
    low: Floats
    high: Floats
    variance: Floats
    lesions: Floats

    def __len__(self) -> int:
        return len(self.plant)


@dataclass(frozen=True, eq=False)
class LeafSpread:
    """Squared relative spread of a plant's leaves, by severity.

    Attributes
    ----------
    relative : ndarray of float
        (standard deviation ÷ the scarcer share)² at each severity of a fixed grid.
    freedom : ndarray of float
        Degrees of freedom behind it.
    """

    relative: Floats
    freedom: Floats

    def at(self, mean: Floats) -> tuple[Floats, Floats]:
        """Return how much leaves differ at a mean severity.

        Parameters
        ----------
        mean : ndarray of float64, shape (visits,)
            Shares of the leaf, 0 to 1.

        Returns
        -------
        relative : ndarray of float64, shape (visits,)
            (standard deviation ÷ the scarcer share)².
        freedom : ndarray of float64, shape (visits,)
            Degrees of freedom behind it.
        """
        place = logit(mean)
        return np.interp(place, _GRID, self.relative), np.interp(place, _GRID, self.freedom)


def scarcer(mean: Floats) -> Floats:
    """Return the scarcer of sick and healthy share, 0 to 0.5; any shape of shares, 0 to 1."""
    kept = clip_share(mean)
    return np.minimum(kept, 1 - kept)


def learn_spread(visits: Visits) -> LeafSpread:
    """Learn from all visits with at least two leaves how much leaves of one plant differ.

    At each severity, Σ variance ÷ Σ (share² - variance / leaves), each visit with its degrees of
    freedom and by how near its severity is. The second sum is the squared true share: without
    taking the mean's own error out, small visits would look less spread than they are. The same
    ratio over all visits counts for one degree of freedom more, for severities seldom seen.
    """
    many = visits.leaves > 1
    count, variance, mean = visits.leaves[many], visits.variance[many], visits.mean[many]
    square = scarcer(mean) ** 2
    distance = (logit(mean)[None] - _GRID[:, None]) / _WIDTH
    weight = np.exp(-0.5 * distance**2) * (count - 1)
    near, anywhere = weight.sum(axis=1), float((count - 1).sum())
    around = _ratio(weight @ variance, weight @ square, weight @ (variance / count))
    overall = _ratio(*((count - 1) @ x for x in (variance, square, variance / count)))
    return LeafSpread((near * around + overall) / (near + 1), near + _FAR * anywhere)


def _ratio(variance: Floats, square: Floats, of_mean: Floats) -> Floats:
    below = np.maximum(square - of_mean, 0.2 * of_mean)
    return np.divide(variance, below, out=np.zeros_like(below), where=below > 0)
