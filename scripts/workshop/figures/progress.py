"""How often the intervals over time hold the truth, on simulated plants.

    python -m scripts.workshop figures progress [--write]

500 plants in gardens of ten. A plant grows on the logistic curve at its own rate; each visit lies a
little off it (light, weather, the branch that was chosen), and its leaves differ as single leaves
do. All numbers are seeded: the same figures come out every time.
"""

import argparse
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.progress import DaysTo, LeafTable, garden_visits, progress_curve
from models.progress.garden_visits import GardenVisits
from models.progress.rates import from_logit, logit
from scripts.workshop.figures.write import as_table, fill

__all__ = ["LEAF_KINDS", "Coverage", "Simulated", "simulate_garden", "simulated_coverage"]

LEAF_KINDS = ("logit-normal", "beta", "with clean leaves")
"""How one plant's leaves differ: by the logit-normal law with a standard deviation of 0.8; by the
beta law with a precision of 20; the same with every fifth leaf clean."""

_VISIT_SCATTER = 0.15  # standard deviation of a visit off its curve, logit
_LEAF_SCATTER = 0.8
_PRECISION = 20
_CLEAN = 0.2
_THRESHOLD_PCT = 30.0
_LEAVES = (1, 2, 3, 6, 12)
_SHOWN_KINDS = {"logit-normal": "", "with clean leaves": ", one in five clean"}
_NOTE = """

500 plants a row, in gardens of ten but for the last row, with eight weekly visits; "growing" is 8
to 15 % a day. `python -m scripts.workshop figures progress` measures this again."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Simulated:
    """A simulated garden, with the truth.

    Attributes
    ----------
    leaves : LeafTable
        What was measured.
    rate_per_day, height : ndarray of float, shape (plants,)
        Slope of each plant's true logit, and its height on the last visit.
    share : ndarray of float, shape (plants, visits)
        True mean severity of the plant's leaves at each visit, 0 to 1.
    """

    leaves: LeafTable
    rate_per_day: Floats
    height: Floats
    share: Floats


@dataclass(frozen=True)
class Coverage:
    """How many of the intervals held the truth.

    Attributes
    ----------
    visit, recent_rate, season_rate, days_to : float
        Shares of the intervals of a visit's mean, of the rate of the last weeks, of the season's
        logistic rate, and of the days to a threshold, 0 to 1.
    false_alarms : float
        Share of plants without growth that were called rising or falling.
    told : float
        Share of growing plants (0.08 a day and more) that were called rising.
    """

    visit: float
    recent_rate: float
    season_rate: float
    days_to: float
    false_alarms: float
    told: float


def simulate_garden(
    rng: np.random.Generator,
    leaves: int,
    *,
    plants: int = 10,
    visits: int = 8,
    kind: str = LEAF_KINDS[0],
) -> Simulated:
    """Simulate a garden that is visited weekly.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    leaves : int
        Leaves of a plant at each visit.
    plants, visits : int
        Size of the garden and of the season.
    kind : str
        One of ``LEAF_KINDS``.
    """
    # One plant in three does not grow; the others grow as leaf spot does in the field.
    rate = np.where(rng.random(plants) < 1 / 3, 0.0, rng.uniform(0.03, 0.15, plants))
    height = rng.uniform(-2.5, 0.5, plants)
    days = 7 * np.arange(visits)
    line = height[:, None] + rate[:, None] * (days - days[-1])
    share = from_logit(line + rng.normal(0, _VISIT_SCATTER, line.shape))
    drawn = _leaf_shares(rng, share, leaves, kind)
    plant, day, _ = np.indices(drawn.shape)
    severity = 100 * drawn.ravel()
    table = LeafTable(
        tuple(f"P{number}" for number in range(plants)),
        plant.ravel(),
        738_000 + 7 * day.ravel(),
        np.arange(severity.size),
        *(severity, severity, severity),
        np.full(severity.size, np.nan),
    )
    return Simulated(table, rate, height, share)


def _leaf_shares(rng: np.random.Generator, share: Floats, leaves: int, kind: str) -> Floats:
    """Draw leaves whose mean is the share of their plant and day."""
    shape = (*share.shape, leaves)
    if kind == "logit-normal":
        middle = np.interp(share, *_logit_normal_means())
        return from_logit(middle[..., None] + rng.normal(0, _LEAF_SCATTER, shape))
    clean = _CLEAN if kind == "with clean leaves" else 0.0
    sick = np.minimum(share / (1 - clean), 0.99)[..., None]
    drawn = rng.beta(sick * _PRECISION, (1 - sick) * _PRECISION, shape)
    return drawn * (rng.random(shape) >= clean)


def _logit_normal_means() -> tuple[Floats, Floats]:
    """Return means of logit-normal leaves, and the middle logit that gives each of them."""
    node, weight = np.polynomial.hermite_e.hermegauss(41)
    middle = np.linspace(-14, 9, 2301)
    mean = from_logit(middle[:, None] + _LEAF_SCATTER * node) @ (weight / weight.sum())
    return mean, middle


def simulated_coverage(
    leaves: int,
    *,
    plants: int = 500,
    garden: int = 10,
    visits: int = 8,
    kind: str = LEAF_KINDS[0],
    seed: int = 1,
) -> Coverage:
    """Count how often the intervals hold the truth.

    Parameters
    ----------
    leaves : int
        Leaves of a plant at each visit.
    plants, garden, visits : int
        Plants in all, plants of a garden, and visits to each.
    kind : str
        One of ``LEAF_KINDS``.
    seed : int
        Of the simulation.
    """
    rng = np.random.default_rng(seed)
    rows: list[tuple[float, ...]] = []
    for _ in range(plants // garden):
        made = simulate_garden(rng, leaves, plants=garden, visits=visits, kind=kind)
        season = garden_visits(made.leaves)
        rows += [_judged(made, season, number, visits) for number in range(garden)]
    return Coverage(*(_mean(column) for column in np.array(rows).T))


def _mean(column: Floats) -> float:
    known = column[np.isfinite(column)]
    return float(known.mean()) if len(known) else float("nan")


def _judged(made: Simulated, season: GardenVisits, number: int, visits: int) -> tuple[float, ...]:
    """Return 1, 0 or NaN (does not apply) for each field of ``Coverage``."""
    curve = progress_curve(season, f"P{number}", threshold_pct=_THRESHOLD_PCT)
    if curve is None or curve.course.line is None:
        raise ValueError("A simulated plant has at least three visits.")
    rate, point = made.rate_per_day[number], curve.points[-1]
    truth = 100 * made.share[number, visits - 1]
    fit, line, direction = curve.rates[0], curve.course.line, curve.course.direction
    return (
        _holds(point.low_pct, truth, point.high_pct),
        _holds(line.low_per_day, rate, line.high_per_day),
        _holds(fit.low_per_day, rate, fit.high_per_day),
        _days_hold(made, number, curve.to_threshold),
        float(direction in ("rising", "falling")) if rate == 0 else np.nan,
        float(direction == "rising") if rate >= 0.08 else np.nan,
    )


def _holds(low: float | None, truth: float, high: float | None) -> float:
    return np.nan if low is None or high is None else float(low <= truth <= high)


def _days_hold(made: Simulated, number: int, found: DaysTo | None) -> float:
    if found is None:
        return np.nan
    gap = float(logit(_THRESHOLD_PCT / 100)) - made.height[number]
    rate = made.rate_per_day[number]
    truth = 0.0 if gap <= 0 else gap / rate if rate > 0 else np.inf
    truth = truth if truth <= 120 else np.inf
    low = np.inf if found.earliest_days is None else found.earliest_days
    high = np.inf if found.latest_days is None else found.latest_days
    return float(low <= truth <= high)


def _table() -> str:
    rows = [_row(kind, leaves, 10) for kind in _SHOWN_KINDS for leaves in _LEAVES]
    rows.append(_row(LEAF_KINDS[0], 6, 1))
    head = (
        *("leaves a visit", "mean of a visit", "growth, last weeks", "growth, season"),
        *("days to 30 %", "level, yet called rising or falling", "growing, and called rising"),
    )
    return as_table(head, rows) + _NOTE


def _row(kind: str, leaves: int, garden: int) -> tuple[str, ...]:
    found = simulated_coverage(leaves, kind=kind, garden=garden)
    shares = (found.visit, found.recent_rate, found.season_rate, found.days_to)
    told = (found.false_alarms, found.told)
    name = f"{leaves}{_SHOWN_KINDS[kind]}{', the only plant' if garden == 1 else ''}"
    return (name, *(_percent(share) for share in (*shares, *told)))


def _percent(share: float) -> str:
    return "no interval" if np.isnan(share) else f"{100 * share:.1f} %"


def main() -> None:
    """Print the table, and put it into the document if asked to."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--write", action="store_true")
    arguments = parser.parse_args()
    table = _table()
    print(table)
    if arguments.write:
        fill("progress", table)


if __name__ == "__main__":
    main()
