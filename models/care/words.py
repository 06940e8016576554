"""Dates, numbers and names as people read them."""

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from models.care.visits import Visit
from models.numerals import plain_number

__all__ = [
    "DIRECTION_SIGNS",
    "INTERVAL_WORDS",
    "MM_PER_INCH",
    "day_words",
    "heat_words",
    "joined",
    "pattern_words",
    "rain_words",
    "short_day_words",
    "time_words",
    "visit_words",
]

MM_PER_INCH = 25.4  # exact by definition

_MANY = 10  # names that are still read one by one
_NUMBER = re.compile(r"[1-9][0-9]{0,8}$")
DIRECTION_SIGNS = {"rising": "▲", "level": "=", "falling": "▼", "cannot tell": "?"}
"""The second cue beside the word for where a plant is going."""

INTERVAL_WORDS = (
    "In brackets: the 95 % interval of the plant's mean, from how much its leaves differ."
)
"""What the interval beside a plant's severity is, in every view; of one photo it is another."""

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_words(day: date) -> str:
    """Return a day such as ``Mon 1 Jun``; the year stands in the plan's head.

    >>> day_words(date(2026, 6, 1))
    'Mon 1 Jun'
    """
    return f"{_DAYS[day.weekday()]} {short_day_words(day)}"


def short_day_words(day: date) -> str:
    """Return a day without its weekday, such as ``1 Jun``.

    >>> short_day_words(date(2026, 6, 1))
    '1 Jun'
    """
    return f"{day.day} {_MONTHS[day.month - 1]}"


def time_words(at: datetime) -> str:
    """Return a time such as ``Mon 1 Jun 07:30``."""
    return f"{day_words(at.date())} {at:%H:%M}"


def rain_words(rain_mm: float, units: str) -> str:
    """Return an amount of rain in the garden's units, metric or US.

    >>> rain_words(12.7, "metric"), rain_words(12.7, "US")
    ('12.7 mm', '0.5 in')
    """
    if units == "US":
        return f"{plain_number(rain_mm / MM_PER_INCH, 2)} in"
    return f"{plain_number(rain_mm)} mm"


def heat_words(temperature_c: float, units: str) -> str:
    """Return a temperature in the garden's units, metric or US.

    >>> heat_words(32, "metric"), heat_words(32, "US")
    ('32 °C', '90 °F')
    """
    return f"{temperature_c * 1.8 + 32:.0f} °F" if units == "US" else f"{temperature_c:.0f} °C"


def joined(names: Iterable[str], last: str = "and") -> str:
    """Return names as a list for people; of many, those that follow by number are drawn together.

    >>> joined(["A1", "A2", "B1"])
    'A1, A2 and B1'
    >>> joined([*(f"A{n}" for n in range(1, 12)), "B1"])
    'A1 to A11 and B1'
    """
    listed = list(names) or [""]
    *first, end = _runs(listed) if len(listed) > _MANY else listed
    return f"{', '.join(first)} {last} {end}" if first else end


def _runs(names: Sequence[str]) -> list[str]:
    """Return the names with each run of three or more, as A1, A2, A3, in one."""
    runs: list[list[str]] = []
    for name in names:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    shown = [[f"{run[0]} to {run[-1]}"] if len(run) > 2 else run for run in runs]
    return [name for part in shown for name in part]


def _follows(before: str, after: str) -> bool:
    """Whether a name has the number after that of the other, and is the same otherwise."""
    number = _NUMBER.search(before)
    if number is None:
        return False
    return after == f"{before[: number.start()]}{int(number[0]) + 1}"


def pattern_words(visit: Visit) -> str:
    """Return a visit's pattern as words: what it looks like, never what it is."""
    if visit.late:
        return "late-blight-like"
    if visit.pattern == "blight" and visit.blight_kind == "early":
        return "early-blight-like"
    if visit.pattern == "blight":
        return "blight-like, early or late not told apart"
    return {"spot": "spot-like", "none": "no pattern"}.get(visit.pattern, "pattern unsure")


def visit_words(visit: Visit) -> str:
    """Return a visit's measurement in one line."""
    leaves = "1 leaf" if visit.leaf_count == 1 else f"{visit.leaf_count} leaves"
    return (
        f"{day_words(visit.day)}: {visit.severity_pct:.1f} % sick "
        f"({visit.low_pct:.1f} to {visit.high_pct:.1f} %), {pattern_words(visit)}, {leaves}"
    )
