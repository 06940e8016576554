"""Times as people type them, read in the garden's time zone."""

import re
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import typer

from models.garden.clock import in_garden_time

__all__ = ["moment", "now_in"]

_FIRST_YEAR, _LAST_YEAR = 1970, 2999  # sums of days around them still have a date
_TIME = re.compile(r"(\d{1,2}):(\d{2})")


def now_in(zone: str) -> datetime:
    """Return the present moment in a zone, to the minute."""
    return datetime.now(ZoneInfo(zone)).replace(second=0, microsecond=0)


def moment(text: str | None, zone: str, *, hour: int = 12, option: str = "--at") -> datetime:
    """Return a time such as ``2026-06-01 07:30``, ``yesterday 19:00``, ``07:30`` or ``2026-06-01``.

    A day may also be written ``01.06.2026``.

    Parameters
    ----------
    text : str or None
        None: now.
    zone : str
        The garden's.
    hour : int
        Where only a day is given.
    option : str
        For the sentence about a time that cannot be read.

    Raises
    ------
    typer.BadParameter
        When it is no time.
    """
    now = now_in(zone)
    if text is None:
        return now
    day_text, time_text = _halves(re.sub(r"(\d)t(\d)", r"\1 \2", text.strip().lower()))
    try:
        day = _day(day_text, now.date(), by_clock=bool(time_text))
        clock = datetime.strptime(time_text, "%H:%M").time() if time_text else time(hour)
    except ValueError as error:
        raise typer.BadParameter(
            f"“{text}” is no time: write it as 2026-06-01 07:30, yesterday 19:00 or 07:30.",
            param_hint=option,
        ) from error
    return in_garden_time(datetime.combine(day, clock), "exif", ZoneInfo(zone))


def _day(text: str, today: date, *, by_clock: bool) -> date:
    """Return a day; today where only a time by the clock is given."""
    if text == "yesterday":
        return today - timedelta(days=1)
    if text == "today" or (by_clock and not text):
        return today
    # With dots the day stands first wherever days are written so; slashes would leave a doubt.
    day = datetime.strptime(text, "%d.%m.%Y" if "." in text else "%Y-%m-%d").date()
    if not _FIRST_YEAR <= day.year <= _LAST_YEAR:
        raise ValueError("no garden of today")
    return day


def _halves(text: str) -> tuple[str, str]:
    """Return the words for the day and for the time, either of which may be empty."""
    day, _, clock = text.rpartition(" ")
    if _TIME.fullmatch(clock):
        return day.strip(), clock
    return text, ""
