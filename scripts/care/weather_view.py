"""The work of ``spotlamp weather``: a station's file in, a table of days and a chart out."""

import textwrap
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from models.care.prevention import wash_off_words
from models.care.season import gone_plants
from models.care.seasons import NEW_SEASON, since_new
from models.care.words import day_words
from models.entries import LogEntry, PhotoEntry
from models.garden.settings import read_garden
from models.journal import open_journal
from models.weather import (
    EARLY_SOURCE,
    LATE_SOURCE,
    Favoured,
    StationRecord,
    WeatherHour,
    WetDay,
    WetSince,
    care_days,
    hyre_days,
    rain_since,
    wet_days,
    wet_since,
)
from scripts.care.weather_chart import weather_chart
from scripts.care.weather_file import station_of
from scripts.common.files import write_whole
from scripts.common.moments import moment
from scripts.common.terminal import LINE
from scripts.common.which_garden import standing_garden

__all__ = [
    "LOOK_ADVICE",
    "NOON_WORDS",
    "UNSURE_WORDS",
    "DayRow",
    "SeenWeather",
    "SinceRow",
    "day_rows",
    "draw_chart",
    "rained_on",
    "read_weather",
    "since_rows",
    "table_notes",
    "weather_text",
]


@dataclass(frozen=True)
class SeenWeather:
    """A station's file, judged.

    Attributes
    ----------
    record : StationRecord
        Its hours and remarks.
    days : tuple of WetDay
        From noon to noon.
    since : tuple of WetSince
        What the garden's plants lived through since their last looks, the latest look first.
    sprays : tuple of LogEntry
        Sprays of the garden's log.
    looks : tuple of PhotoEntry
        Measured day photos of the garden's plants.
    now : datetime
        Later hours are forecast.
    """

    record: StationRecord
    days: tuple[WetDay, ...]
    since: tuple[WetSince, ...]
    sprays: tuple[LogEntry, ...]
    looks: tuple[PhotoEntry, ...]
    now: datetime


def read_weather(
    file: Path | None,
    named: Mapping[str, str | None],
    garden_folder: Path | None = None,
    at: str | None = None,
) -> SeenWeather:
    """Read and judge a station's file, with the garden's looks and sprays where there is one.

    Raises
    ------
    WeatherFileError, GardenError, JournalError
        With one sentence.
    """
    folder = standing_garden(garden_folder)
    garden = read_garden(folder) if folder else None
    zone = garden.time_zone if garden else named.get("zone") or "UTC"
    record = station_of(garden, folder, file, named)
    record = replace(record, hours=_in_zone(record.hours, ZoneInfo(zone)))
    now = moment(at, zone)
    days = tuple(_from_first_judged(wet_days(record.hours, now)))
    sprays, looks, gone = _from_journal(folder, now)
    plants = [plant.name for plant in garden.plants if plant.name not in gone] if garden else []
    since = _since_each_look(plants, looks, record.hours, days, now)
    return SeenWeather(record, days, tuple(since), sprays, looks, now)


def _from_first_judged(days: list[WetDay]) -> list[WetDay]:
    """Leave out the days at the beginning that the file holds only in part."""
    judged = [day.early is not None or day.late is not None for day in days]
    return days[judged.index(True) :] if True in judged else days


def _since_each_look(
    plants: Iterable[str],
    looks: Iterable[PhotoEntry],
    hours: Sequence[WeatherHour],
    days: Sequence[WetDay],
    now: datetime,
) -> Iterator[WetSince]:
    """Yield what plants that were last looked at on the same day lived through since."""
    last = {photo.plant: photo.taken_at for photo in looks}
    together: dict[datetime | None, list[str]] = defaultdict(list)
    for plant in plants:
        at = last.get(plant)
        at = at.astimezone(now.tzinfo) if at else None
        same = next((one for one in together if one and at and one.date() == at.date()), at)
        together[same].append(plant)
    for at in sorted(together, key=lambda one: (one is None, -one.timestamp() if one else 0.0)):
        yield wet_since(at, together[at], hours, days, now)


