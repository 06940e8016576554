"""How many plants or leaves would show what a spray does, where it cannot be told yet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.progress.growth import PlantGrowth
from models.progress.student import t_quantile

__all__ = ["Needed", "leaf_variance", "needed_before_and_after", "needed_beside", "quantile"]

MOST_PLANTS, MOST_LEAVES = 200, 100
"""What lies beyond is no advice for a garden."""


@dataclass(frozen=True)
class Needed:
    """What would tell a full stop of growth from no effect, in 4 of 5 seasons.

    Attributes
    ----------
    stop_per_day : float
        The growth that would have to stop, per day.
    plants_each : int or None
        Sprayed and unsprayed plants each, with as many leaves as now; None for over 200.
    leaves : int or None
        Leaves a plant and visit, with as many plants as now; None where no number of leaves
        would do, because the plants themselves differ too much.
    """

    stop_per_day: float
    plants_each: int | None
    leaves: int | None


def quantile(freedom: float, share: float = 0.975) -> float:
    """Return a quantile of Student's t."""
    return t_quantile(freedom, share)


def leaf_variance(growth: Sequence[PlantGrowth]) -> float:
    """Return the mean variance of the plants' growth that comes from the choice of leaves."""
    known = [one.error_per_day**2 for one in growth if one.error_per_day is not None]
    return float(np.mean(known)) if known else 0.0


def needed_beside(
    sprayed: Sequence[PlantGrowth],
    unsprayed: Sequence[PlantGrowth],
    variance: float,
    growth: float,
) -> Needed:
    """Return what would show a full stop of the growth that unsprayed plants have.

    The usual sum for two means: 95 % interval, 80 % power.

    Parameters
    ----------
    sprayed, unsprayed : sequence of PlantGrowth
        As many as now.
    variance : float
        Of growth among plants of one side, leaf choice included.
    growth : float
        Of the unsprayed plants, per day, above 0.
    """
    leaf = (leaf_variance(sprayed) + leaf_variance(unsprayed)) / 2
    own = max(0.0, variance - leaf)
    count = len(sprayed), len(unsprayed)
    left = (growth / _factor(sum(count) - 2)) ** 2 / (1 / count[0] + 1 / count[1]) - own
    now = float(np.mean([one.leaves for one in (*sprayed, *unsprayed)]))
    return Needed(growth, _plants(2 * variance, growth, 2), _leaves(now, leaf, left))


def needed_before_and_after(variance: float, growth: float) -> Needed:
    """Return how many sprayed plants would show a full stop of the growth they had before.

    Parameters
    ----------
    variance : float
        Of the plants' change of growth.
    growth : float
        Before the spray, per day, above 0.
    """
    return Needed(growth, _plants(variance, growth, 1), None)


def _factor(freedom: float) -> float:
    return quantile(freedom) + quantile(freedom, 0.8)


def _plants(variance: float, growth: float, sides: int) -> int | None:
    for plants in range(2, MOST_PLANTS + 1):
        if _factor(sides * (plants - 1)) ** 2 * variance / plants <= growth**2:
            return plants
    return None


def _leaves(now: float, leaf: float, left: float) -> int | None:
    """Return the leaves a plant with which their part of the variance fits what is left for it."""
    if left <= 0 or leaf <= 0:
        return None
    needed = int(np.ceil(now * leaf / left))
    return needed if needed <= MOST_LEAVES else None
