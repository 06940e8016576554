"""Hours into days: what the tables of wetness ask for, and what the spray calendar asks for."""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from statistics import fmean
from zoneinfo import ZoneInfo

from models.care.records import DayWeather
from models.weather.favour import early_value, hyre_favourable, late_value, step_of
from models.weather.records import WeatherHour, WetDay

__all__ = ["HUMID_PCT", "care_days", "hyre_days", "rain_since", "wet_days"]

HUMID_PCT = 80.0
"""Relative humidity of a humid hour, as in the source of the late-blight table [read]."""

_MOST_MISSING = 6  # hours of a day; with more it is not judged
_LEAST_HOURS_OF_DAY = 18  # with fewer, neither a sum of rain nor a highest value is the day's


def wet_days(hours: Sequence[WeatherHour], now: datetime) -> list[WetDay]:
    """Judge each day from noon to noon by both tables.

    Parameters
    ----------
    hours : sequence of WeatherHour
        By time.
    now : datetime
        Hours from here on are forecast.

    Returns
    -------
    list of WetDay
        Every day between the first and the last with any hour; a step is None where more than
        6 of the 24 hours lack what the table asks for.
    """
    by_day: dict[date, list[WeatherHour]] = {}
    for hour in hours:
        by_day.setdefault((hour.at + timedelta(hours=12)).date(), []).append(hour)
    if not by_day:
        return []
    first, last = min(by_day), max(by_day)
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    return [_wet_day(day, by_day.get(day, []), now) for day in days]


def _wet_day(day: date, hours: Sequence[WeatherHour], now: datetime) -> WetDay:
    known = [hour for hour in hours if hour.temp_c is not None]
    wet = [hour for hour in known if hour.wet]
    spell = _longest_spell([h for h in known if (h.humidity_pct or 0) >= HUMID_PCT])
    lost_wet = 24 - sum(hour.wet is not None for hour in known)
    lost_humid = 24 - sum(hour.humidity_pct is not None for hour in known)
    wet_c, humid_c = _mean_c(wet), _mean_c(spell)
    judged_wet, judged_humid = lost_wet <= _MOST_MISSING, lost_humid <= _MOST_MISSING
    return WetDay(
        day=day,
        wet_hours=len(wet) if judged_wet else None,
        wet_mean_c=wet_c if judged_wet else None,
        early=step_of(early_value(wet_c or 0.0, len(wet))) if judged_wet else None,
        humid_hours=len(spell) if judged_humid else None,
        humid_mean_c=humid_c if judged_humid else None,
        late=step_of(late_value(humid_c or 0.0, len(spell))) if judged_humid else None,
        missing_hours=max(0, min(lost_wet, lost_humid)),
        forecast=any(hour.at >= now for hour in hours),
    )


def _longest_spell(hours: Sequence[WeatherHour]) -> list[WeatherHour]:
    """Return the longest run of hours that follow each other."""
    best: list[WeatherHour] = []
    run: list[WeatherHour] = []
    for hour in hours:
        follows = run and hour.at.astimezone(UTC) - run[-1].at.astimezone(UTC) == timedelta(hours=1)
        run = [*run, hour] if follows else [hour]
        best = max(best, run, key=len)
    return best


def _mean_c(hours: Sequence[WeatherHour]) -> float | None:
    known = [hour.temp_c for hour in hours if hour.temp_c is not None]
    return fmean(known) if known else None


def care_days(
    hours: Iterable[WeatherHour], *, morning: tuple[time, time] = (time(5), time(10))
) -> list[DayWeather]:
    """Return each calendar day's weather as the spray calendar asks for it.

    A sum of rain that is above 0 counts however many hours are missing; 0 mm, and a highest
    temperature, need at least 18 hours of the day.
    """
    by_day: dict[date, list[WeatherHour]] = {}
    for hour in hours:
        by_day.setdefault(hour.at.date(), []).append(hour)
    return [_care_day(day, by_day[day], morning) for day in sorted(by_day)]


def _care_day(day: date, hours: Sequence[WeatherHour], morning: tuple[time, time]) -> DayWeather:
    rain = [hour.rain_mm for hour in hours if hour.rain_mm is not None]
    heat = [hour.hottest_c for hour in hours if hour.hottest_c is not None]
    early = [hour for hour in hours if morning[0] <= hour.at.time() < morning[1]]
    wet = [known for hour in early if (known := hour.wet) is not None]
    rained = rain and (sum(rain) > 0 or len(rain) >= _LEAST_HOURS_OF_DAY)
    return DayWeather(
        day=day,
        rain_mm=sum(rain) if rained else None,
        hottest_c=max(heat) if len(heat) >= _LEAST_HOURS_OF_DAY else None,
        wet_morning=all(wet) if wet else None,
        rain_rows=tuple((hour.at.time(), hour.rain_mm) for hour in hours if hour.rain_mm),
    )


def rain_since(hours: Iterable[WeatherHour], since: datetime, until: datetime) -> float:
    """Return the rain measured between two times, mm."""
    return sum(h.rain_mm or 0.0 for h in hours if since <= h.at < until)


def hyre_days(hours: Sequence[WeatherHour], zone: ZoneInfo) -> dict[date, bool | None]:
    """Return for each calendar day whether it was favourable to late blight by Hyre's rule.

    None where one of the ten days before has no rain figure, or one of five no temperature.
    """
    by_day: dict[date, list[WeatherHour]] = {}
    for hour in hours:
        by_day.setdefault(hour.at.astimezone(zone).date(), []).append(hour)
    rain = {day.day: day.rain_mm for day in care_days(hours)}
    warmth = {
        day: [h.temp_c for h in those if h.temp_c is not None] for day, those in by_day.items()
    }
    return {day: _hyre(day, rain, warmth) for day in sorted(by_day)}


def _hyre(
    day: date, rain: dict[date, float | None], warmth: dict[date, list[float]]
) -> bool | None:
    ten = [rain.get(day - timedelta(days=n)) for n in range(10)]
    five = [warmth.get(day - timedelta(days=n), []) for n in range(5)]
    if any(one is None for one in ten) or not all(len(t) >= _LEAST_HOURS_OF_DAY for t in five):
        return None
    total = sum(one for one in ten if one is not None)
    return hyre_favourable(fmean(fmean(one) for one in five), total, min(five[0]))
