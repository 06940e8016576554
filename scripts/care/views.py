"""The work of ``spotlamp flag``, ``plan`` and ``today``: a garden's folder in, text out."""

from collections.abc import Sequence
from pathlib import Path

from models.care.planning import Plan, plan_season
from models.care.rule_table import rules_markdown, thresholds_markdown
from models.care.season import Season
from models.care.thresholds import thresholds_of
from models.garden.settings import GardenError, read_garden
from scripts.care.record import read_season, weather_of
from scripts.care.text import flag_text, plan_text, today_text
from scripts.common.files import write_whole
from scripts.common.moments import moment
from scripts.common.which_garden import chosen_garden, known_plant

_SENT = ".sent-calendar.ics"
"""In the garden's folder: the last calendar written, from whatever folder and to whatever name."""

__all__ = ["flag_view", "plan_view", "rules_view", "today_view"]


def _season(named: Path | None, at: str | None, weather: Path | None = None) -> Season:
    folder = chosen_garden(named)
    garden = read_garden(folder)
    if not garden.plants:
        raise GardenError(
            f"“{garden.name}” has no plants yet: add a bed with “spotlamp new {folder} --bed "
            "NAME=PLANTS”."
        )
    days = weather_of(garden, folder, weather)
    return read_season(folder, moment(at, garden.time_zone), days, garden=garden)


def flag_view(
    named: Path | None, plants: Sequence[str], at: str | None, weather: Path | None = None
) -> str:
    """Return each plant's status as text."""
    season = _season(named, at, weather)
    wanted = [known_plant(season.garden, plant) for plant in plants]
    return flag_text(season, plan_season(season), wanted)


def rules_view(named: Path | None) -> str:
    """Return the rules and thresholds of a garden."""
    limits = thresholds_of(read_garden(chosen_garden(named)))
    return f"{rules_markdown(limits)}\n\n{thresholds_markdown(limits)}"


def plan_view(
    named: Path | None,
    days: int,
    at: str | None,
    weather: Path | None = None,
    ics: Path | None = None,
) -> str:
    """Return the plan as text; write it as a calendar file too where one is named."""
    season = _season(named, at, weather)
    found = plan_season(season, days)
    text = plan_text(season, found)
    if ics is None:
        return text
    _write_calendar(season, found, ics, chosen_garden(named) / _SENT)
    return f"{text}\n\nCalendar: {ics}"


def _write_calendar(season: Season, found: Plan, path: Path, kept: Path) -> None:
    """Write the plan as a calendar, and keep it: the next one may be given another name."""
    from scripts.care.calendar_file import (  # its library takes a while to import
        calendar_bytes,
        is_ours,
    )

    earlier = [path.read_bytes()] if path.is_file() else []
    sent = kept.read_bytes() if kept.is_file() else b""
    if is_ours(sent):
        earlier.append(sent)
    sells = season.limits.sells_produce
    made = calendar_bytes(
        season.garden, found.tasks, season.now, earlier=earlier, sells_produce=sells
    )
    write_whole({kept: made, path: made})


def today_view(named: Path | None, at: str | None, weather: Path | None = None) -> str:
    """Return today's list as text."""
    season = _season(named, at, weather)
    return today_text(season, plan_season(season))
