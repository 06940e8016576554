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

from models.progress.rates import CLIP

__all__ = ["GARDEN_FREEDOM", "LeafSpread", "Visits", "learn_spread"]

GARDEN_FREEDOM = 4.0
"""Degrees of freedom that the garden's variance counts for, at most."""

_WIDTH = 0.7  # of the bell by which visits of like severity count, on the log scale: a factor of 2
_FAR = 0.05  # weight of visits of quite another severity
_GRID = np.linspace(np.log(CLIP), 0, 61)

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
    first : ndarray of int
        Where the visit's leaves begin in the sorted leaves.
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
    first: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.plant)


@dataclass(frozen=True, eq=False)
class LeafSpread:
    """Squared relative spread of a plant's leaves, by severity.

    Attributes
    ----------
    relative : ndarray of float
        (standard deviation ÷ mean)² at each severity of a fixed grid.
    freedom : ndarray of float
        Degrees of freedom behind it.
    """

    relative: Floats
    freedom: Floats

    def at(self, mean: Floats) -> tuple[Floats, Floats]:
        """Return relative spread squared and degrees of freedom at mean shares."""
        place = np.log(np.clip(mean, CLIP, 1))
        return np.interp(place, _GRID, self.relative), np.interp(place, _GRID, self.freedom)


def learn_spread(visits: Visits) -> LeafSpread:
    """Learn from all visits with at least two leaves how much leaves of one plant differ.

    At each severity, Σ variance ÷ Σ (mean² - variance / leaves), each visit with its degrees of
    freedom and by how near its severity is. The second sum is the squared true mean: without
    taking the mean's own error out, small visits would look less spread than they are.
    """
    many = visits.leaves > 1
    count, variance = visits.leaves[many], visits.variance[many]
    mean = np.maximum(visits.mean[many], CLIP)
    distance = (np.log(mean)[None] - _GRID[:, None]) / _WIDTH
    weight = (np.exp(-0.5 * distance**2) + _FAR) * (count - 1)
    above = weight @ variance
    share = weight @ (variance / count)
    below = np.maximum(weight @ (mean**2) - share, 0.2 * share)
    relative = np.divide(above, below, out=np.zeros_like(above), where=below > 0)
    return LeafSpread(relative, weight.sum(axis=1))
