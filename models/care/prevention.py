"""When the preventive spray is due: every 14 days, and again the morning after rain."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from models.care.mornings import (
    HALF_GONE_MM,
    first_morning,
    last_spray,
    rain_on,
    residue_share,
    washes_off,
)
from models.care.season import Season
from models.care.words import day_words, rain_words
from models.entries import LogEntry

__all__ = [
    "HALF_GONE_MM",
    "Due",
    "PlannedSpray",
    "due_after",
    "due_for",
    "planned_sprays",
    "residue_share",
    "wash_off_words",
]


@dataclass(frozen=True)
class Due:
    """From when a plant's preventive spray is due.

    Attributes
    ----------
    day : date
        The day.
    why : str
        The reason, for people.
    by_rain : bool
        Whether rain made it due.
    beside : str
        What was published on such rain; empty where it was not rain.
    """

    day: date
    why: str
    by_rain: bool = False
    beside: str = ""


@dataclass(frozen=True)
class PlannedSpray:
    """A preventive spray on the calendar.

    Attributes
    ----------
    plants : tuple of str
        In the garden's order.
    day : date
        The morning.
    due : Due
        Why then.
    moved : str
        Why it is later than due; empty when it is not.
    not_before : datetime or None
        When a wait ends within the morning.
    ordinal : int
        The number of this spray in the season, from 1.
    is_last : bool
        Whether the calendar's horizon ends before the next one.
    """

    plants: tuple[str, ...]
    day: date
    due: Due
    moved: str
    not_before: datetime | None
    ordinal: int
    is_last: bool = False


def due_for(season: Season, plant: str) -> Due:
    """Return when a plant's preventive spray is due, after its last one in the log."""
    spray = last_spray(season, season.limits.preventive, plant)
    if spray is None:
        return Due(season.today, "No preventive spray is in the log yet.")
    return due_after(season, spray.at.date(), spray)


def due_after(season: Season, sprayed_on: date, spray: LogEntry | None) -> Due:
    """Return when the next one is due after a spray that was made, or only planned (None)."""
    interval = season.limits.interval_days
    regular = sprayed_on + timedelta(days=interval)
    for step in range(interval):
        day = sprayed_on + timedelta(days=step)
        rain = rain_on(season, day)
        if step == 0:  # a planned spray waits until the rain is over
            rain = None if spray is None else rain_on(season, day, after=spray.at)
        if rain is not None and washes_off(season, rain):
            return _due_by_rain(season, rain, day, sprayed_on)
    last = f"the last one is of {day_words(sprayed_on)}"
    planned = f"the one before is planned for {day_words(sprayed_on)}"
    return Due(regular, f"Every {interval} days; {planned if spray is None else last}.")


def _due_by_rain(season: Season, rain_mm: float, day: date, sprayed_on: date) -> Due:
    rain = rain_words(rain_mm, season.garden.units)
    why = (
        f"{rain} of rain on {day_words(day)}, after the spray of {day_words(sprayed_on)}: "
        "spray again the morning after."
    )
    beside = (
        f"Of a registered protectant {100 * residue_share(rain_mm):.0f} % would be left, as "
        "published; plain soda holds less, and how much less was not found."
    )
    return Due(day + timedelta(days=1), why, by_rain=True, beside=beside)


def planned_sprays(
    season: Season, plants: Iterable[str], until: date, after: datetime | None = None
) -> tuple[PlannedSpray, ...]:
    """Return the preventive sprays up to a day, as if each were made on its morning.

    Parameters
    ----------
    season : Season
        As it stands.
    plants : iterable of str
        Those that are to be sprayed.
    until : date
        The calendar's last day. A spray that is due by then but must wait is listed as well.
    after : datetime, optional
        When the wait after a planned peroxide ends.
    """
    names = list(plants)
    dues = {name: due_for(season, name) for name in names}
    made = len(season.sprays(season.limits.preventive))
    planned: list[PlannedSpray] = []
    while names:
        spray = _next(season, names, dues, after, made + len(planned) + 1)
        if planned and spray.day > until:
            break
        if spray.day > until and spray.due.day > until:
            break
        planned.append(spray)
        dues |= {name: due_after(season, spray.day, None) for name in spray.plants}
    return tuple(_mark_last(planned))


def _next(
    season: Season,
    names: list[str],
    dues: dict[str, Due],
    after: datetime | None,
    ordinal: int,
) -> PlannedSpray:
    """Return the next spray: all plants whose turn has come by its morning are sprayed together."""
    first = min(due.day for due in dues.values())
    day, not_before, moved = first_morning(season, season.limits.preventive, first, after)
    together = tuple(name for name in names if dues[name].day <= day)
    reasons = " ".join(dict.fromkeys(dues[name].why for name in together))
    by_rain = any(dues[name].by_rain for name in together)
    beside = " ".join(dict.fromkeys(dues[name].beside for name in together if dues[name].beside))
    due = Due(first, reasons, by_rain, beside)
    return PlannedSpray(together, day, due, moved, not_before, ordinal)


def _mark_last(planned: list[PlannedSpray]) -> Iterable[PlannedSpray]:
    return [*planned[:-1], *(replace(spray, is_last=True) for spray in planned[-1:])]


def wash_off_words(rain_mm: float) -> str:
    """Return what published figures say about so much rain on a spray, as a sentence.

    25 mm remove about half, more than 50 mm most of it, and rain within two hours of spraying a
    large part (Ontario ministry of agriculture, fruit note of 2020-07-16).

    Parameters
    ----------
    rain_mm : float
        Rain since the spray, mm, at least 0.
    """
    left = f"about {100 * residue_share(rain_mm):.0f} % of a registered protectant would be left"
    if rain_mm >= 2 * HALF_GONE_MM:
        return f"{rain_mm:.0f} mm since the last spray: {left}, most of it is gone."
    return f"{rain_mm:.0f} mm since the last spray: {left}; baking soda washes off sooner."