def _in_zone(hours: Sequence[WeatherHour], zone: ZoneInfo) -> tuple[WeatherHour, ...]:
    return tuple(replace(hour, at=hour.at.astimezone(zone)) for hour in hours)


def _from_journal(
    folder: Path | None, now: datetime
) -> tuple[tuple[LogEntry, ...], tuple[PhotoEntry, ...], set[str]]:
    """Return the season's sprays, measured day photos by time, and the plants that are gone."""
    if folder is None:
        return (), (), set()
    with open_journal(folder) as journal:
        log = since_new(e for e in journal.log_entries() if e.at <= now)
        new = log[0].at if log and log[0].kind == NEW_SEASON else None
        photos = journal.photos(mode="day", since=new)
    sprays = tuple(entry for entry in log if entry.kind == "spray")
    # A file's date does not tell when somebody looked.
    dated = (p for p in photos if p.taken_at <= now and p.taken_from != "file")
    looks = (p for p in dated if p.severity_pct is not None)
    return sprays, tuple(sorted(looks, key=lambda photo: photo.taken_at)), gone_plants(log)


NOON_WORDS = (
    "A day runs from noon to noon and bears the date of its morning; rain is of the calendar "
    "day. Empty: not measured. Little, some, much: our steps of two published tables of "
    "wetness and warmth. The most favourable spell counts, for one is enough; nothing is "
    "added up."
)
LOOK_ADVICE = (
    "Look at the lowest leaves, and photograph them. Weather alone is no disease: it says when "
    "to look, never what to spray."
)
UNSURE_WORDS = "≥: for some hours nobody can say whether leaves were wet."


@dataclass(frozen=True)
class DayRow:
    """A day of the station's file in words; what was not measured is empty."""

    day: str
    rain: str
    wet_h: str
    wet_mean_c: str
    humid_h: str
    humid_mean_c: str
    early: str
    late: str
    notes: str


@dataclass(frozen=True)
class SinceRow:
    """What plants lived through since their last look, in words."""

    plants: tuple[str, ...]
    looked: str
    wet: str
    early: str
    late: str
    look: str


def table_notes() -> list[str]:
    """Return where the tables are from by which days are judged."""
    return [f"Table of {source}." for source in (LATE_SOURCE, EARLY_SOURCE)]


def weather_text(seen: SeenWeather, days: int) -> str:
    """Return what plants lived through since their last looks, then day by day, as text."""
    parts = [_since_text(seen), _days_text(seen, days), *map(_wrapped, rained_on(seen))]
    remarks = [_wrapped(remark) for remark in seen.record.remarks]
    notes_below = [_wrapped(note) for note in table_notes()]
    return "\n\n".join([*parts, "\n".join([*remarks, _wrapped(NOON_WORDS), *notes_below])])


def _days_text(seen: SeenWeather, days: int) -> str:
    """Return the last days, those of the forecast included, as a table."""
    lines = [
        "                  wet leaves       humid spell      favoured early blight",
        "day          rain   h   mean °C      h   mean °C    and leaf spot, late blight",
    ]
    for row in day_rows(seen, days):
        wet = f"{row.wet_h:>4}{row.wet_mean_c:>10}{row.humid_h:>7}{row.humid_mean_c:>10}"
        lines.append(
            f"{row.day}{row.rain:>8}{wet}{row.early:>11}{row.late:>15}  {row.notes}".rstrip()
        )
    return "\n".join(lines)


