"""Where a garden's weather file is and how it is read: by options, then by its settings."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import time
from pathlib import Path
from zoneinfo import ZoneInfo

from models.care.records import DayWeather
from models.garden.beds import Garden
from models.remarks import remark
from models.weather import (
    StationRecord,
    WeatherFileError,
    care_days,
    parse_columns,
    read_station,
)

__all__ = ["garden_weather", "station_of"]

_KEYS = ("file", "time", "time_format", "temperature", "humidity", "wetness", "rain", "zone")
_MEASURED = ("temperature", "humidity", "wetness", "rain")


def station_of(
    garden: Garden | None,
    folder: Path | None,
    file: Path | None = None,
    named: Mapping[str, str | None] | None = None,
) -> StationRecord:
    """Read a station's file.

    Parameters
    ----------
    garden, folder : Garden and Path, or None
        For the settings' table ``weather`` and the time zone.
    file : Path, optional
        Instead of that of the settings, which is relative to the garden's folder.
    named : mapping of str to str or None, optional
        Columns, zone and time format that go before the settings.

    Raises
    ------
    WeatherFileError
        With one sentence.
    """
    given = {name: value for name, value in (named or {}).items() if value}
    settings = _settings(garden) | given
    if file is None and "file" not in settings:
        raise WeatherFileError("Name the station's file, or set it in the garden's [weather].")
    path = file or (folder or Path()) / settings["file"]
    if "time" not in settings:
        raise WeatherFileError("Name the column of the time, such as --time Time.")
    columns = parse_columns(
        settings["time"],
        {what: settings.get(what) for what in _MEASURED},
        settings.get("time_format", ""),
    )
    return read_station(path, columns, _zone(settings, garden))


def _settings(garden: Garden | None) -> dict[str, str]:
    given = garden.settings.get("weather", {}) if garden else {}
    if not isinstance(given, Mapping) or not all(isinstance(v, str) for v in given.values()):
        raise WeatherFileError("The garden's setting “weather” should be a table of texts.")
    unknown = [name for name in given if name not in _KEYS]
    if unknown:
        raise WeatherFileError(
            f"The garden's [weather] knows no “{unknown[0]}”; it knows {', '.join(_KEYS)}."
        )
    return dict(given)


def _zone(settings: Mapping[str, str], garden: Garden | None) -> ZoneInfo:
    name = settings.get("zone") or (garden.time_zone if garden else "UTC")
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:  # such as the name of a folder of zones
        raise WeatherFileError(
            f"“{name}” is no time zone; they look like “Europe/Berlin”."
        ) from error


def garden_weather(
    garden: Garden,
    folder: Path,
    *,
    morning: tuple[time, time] = (time(5), time(10)),
    file: Path | None = None,
) -> tuple[DayWeather, ...]:
    """Return the days of the garden's weather file for the spray calendar; none without a file.

    Parameters
    ----------
    garden, folder : Garden and Path
        For the settings' table ``weather``.
    morning : tuple of time
        Hours in which one sprays.
    file : Path, optional
        Instead of that of the settings, with the same columns.

    Raises
    ------
    WeatherFileError
        When the settings name a file that cannot be used, or a file is given without columns.
    """
    if not garden.settings.get("weather"):
        if file is not None:
            raise WeatherFileError(
                f"Say under [weather] in the garden's settings how the columns of “{file}” are "
                "named."
            )
        return ()
    zone = ZoneInfo(garden.time_zone)
    record = station_of(garden, folder, file)
    for question in record.questions:
        remark(f"The garden's weather: {question}")
    hours = [replace(hour, at=hour.at.astimezone(zone)) for hour in record.hours]
    return tuple(care_days(hours, morning=morning))
