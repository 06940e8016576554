"""The records of weather: hours of a station, and what a day's wetness and warmth add up to."""

from dataclasses import dataclass
from datetime import date, datetime

__all__ = ["RiskDay", "StationRecord", "WeatherHour"]


@dataclass(frozen=True)
class WeatherHour:
    """One hour; what was not measured is None, never 0.

    Attributes
    ----------
    at : datetime
        Its beginning, in the garden's zone.
    temp_c, hottest_c : float or None
        Mean and highest temperature, °C.
    humidity_pct : float or None
        Mean relative humidity, percent.
    wet_share : float or None
        Share of the hour in which a sensor found leaves wet, 0 to 1.
    rain_mm : float or None
        Rain, mm.
    """

    at: datetime
    temp_c: float | None = None
    hottest_c: float | None = None
    humidity_pct: float | None = None
    wet_share: float | None = None
    rain_mm: float | None = None


@dataclass(frozen=True)
class StationRecord:
    """What a station's file held.

    Attributes
    ----------
    hours : tuple of WeatherHour
        Hours with a row, by time.
    remarks : tuple of str
        Sentences about gaps, and about values that were passed over.
    """

    hours: tuple[WeatherHour, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class RiskDay:
    """The day from one noon to the next, named after the morning in it: nights stay whole.

    Attributes
    ----------
    day : date
        Of the noon at which it ends.
    wet_hours : int or None
        Hours with wet leaves; None where too much is missing.
    wet_mean_c : float or None
        Mean temperature of these hours, °C.
    early_value : int or None
        Severity value of early blight and leaf spot, 0 to 4.
    humid_hours : int or None
        Longest humid spell, hours.
    humid_mean_c : float or None
        Its mean temperature, °C.
    late_value : int or None
        Severity value of late blight, 0 to 4.
    missing_hours : int
        Hours of 24 without the figures needed; the values are then at least so high.
    forecast : bool
        Whether any of its hours lies in the future.
    """

    day: date
    wet_hours: int | None
    wet_mean_c: float | None
    early_value: int | None
    humid_hours: int | None
    humid_mean_c: float | None
    late_value: int | None
    missing_hours: int
    forecast: bool