def day_rows(seen: SeenWeather, days: int) -> list[DayRow]:
    """Return the last days, those of the forecast included, oldest first."""
    weather = {day.day: day for day in care_days(seen.record.hours)}
    hyre = hyre_days(seen.record.hours, ZoneInfo(str(seen.now.tzinfo)))
    rows = []
    for wet in seen.days[-days:]:
        known = weather.get(wet.day)
        notes = [
            word
            for word, true in (
                ("forecast", wet.forecast),
                (f"{wet.missing_hours} h missing", wet.missing_hours > 0),
                ("ten cool, rainy days (Hyre 1954)", hyre.get(wet.day) is True),
            )
            if true
        ]
        row = DayRow(
            day=f"{wet.day}",
            rain=_figure(known.rain_mm if known else None, "{:.0f} mm"),
            wet_h=_figure(wet.wet_hours, "{}"),
            wet_mean_c=_figure(wet.wet_mean_c, "{:.1f}"),
            humid_h=_figure(wet.humid_hours, "{}"),
            humid_mean_c=_figure(wet.humid_mean_c, "{:.1f}"),
            early=wet.early or "",
            late=wet.late or "",
            notes=", ".join(notes),
        )
        rows.append(row)
    return rows


def _figure(value: float | None, form: str) -> str:
    return form.format(value) if value is not None else ""


_NAMES = 18  # columns for the plants' names


def _since_text(seen: SeenWeather) -> str:
    """Return how long each plant's leaves were wet since its last look, and when to look next."""
    if not seen.days:
        return "There is no day to judge."
    if not seen.since:
        return _wrapped(
            "What the weather favoured since the last look is said for the plants of a garden: run "
            "this in a garden's folder, or with --garden."
        )
    lines = [
        "                                            favoured early blight",
        f"{'plants':{_NAMES}}   last look  leaves wet  and leaf spot       late blight       look",
    ]
    for row in since_rows(seen):
        first, *more = textwrap.wrap(", ".join(row.plants), _NAMES)
        lines.append(
            f"{first:{_NAMES}}  {row.looked:>10}  {row.wet:>10}  {row.early:18}{row.late:18}"
            f"{row.look}"
        )
        lines += more
    part = ["\n".join(lines), _wrapped(LOOK_ADVICE)]
    unsure = any(one.unknown_hours for one in seen.since)
    return "\n".join([*part, UNSURE_WORDS] if unsure else part)


def since_rows(seen: SeenWeather) -> list[SinceRow]:
    """Return what the plants lived through since their last looks, the latest look first."""
    return [
        SinceRow(
            plants=tuple(since.plants),
            looked=day_words(since.looked_at.date()) if since.looked_at else "never",
            wet=f"{'≥ ' if since.unknown_hours else ''}{since.wet_hours} h",
            early=_favoured_words(since.early),
            late=_favoured_words(since.late),
            look=_look_words(since, seen.now),
        )
        for since in seen.since
    ]


def _favoured_words(favoured: Favoured) -> str:
    if favoured.step is None:
        return "not judged yet"
    return f"{favoured.step}, {day_words(favoured.day)}" if favoured.day else favoured.step


def _look_words(since: WetSince, now: datetime) -> str:
    if since.look_from is None:
        return "as usual"
    return "now" if since.look_from <= now.date() else f"from {day_words(since.look_from)}"


def rained_on(seen: SeenWeather) -> list[str]:
    """Return what fell since the last spray, and what that means; nothing where none is known."""
    if not seen.sprays or not any(hour.rain_mm is not None for hour in seen.record.hours):
        return []
    rain = rain_since(seen.record.hours, seen.sprays[-1].at, seen.now)
    return [wash_off_words(rain)]


def _wrapped(text: str) -> str:
    return textwrap.fill(text, LINE)


def draw_chart(seen: SeenWeather, path: Path) -> None:
    """Draw wet days, what they favoured, and the looks between them into a file.

    Raises
    ------
    CannotWriteError
        When the file cannot be written.
    """
    looks = [(p.taken_at, p.severity_pct) for p in seen.looks if p.severity_pct is not None]
    kind = "svg" if path.suffix.lower() == ".svg" else "png"
    write_whole({path: weather_chart(seen.days, looks, kind)})
