"""Mean severity of a plant's leaves at each visit, with what may be wrong with it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from models.progress.leaves import LeafTable
from models.progress.rates import CLIP, clip_share, from_logit, logit
from models.progress.spread import GARDEN_FREEDOM, LeafSpread, Visits, scarcer
from models.progress.student import t_quantile

__all__ = [
    "ENOUGH_TO_RESAMPLE",
    "Ends",
    "Resampled",
    "SeverityPoint",
    "VisitIntervals",
    "VisitSum",
    "group_visits",
    "logit_errors",
    "points_at",
    "sum_visit",
    "visit_intervals",
    "visits_of",
]

ENOUGH_TO_RESAMPLE = 12
"""Leaves from which on the interval is a bootstrap; with fewer it would be too narrow."""

_RESAMPLES = 999
_SEED = 20_240

Floats = NDArray[np.float64]
Ends = tuple[float, float]
"""An interval of a visit's logit mean."""

Resampled = Callable[[int], Ends | None]
"""Gives the bootstrap interval of a visit by its place; None for one of too few leaves."""


@dataclass(frozen=True)
class VisitSum:
    """A plant's leaves of one day, summed up: all that a garden's courses are made from.

    Attributes
    ----------
    leaves, photos : int
        How many.
    mean, low, high : float
        Means of the leaves' severities and of their measuring intervals' ends, shares 0 to 1.
    variance : float
        Of the leaves' severities, divisor leaves - 1; 0 for a single leaf.
    lesions : float
        Mean number on a leaf; NaN where none was counted.
    resampled : tuple of float or None
        Bootstrap interval of the mean's logit; None with too few leaves for one. It rests on these
        leaves alone, and takes longer to make than all the rest.
    """

    leaves: int
    photos: int
    mean: float
    low: float
    high: float
    variance: float
    lesions: float
    resampled: Ends | None


def sum_visit(
    severity_pct: Sequence[float],
    low_pct: Sequence[float],
    high_pct: Sequence[float],
    lesions: Sequence[float],
    photos: int,
) -> VisitSum:
    """Sum a visit's leaves up; at least one.

    Parameters
    ----------
    severity_pct, low_pct, high_pct, lesions : sequence of float
        Of each leaf, as in ``LeafTable``.
    photos : int
        On how many photos they are.
    """
    count = len(severity_pct)
    mean = fmean(severity_pct) / 100
    squares = sum((one / 100 - mean) ** 2 for one in severity_pct)
    enough = count >= ENOUGH_TO_RESAMPLE
    return VisitSum(
        leaves=count,
        photos=photos,
        mean=mean,
        low=fmean(low_pct) / 100,
        high=fmean(high_pct) / 100,
        variance=squares / max(count - 1, 1),
        lesions=fmean(lesions),
        resampled=_bootstrap(np.array(severity_pct) / 100) if enough else None,
    )


@dataclass(frozen=True)
class SeverityPoint:
    """The mean severity of a plant's leaves on one day.

    Two visits on one day are one point. Each leaf counts the same, whatever its size.

    Attributes
    ----------
    plant : str
        Name of the plant.
    day : date
        In the garden's time zone.
    severity_pct : float
        Mean of the leaves, percent.
    low_pct, high_pct : float or None
        95 % interval of the mean of the plant's leaves, from how much the leaves differ; None for
        one leaf in a garden that has no visit with more.
    measuring_low_pct, measuring_high_pct : float or None
        Means of the ends of the leaves' measuring intervals: as wide as if all leaves were misread
        the same way, for what misleads is mostly light and variety, which they share.
    whole_low_pct, whole_high_pct : float or None
        Both together, their half-widths added as squares on the logit scale.
    leaf_count, photo_count : int
        What it rests on.
    lesions_per_leaf : float or None
        Mean number of lesions on a leaf.
    method : {"bootstrap", "t", ""}
        How the interval over leaves was made: a bootstrap for 12 leaves and more, otherwise
        Student's t with the garden's spread; empty where there is none.
    logit_error : float or None
        Standard error of the mean's logit from the choice of leaves.
    """

    plant: str
    day: date
    severity_pct: float
    low_pct: float | None
    high_pct: float | None
    measuring_low_pct: float | None
    measuring_high_pct: float | None
    whole_low_pct: float | None
    whole_high_pct: float | None
    leaf_count: int
    photo_count: int
    lesions_per_leaf: float | None
    method: str
    logit_error: float | None

    @property
    def interval_pct(self) -> tuple[float, float] | None:
        """The interval that people are shown: over leaves; of measuring where that is unknown."""
        for low, high in (
            (self.low_pct, self.high_pct),
            (self.measuring_low_pct, self.measuring_high_pct),
        ):
            if low is not None and high is not None:
                return low, high
        return None


