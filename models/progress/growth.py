"""How fast each plant grew sicker around the day of a spray, and which plants can be compared."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from models.entries import LogEntry
from models.progress.points import SeverityPoint
from models.progress.rates import logit

__all__ = [
    "AFTER_DAYS",
    "BEFORE_DAYS",
    "LAST_BEFORE_DAYS",
    "LEAST_AFTER_DAYS",
    "MOST_SICK_PCT",
    "PlantGrowth",
    "concerns",
    "last_day",
    "plant_growth",
    "was_sprayed",
]

BEFORE_DAYS = 14
"""Visits before the spray reach so far back, days."""

LAST_BEFORE_DAYS = 8
"""The last visit before the spray is at most so old, days."""

AFTER_DAYS = 21
"""Visits after the spray reach so far, or to the next spray with something else."""

MOST_SICK_PCT = 75.0
"""Plants that were sicker before the spray can hardly grow sicker, and are not judged."""

LEAST_AFTER_DAYS = 6
"""The last visit is at least so late: spots that show earlier had infected the leaf before the
spray (leaf spot shows after 6 days: INRAE, *Septoria lycopersici*, biology)."""


@dataclass(frozen=True)
class PlantGrowth:
    """How one plant's severity grew before and after the day of the spray.

    Attributes
    ----------
    plant : str
        Name of the plant.
    severity_pct : float
        At the last visit before the spray, percent.
    before_per_day : float or None
        Slope of the logit up to that visit; None for a single visit.
    after_per_day : float
        Slope from that visit to the last one judged.
    error_per_day : float or None
        Standard error of ``after_per_day`` from the choice of leaves.
    leaves : float
        Mean number of leaves at these visits.
    """

    plant: str
    severity_pct: float
    before_per_day: float | None
    after_per_day: float
    error_per_day: float | None
    leaves: float


def concerns(entry: LogEntry, plant: str) -> bool:
    """Say whether an entry of the log is about a plant: by its name, or about the whole garden."""
    return not entry.plants or plant in entry.plants


def last_day(spray: LogEntry, others: Sequence[LogEntry]) -> date:
    """Return the last day judged: before another product comes onto the sprayed plants."""
    day = spray.at.date()
    ends = [
        entry.at.date()
        for entry in others
        if entry.at > spray.at
        and entry.product != spray.product
        and (not entry.plants or not spray.plants or set(entry.plants) & set(spray.plants))
    ]
    return min([day + timedelta(days=AFTER_DAYS), *ends])


def was_sprayed(plant: str, others: Sequence[LogEntry], day: date, end: date) -> bool:
    """Say whether a plant was sprayed at all in the days judged."""
    start = day - timedelta(days=LAST_BEFORE_DAYS)
    return any(concerns(e, plant) and start <= e.at.date() <= end for e in others)


def plant_growth(visits: Sequence[SeverityPoint], day: date, end: date) -> PlantGrowth | None:
    """Return a plant's growth, None where it cannot be judged.

    It can where it was visited shortly before the spray and long enough after it, and had green
    left to lose.

    A visit on the day of the spray counts as before it: nothing shows within hours.
    """
    before = [p for p in visits if day - timedelta(days=BEFORE_DAYS) <= p.day <= day]
    after = [p for p in visits if day < p.day <= end]
    if not before or before[-1].day < day - timedelta(days=LAST_BEFORE_DAYS):
        return None
    if before[-1].severity_pct > MOST_SICK_PCT:
        return None
    if not after or after[-1].day < day + timedelta(days=LEAST_AFTER_DAYS):
        return None
    span = [before[-1], *after]
    slope, error = _slope(span)
    return PlantGrowth(
        before[-1].plant,
        before[-1].severity_pct,
        _slope(before)[0] if len(before) > 1 else None,
        slope,
        error,
        float(np.mean([p.leaf_count for p in span])),
    )


def _slope(points: Sequence[SeverityPoint]) -> tuple[float, float | None]:
    """Return the least-squares slope of the logit, with its error from the choice of leaves."""
    day = np.array([point.day.toordinal() for point in points], np.float64)
    lever = (day - day.mean()) / ((day - day.mean()) ** 2).sum()
    slope = float((lever * logit([p.severity_pct / 100 for p in points])).sum())
    errors = [p.logit_error for p in points if p.logit_error is not None]
    if len(errors) < len(points):
        return slope, None
    return slope, float(np.sqrt((lever**2 * np.square(errors)).sum()))
