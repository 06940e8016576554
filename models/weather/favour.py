"""What wet leaves favour: published tables of wetness and warmth, said in three steps.

They say when to look and to photograph, never what to spray. One long wet spell at the right
warmth is enough for an infection, so the most favourable spell since a plant was last looked at
decides; nothing is added up over days. This, and where the steps lie, is our own rule.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from models.weather.records import Step, WeatherHour, WetDay

__all__ = [
    "EARLY_SHOWS_DAYS",
    "EARLY_SOURCE",
    "LATE_SHOWS_DAYS",
    "LATE_SOURCE",
    "STEPS",
    "Favoured",
    "WetSince",
    "early_value",
    "hyre_favourable",
    "late_value",
    "step_of",
    "wet_since",
]

STEPS: tuple[Step, ...] = ("little", "some", "much")
"""How much a wet spell favours a disease."""

LATE_SOURCE = (
    "late blight: Wallin's table as a potato late-blight page of Michigan State University gives "
    "it, humid from 80 % relative humidity on"
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

EARLY_SHOWS_DAYS = 2
"""Spots of early blight show 2 to 3 days after infection (INRAE, Alternaria, biology), those of
leaf spot after 6 (INRAE, *Septoria lycopersici*, biology): the sooner counts."""

LATE_SHOWS_DAYS = 4
"""From infection to new spores late blight takes 4 to 6 days (an encyclopaedia; no better source
was found)."""


def late_value(mean_c: float, humid_hours: float) -> int:
    """Return the published late-blight value of a humid spell, 0 to 4.

    Parameters
    ----------
    mean_c : float
        Mean temperature of the spell, °C; rounded to whole °F, in which the table is written.
    humid_hours : float
        Its length, hours; a part of an hour does not count.
    """
    return _value(_LATE, _nearest(mean_c * 9 / 5 + 32), humid_hours)


def early_value(mean_c: float, wet_hours: float) -> int:
    """Return the published value of early blight and leaf spot, 0 to 4.

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


def step_of(value: int) -> Step:
    """Return a table's value, 0 to 4, as a step: 0 little, 1 and 2 some, 3 and 4 much."""
    return STEPS[(value + 1) // 2]


@dataclass(frozen=True)
class Favoured:
    """How much the wet spells of some days favoured a disease.

    Attributes
    ----------
    step : {"little", "some", "much"} or None
        That of the most favourable day; None where no day could be judged.
    day : date or None
        The first day with that step; None for little.
    first : date or None
        The first day that was more than little.
    """

    step: Step | None
    day: date | None = None
    first: date | None = None


@dataclass(frozen=True)
class WetSince:
    """What plants lived through since they were last looked at.

    Attributes
    ----------
    plants : tuple of str
        Plants looked at on the same day.
    looked_at : datetime or None
        When; None for never.
    wet_hours : int
        Hours with wet leaves since; at least so many where some are unknown.
    unknown_hours : int
        Hours since of which nobody can say whether leaves were wet.
    early, late : Favoured
        Early blight and leaf spot; late blight.
    look_from : date or None
        The first day on which what these days brought can show; None where they brought little.
    """

    plants: tuple[str, ...]
    looked_at: datetime | None
    wet_hours: int
    unknown_hours: int
    early: Favoured
    late: Favoured
    look_from: date | None


def wet_since(
    looked_at: datetime | None,
    plants: Iterable[str],
    hours: Sequence[WeatherHour],
    days: Sequence[WetDay],
    now: datetime,
) -> WetSince:
    """Judge the weather since a look.

    Parameters
    ----------
    looked_at : datetime or None
        The last look; None: since the record begins.
    plants : iterable of str
        Whose last look it was.
    hours : sequence of WeatherHour
        By time; those from ``now`` on are left out.
    days : sequence of WetDay
        The same hours from noon to noon. The day of the look itself is left out, for its night
        was over; so are forecast days.
    now : datetime
        Where the past ends.
    """
    past = [h for h in hours if h.at < now and (looked_at is None or h.at >= looked_at)]
    begin = looked_at or min((h.at for h in past), default=now)
    known = [h.wet for h in past if h.wet is not None]
    lived = [d for d in days if not d.forecast and (looked_at is None or d.day > looked_at.date())]
    early = _favoured([(day.day, day.early) for day in lived])
    late = _favoured([(day.day, day.late) for day in lived])
    shows = ((early, EARLY_SHOWS_DAYS), (late, LATE_SHOWS_DAYS))
    return WetSince(
        tuple(plants),
        looked_at,
        sum(known),
        max(0, int((now - begin) / timedelta(hours=1)) - len(known)),
        early,
        late,
        min((f.first + timedelta(days=n) for f, n in shows if f.first), default=None),
    )


def _favoured(days: Sequence[tuple[date, Step | None]]) -> Favoured:
    judged = [(day, step) for day, step in days if step is not None]
    if not judged:
        return Favoured(None)
    most = max((step for _, step in judged), key=STEPS.index)
    if most == STEPS[0]:
        return Favoured(most)
    return Favoured(
        most,
        next(day for day, step in judged if step == most),
        next(day for day, step in judged if step != STEPS[0]),
    )
