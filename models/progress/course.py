"""Is a plant getting worse? Decided by the interval of its rate, never by two points.

The visits of the last weeks are fitted by a line on the logit scale, each weighed by how well its
leaves fix it. Visits scatter about such a line more than their leaves explain: light, weather and
the chosen branch differ from day to day. How much more is learned from the whole garden, and the
line's error grows with it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.progress.points import SeverityPoint
from models.progress.rates import CLIP, from_logit, logit
from models.progress.spread import Visits
from models.progress.student import t_quantile

__all__ = [
    "HARDLY_SICK_PCT",
    "LEAST_VISITS",
    "LEVEL_RATE_PER_DAY",
    "RECENT_DAYS",
    "Course",
    "Direction",
    "Line",
    "VisitScatter",
    "judge_course",
    "recent_line_pct",
    "recent_points",
    "visit_scatter",
]

Direction = Literal["rising", "level", "falling", "cannot tell"]

LEVEL_RATE_PER_DAY = 0.025
"""Rates within ± this are level: half the slowest field rate of leaf spot on tomato, 0.05 a day
(Ferrandino & Elmer 1992, Plant Disease 76:208-211)."""

HARDLY_SICK_PCT = 1.0
"""Plants that surely stay below it are level, however unsure their growth: it is within the error
of reading one photo."""

RECENT_DAYS = 21
LEAST_VISITS = 3
_RECENT_VISITS = 4  # the window reaches back at least so far, where there are as many
_SCATTER_FREEDOM = 8.0  # of the garden's scatter, at most

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class VisitScatter:
    """How much more visits scatter about a straight course than their leaves explain.

    Attributes
    ----------
    squares : dict of str to float
        Weighed squared misfit of each plant's runs of three visits; 1 each were leaves all.
    runs : dict of str to int
        Number of such runs.
    weighed : bool
        Whether each visit's error was known. Without, as where single leaves are photographed
        only, all visits count the same, and the misfit is in squared logits.
    """

    squares: Mapping[str, float]
    runs: Mapping[str, int]
    weighed: bool = True

    def without(self, plant: str) -> tuple[float, float]:
        """Return the mean squared misfit of all other plants, and its degrees of freedom."""
        runs = sum(self.runs.values()) - self.runs.get(plant, 0)
        squares = sum(self.squares.values()) - self.squares.get(plant, 0.0)
        return (squares / runs if runs else 1.0), min(float(runs), _SCATTER_FREEDOM)


@dataclass(frozen=True)
class Line:
    """The straight line through a plant's last visits, on the logit scale.

    Attributes
    ----------
    rate_per_day : float
        Slope of the logit, per day: while little is sick, about the growth of severity by day.
    standard_error_per_day, low_per_day, high_per_day : float
        Its standard error and 95 % interval.
    freedom : float
        Degrees of freedom of the error.
    height, height_error : float
        The line's logit on the last day, with its standard error.
    covariance : float
        Of height and slope.
    """

    rate_per_day: float
    standard_error_per_day: float
    low_per_day: float
    high_per_day: float
    freedom: float
    height: float
    height_error: float
    covariance: float


@dataclass(frozen=True)
class Course:
    """Where a plant is going, by its last visits.

    Attributes
    ----------
    direction : {"rising", "level", "falling", "cannot tell"}
        Level: the whole interval of the rate lies within ± ``LEVEL_RATE_PER_DAY``, or the plant
        surely stays below ``HARDLY_SICK_PCT``. Rising, falling: it lies above, below 0. Otherwise
        it cannot be told.
    reason : str
        Why it cannot be told; otherwise empty.
    first_day, last_day : date
        Of the visits it rests on.
    visits, leaves : int
        What it rests on.
    line : Line or None
        None with fewer than three visits.
    """

    direction: Direction
    reason: str
    first_day: date
    last_day: date
    visits: int
    leaves: int
    line: Line | None


def recent_points(
    points: Sequence[SeverityPoint], days: int = RECENT_DAYS
) -> tuple[SeverityPoint, ...]:
    """Return the visits of the last days, counted back from the last visit, but at least four."""
    if not points:
        return ()
    since = points[-1].day - timedelta(days=days)
    count = sum(point.day >= since for point in points)
    return tuple(points[-max(count, _RECENT_VISITS) :])


def recent_line_pct(course: Course, days: ArrayLike) -> Floats:
    """Return the line by which a course was judged, as severities to be drawn, percent.

    Parameters
    ----------
    course : Course
        With a line.
    days : array_like of float, shape (days,)
        Days from the course's last one; earlier ones are below 0.

    Returns
    -------
    ndarray of float64, shape (days,)
        0 to 100; all 0 for a plant so clean that only the clipping of its visits lifts the line.

    Raises
    ------
    ValueError
        When the course has no line.
    """
    if course.line is None:
        raise ValueError("the course has too few visits for a line")
    back = np.asarray(days, np.float64)
    height: Floats = 100 * from_logit(course.line.height + course.line.rate_per_day * back)
    return np.zeros(len(back)) if height.max() < 120 * CLIP else height


def visit_scatter(plants: Sequence[str], visits: Visits, error: Floats) -> VisitScatter:
    """Learn from runs of three successive visits how far visits lie off a straight course.

    Runs do not overlap, so that each is a witness of its own. The misfit of three points to a
    line is one number: their second difference ÷ its standard error.

    Parameters
    ----------
    plants : sequence of str
        Names, in the order of ``visits.plant``.
    visits : Visits
        Of the whole garden.
    error : ndarray of float64, shape (visits,)
        Standard error of each visit's logit mean, NaN where unknown.
    """
    weighed = bool(np.isfinite(error).all())
    error = error if weighed else np.ones(len(error))
    plant = visits.plant
    begins = np.searchsorted(plant, plant)  # where the visit's plant begins
    first = np.flatnonzero((np.arange(len(plant)) - begins) % 3 == 0)
    first = first[first + 2 < len(plant)]
    first = first[plant[first] == plant[first + 2]]
    runs = first[:, None] + np.arange(3)
    misfits = _misfits(visits.day[runs].astype(float), logit(visits.mean[runs]), error[runs])
    squares = np.bincount(plant[first], misfits, minlength=len(plants))
    counts = np.bincount(plant[first], minlength=len(plants))
    return VisitScatter(
        dict(zip(plants, squares.tolist(), strict=True)),
        dict(zip(plants, counts.tolist(), strict=True)),
        weighed,
    )


def _misfits(day: Floats, height: Floats, error: Floats) -> Floats:
    """Return (second difference ÷ its error)² of each row of three visits."""
    first, middle, last = day.T
    contrast = np.stack((last - middle, first - last, middle - first), axis=1)
    bend = (contrast * height).sum(axis=1)
    squares: Floats = bend**2 / (contrast**2 * error**2).sum(axis=1)
    return squares


def judge_course(points: Sequence[SeverityPoint], scatter: VisitScatter | None = None) -> Course:
    """Say whether a plant's severity rises, is level or falls, or that it cannot be told.

    Parameters
    ----------
    points : sequence of SeverityPoint
        The plant's visits of the time to be judged, by day; at least one.
    scatter : VisitScatter, optional
        The garden's; without it the plant's own scatter about its line is all that is known.

    Returns
    -------
    Course
        "cannot tell" with fewer than three visits: two points always lie on a line.
    """
    if len(points) < LEAST_VISITS:
        return _course(points, "cannot tell", _too_few(len(points)), None)
    line = _line(points, scatter)
    direction = _direction(line.low_per_day, line.high_per_day)
    if direction == "cannot tell" and _highest_pct(line, points) < HARDLY_SICK_PCT:
        direction = "level"
    reason = "the visits differ too much among themselves" if direction == "cannot tell" else ""
    return _course(points, direction, reason, line)


def _too_few(visits: int) -> str:
    return "only one visit" if visits == 1 else "only two visits; two points are no course"


def _highest_pct(line: Line, points: Sequence[SeverityPoint]) -> float:
    """Return the highest end of the 95 % band about the line, from first to last visit, percent."""
    back = np.array([0.0, (points[0].day - points[-1].day).days])
    variance = (
        line.height_error**2
        + 2 * back * line.covariance
        + (back * line.standard_error_per_day) ** 2
    )
    band = line.height + line.rate_per_day * back + t_quantile(line.freedom, 0.975) * variance**0.5
    return float(100 * from_logit(band).max())


def _course(
    points: Sequence[SeverityPoint], direction: Direction, reason: str, line: Line | None
) -> Course:
    leaves = sum(point.leaf_count for point in points)
    return Course(direction, reason, points[0].day, points[-1].day, len(points), leaves, line)


def _line(points: Sequence[SeverityPoint], scatter: VisitScatter | None) -> Line:
    """Fit the line; its errors carry the scatter of plant and garden, at least that of leaves."""
    garden, freedom = (1.0, 0.0) if scatter is None else scatter.without(points[0].plant)
    errors = [point.logit_error for point in points]
    weighed = None not in errors and (scatter is None or scatter.weighed)
    return _weighted_line(
        np.array([point.day.toordinal() for point in points], np.float64),
        logit([point.severity_pct / 100 for point in points]),
        np.array(errors, np.float64) if weighed else np.ones(len(points)),
        least=1.0 if weighed else 0.0,
        garden=garden,
        garden_freedom=freedom,
    )


def _weighted_line(
    day: Floats,
    height: Floats,
    error: Floats,
    *,
    least: float,
    garden: float,
    garden_freedom: float,
) -> Line:
    since, weight = day - day[-1], 1 / error**2
    total = weight.sum()
    centre = (weight * since).sum() / total
    width = (weight * (since - centre) ** 2).sum()
    slope = (weight * (since - centre) * height).sum() / width
    middle = (weight * height).sum() / total
    misfit = (weight * (height - middle - slope * (since - centre)) ** 2).sum()
    freedom = len(day) - 2 + garden_freedom
    scale = max(least, (misfit + garden_freedom * garden) / freedom)
    slope_error = float(np.sqrt(scale / width))
    margin = t_quantile(freedom, 0.975) * slope_error
    return Line(
        rate_per_day=float(slope),
        standard_error_per_day=slope_error,
        low_per_day=float(slope) - margin,
        high_per_day=float(slope) + margin,
        freedom=freedom,
        height=float(middle - slope * centre),
        height_error=float(np.sqrt(scale * (1 / total + centre**2 / width))),
        covariance=float(-scale * centre / width),
    )


def _direction(low: float, high: float) -> Direction:
    if low >= -LEVEL_RATE_PER_DAY and high <= LEVEL_RATE_PER_DAY:
        return "level"
    if low > 0:
        return "rising"
    return "falling" if high < 0 else "cannot tell"
