"""The records of weather: hours of a station, and what a day's wetness and warmth favour."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

__all__ = ["WET_PCT", "StationRecord", "Step", "WeatherHour", "WetDay"]

WET_PCT = 90.0
"""Relative humidity from which leaves count as wet where no sensor says so (practice)."""

Step = Literal["little", "some", "much"]


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

    @property
    def wet(self) -> bool | None:
        """Whether leaves were wet; None where neither sensor nor humidity says so."""
        if self.wet_share is not None:
            return self.wet_share >= 0.5
        return None if self.humidity_pct is None else self.humidity_pct >= WET_PCT


@dataclass(frozen=True)
class StationRecord:
    """What a station's file held.

    Attributes
    ----------
    hours : tuple of WeatherHour
        Hours with a row, by time.
    remarks : tuple of str
        Sentences about gaps, and about values that were passed over.
    questions : tuple of str
        Those of them that ask about a whole column, which was passed over.
    """

    hours: tuple[WeatherHour, ...]
    remarks: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()


@dataclass(frozen=True)
class WetDay:
    """The day from one noon to the next, named after the morning in it: nights stay whole.

    Attributes
    ----------
    day : date
        Of the noon at which it ends.
    wet_hours : int or None
        Hours with wet leaves; None where too much is missing.
    wet_mean_c : float or None
        Mean temperature of these hours, °C.
    early : {"little", "some", "much"} or None
        How much this favoured early blight and leaf spot.
    humid_hours : int or None
        Longest humid spell, hours.
    humid_mean_c : float or None
        Its mean temperature, °C.
    late : {"little", "some", "much"} or None
        How much this favoured late blight.
    missing_hours : int
        Hours of 24 without the figures needed; the steps are then at least so high.
    forecast : bool
        Whether any of its hours lies in the future.
    """

    day: date
    wet_hours: int | None
    wet_mean_c: float | None
    early: Step | None
    humid_hours: int | None
    humid_mean_c: float | None
    late: Step | None
    missing_hours: int
    forecast: bool
