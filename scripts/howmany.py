"""How many leaves and plants to photograph, told from the garden's own differences."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from pathlib import Path

import numpy as np

from models.garden import Garden
from models.garden_file import read_garden
from models.journal import open_journal
from models.progress import LeafTable
from models.progress.sampling import (
    NORMAL_95,
    GardenVariance,
    SamplingPlan,
    garden_variance,
    leaves_for_mean,
    plan_bed,
    wanted_cv,
)
from scripts.trend import NoTrendError, read_leaves
from scripts.trend_words import day_words, number_of

__all__ = ["Advice", "advice_lines", "advise", "worth_a_choice"]

_RECENT_DAYS = 14
"""Plants' last visits count that lie so close to the garden's last one."""


@dataclass(frozen=True)
class Advice:
    """What to photograph.

    Attributes
    ----------
    garden : Garden
        As its settings file says.
    variance : GardenVariance
        From the last visits.
    cv : float
        Wanted standard error ÷ mean.
    leaves_a_plant : int
        For the mean of one plant.
    beds : dict of str to tuple
        For each bed its number of plants, and the ways to reach the precision for its mean.
    last_day : int
        Of the visits, as ``date.toordinal()``.
    """

    garden: Garden
    variance: GardenVariance
    cv: float
    leaves_a_plant: int
    beds: dict[str, tuple[int, tuple[SamplingPlan, ...]]]
    last_day: int


def advise(folder: Path, cv: float = 0.2, points: float | None = None) -> Advice:
    """Work out how many leaves and plants give a wanted precision.

    Parameters
    ----------
    folder : Path
        Of the garden.
    cv : float
        Wanted standard error ÷ mean.
    points : float, optional
        In its place: half the width of the 95 % interval, in percentage points.

    Raises
    ------
    NoTrendError
        When the journal holds too little to learn from.
    """
    garden = read_garden(folder)
    with open_journal(folder) as journal:
        leaves = read_leaves(journal)
    try:
        variance = garden_variance(_last_visits(leaves))
    except ValueError as error:
        raise NoTrendError(f"How many leaves are needed cannot be told yet. {error}") from error
    cv = cv if points is None else wanted_cv(points, variance.mean_pct)
    single = leaves_for_mean(variance.mean_pct, variance.within_pct2**0.5, cv)
    return Advice(
        garden,
        variance,
        cv,
        max(1, ceil(single)),
        _beds(garden, variance, cv),
        int(leaves.day.max()),
    )


def _last_visits(leaves: LeafTable) -> list[np.ndarray]:
    """Return the leaves of each plant's last visit, where it was lately."""
    found = []
    for plant in range(len(leaves.plants)):
        mine = leaves.plant == plant
        last = leaves.day[mine].max()
        if last >= leaves.day.max() - _RECENT_DAYS:
            found.append(leaves.severity_pct[mine & (leaves.day == last)])
    return found


def _beds(
    garden: Garden, variance: GardenVariance, cv: float
) -> dict[str, tuple[int, tuple[SamplingPlan, ...]]]:
    counts: dict[str, int] = {}
    for plant in garden.plants:
        counts[plant.bed] = counts.get(plant.bed, 0) + 1
    return {bed: (count, plan_bed(variance, count, cv)) for bed, count in counts.items()}


def advice_lines(advice: Advice) -> list[str]:
    """Return the advice as lines for people."""
    v = advice.variance
    points = NORMAL_95 * advice.cv * v.mean_pct
    lines = [
        f"From the last visits up to {day_words(date.fromordinal(advice.last_day))}: "
        f"{number_of(v.plants, 'plant')}, {number_of(v.leaves, 'leaf', 'leaves')}, "
        f"mean severity {v.mean_pct:.1f} %.",
        f"Plants differ by ± {v.between_pct2**0.5:.1f} points, leaves of one plant by "
        f"± {v.within_pct2**0.5:.1f} points (standard deviations).",
        f"Wanted: a mean within ± {points:.1f} points in 95 of 100 walks "
        f"(standard error {100 * advice.cv:.0f} % of the mean).",
        "",
        f"For one plant of average severity: {number_of(advice.leaves_a_plant, 'leaf', 'leaves')}.",
    ]
    for bed, (count, plans) in advice.beds.items():
        lines += ["", f"For the mean of bed {bed} ({number_of(count, 'plant')}):"]
        lines += [_plan_line(plan, count) for plan in worth_a_choice(plans)]
    return lines


def worth_a_choice(plans: Sequence[SamplingPlan]) -> list[SamplingPlan]:
    """Return the plans without those that take more leaves and spare no plant."""
    enough = [plan for plan in plans if plan.plants is not None]
    kept = [
        plan
        for before, plan in zip([None, *enough], enough, strict=False)
        if before is None or plan.plants != before.plants
    ]
    return kept or list(plans[-1:])


def _plan_line(plan: SamplingPlan, count: int) -> str:
    on_each = f"  {number_of(plan.leaves, 'leaf', 'leaves'):>9} on each of "
    if plan.plants is None:
        return f"{on_each}all {number_of(count, 'plant')} is not enough"
    return f"{on_each}{number_of(plan.plants, 'plant'):>9} ({plan.photos} leaves in all)"
