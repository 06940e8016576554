"""The tables of ``spotlamp trend``: every column with its meaning; and all of it as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from scripts.common.tables import Cell, Column, Table

if TYPE_CHECKING:  # keeps `spotlamp columns` free of NumPy
    from collections.abc import Callable

    from models.progress import ProgressCurve, SeverityPoint
    from scripts.trend.read import Trend

__all__ = ["TREND_TABLES", "trend_files"]

RATE, DAYS = 5, 1  # decimals


def _visits(curve: Any) -> Iterable[SeverityPoint]:  # noqa: ANN401  a curve stands where a photo's result does
    return curve.points  # type: ignore[no-any-return]


def _itself(curve: Any) -> Iterable[ProgressCurve]:  # noqa: ANN401
    return (curve,)


_MEAN = "Mean severity of the plant's leaves at the visit, in percent."

_VISITS: Table[SeverityPoint] = Table(
    "visits",
    "one plant on one day (written by “spotlamp trend”)",
    _visits,
    (
        Column("plant", "Name of the plant.", lambda point: point.plant),
        Column("day", "Day of the visit, ISO 8601.", lambda point: point.day.isoformat()),
        Column("severity_pct", _MEAN, lambda point: point.severity_pct),
        Column(
            "low_pct",
            "Lower end of its 95 % interval over leaves, in percent.",
            lambda point: point.low_pct,
        ),
        Column(
            "high_pct",
            "Upper end of its 95 % interval over leaves, in percent.",
            lambda point: point.high_pct,
        ),
        Column(
            "whole_low_pct",
            "Lower end with the error of measuring as well, in percent.",
            lambda point: point.whole_low_pct,
        ),
        Column(
            "whole_high_pct",
            "Upper end with the error of measuring as well, in percent.",
            lambda point: point.whole_high_pct,
        ),
        Column("leaf_count", "Leaves measured.", lambda point: point.leaf_count),
        Column("photo_count", "Photos measured.", lambda point: point.photo_count),
        Column(
            "lesions_per_leaf",
            "Mean number of lesions on a leaf.",
            lambda point: point.lesions_per_leaf,
        ),
        Column(
            "method",
            "How the interval over leaves was made: bootstrap, t, or empty for none.",
            lambda point: point.method,
        ),
    ),
)


def _of_line(name: str) -> Callable[[ProgressCurve], Cell]:
    return lambda curve: getattr(curve.course.line, name) if curve.course.line else None


def _of_doubling(name: str) -> Callable[[ProgressCurve], Cell]:
    return lambda curve: getattr(curve.doubling, name) if curve.doubling else None


def _of_threshold(name: str) -> Callable[[ProgressCurve], Cell]:
    return lambda curve: getattr(curve.to_threshold, name) if curve.to_threshold else None


def _of_area(name: str) -> Callable[[ProgressCurve], Cell]:
    return lambda curve: getattr(curve.area, name) if curve.area else None


def _of_model(model: str, name: str) -> Callable[[ProgressCurve], Cell]:
    return lambda curve: next(
        (getattr(fit, name) for fit in curve.rates if fit.model == model), None
    )


_MODELS = {
    "logistic": "logistic",
    "monomolecular": "monomolecular",
    "gompertz": "Gompertz",
    "exponential": "exponential",
}

_PLANTS: Table[ProgressCurve] = Table(
    "plants",
    "one plant over the season (written by “spotlamp trend”)",
    _itself,
    (
        Column("plant", "Name of the plant.", lambda curve: curve.plant),
        Column(
            "direction",
            "rising, level, falling or cannot tell, by the last visits.",
            lambda curve: curve.course.direction,
        ),
        Column("reason", "Why it cannot be told.", lambda curve: curve.course.reason),
        Column(
            "judged_from",
            "First of the visits by which the direction is judged, ISO 8601.",
            lambda curve: curve.course.first_day.isoformat(),
        ),
        Column(
            "judged_to",
            "Last of these visits, ISO 8601.",
            lambda curve: curve.course.last_day.isoformat(),
        ),
        Column("judged_visits", "Number of these visits.", lambda curve: curve.course.visits),
        Column("judged_leaves", "Leaves at these visits.", lambda curve: curve.course.leaves),
        Column(
            "rate_per_day",
            "Slope of the logit of severity over these visits, per day.",
            _of_line("rate_per_day"),
            RATE,
        ),
        Column(
            "rate_low_per_day",
            "Lower end of its 95 % interval, per day.",
            _of_line("low_per_day"),
            RATE,
        ),
        Column(
            "rate_high_per_day",
            "Upper end of its 95 % interval, per day.",
            _of_line("high_per_day"),
            RATE,
        ),
        Column(
            "doubling_days",
            "Time in which severity doubles while little is sick, in days; empty: no growth.",
            _of_doubling("days"),
            DAYS,
        ),
        Column(
            "threshold_pct",
            "Severity whose date is foretold, in percent.",
            _of_threshold("threshold_pct"),
        ),
        Column(
            "threshold_days",
            "From the last visit until it is reached, in days; 0 for already, empty for never.",
            _of_threshold("days"),
            DAYS,
        ),
        Column(
            "threshold_earliest_days",
            "Lower end of their 95 % interval, in days; empty for never.",
            _of_threshold("earliest_days"),
            DAYS,
        ),
        Column(
            "threshold_latest_days",
            "Upper end of their 95 % interval, in days; empty for never.",
            _of_threshold("latest_days"),
            DAYS,
        ),
        Column(
            "severity_pct",
            "Mean severity of the leaves at the last visit, in percent.",
            lambda curve: curve.points[-1].severity_pct,
        ),
        Column(
            "change_points",
            "Change since the visit before, in percentage points.",
            lambda curve: curve.since_last.points if curve.since_last else None,
        ),
        Column(
            "change_low_points",
            "Lower end of its 95 % interval over leaves, in percentage points.",
            lambda curve: curve.since_last.low_points if curve.since_last else None,
        ),
        Column(
            "change_high_points",
            "Upper end of its 95 % interval over leaves, in percentage points.",
            lambda curve: curve.since_last.high_points if curve.since_last else None,
        ),
        Column(
            "audpc_pct_days",
            "Area under the course by trapezoids, in percent-days.",
            _of_area("audpc"),
        ),
        Column(
            "audps_pct_days", "Area under the course by stairs, in percent-days.", _of_area("audps")
        ),
        Column(
            "standardised_audpc_pct",
            "Area by trapezoids ÷ days: a mean severity, in percent.",
            _of_area("standardised_audpc"),
        ),
        Column(
            "relative_audpc",
            "Area by trapezoids ÷ that of a plant wholly sick all the time, 0 to 1.",
            _of_area("relative_audpc"),
            RATE,
        ),
        *(
            column
            for model, name in _MODELS.items()
            for column in (
                Column(
                    f"{model}_rate_per_day",
                    f"Apparent infection rate of the season by the {name} model, per day.",
                    _of_model(model, "rate_per_day"),
                    RATE,
                ),
                Column(
                    f"{model}_error_per_day",
                    "Its standard error, per day; empty with fewer than three visits.",
                    _of_model(model, "standard_error_per_day"),
                    RATE,
                ),
            )
        ),
    ),
)

TREND_TABLES: dict[str, Table[Any]] = {table.name: table for table in (_VISITS, _PLANTS)}
"""The tables by the names of their files without ``.csv``."""


def trend_files(trend: Trend) -> dict[str, bytes]:
    """Return ``visits.csv``, ``plants.csv`` and ``trend.json`` by name."""
    files = {f"{name}.csv": _csv(table, trend) for name, table in TREND_TABLES.items()}
    return {**files, "trend.json": _json(trend)}


def _csv(table: Table[Any], trend: Trend) -> bytes:
    from scripts.common.tables import table_bytes

    curves: Any = trend.curves
    return table_bytes(table, curves)


def _json(trend: Trend) -> bytes:
    whole = {
        "garden": trend.garden.name,
        "threshold_pct": trend.threshold_pct,
        "plants": [asdict(curve) for curve in trend.curves],
        "log": [asdict(entry) for entry in trend.log],
        "effect": asdict(trend.effect) if trend.effect else None,
    }
    text = json.dumps(whole, default=_plain, ensure_ascii=False, indent=1, allow_nan=False)
    return text.encode("utf-8", errors="backslashreplace")


def _plain(value: object) -> str:
    if isinstance(value, date | datetime):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in JSON")
