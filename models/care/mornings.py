"""On which mornings one may spray: the waits between products, wet leaves, heat and rain."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from models.care.peroxide import open_checks
from models.care.season import Season, hours_after, hours_between, products_of
from models.care.words import day_words, heat_words, joined
from models.entries import LogEntry

__all__ = [
    "FARTHEST_DAYS",
    "HALF_GONE_MM",
    "NO_PRODUCT",
    "first_morning",
    "hindrance",
    "last_spray",
    "rain_on",
    "residue_share",
    "rests_until",
    "wait_ends",
    "washes_off",
]

NO_PRODUCT = "aspirin"  # practice adds it to a spray; it starts no wait of its own
FARTHEST_DAYS = 60  # no forecast reaches so far, so a free morning is always found before

HALF_GONE_MM = 25.4
"""Rain that takes away half of a protectant: an orchard note of Ontario's ministry of
agriculture, 2020 [read]. Soda holds less well; no figure was found for it."""

NEXT_TO_NOTHING = 0.01
"""Share of a spray that rain may take before anyone is asked to spray again, whatever the
garden's own line."""


def residue_share(rain_mm: float) -> float:
    """Return the share of a protectant that is left after rain: half for each 25.4 mm.

    A model: published for registered protectants, which hold better than soda.
    """
    return float(0.5 ** (rain_mm / HALF_GONE_MM))


def washes_off(season: Season, rain_mm: float | None) -> bool:
    """Whether so much rain on a day is real rain, after which one sprays again."""
    if rain_mm is None or rain_mm <= season.limits.rain_mm:
        return False
    return residue_share(rain_mm) < 1 - NEXT_TO_NOTHING


def rain_on(season: Season, day: date, after: datetime | None = None) -> float | None:
    """Return a day's rain in mm: the larger of log and weather record; None where there is none.

    Parameters
    ----------
    season : Season
        As it stands. Rain that was logged without an amount counts as real rain.
    day : date
        The day.
    after : datetime, optional
        Only rain later than this, as far as is known when it fell: a station's rows say so, and
        the time at which rain was logged; a mere sum of the day counts as a whole.
    """
    entries = [e for e in season.entries("rain") if e.at.date() == day]
    later = [e for e in entries if after is None or e.at >= after]
    unmeasured = season.limits.rain_mm + 1.0
    logged = [unmeasured if entry.amount is None else entry.amount for entry in later]
    measured = _measured(season, day, after, logged_before=len(later) < len(entries))
    figures = ([sum(logged)] if logged else []) + ([] if measured is None else [measured])
    return max(figures, default=None)


def _measured(
    season: Season, day: date, after: datetime | None, *, logged_before: bool
) -> float | None:
    """Return the rain of the weather record; what was logged says when a mere sum had fallen."""
    known = season.weather.get(day)
    if known is None or known.rain_mm is None or after is None:
        return known.rain_mm if known else None
    if known.rain_rows:
        since = after.astimezone(season.now.tzinfo).time()
        return sum(mm for row, mm in known.rain_rows if row > since)
    return None if logged_before else known.rain_mm


def wait_ends(season: Season, product: str) -> datetime | None:
    """Return when the wait after another product ends, wherever in the garden it was used."""
    same = {product, NO_PRODUCT}
    others = [e.at for e in season.entries("spray") if set(products_of(e)) - same]
    if not others:
        return None
    return hours_after(max(others), season.limits.between_hours)


def hindrance(season: Season, day: date) -> str:
    """Return why one cannot spray on a morning, as words for people; empty when one can.

    A day without any record of its weather hinders nothing: the leaves themselves are looked at.
    """
    limits = season.limits
    if rain_on(season, day):
        return f"rain on {day_words(day)}"
    known = season.weather.get(day)
    if known and known.wet_morning:
        return f"wet leaves through the morning of {day_words(day)}"
    for hot in (day, day + timedelta(days=1)):
        weather = season.weather.get(hot)
        if weather and weather.hottest_c is not None and weather.hottest_c >= limits.heat_c:
            heat = heat_words(weather.hottest_c, season.garden.units)
            return f"{heat} on {day_words(hot)}"
    return ""


def first_morning(
    season: Season,
    product: str,
    due: date,
    after: datetime | None = None,
    waits_for: str = "the wait after the other product",
) -> tuple[date, datetime | None, str]:
    """Return the first morning on which a product may be sprayed.

    Parameters
    ----------
    season : Season
        As it stands.
    product : str
        ``soda``, ``peroxide`` or another.
    due : date
        The day from which it is wanted.
    after : datetime, optional
        A further wait, as after a spray that is only planned.
    waits_for : str
        What that wait is, in words.

    Returns
    -------
    day : date
        The morning.
    not_before : datetime or None
        When a wait ends within that morning.
    moved : str
        Why it is later than it was due, as words; empty when it is not.
    """
    waits = [wait for wait in (wait_ends(season, product), after) if wait is not None]
    wait = max(waits, default=None)
    start, reasons = _after_looks(season, max(due, _next_morning(season)))
    for step in range(FARTHEST_DAYS):
        day = start + timedelta(days=step)
        if wait is not None and _end(season, day) <= wait:
            words = waits_for if wait == after else "the wait after the other product"
            reasons.append(f"{words} lasts until {day_words(wait.date())}")
            continue
        stands_in_the_way = hindrance(season, day)
        if not stands_in_the_way:
            inside = wait is not None and wait > _begin(season, day)
            return day, wait if inside else None, "; ".join(dict.fromkeys(reasons))
        reasons.append(stands_in_the_way)
    return start + timedelta(days=FARTHEST_DAYS), None, "; ".join(dict.fromkeys(reasons))


def _after_looks(season: Season, start: date) -> tuple[date, list[str]]:
    """Put a spray off until tomorrow where a look for burn is open that can be made today."""
    now = [plant for c in open_checks(season) if hours_between(c.opens, season.now) >= 0
           for plant in c.plants]  # fmt: skip
    if not now or start > season.today:
        return start, []
    return season.today + timedelta(days=1), [f"first {joined(now)} is looked at for burn"]


def _next_morning(season: Season) -> date:
    """Return today while its morning lasts, then tomorrow."""
    today = season.today
    return today if season.now < _end(season, today) else today + timedelta(days=1)


def _begin(season: Season, day: date) -> datetime:
    return datetime.combine(day, season.limits.morning_from, ZoneInfo(season.garden.time_zone))


def _end(season: Season, day: date) -> datetime:
    return datetime.combine(day, season.limits.morning_until, ZoneInfo(season.garden.time_zone))


def last_spray(season: Season, product: str, plant: str) -> LogEntry | None:
    """Return the last spray of a product on a plant."""
    sprays = season.sprays(product, plant)
    return sprays[-1] if sprays else None


def rests_until(season: Season, spray: LogEntry) -> date:
    """Return the first morning on which a plant sprayed with peroxide may be sprayed again."""
    ends = hours_after(spray.at, season.limits.between_hours)
    day = ends.date()
    return day if ends < _end(season, day) else day + timedelta(days=1)
