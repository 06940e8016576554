"""The work of ``spotlamp weather``: a station's file in, a table of days and a chart out."""

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from models.entries import LogEntry
from models.garden import Garden
from models.garden_file import read_garden
from models.journal import open_journal
from models.weather import (
    EARLY_FIRST,
    EARLY_NEXT,
    EARLY_SOURCE,
    LATE_FIRST,
    LATE_SOURCE,
    RiskDay,
    RiskSum,
    StationRecord,
    WeatherHour,
    add_up,
    care_days,
    hyre_days,
    rain_since,
    risk_days,
    wash_off_words,
)
from scripts.gardens import standing_garden
from scripts.moments import moment
from scripts.tables import write_whole
from scripts.terminal import LINE
from scripts.weather_chart import RiskCourse, weather_chart
from scripts.weather_file import station_of

__all__ = ["SeenWeather", "draw_chart", "read_weather", "weather_text"]


@dataclass(frozen=True)
class SeenWeather:
    """A station's file, judged.

    Attributes
    ----------
    record : StationRecord
        Its hours and remarks.
    days : tuple of RiskDay
        From noon to noon.
    early, late : tuple of RiskSum
        Values added up, one for each day.
    sprays : tuple of LogEntry
        Sprays of the garden's log.
    severities : tuple of (datetime, float)
        Severity of each day photo of the garden, percent.
    now : datetime
        Later hours are forecast.
    """

    record: StationRecord
    days: tuple[RiskDay, ...]
    early: tuple[RiskSum, ...]
    late: tuple[RiskSum, ...]
    sprays: tuple[LogEntry, ...]
    severities: tuple[tuple[datetime, float], ...]
    now: datetime


