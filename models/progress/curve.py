"""The whole story of one plant: visits, area, rates, where it is going, and when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import hypot

from models.progress.areas import CourseArea, course_area
from models.progress.course import (
    LEAST_VISITS,
    RECENT_DAYS,
    Course,
    Line,
    judge_course,
    recent_points,
)
from models.progress.garden_visits import GardenVisits
from models.progress.points import SeverityPoint
from models.progress.rates import CLIP, MODELS, RateFit, doubling_days, fit_rate
from models.progress.threshold import DaysTo, days_to

__all__ = ["THRESHOLD_PCT", "Change", "Doubling", "ProgressCurve", "progress_curve", "since_last"]

THRESHOLD_PCT = 5.0
"""Severity whose date is foretold where the grower names none: about one leaflet in ten."""


@dataclass(frozen=True)
class Change:
    """What changed between a plant's last two visits.

    Attributes
    ----------
    days : int
        Between them.
    points : float
        Change of severity, percentage points.
    low_points, high_points : float or None
        95 % interval, from the choice of leaves alone.
    lesions_per_leaf : float or None
        Change of the mean number of lesions on a leaf. Leaves carry no name from visit to visit,
        so new lesions of one and the same leaf cannot be counted.
    """

    days: int
    points: float
    low_points: float | None
    high_points: float | None
    lesions_per_leaf: float | None


@dataclass(frozen=True)
class Doubling:
    """Days in which severity doubles while little is sick.

    Attributes
    ----------
    days : float or None
        At the rate of the last visits; None where it does not grow.
    fastest_days, slowest_days : float or None
        From the ends of the rate's interval; None for never.
    """

    days: float | None
    fastest_days: float | None
    slowest_days: float | None


@dataclass(frozen=True)
class ProgressCurve:
    """One plant's severity over time.

    Attributes
    ----------
    plant : str
        Name of the plant.
    points : tuple of SeverityPoint
        Its visits, by day; at least one.
    area : CourseArea or None
        Of all visits; None for one visit.
    rates : tuple of RateFit
        Of all visits, by each growth model; empty for one visit.
    course : Course
        Where it is going, by the last visits.
    doubling : Doubling or None
        From the same visits; None without a rate.
    to_threshold : DaysTo or None
        From the same visits; None without a rate.
    since_last : Change or None
        Against the visit before; None for one visit.
    gone : bool
        Whether the plant was taken out since: then it goes nowhere any more.
    """

    plant: str
    points: tuple[SeverityPoint, ...]
    area: CourseArea | None
    rates: tuple[RateFit, ...]
    course: Course
    doubling: Doubling | None
    to_threshold: DaysTo | None
    since_last: Change | None
    gone: bool = False


def progress_curve(
    season: GardenVisits,
    plant: str,
    *,
    threshold_pct: float = THRESHOLD_PCT,
    recent_days: int = RECENT_DAYS,
    since: date | None = None,
) -> ProgressCurve | None:
    """Tell the story of one plant.

    Parameters
    ----------
    season : GardenVisits
        Of the whole garden.
    plant : str
        Name of the plant.
    threshold_pct : float
        Severity whose date is foretold, percent.
    recent_days : int
        Length of the last stretch by which it is judged where the plant is going.
    since : date, optional
        First day of all that is told; the whole season by default.

    Returns
    -------
    ProgressCurve or None
        None for a plant without a measured leaf.
    """
    points = tuple(p for p in season.points(plant) if since is None or p.day >= since)
    if not points:
        return None
    days = [point.day.toordinal() for point in points]
    severity = [point.severity_pct for point in points]
    course = judge_course(recent_points(points, recent_days), season.scatter)
    several = len(points) > 1
    return ProgressCurve(
        plant,
        points,
        course_area(days, severity) if several else None,
        _rates(days, severity) if several else (),
        course,
        _doubling(course.line) if course.line else None,
        days_to(course.line, threshold_pct) if course.line else None,
        since_last(points),
    )


def _rates(days: list[int], severity_pct: list[float]) -> tuple[RateFit, ...]:
    """Fit each model to the visits that need no clipping, or to all where these are too few.

    A row of clean visits before the outbreak says nothing about its speed; clipped, it would lie
    flat and make the rate too small.
    """
    kept = [
        (day, value)
        for day, value in zip(days, severity_pct, strict=True)
        if CLIP <= value / 100 <= 1 - CLIP
    ]
    if len(kept) >= LEAST_VISITS:
        days, severity_pct = [day for day, _ in kept], [value for _, value in kept]
    return tuple(fit_rate(days, severity_pct, model) for model in MODELS)


def _doubling(line: Line) -> Doubling:
    return Doubling(
        doubling_days(line.rate_per_day),
        doubling_days(line.high_per_day),
        doubling_days(line.low_per_day),
    )


def since_last(points: Sequence[SeverityPoint]) -> Change | None:
    """Return what changed between the last two visits.

    The interval joins those of the two visits (Zou & Donner 2008: each end lies as far from the
    difference as the root of the squared distances to the two near ends).
    """
    if len(points) < 2:
        return None
    before, last = points[-2:]
    change = last.severity_pct - before.severity_pct
    low = high = lesions = None
    ends = (before.low_pct, before.high_pct, last.low_pct, last.high_pct)
    if None not in ends:
        b_low, b_high, l_low, l_high = (float(end) for end in ends if end is not None)
        low = change - hypot(last.severity_pct - l_low, b_high - before.severity_pct)
        high = change + hypot(l_high - last.severity_pct, before.severity_pct - b_low)
    if before.lesions_per_leaf is not None and last.lesions_per_leaf is not None:
        lesions = last.lesions_per_leaf - before.lesions_per_leaf
    return Change((last.day - before.day).days, change, low, high, lesions)
