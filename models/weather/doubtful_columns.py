"""Columns of a station's file that cannot be what they are said to be.

A unit that was mistaken, a running total, a share for a percentage: each gives numbers that pass
one by one and are wrong together. Such a column is asked about, and passed over meanwhile.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from statistics import median
from typing import NamedTuple

__all__ = ["Reading", "doubt_of_column", "lines_named"]

_ENOUGH = 12  # readings, before a column is judged as a whole
_COLDEST_SEASON_C = 7.2  # 45 °F: °C data read as °F are never warmer, since 45 °C is not exceeded
_HOTTEST_MEDIAN_C = 40.0  # no garden is so hot by day and night; 104 °F
_MOST_RAIN_MM = 400.0  # a day: tropical storms apart, no gauge has caught so much [memory]
_RISES = 5  # times that a running total is seen to grow
_STANDS = 0.3  # of its steps it stands, between showers
_EASES = 0.03  # of its steps at most it eases; rain does at each shower's end
_LONGER = 0.05  # of the rows longer wet than time has passed: more than a clock put right
_SIGN_OF_NOTHING = 200.0  # stations write -9999 and the like for what was not measured
_MINUTES = {"min": 1.0, "h": 60.0}
_MOST_LINES = 5


class Reading(NamedTuple):
    """One cell with a number.

    Attributes
    ----------
    line : int
        Of the file.
    at : datetime
        UTC.
    value : float
        In °C, percent, mm, or the unit of wetness, before any of it is refused.
    """

    line: int
    at: datetime
    value: float


@dataclass(frozen=True)
class _Doubt:
    """What is wrong with a column: its readings concerned, what they are, and what to ask."""

    readings: Sequence[Reading]
    found: str
    question: str


Check = Callable[[Sequence[Reading], str], _Doubt | None]


def doubt_of_column(what: str, unit: str, column: str, readings: Sequence[Reading]) -> str:
    """Return what cannot be about a column, as one sentence with a question; empty where it can.

    Parameters
    ----------
    what : {"temperature", "humidity", "wetness", "rain"}
        What the column is said to hold.
    unit : str
        The unit it is said to have.
    column : str
        Its name.
    readings : sequence of Reading
        In the order of the file.
    """
    if len(readings) < _ENOUGH:
        return ""
    for check in _CHECKS[what]:
        doubt = check(readings, unit)
        if doubt is not None:
            lines = lines_named([reading.line for reading in doubt.readings])
            return (
                f"Column “{column}” ({lines}) is hardly {what} in {unit}: {doubt.found}. "
                f"{doubt.question} Until its unit is right it is passed over."
            )
    return ""


def lines_named(lines: Sequence[int]) -> str:
    """Return lines of a file in words: one, a run, or the first few.

    >>> lines_named([2]), lines_named([2, 3, 4]), lines_named([2, 4, 6, 8, 10, 12])
    ('line 2', 'lines 2 to 4', 'lines 2, 4, 6, 8, 10 and 1 more')
    """
    if len(lines) == 1:
        return f"line {lines[0]}"
    if len(lines) > 2 and all(later - earlier == 1 for earlier, later in pairwise(lines)):
        return f"lines {lines[0]} to {lines[-1]}"
    shown = ", ".join(str(line) for line in lines[:_MOST_LINES])
    more = len(lines) - _MOST_LINES
    return f"lines {shown} and {more} more" if more > 0 else f"lines {shown}"


def _other_degrees(readings: Sequence[Reading], unit: str) -> _Doubt | None:
    values = [reading.value for reading in readings if abs(reading.value) < _SIGN_OF_NOTHING]
    if not values:
        return None
    low, high = min(values), max(values)
    found = f"it would be {low:.0f} to {high:.0f} °C"
    if unit == "F" and high <= _COLDEST_SEASON_C:
        low, high = (value * 9 / 5 + 32 for value in (low, high))
        return _Doubt(readings, found, f"Is it in C ({low:.0f} to {high:.0f} °C)?")
    if unit == "C" and median(values) >= _HOTTEST_MEDIAN_C:
        low, high = ((value - 32) * 5 / 9 for value in (low, high))
        question = f"Is it in F ({low:.0f} to {high:.0f} °C), or another column?"
        return _Doubt(readings, found, question)
    return None


def _share_for_percent(readings: Sequence[Reading], unit: str) -> _Doubt | None:
    values = [reading.value for reading in readings]
    if unit != "%" or not 0 < max(values) <= 1:
        return None
    found = f"it never exceeds {max(values):g} %"
    return _Doubt(readings, found, "Is it a share from 0 to 1, or yes and no?")


def _no_humidity(readings: Sequence[Reading], unit: str) -> _Doubt | None:
    if any(reading.value > 0 for reading in readings):
        return None
    return _Doubt(readings, f"it is 0 {unit} throughout", "Is the sensor at work?")


def _running_total(readings: Sequence[Reading], unit: str) -> _Doubt | None:
    """Rain that stands and rises, and falls only back to nothing, as when a day begins anew."""
    del unit  # a total is one in any
    wet = [pair for pair in pairwise(readings) if pair[0].value > 0]
    rises = sum(later.value > earlier.value for earlier, later in wet)
    standing = sum(later.value == earlier.value for earlier, later in wet)
    eased = sum(0 < later.value < earlier.value for earlier, later in wet)
    if rises < _RISES or standing < _STANDS * len(wet) or eased > _EASES * len(wet):
        return None
    found = "it stands, rises, and never eases, as a running total does"
    question = "Is there a column with the rain since the row before?"
    return _Doubt([earlier for earlier, _ in wet], found, question)


def _too_much_rain(readings: Sequence[Reading], unit: str) -> _Doubt | None:
    possible = [reading for reading in readings if 0 <= reading.value <= _MOST_RAIN_MM]
    for _, members in groupby(possible, lambda reading: reading.at.date()):
        of_day = list(members)
        total = sum(reading.value for reading in of_day)
        if total > _MOST_RAIN_MM:
            other = "in mm" if unit == "in" else "a running total"
            found = f"{total:.0f} mm would have fallen within a day"
            return _Doubt(of_day, found, f"Is it {other}?")
    return None


def _longer_than_it_took(readings: Sequence[Reading], unit: str) -> _Doubt | None:
    """Wet for longer than the time since the row before."""
    minutes = _MINUTES.get(unit)
    if minutes is None:
        return None
    longer = [
        later
        for earlier, later in pairwise(readings)
        if timedelta(minutes=later.value * minutes - 1) > later.at - earlier.at > timedelta(0)
    ]
    if len(longer) <= _LONGER * len(readings):
        return None
    found = f"up to {max(reading.value for reading in longer):g} {unit} since the row before"
    others = "in min" if unit == "h" else "in %"
    return _Doubt(longer, found, f"Is it {others}, or a running total?")


_CHECKS: Mapping[str, tuple[Check, ...]] = {
    "temperature": (_other_degrees,),
    "humidity": (_share_for_percent, _no_humidity),
    "wetness": (_share_for_percent, _longer_than_it_took),
    "rain": (_running_total, _too_much_rain),
}
