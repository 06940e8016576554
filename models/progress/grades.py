"""Severity as coarse grades, for those who compare with scores of that kind.

Grades cost accuracy: keep the percentages, and use these only to read older records.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["HORSFALL_BARRATT_MIDPOINTS_PCT", "disease_severity_index", "horsfall_barratt_grade"]

_UPPER_ENDS_PCT = (0.0, 3.0, 6.0, 12.0, 25.0, 50.0, 75.0, 87.0, 94.0, 97.0)
"""Upper ends of the grades 1 to 10 of Horsfall & Barratt 1945, Phytopathology 35:655."""

HORSFALL_BARRATT_MIDPOINTS_PCT = (
    *(0.0, 1.5, 4.5, 9.0, 18.5, 37.5, 62.5, 81.0, 90.5, 95.5, 98.5, 100.0),
)
"""Arithmetic middle of each grade, from 1 to 12, percent."""


def horsfall_barratt_grade(severity_pct: ArrayLike) -> NDArray[np.int64]:
    """Return the grade of Horsfall & Barratt, 1 to 12.

    The paper does not say where a boundary belongs; here it belongs to the lower grade, and only
    100 % is grade 12.

    Parameters
    ----------
    severity_pct : array_like of float
        Percent, 0 to 100.

    Raises
    ------
    ValueError
        When a value is no percentage.

    Examples
    --------
    >>> horsfall_barratt_grade([0, 3, 3.1, 100]).tolist()
    [1, 2, 3, 12]
    """
    severity = np.asarray(severity_pct, np.float64)
    if not ((severity >= 0) & (severity <= 100)).all():
        raise ValueError("A severity lies from 0 to 100 percent.")
    grade = np.searchsorted(_UPPER_ENDS_PCT, severity, side="left") + 1
    return np.where(severity == 100, 12, grade).astype(np.int64)


def disease_severity_index(counts: Mapping[int, int], highest: int) -> float:
    """Return the disease severity index of scored plants, percent.

    100 · Σ(count · score) ÷ (plants · highest score), as in Chiang, Liu & Bock 2017, Annals of
    Applied Biology, doi:10.1111/aab.12362, who also show that it is biased where scores stand for
    classes of unequal width.

    Parameters
    ----------
    counts : mapping of int to int
        Number of plants by score.
    highest : int
        Highest score of the scale, whether or not it occurs.

    Raises
    ------
    ValueError
        When no plant was scored or a score lies outside the scale.
    """
    plants = sum(counts.values())
    if plants <= 0 or highest <= 0:
        raise ValueError("No plant was scored.")
    if not all(0 <= score <= highest for score in counts):
        raise ValueError(f"A score lies outside the scale of 0 to {highest}.")
    return 100 * sum(score * count for score, count in counts.items()) / (plants * highest)
