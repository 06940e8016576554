"""The day on which a plant reaches a severity, should it go on as in the last weeks."""

from dataclasses import dataclass
from math import sqrt

from models.progress.course import Line
from models.progress.rates import logit
from models.progress.student import t_quantile

__all__ = ["FARTHEST_DAYS", "DaysTo", "days_to"]

FARTHEST_DAYS = 120.0
"""No season's course goes on unchanged for longer; what lies beyond counts as never."""


@dataclass(frozen=True)
class DaysTo:
    """Days from the last visit until a severity is reached.

    Attributes
    ----------
    threshold_pct : float
        The severity, percent.
    days : float or None
        Where the fitted line crosses it; 0 when it is there already, None when it never gets there
        within ``FARTHEST_DAYS``.
    earliest_days, latest_days : float or None
        95 % interval, from the band about the line; None for never.
    """

    threshold_pct: float
    days: float | None
    earliest_days: float | None
    latest_days: float | None


def days_to(line: Line, threshold_pct: float) -> DaysTo:
    """Return the days until a threshold, by inverse prediction from the line.

    Parameters
    ----------
    line : Line
        Through the last visits.
    threshold_pct : float
        Percent, above 0 and below 100.

    Returns
    -------
    DaysTo
        The interval is Fieller's: the days on which the
        threshold lies inside the 95 % band about the line.

    Raises
    ------
    ValueError
        When the threshold is no percentage between 0 and 100.
    """
    if not 0 < threshold_pct < 100:
        raise ValueError("The threshold lies between 0 and 100 percent.")
    gap = float(logit(threshold_pct / 100)) - line.height
    quantile = t_quantile(line.freedom, 0.975)
    return DaysTo(
        threshold_pct,
        _crossing(line, gap, 0.0),
        _crossing(line, gap, quantile),
        _crossing(line, gap, -quantile),
    )


def _crossing(line: Line, gap: float, quantile: float) -> float | None:
    """Return the first day from 0 on which line + quantile · error reaches the gap.

    (gap - slope · t)² = quantile² · (error of the line on day t)² is a square equation in t; of
    its roots, that one counts which lies on the wanted side of the line.
    """
    slope, error, at_zero = line.rate_per_day, line.standard_error_per_day, line.height_error
    if gap <= quantile * at_zero:
        return 0.0
    if quantile == 0:
        return _within_a_season([gap / slope] if slope else [])
    a = slope**2 - (quantile * error) ** 2
    b = -2 * (gap * slope + quantile**2 * line.covariance)
    c = gap**2 - (quantile * at_zero) ** 2
    return _within_a_season(
        [root for root in _roots(a, b, c) if (gap - slope * root) * quantile >= 0]
    )


def _within_a_season(days: list[float]) -> float | None:
    first = min((day for day in days if day > 0), default=None)
    return first if first is not None and first <= FARTHEST_DAYS else None


def _roots(a: float, b: float, c: float) -> list[float]:
    """Return the real roots of a·t² + b·t + c."""
    inside = b * b - 4 * a * c
    if abs(a) < 1e-15:
        return [-c / b] if b else []
    if inside < 0:
        return []
    return [(-b - sqrt(inside)) / (2 * a), (-b + sqrt(inside)) / (2 * a)]