def visits_of(
    found: Sequence[Sequence[tuple[int, VisitSum]]],
) -> tuple[Visits, Resampled]:
    """Lay visits that are summed up already out as a table.

    Parameters
    ----------
    found : sequence of sequence of (int, VisitSum)
        Of each plant: its days, as ``date.toordinal()``, in order, and what they sum up to.
    """
    rows = [(n, day, one) for n, visits in enumerate(found) for day, one in visits]
    sums = [one for _, _, one in rows]

    def column(name: str) -> Floats:
        return np.array([getattr(one, name) for one in sums], np.float64)

    visits = Visits(
        plant=np.array([plant for plant, _, _ in rows], np.int64),
        day=np.array([day for _, day, _ in rows], np.int64),
        leaves=column("leaves").astype(np.int64),
        photos=column("photos").astype(np.int64),
        mean=column("mean"),
        low=column("low"),
        high=column("high"),
        variance=column("variance"),
        lesions=column("lesions"),
    )
    return visits, lambda place: sums[place].resampled


def group_visits(leaves: LeafTable) -> tuple[Visits, Resampled]:
    """Sum leaves up by plant and day.

    Returns
    -------
    visits : Visits
        Sorted by plant, then day.
    resampled : callable
        Makes the bootstrap interval of a visit, by its place, when it is asked for.
    """
    order = np.lexsort((leaves.photo, leaves.day, leaves.plant))
    plant, day, photo = leaves.plant[order], leaves.day[order], leaves.photo[order]
    fresh = np.ones(len(order), bool)
    fresh[1:] = (np.diff(plant) != 0) | (np.diff(day) != 0)
    new_photo = fresh.copy()
    new_photo[1:] |= np.diff(photo) != 0
    first = np.flatnonzero(fresh)
    visit = np.cumsum(fresh) - 1
    count = np.bincount(visit, minlength=len(first))

    def mean(values: Floats) -> Floats:
        return np.bincount(visit, values[order], minlength=len(first)) / count

    share = leaves.severity_pct[order] / 100
    middle = mean(leaves.severity_pct) / 100
    squares = np.bincount(visit, (share - middle[visit]) ** 2, minlength=len(first))
    visits = Visits(
        plant=plant[first],
        day=day[first],
        leaves=count,
        photos=np.bincount(visit[new_photo], minlength=len(first)),
        mean=middle,
        low=mean(leaves.low_pct) / 100,
        high=mean(leaves.high_pct) / 100,
        variance=squares / np.maximum(count - 1, 1),
        lesions=mean(leaves.lesions),
    )

    def resampled(place: int) -> Ends | None:
        own = share[first[place] : first[place] + count[place]]
        return _bootstrap(own) if len(own) >= ENOUGH_TO_RESAMPLE else None

    return visits, resampled


def logit_errors(visits: Visits, spread: LeafSpread) -> tuple[Floats, Floats]:
    """Return the standard error of each visit's logit mean, and its degrees of freedom.

    A leaf's severity is never taken to be known better than ``CLIP``.
    """
    share = scarcer(visits.mean)
    own, own_freedom = visits.variance / share**2, visits.leaves - 1
    garden, known = spread.at(visits.mean)
    # A visit's own leaves are part of the garden's; they must not count twice.
    garden_freedom = np.clip(known - own_freedom, 0, GARDEN_FREEDOM)
    freedom = garden_freedom + own_freedom
    joined = (garden_freedom * garden + own_freedom * own) / np.maximum(freedom, 1e-9)
    joined = np.maximum(joined, (CLIP / share) ** 2)
    error = np.sqrt(joined / visits.leaves) / (1 - share)
    return np.where(freedom < 1, np.nan, error), freedom


@dataclass(frozen=True, eq=False)
class VisitIntervals:
    """Every visit's intervals, percent; one position a visit, NaN where there is none.

    Attributes
    ----------
    low, high : ndarray of float
        Of the mean over leaves.
    measuring_low, measuring_high : ndarray of float
        Of measuring.
    whole_low, whole_high : ndarray of float
        Of both together.
    resampled : ndarray of bool
        Whether the interval over leaves is a bootstrap.
    """

    low: Floats
    high: Floats
    measuring_low: Floats
    measuring_high: Floats
    whole_low: Floats
    whole_high: Floats
    resampled: NDArray[np.bool_]


