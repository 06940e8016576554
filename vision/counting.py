"""The number of caterpillars as an interval, from the probability of each doubtful one."""

from collections.abc import Sequence

import numpy as np

__all__ = ["count_interval"]

_TAIL = 0.025


def count_interval(probabilities: Sequence[float], count: int) -> tuple[int, int]:
    """Return the 95 % interval of the number of caterpillars.

    Each candidate is one with its own probability, independently of the others, so that their
    number follows the Poisson–binomial distribution; the interval leaves out at most 2.5 % of it
    on either side and always holds the count itself.

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
    chances = np.ones(1)
    for p in probabilities:
        chances = np.convolve(chances, [1 - p, p])
    total = np.cumsum(chances)
    low = int(np.searchsorted(total, _TAIL, side="right"))
    high = int(np.searchsorted(total, 1 - _TAIL, side="left"))
    return min(low, count), max(min(high, len(probabilities)), count)
