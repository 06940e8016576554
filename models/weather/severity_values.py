"""Published tables of wetness and temperature: how favourable a day was for a disease.

They say when to look and to photograph, never what to spray. They were made for fields with
registered products, not for a garden with home remedies.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "EARLY_FIRST",
    "EARLY_NEXT",
    "EARLY_SOURCE",
    "LATE_FIRST",
    "LATE_SOURCE",
    "RiskSum",
    "add_up",
    "early_value",
    "hyre_favourable",
    "late_value",
]

LATE_SOURCE = (
    "late blight: Wallin's severity values as a potato late-blight page of Michigan State "
    "University gives them, humid from 80 % relative humidity on"
)
EARLY_SOURCE = (
    "early blight and leaf spot: after Madden, Pennypacker & MacNab 1978; the table's cells are "
    "from memory, check before relying on it"
)

# Rows: from and up to which whole °F; then from how many humid hours on 1, 2, 3 and 4 are given.
# Source: as LATE_SOURCE [read]. The last row ends at 21 hours there; more is taken for 4 too.
_LATE = (
    (45, 53, (16, 19, 22, math.inf)),
    (54, 59, (13, 16, 19, 22)),
    (60, 80, (10, 13, 16, 19)),
)
# Rows: whole °C; hours of wet leaves. Cells [memory]; range and scale 0 to 4 [read: Rutgers].
_EARLY = (
    (13, 17, (7, 16, 21, math.inf)),
    (18, 20, (4, 9, 16, 23)),
    (21, 25, (3, 6, 13, 21)),
    (26, 29, (4, 9, 16, 23)),
)

LATE_FIRST = 18  # [read: Rutgers; Univ. Wisconsin 2025]
EARLY_FIRST, EARLY_NEXT = 35, 18  # [read: Rutgers 2015-2018; Penn State 2013]


def late_value(mean_c: float, humid_hours: float) -> int:
    """Return the late-blight severity value of a humid spell, 0 to 4.

    Parameters
    ----------
    mean_c : float
        Mean temperature of the spell, °C; rounded to whole °F, in which the table is written.
    humid_hours : float
        Its length, hours; a part of an hour does not count.
    """
    return _value(_LATE, _nearest(mean_c * 9 / 5 + 32), humid_hours)


def early_value(mean_c: float, wet_hours: float) -> int:
    """Return the severity value of early blight and leaf spot, 0 to 4.

    Parameters
    ----------
    mean_c : float
        Mean temperature while leaves were wet, °C; rounded to whole °C.
    wet_hours : float
        Hours of wet leaves; a part of an hour does not count.
    """
    return _value(_EARLY, _nearest(mean_c), wet_hours)


def _nearest(value: float) -> int:
    return math.floor(value + 0.5)


def _value(
    table: Sequence[tuple[int, int, Sequence[float]]], temperature: int, hours: float
) -> int:
    for low, high, limits in table:
        if low <= temperature <= high:
            return sum(math.floor(hours) >= limit for limit in limits)
    return 0


def hyre_favourable(mean_c_5_days: float, rain_mm_10_days: float, coldest_c: float) -> bool:
    """Whether a day was favourable to late blight by Hyre's rule.

    Mean of five days below 25.5 °C and at least 30 mm of rain in ten days; not when the day's
    lowest temperature was below 7.2 °C (Hyre 1954, Plant Dis. Rep. 38:245, second hand).
    """
    return mean_c_5_days < 25.5 and rain_mm_10_days >= 30 and coldest_c >= 7.2


@dataclass(frozen=True)
class RiskSum:
    """Severity values added up to a day.

    Attributes
    ----------
    total : int
        Since the start, or since the last spray.
    alert : bool
        Whether the total has reached the published limit: time to photograph every plant.
    without_value : int
        Days that could not be judged; the total is then at least so high.
    """

    total: int
    alert: bool
    without_value: int


def add_up(
    values: Sequence[int | None],
    restarts: Sequence[bool],
    first: int,
    following: int | None = None,
) -> list[RiskSum]:
    """Add values up day by day.

    Parameters
    ----------
    values : sequence of int or None
        Of consecutive days; None where a day could not be judged.
    restarts : sequence of bool
        Whether a spray on that day starts the sum anew; the day's own value counts after it.
    first : int
        Limit before any spray.
    following : int, optional
        Limit after a spray; as before otherwise.

    Returns
    -------
    list of RiskSum
        One for each day.
    """
    sums, total, missing, limit = [], 0, 0, first
    for value, restart in zip(values, restarts, strict=True):
        if restart:
            total, missing, limit = 0, 0, following or first
        total, missing = total + (value or 0), missing + (value is None)
        sums.append(RiskSum(total, total >= limit, missing))
    return sums