def read_weather(
    file: Path | None,
    named: Mapping[str, str | None],
    garden_folder: Path | None = None,
    at: str | None = None,
) -> SeenWeather:
    """Read and judge a station's file, with the garden's sprays and severities where there is one.

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
    sprays, severities = _from_journal(folder, garden, now)
    days = _from_first_judged(risk_days(record.hours, now))
    restarts = [any(spray.at.date() == day.day for spray in sprays) for day in days]
    early = add_up([day.early_value for day in days], restarts, EARLY_FIRST, EARLY_NEXT)
    late = add_up([day.late_value for day in days], restarts, LATE_FIRST)
    return SeenWeather(record, tuple(days), tuple(early), tuple(late), sprays, severities, now)


def _from_first_judged(days: list[RiskDay]) -> list[RiskDay]:
    """Leave out the days at the beginning that the file holds only in part."""
    judged = [d.early_value is not None or d.late_value is not None for d in days]
    return days[judged.index(True) :] if True in judged else days


def _in_zone(hours: Sequence[WeatherHour], zone: ZoneInfo) -> tuple[WeatherHour, ...]:
    return tuple(replace(hour, at=hour.at.astimezone(zone)) for hour in hours)


def _from_journal(
    folder: Path | None, garden: Garden | None, now: datetime
) -> tuple[tuple[LogEntry, ...], tuple[tuple[datetime, float], ...]]:
    if folder is None or garden is None:
        return (), ()
    with open_journal(folder) as journal:
        sprays = tuple(e for e in journal.log_entries(kind="spray") if e.at <= now)
        photos = journal.photos(mode="day")
    read = ((p.taken_at, p.severity_pct) for p in photos if p.taken_at <= now)
    return sprays, tuple((when, value) for when, value in read if value is not None)


def weather_text(seen: SeenWeather, days: int) -> str:
    """Return the last days, those of the forecast included, as text for people."""
    weather = {day.day: day for day in care_days(seen.record.hours)}
    hyre = hyre_days(seen.record.hours, ZoneInfo(str(seen.now.tzinfo)))
    lines = [
        "                  wet leaves       humid spell      early blight,    late",
        "day          rain   h   mean °C      h   mean °C    leaf spot  sum   blight  sum",
    ]
    for risk, early, late in list(zip(seen.days, seen.early, seen.late, strict=True))[-days:]:
        known = weather.get(risk.day)
        rain = _figure(known.rain_mm if known else None, "{:.0f} mm", 8)
        notes = [
            word
            for word, true in (
                ("forecast", risk.forecast),
                (f"{risk.missing_hours} h missing", risk.missing_hours > 0),
                ("Hyre: favourable", hyre.get(risk.day) is True),
            )
            if true
        ]
        lines.append(
            f"{risk.day}{rain}{_wet(risk)}{_values(risk, early, late)}  {', '.join(notes)}"
        )
    parts = ["\n".join(line.rstrip() for line in lines), _advice(seen), *_rained_on(seen)]
    remarks = [_wrapped(remark) for remark in seen.record.remarks]
    notes_below = [_wrapped(f"Values of {source}.") for source in (LATE_SOURCE, EARLY_SOURCE)]
    noon = (
        "A day runs from noon to noon and bears the date of its morning; rain is of the calendar "
        "day. Empty: not measured. +: at least so much. A spray in the garden's log starts the "
        "sums anew."
    )
    return "\n\n".join([*parts, "\n".join([*remarks, _wrapped(noon), *notes_below])])


def _wet(risk: RiskDay) -> str:
    return (
        f"{_figure(risk.wet_hours, '{}', 4)}{_figure(risk.wet_mean_c, '{:.1f}', 10)}"
        f"{_figure(risk.humid_hours, '{}', 7)}{_figure(risk.humid_mean_c, '{:.1f}', 10)}"
    )


def _values(risk: RiskDay, early: RiskSum, late: RiskSum) -> str:
    return (
        f"{_figure(risk.early_value, '{}', 13)}{_total(early):>5}"
        f"{_figure(risk.late_value, '{}', 9)}{_total(late):>5}"
    )


def _total(total: RiskSum) -> str:
    return f"{total.total}{'+' if total.without_value else ''}{'!' if total.alert else ''}"


def _figure(value: float | None, form: str, width: int) -> str:
    return (form.format(value) if value is not None else "").rjust(width)


def _advice(seen: SeenWeather) -> str:
    """Return what the sums say to look at; never what to spray."""
    if not seen.days:
        return "There is no day to judge."
    alerts = [
        name
        for name, total in (
            ("early blight and leaf spot", seen.early[-1]),
            ("late blight", seen.late[-1]),
        )
        if total.alert
    ]
    if not alerts:
        return _wrapped(
            "No sum has reached its published limit (marked ! above). Photograph as usual."
        )
    return _wrapped(
        f"Favourable weather has added up for {' and for '.join(alerts)} (marked ! above): "
        "photograph the lowest leaves of every plant now, and again in three days. Weather alone "
        "is no disease."
    )


def _rained_on(seen: SeenWeather) -> list[str]:
    if not seen.sprays or not any(hour.rain_mm is not None for hour in seen.record.hours):
        return []
    rain = rain_since(seen.record.hours, seen.sprays[-1].at, seen.now)
    return [_wrapped(wash_off_words(rain))]


def _wrapped(text: str) -> str:
    return textwrap.fill(text, LINE)


def draw_chart(seen: SeenWeather, path: Path) -> None:
    """Draw risk beside severity into a file.

    Raises
    ------
    CannotWriteError
        When the file cannot be written.
    """
    courses = (
        RiskCourse("early blight, leaf spot", _points(seen.days, seen.early), EARLY_FIRST),
        RiskCourse("late blight", _points(seen.days, seen.late), LATE_FIRST),
    )
    forecast_from = next((day.day for day in seen.days if day.forecast), None)
    kind = "svg" if path.suffix.lower() == ".svg" else "png"
    write_whole({path: weather_chart(courses, seen.severities, forecast_from, kind)})


def _points(days: Sequence[RiskDay], sums: Sequence[RiskSum]) -> tuple[tuple[date, int], ...]:
    return tuple((day.day, one.total) for day, one in zip(days, sums, strict=True))
