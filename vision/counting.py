"""How many there are, as a distribution and an interval, from the probability of each one."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["TAIL", "count_interval", "how_many"]

TAIL = 0.025
"""Left out of a 95 % interval on either side, at most."""


def how_many(probabilities: Sequence[float] | NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the probabilities that none, one, two … of several things are what they may be.

    Each is one with its own probability, independently of the others, so that their number follows
    the Poisson–binomial distribution (Poisson 1837).

    Parameters
    ----------
    probabilities : sequence of float or ndarray of float64, shape (things,)
        Of each thing, 0 to 1.

    Returns
    -------
    ndarray of float64, shape (things + 1,)

    Examples
    --------
    >>> how_many([0.5, 0.5]).tolist()
    [0.25, 0.5, 0.25]
    """
    chances = np.ones(1)
    for p in probabilities:
        chances = np.convolve(chances, [1 - p, p])
    return chances


def count_interval(probabilities: Sequence[float], count: int) -> tuple[int, int]:
    """Return the 95 % interval of the number of caterpillars.

    The interval leaves out at most 2.5 % of the distribution on either side (``how_many``), and
    always holds the count itself.

    Parameters
    ----------
    probabilities : sequence of float
        Of all candidates, counted or not, 0 to 1.
    count : int
        How many were counted.

    Examples
    --------
    >>> count_interval([1.0, 1.0, 0.5], 2)
    (2, 3)
    """
    total = np.cumsum(how_many(probabilities))
    low = int(np.searchsorted(total, TAIL, side="right"))
    high = int(np.searchsorted(total, 1 - TAIL, side="left"))
    return min(low, count), max(min(high, len(probabilities)), count)
