"""The work of ``spotlamp flag``, ``plan`` and ``today``: a garden's folder in, text out."""

from collections.abc import Sequence
from pathlib import Path

from models.care.planning import plan_season
from models.care.rule_table import rules_markdown, thresholds_markdown
from models.care.season import Season
from models.care.thresholds import thresholds_of
from models.garden_file import GardenError, read_garden
from scripts.care_text import flag_text, plan_text, today_text
from scripts.caring import read_season
from scripts.gardens import chosen_garden, known_plant
from scripts.moments import moment

__all__ = ["flag_view", "plan_view", "rules_view", "today_view"]


def _season(named: Path | None, at: str | None) -> Season:
    folder = chosen_garden(named)
    garden = read_garden(folder)
    if not garden.plants:
        raise GardenError(
            f"“{garden.name}” has no plants yet: add a bed with “spotlamp new {folder} --bed "
            "NAME=PLANTS”."
        )
    return read_season(folder, moment(at, garden.time_zone), garden=garden)


def flag_view(named: Path | None, plants: Sequence[str], at: str | None) -> str:
    """Return each plant's status as text."""
    season = _season(named, at)
    wanted = [known_plant(season.garden, plant) for plant in plants]
    return flag_text(season, plan_season(season), wanted)


def rules_view(named: Path | None) -> str:
    """Return the rules and thresholds of a garden."""
    limits = thresholds_of(read_garden(chosen_garden(named)))
    return f"{rules_markdown(limits)}\n\n{thresholds_markdown(limits)}"


def plan_view(named: Path | None, days: int, at: str | None) -> str:
    """Return the plan as text."""
    season = _season(named, at)
    return plan_text(season, plan_season(season, days))


def today_view(named: Path | None, at: str | None) -> str:
    """Return today's list as text."""
    season = _season(named, at)
    return today_text(season, plan_season(season))
