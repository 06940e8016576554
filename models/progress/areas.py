"""The area under a plant's course: how much disease it carried, over how long.

The area says more than the last visit alone: a plant that was sick early has carried more.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["CourseArea", "course_area", "visits"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CourseArea:
    """Area under severity over time, by trapezoids (AUDPC) and by stairs (AUDPS).

    Attributes
    ----------
    audpc, audps : float
        Percent-days.
    standardised_audpc, standardised_audps : float
        Divided by the time: a mean severity, percent.
    relative_audpc, relative_audps : float
        Share of the area of a plant that was wholly sick all the time, 0 to 1.
    days : float
        From the first visit to the last.
    visits : int
        At least 2.
    """

    audpc: float
    standardised_audpc: float
    relative_audpc: float
    audps: float
    standardised_audps: float
    relative_audps: float
    days: float
    visits: int


def course_area(days: ArrayLike, severity_pct: ArrayLike) -> CourseArea:
    """Return the area under severity over time.

    Trapezoids: Madden, Hughes & van den Bosch 2007. Stairs: Simko & Piepho 2012, Phytopathology
    102:381-389, which give the first and the last visit the weight that trapezoids halve.

    Parameters
    ----------
    days : array_like of float, shape (visits,)
        Rising, at least two.
    severity_pct : array_like of float, shape (visits,)
        Percent, 0 to 100.

    Raises
    ------
    ValueError
        When there are fewer than two visits, days do not rise, or a severity is no percentage.

    Examples
    --------
    Two trapezoids of a week: (10 + 20) / 2 · 7 + (20 + 40) / 2 · 7.

    >>> course_area([0, 7, 14], [10, 20, 40]).audpc
    315.0
    """
    day, severity = visits(days, severity_pct, least=2)
    span = float(day[-1] - day[0])
    trapezoids = float(((severity[1:] + severity[:-1]) / 2 * np.diff(day)).sum())
    count = len(day)
    stairs = trapezoids + float(severity[0] + severity[-1]) / 2 * span / (count - 1)
    mean_stairs = stairs * (count - 1) / (span * count)
    return CourseArea(
        audpc=trapezoids,
        standardised_audpc=trapezoids / span,
        relative_audpc=trapezoids / span / 100,
        audps=stairs,
        standardised_audps=mean_stairs,
        relative_audps=mean_stairs / 100,
        days=span,
        visits=count,
    )


def visits(days: ArrayLike, severity_pct: ArrayLike, least: int) -> tuple[Floats, Floats]:
    """Return days and severities as arrays, after checking that they are a course.

    Parameters
    ----------
    days : array_like of float, shape (visits,)
        Rising.
    severity_pct : array_like of float, shape (visits,)
        Percent, 0 to 100.
    least : int
        Visits that are needed.

    Returns
    -------
    days, severity_pct : ndarray of float64, shape (visits,)

    Raises
    ------
    ValueError
        When there are fewer visits, days do not rise, or a severity is no percentage.
    """
    day, severity = np.asarray(days, np.float64), np.asarray(severity_pct, np.float64)
    if day.ndim != 1 or day.shape != severity.shape:
        raise ValueError(f"Each visit needs a severity: {day.shape} and {severity.shape} differ.")
    if len(day) < least:
        raise ValueError(f"At least {least} visits are needed, not {len(day)}.")
    if not (np.isfinite(day).all() and (np.diff(day) > 0).all()):
        raise ValueError("The days must rise from visit to visit.")
    if not ((severity >= 0) & (severity <= 100)).all():
        raise ValueError("A severity lies from 0 to 100 percent.")
    return day, severity
