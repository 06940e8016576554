"""How many leaves and plants to photograph, told from the garden's own differences."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from pathlib import Path

from models.care.enough import walk_words
from models.care.planning import plan_season
from models.care.season import Season
from models.care.thresholds import Thresholds
from models.care.visits import Visit
from models.care.words import joined
from models.garden.beds import Garden
from models.garden.settings import read_garden
from models.numerals import counted
from models.progress.sampling import (
    NORMAL_95,
    GardenVariance,
    SamplingPlan,
    garden_variance,
    leaves_for_mean,
    plan_bed,
    wanted_cv,
)
from scripts.trend.read import NoTrendError, told_season
from scripts.trend.words import day_words

__all__ = ["Advice", "Wish", "advice_lines", "advise", "worth_a_choice"]

_RECENT_DAYS = 14
"""Plants' last visits count that lie so close to the garden's last one."""


@dataclass(frozen=True)
class Wish:
    """What a wanted precision takes.

    Attributes
    ----------
    cv : float
        Wanted standard error ÷ mean.
    leaves_a_plant : int
        For the mean of one plant.
    beds : mapping of str to tuple
        For each bed its number of plants, and the ways to reach the precision for its mean.
    """

    cv: float
    leaves_a_plant: int
    beds: Mapping[str, tuple[int, tuple[SamplingPlan, ...]]]


@dataclass(frozen=True)
class Advice:
    """What to photograph.

    Attributes
    ----------
    garden : Garden
        As its settings file says.
    limits : Thresholds
        The garden's.
    more : mapping of str to int or None
        The plants of which it is open whether they are sick, with the leaves that would settle it;
        None where no number on one walk would.
    variance : GardenVariance or None
        From the last visits; None where too little is known.
    last_day : date
        Of the visits.
    wish : Wish or None
        What the wanted precision takes, where one was named.
    """

    garden: Garden
    limits: Thresholds
    more: Mapping[str, int | None]
    variance: GardenVariance | None
    last_day: date
    wish: Wish | None = None


def advise(folder: Path, cv: float | None = None, points: float | None = None) -> Advice:
    """Work out how many leaves a walk takes, and how many a wanted precision would.

    Parameters
    ----------
    folder : Path
        Of the garden.
    cv : float, optional
        Wanted standard error ÷ mean.
    points : float, optional
        In its place: half the width of the 95 % interval, in percentage points.

    Raises
    ------
    NoTrendError
        When the journal holds too little to learn from.
    """
    garden = read_garden(folder)
    season = told_season(folder, garden)
    last = {name: visits[-1] for name in season.plants if (visits := season.visits[name])}
    if not last:
        raise NoTrendError("No plant that was photographed stands in the garden any more.")
    more = {s.plant: s.more_leaves for s in plan_season(season).statuses if s.open_why}
    latest = max(visit.day for visit in last.values())
    wanted = cv is not None or points is not None
    variance = _variance(season, last, latest, needed=wanted)
    wish = _wish(garden, variance, cv, points) if wanted and variance else None
    return Advice(garden, season.limits, more, variance, latest, wish)


def _variance(
    season: Season, last: Mapping[str, Visit], latest: date, *, needed: bool
) -> GardenVariance | None:
    """Return how leaves and plants differ, from each plant's last visit, where it was lately."""
    groups = [
        [leaf.severity_pct for photo in season.last_day_photos(name).used for leaf in photo.leaves]
        for name, visit in last.items()
        if (latest - visit.day).days <= _RECENT_DAYS
    ]
    try:
        return garden_variance(groups)
    except ValueError as error:
        if not needed:
            return None
        raise NoTrendError(f"How many leaves are needed cannot be told yet. {error}") from error


def _wish(garden: Garden, variance: GardenVariance, cv: float | None, points: float | None) -> Wish:
    wanted = wanted_cv(points, variance.mean_pct) if points is not None else cv or 0.2
    single = leaves_for_mean(variance.mean_pct, variance.within_pct2**0.5, wanted)
    return Wish(wanted, max(1, ceil(single)), _beds(garden, variance, wanted))


def _beds(
    garden: Garden, variance: GardenVariance, cv: float
) -> dict[str, tuple[int, tuple[SamplingPlan, ...]]]:
    sizes = _bed_sizes(garden)
    return {bed: (count, plan_bed(variance, count, cv)) for bed, count in sizes.items()}


def _bed_sizes(garden: Garden) -> Mapping[str, int]:
    return Counter(plant.bed for plant in garden.plants)


def advice_lines(advice: Advice) -> list[str]:
    """Return the advice as lines for people: the walk's rule first, as the plan says it."""
    walk = walk_words(advice.limits).replace("of each", "of each plant")
    lines = [f"On each walk: {walk}.", *_more_lines(advice)]
    if advice.variance is None:
        return [*lines, "What that fixes cannot be told yet: two plants with several leaves do."]
    lines += ["", *_reach_lines(advice, advice.variance)]
    return lines + (_wish_lines(advice.wish, advice.variance) if advice.wish else [])


def _more_lines(advice: Advice) -> list[str]:
    """Say of which plants more leaves would settle whether they are sick, and of which none do."""
    enough = {name: count for name, count in advice.more.items() if count is not None}
    lines = []
    if enough:
        counts = joined(f"{count} of {name}" for name, count in enough.items())
        lines.append(f"More on one day, which would settle whether a plant is sick: {counts}.")
    beyond = [name for name, count in advice.more.items() if count is None]
    if beyond:
        lines.append(
            f"Of {joined(beyond)} it stays open with up to {advice.limits.most_leaves} leaves: "
            "the next walk may tell."
        )
    return lines or ["Of no plant would more leaves change what is to be done."]


def _reach_lines(advice: Advice, variance: GardenVariance) -> list[str]:
    """Say how close the walk's leaves come."""
    within, leaves = variance.within_pct2, advice.limits.walk_leaves
    beds = [
        f"{bed} ± {NORMAL_95 * (within / leaves / count) ** 0.5:.1f}"
        for bed, count in _bed_sizes(advice.garden).items()
    ]
    return [
        f"From the last visits up to {day_words(advice.last_day)}: "
        f"{counted(variance.plants, 'plant')}, {counted(variance.leaves, 'leaf', 'leaves')}, "
        f"mean severity {variance.mean_pct:.1f} %.",
        f"Plants differ by ± {variance.between_pct2**0.5:.1f} points, leaves of one plant by "
        f"± {within**0.5:.1f} points (standard deviations).",
        f"In 95 of 100 walks {counted(leaves, 'leaf', 'leaves')} of each plant come within "
        f"± {NORMAL_95 * (within / leaves) ** 0.5:.1f} points of its mean,",
        f"and so close to the beds' means: {', '.join(beds)} points.",
    ]


def _wish_lines(wish: Wish, variance: GardenVariance) -> list[str]:
    points = NORMAL_95 * wish.cv * variance.mean_pct
    lines = [
        "",
        f"Wanted: a mean within ± {points:.1f} points in 95 of 100 walks "
        f"(standard error {100 * wish.cv:.0f} % of the mean).",
        f"For one plant of average severity: {counted(wish.leaves_a_plant, 'leaf', 'leaves')}.",
    ]
    for bed, (count, plans) in wish.beds.items():
        lines += ["", f"For the mean of bed {bed} ({counted(count, 'plant')}):"]
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
    on_each = f"  {counted(plan.leaves, 'leaf', 'leaves'):>9} on each of "
    if plan.plants is None:
        return f"{on_each}all {counted(count, 'plant')} is not enough"
    return f"{on_each}{counted(plan.plants, 'plant'):>9} ({plan.photos} leaves in all)"
