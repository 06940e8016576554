"""The records of care: what is known of a plant's state, and what to do next.

Dates and times are those of the garden's time zone. Every sentence is for people.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Literal

__all__ = [
    "BurnVerdict",
    "DayWeather",
    "Part",
    "PlantStatus",
    "Remark",
    "Status",
    "Task",
    "Verdict",
]

Status = Literal[
    "clear",
    "watch",
    "spot-test",
    "hold",
    "waiting",
    "check for burn",
    "treat",
    "rest",
    "prevent",
    "pick caterpillars",
    "isolate",
]
Verdict = Literal["burned", "no burn seen", "cannot tell"]
Part = Literal["morning", "day", "night"]


@dataclass(frozen=True)
class BurnVerdict:
    """What a burn check found on a plant 24 hours or more after its spray.

    ``no burn seen`` never means that a spray is safe.

    Attributes
    ----------
    verdict : {"burned", "no burn seen", "cannot tell"}
        What the photos show.
    plant : str
        Name of the sprayed plant.
    spray : int
        Number of the spray's log entry.
    checked_at : datetime
        When the last of the photos after the spray was taken; decides whether 24 hours had passed.
    figures : mapping of str to float
        What was compared, by name, with the unit at the end of each name.
    before, after : tuple of str
        The photos compared, as paths in the journal.
    reason : str
        One sentence for people.
    """

    verdict: Verdict
    plant: str
    spray: int
    checked_at: datetime
    figures: Mapping[str, float]
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    reason: str = ""


@dataclass(frozen=True)
class DayWeather:
    """One day's weather, measured or forecast: all that the spray calendar asks for.

    Attributes
    ----------
    day : date
        The garden's calendar day.
    rain_mm : float or None
        Rain of the day; None where there is no figure.
    hottest_c : float or None
        Highest temperature of the day, °C.
    wet_morning : bool or None
        Whether leaves stay wet through the hours in which one sprays.
    rain_rows : tuple of (time, float)
        Clock time and mm of the station's rows with rain, each fallen since the row before; empty
        where only the day's sum is known.
    """

    day: date
    rain_mm: float | None = None
    hottest_c: float | None = None
    wet_morning: bool | None = None
    rain_rows: tuple[tuple[time, float], ...] = ()


@dataclass(frozen=True)
class PlantStatus:
    """Where a plant stands, with the measurement and the rule behind it.

    A plant with caterpillars has a second status beside that of its leaves.

    Attributes
    ----------
    plant : str
        Its name.
    status : Status
        One of the eleven words.
    rule : str
        Name of the row of the decision table.
    why : str
        The row's rule as a sentence.
    measured : str
        The measurement in words: date, severity with interval, pattern; or what is missing.
    measured_on : date or None
        Day of the measurement.
    severity_pct, severity_low_pct, severity_high_pct : float or None
        Mean of the leaves of that day, with the mean of their 95 % intervals.
    pattern : str
        Of the leaves of that day; empty where not called.
    photo : str
        The photo behind it, as its path in the journal; empty where there is none.
    open_why : str
        Where it is open whether the plant is sick: why, and what would settle it; else empty.
    more_leaves : int or None
        The leaves on one day that would settle it; None where no number on a walk would.
    """

    plant: str
    status: Status
    rule: str
    why: str
    measured: str
    measured_on: date | None = None
    severity_pct: float | None = None
    severity_low_pct: float | None = None
    severity_high_pct: float | None = None
    pattern: str = ""
    photo: str = ""
    open_why: str = ""
    more_leaves: int | None = None


@dataclass(frozen=True)
class Task:
    """One thing to do.

    Attributes
    ----------
    key : str
        Names the task for good: the same task planned again, for another day too, has the same key.
    kind : str
        Short name, such as ``prevent`` or ``photo``.
    what : str
        What to do, as a sentence.
    why : str
        The rule and the measurement behind it.
    plants : tuple of str
        The plants concerned.
    day : date
        When; a night is that of the evening of this day.
    part : {"morning", "day", "night"}
        Part of the day.
    cautions : tuple of str
        Names from ``models.care.cautions``.
    photo : str
        A photo that shows it, as its path in the journal; may be empty.
    not_before : datetime or None
        Before it the task is locked, as a burn check in the first 24 hours.
    repeat_days : int or None
        Comes again every so many days after this, as far as anyone can plan.
    product : str
        What is sprayed, such as ``soda``; empty where nothing is.
    """

    key: str
    kind: str
    what: str
    why: str
    plants: tuple[str, ...]
    day: date
    part: Part
    cautions: tuple[str, ...] = ()
    photo: str = ""
    not_before: datetime | None = None
    repeat_days: int | None = None
    product: str = ""


@dataclass(frozen=True)
class Remark:
    """A logged action that broke a rule: it stays as it happened, and is pointed out.

    Attributes
    ----------
    entry : int
        Number of the log entry.
    rule : str
        Name of the rule.
    sentence : str
        What was against the rule, and what to do about it now.
    """

    entry: int
    rule: str
    sentence: str
