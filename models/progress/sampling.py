"""How many leaves and plants to photograph for a wanted precision.

The coefficient of variation (CV) of a mean is its standard error ÷ the mean; 0.1 to 0.2 is usually
good enough in field work. Formulas are those of plant disease epidemiology; leaves of one plant are
alike, which raises the number (design effect), and a small bed is soon photographed whole, which
lowers it (finite population).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import ArrayLike

__all__ = [
    "LEAF_OPTIONS",
    "NORMAL_95",
    "GardenVariance",
    "SamplingPlan",
    "garden_variance",
    "leaves_for_mean",
    "plan_bed",
    "wanted_cv",
]

LEAF_OPTIONS = (1, 2, 3, 5, 8, 12)
NORMAL_95 = 1.96


@dataclass(frozen=True)
class GardenVariance:
    """How severity differs between plants, and between the leaves of one plant.

    Attributes
    ----------
    mean_pct : float
        Mean of the plants' means, percent.
    between_pct2, within_pct2 : float
        Variance of the plants' true means, and of leaves about their own plant's; square percent.
    correlation : float
        between ÷ (between + within): how alike two leaves of one plant are, 0 to 1.
    plants, leaves : int
        What it rests on.
    """

    mean_pct: float
    between_pct2: float
    within_pct2: float
    correlation: float
    plants: int
    leaves: int


@dataclass(frozen=True)
class SamplingPlan:
    """One way to reach a precision for the mean of a bed.

    Attributes
    ----------
    leaves : int
        On each plant.
    plants : int or None
        Of the bed; None where even all its plants do not suffice with so few leaves.
    photos : int or None
        leaves · plants, with one leaf a photo.
    """

    leaves: int
    plants: int | None
    photos: int | None


def leaves_for_mean(mean: float, spread: float, cv: float) -> float:
    """Return how many leaves a mean needs: (spread ÷ (mean · CV))², spread and mean of one unit."""
    return (spread / (mean * cv)) ** 2


def wanted_cv(points: float, mean_pct: float) -> float:
    """Return the CV at which the 95 % interval reaches so many percentage points to either side."""
    return points / NORMAL_95 / mean_pct


def garden_variance(leaves_by_plant: Sequence[ArrayLike]) -> GardenVariance:
    """Split the variance of severity into that between plants and that between their leaves.

    One-way analysis of variance with the method of moments, for unequal numbers of leaves.

    Parameters
    ----------
    leaves_by_plant : sequence of array_like of float, shape (leaves,)
        For each plant the severities of its leaves, percent; at least two plants, and one with
        two leaves.

    Raises
    ------
    ValueError
        When there are fewer, or nothing is sick.
    """
    groups = [np.asarray(group, np.float64) for group in leaves_by_plant if np.size(group)]
    count = np.array([len(group) for group in groups])
    total = int(count.sum())
    if len(groups) < 2 or total == len(groups):
        raise ValueError("Two plants are needed, and at least one with two leaves.")
    means = np.array([group.mean() for group in groups])
    if means.mean() <= 0:
        raise ValueError("No leaf is sick, so nothing can be said of how sick leaves differ.")
    within = sum(float(((g - g.mean()) ** 2).sum()) for g in groups) / (total - len(groups))
    grand = float((count * means).sum()) / total
    square = float((count * (means - grand) ** 2).sum()) / (len(groups) - 1)
    usual = (total - float((count**2).sum()) / total) / (len(groups) - 1)
    between = max(0.0, (square - within) / usual)
    both = between + within
    alike = between / both if both else 0.0
    return GardenVariance(float(means.mean()), between, within, alike, len(groups), total)


def plan_bed(
    variance: GardenVariance,
    bed_plants: int,
    cv: float,
    options: Sequence[int] = LEAF_OPTIONS,
) -> tuple[SamplingPlan, ...]:
    """Return how many plants of a bed to photograph, for several numbers of leaves a plant.

    n = (between + within ÷ m) ÷ (wanted variance + between ÷ M) for m leaves a plant and M plants
    in the bed: the number for single leaves times the design effect ÷ m, made smaller for a small
    bed, in which the plants can all be seen but never all their leaves.

    Parameters
    ----------
    variance : GardenVariance
        Of the garden.
    bed_plants : int
        Plants in the bed.
    cv : float
        Wanted coefficient of variation of the bed's mean, above 0.
    options : sequence of int
        Numbers of leaves a plant.
    """
    wanted = (cv * variance.mean_pct) ** 2
    plans = []
    for leaves in options:
        above = variance.between_pct2 + variance.within_pct2 / leaves
        plants = max(1, ceil(above / (wanted + variance.between_pct2 / bed_plants) - 1e-9))
        enough = plants <= bed_plants
        plans.append(
            SamplingPlan(leaves, plants if enough else None, leaves * plants if enough else None)
        )
    return tuple(plans)