def visit_intervals(
    visits: Visits, resampled: Resampled, errors: Floats, freedom: Floats
) -> VisitIntervals:
    """Return every visit's intervals.

    The interval over leaves is made on the logit scale, where it cannot leave 0 to 100 %. It
    takes the leaves for a random choice among those that the grower's rule allows (such as the
    third, sixth and ninth from below). Where nothing was found on any leaf it begins at 0.

    Parameters
    ----------
    visits : Visits
        Of the garden.
    resampled : callable
        From ``group_visits`` or ``visits_of``.
    errors, freedom : ndarray of float64, shape (visits,)
        From ``logit_errors``.
    """
    middle = logit(visits.mean)
    margin = _t_quantiles(freedom) * errors
    low, high = middle - margin, middle + margin
    drawn = np.isfinite(errors) & (visits.leaves >= ENOUGH_TO_RESAMPLE)
    for place in np.flatnonzero(drawn):
        if ends := resampled(int(place)):
            low[place], high[place] = ends
    measured = np.isfinite(visits.low) & np.isfinite(visits.high)
    least, most = (np.where(measured, end, visits.mean) for end in (visits.low, visits.high))
    down = np.hypot(middle - low, middle - logit(least))
    up = np.hypot(high - middle, logit(most) - middle)
    over_leaves = _as_shares(visits.mean, low, high)
    whole = _as_shares(visits.mean, middle - down, middle + up)
    return VisitIntervals(
        low=over_leaves[0],
        high=over_leaves[1],
        measuring_low=np.where(measured, 100 * visits.low, np.nan),
        measuring_high=np.where(measured, 100 * visits.high, np.nan),
        whole_low=whole[0],
        whole_high=whole[1],
        resampled=drawn,
    )


def _t_quantiles(freedom: Floats) -> Floats:
    """Return the quantile of Student's t of each visit; NaN with less than one degree."""
    kinds, place = np.unique(freedom, return_inverse=True)
    return np.array([t_quantile(one, 0.975) if one >= 1 else np.nan for one in kinds])[place]


def _as_shares(mean: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return logit intervals in percent; from 0 (to 100) where the mean itself was clipped."""
    first = np.where(mean <= CLIP, 0.0, np.minimum(100 * from_logit(low), 100 * mean))
    last = np.where(mean >= 1 - CLIP, 100.0, np.maximum(100 * from_logit(high), 100 * mean))
    known = np.isfinite(low)
    return np.where(known, first, np.nan), np.where(known, last, np.nan)


def _bootstrap(share: Floats) -> tuple[float, float]:
    """Return the studentised bootstrap interval of the logit of the leaves' mean.

    Where nearly all leaves are alike, some samples hardly vary and their studentised means run
    off; no end is let farther from the mean than twice that of Student's t.
    """
    drawn = share[_draws(len(share))]
    middle, error = _middle_and_error(share[None])
    middles, errors = _middle_and_error(drawn)
    farthest = 2 * t_quantile(len(share) - 1, 0.975)
    ends = np.quantile((middles - middle) / errors, (0.025, 0.975))
    low, high = np.clip(ends, -farthest, farthest)
    return float(middle[0] - high * error[0]), float(middle[0] - low * error[0])


def _middle_and_error(shares: Floats) -> tuple[Floats, Floats]:
    mean = clip_share(shares.mean(axis=1))
    variance = np.maximum(shares.var(axis=1, ddof=1), CLIP**2)
    return logit(mean), np.sqrt(variance / shares.shape[1]) / (mean * (1 - mean))


@lru_cache(maxsize=32)
def _draws(count: int) -> NDArray[np.int64]:
    return np.random.default_rng(_SEED).integers(0, count, (_RESAMPLES, count))


def points_at(
    name: str, visits: Visits, found: VisitIntervals, errors: Floats, places: slice
) -> tuple[SeverityPoint, ...]:
    """Return some of the visits, all of one plant, with their intervals.

    Parameters
    ----------
    name : str
        The plant's.
    visits : Visits
        Of the garden.
    found : VisitIntervals
        Theirs.
    errors : ndarray of float64, shape (visits,)
        From ``logit_errors``.
    places : slice
        Which visits.
    """
    numbers = (visits.mean * 100, visits.lesions, errors)
    ends = (found.low, found.high, found.measuring_low, found.measuring_high)
    both = (found.whole_low, found.whole_high)
    counts = (visits.day, visits.leaves, visits.photos, found.resampled)
    columns = (column[places].tolist() for column in (*counts, *numbers, *ends, *both))
    return tuple(_point(name, *row) for row in zip(*columns, strict=True))


def _point(
    name: str, day: int, leaves: int, photos: int, resampled: bool, *values: float
) -> SeverityPoint:
    severity, *others = values
    lesions, error, low, high, m_low, m_high, w_low, w_high = (
        None if value != value else value for value in others
    )
    method = "" if low is None else ("bootstrap" if resampled else "t")
    return SeverityPoint(
        plant=name,
        day=date.fromordinal(day),
        severity_pct=severity,
        low_pct=low,
        high_pct=high,
        measuring_low_pct=m_low,
        measuring_high_pct=m_high,
        whole_low_pct=w_low,
        whole_high_pct=w_high,
        leaf_count=leaves,
        photo_count=photos,
        lesions_per_leaf=lesions,
        method=method,
        logit_error=error if low is not None else None,
    )
