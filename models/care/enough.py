"""How many leaves are enough: the usual ones of a walk, and those that would settle a doubt.

One rule for all who speak of it: the plan, the guide, ``howmany`` and ``trend``.
"""

from math import exp, log, sqrt

from models.care.thresholds import Thresholds
from models.care.visits import Visit

__all__ = ["is_uncertain", "leaves_to_settle", "settle_words", "walk_words"]

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def walk_words(limits: Thresholds) -> str:
    """Return which leaves of each plant are photographed on a walk.

    >>> walk_words(Thresholds())
    'three leaves of each, the third, sixth and ninth from below'
    """
    count = limits.walk_leaves
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    which = "the third, sixth and ninth from below" if count == 3 else "evenly from below upwards"
    leaves = "leaf" if count == 1 else "leaves"
    return f"{number} {leaves} of each, {which}"


def is_uncertain(visit: Visit, limits: Thresholds) -> bool:
    """Whether a plant's interval leaves it open whether it is sick, or spans too much."""
    return visit.low_pct < limits.sick_pct or _is_wide(visit.low_pct, visit.high_pct, limits)


def _is_wide(low_pct: float, high_pct: float, limits: Thresholds) -> bool:
    return high_pct - low_pct > limits.wide_points


def leaves_to_settle(visit: Visit, limits: Thresholds) -> int | None:
    """Return with how many leaves, all of one day, a reading like this would no longer be open.

    As many as make the interval of the plant's mean narrow enough, should the further leaves be
    like those photographed.

    Parameters
    ----------
    visit : Visit
        An uncertain one of a plant that is sick by its mean.
    limits : Thresholds
        The garden's.

    Returns
    -------
    int or None
        More than were photographed; None where ``most_leaves`` would not do.
    """
    least = max(visit.leaf_count + 1, limits.walk_leaves)
    if visit.leaf_error is None:  # nothing tells yet how leaves differ
        return least if visit.leaf_count < limits.walk_leaves else None
    counts = range(least, limits.most_leaves + 1)
    return next((n for n in counts if _settles(visit, visit.leaf_error, n, limits)), None)


def _settles(visit: Visit, leaf_error: float, leaves: int, limits: Thresholds) -> bool:
    from models.progress.spread import GARDEN_FREEDOM
    from models.progress.student import t_quantile

    share = min(max(visit.severity_pct / 100, 0.0025), 0.9975)
    middle = log(share / (1 - share))
    margin = t_quantile(leaves - 1 + GARDEN_FREEDOM) * leaf_error / sqrt(leaves)
    low, high = (100 / (1 + exp(-(middle + side * margin))) for side in (-1, 1))
    return low >= limits.sick_pct and not _is_wide(low, high, limits)


def settle_words(count: int | None, limits: Thresholds) -> str:
    """Return what would settle an uncertain reading, as words for people."""
    if count is None:
        return f"up to {limits.most_leaves} leaves would not settle it, the next walk may"
    return f"{count} leaves on one day would settle it"
