"""How fast severity grows: the apparent infection rate.

A growth model becomes a straight line when severity is transformed the right way; its slope is the
rate. Severities of 0 and 100 % have no place on such a line and are clipped: see ``CLIP``.
"""

from dataclasses import dataclass
from math import log
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.progress.areas import visits
from models.progress.student import t_quantile

__all__ = [
    "CLIP",
    "DETECTABLE_PCT",
    "MODELS",
    "GrowthModel",
    "RateFit",
    "clip_share",
    "doubling_days",
    "fit_rate",
    "from_logit",
    "linearise",
    "logit",
]

Floats = NDArray[np.float64]
GrowthModel = Literal["logistic", "monomolecular", "gompertz", "exponential"]
MODELS: tuple[GrowthModel, ...] = ("logistic", "monomolecular", "gompertz", "exponential")

DETECTABLE_PCT = 0.5
"""Smallest severity that is told from a clean leaf: clean leaves are read as 0.3 % on average."""

CLIP = DETECTABLE_PCT / 100 / 2
"""Shares are kept this far from 0 and 1: half of what can be detected."""


def clip_share(share: ArrayLike) -> Floats:
    """Return shares of the leaf, 0 to 1, any shape, kept ``CLIP`` away from both ends."""
    return np.clip(np.asarray(share, np.float64), CLIP, 1 - CLIP)


def logit(share: ArrayLike) -> Floats:
    """Return ln(share ÷ (1 - share)) of shares, 0 to 1, any shape, after clipping."""
    kept = clip_share(share)
    return np.log(kept / (1 - kept))


def from_logit(value: ArrayLike) -> Floats:
    """Return the shares, 0 to 1, of the same shape as their logits."""
    return 1 / (1 + np.exp(-np.asarray(value, np.float64)))


def linearise(share: ArrayLike, model: GrowthModel) -> Floats:
    """Return severity on the scale where a growth model is a straight line.

    After Madden, Hughes & van den Bosch 2007; the share is clipped first.

    Parameters
    ----------
    share : array_like of float, any shape
        Sick share of the leaf, 0 to 1.
    model : {"logistic", "monomolecular", "gompertz", "exponential"}
        Logistic ln(y/(1-y)), monomolecular ln(1/(1-y)), Gompertz -ln(-ln y), exponential ln y.

    Returns
    -------
    ndarray of float64, of the same shape
        No unit.
    """
    kept = clip_share(share)
    match model:
        case "logistic":
            return np.log(kept / (1 - kept))
        case "monomolecular":
            return -np.log(1 - kept)
        case "gompertz":
            return -np.log(-np.log(kept))
        case "exponential":
            return np.log(kept)


@dataclass(frozen=True)
class RateFit:
    """The straight line through a plant's linearised severities, by least squares.

    Attributes
    ----------
    model : {"logistic", "monomolecular", "gompertz", "exponential"}
        The growth model.
    rate_per_day : float
        Slope, per day: the apparent infection rate.
    start : float
        Height of the line at the first visit, on the model's scale.
    standard_error_per_day, low_per_day, high_per_day : float or None
        Standard error of the slope and its 95 % interval (Student's t, visits - 2 degrees of
        freedom); None for two visits, through which a line always passes.
    determination : float or None
        R²; None for two visits or where severity never changes.
    visits : int
        Visits that the line passes through.
    clipped : int
        Visits that had to be clipped.
    """

    model: GrowthModel
    rate_per_day: float
    start: float
    standard_error_per_day: float | None
    low_per_day: float | None
    high_per_day: float | None
    determination: float | None
    visits: int
    clipped: int


def fit_rate(days: ArrayLike, severity_pct: ArrayLike, model: GrowthModel = "logistic") -> RateFit:
    """Fit a growth model to a plant's visits.

    With two visits the slope is the rate of van der Plank 1963, without an error.

    Parameters
    ----------
    days : array_like of float, shape (visits,)
        Rising, at least two.
    severity_pct : array_like of float, shape (visits,)
        Percent, 0 to 100.
    model : {"logistic", "monomolecular", "gompertz", "exponential"}
        The growth model.

    Raises
    ------
    ValueError
        When the visits are no course; see ``course_area``.
    """
    day, severity = visits(days, severity_pct, least=2)
    height = linearise(severity / 100, model)
    since = day - day[0]
    spread = float(((since - since.mean()) ** 2).sum())
    slope = float(((since - since.mean()) * height).sum()) / spread
    start = float(height.mean() - slope * since.mean())
    left = float(((height - start - slope * since) ** 2).sum())
    total = float(((height - height.mean()) ** 2).sum())
    error, margin = _slope_error(left, spread, len(day))
    return RateFit(
        model,
        slope,
        start,
        error,
        None if margin is None else slope - margin,
        None if margin is None else slope + margin,
        1 - left / total if error is not None and total > 0 else None,
        len(day),
        int(np.count_nonzero(clip_share(severity / 100) != severity / 100)),
    )


def _slope_error(left: float, spread: float, count: int) -> tuple[float | None, float | None]:
    """Return the slope's standard error and the half-width of its interval."""
    if count < 3:
        return None, None
    error = (left / (count - 2) / spread) ** 0.5
    return error, error * t_quantile(count - 2, 0.975)


_LONGEST_DAYS = 3650


def doubling_days(rate_per_day: float) -> float | None:
    """Return the days in which severity doubles while little is sick; None where it does not grow.

    What would take more than ten years is no growth: a season does not tell it from none.

    Examples
    --------
    >>> round(doubling_days(0.05), 1), round(doubling_days(0.18), 1)
    (13.9, 3.9)
    """
    return log(2) / rate_per_day if rate_per_day > log(2) / _LONGEST_DAYS else None
