"""Weather of the garden: a station's file, and published tables of how it favours diseases."""

from models.weather.days import care_days, hyre_days, rain_since, wet_days
from models.weather.favour import (
    EARLY_SOURCE,
    LATE_SOURCE,
    STEPS,
    Favoured,
    WetSince,
    early_value,
    hyre_favourable,
    late_value,
    step_of,
    wet_since,
)
from models.weather.records import StationRecord, Step, WeatherHour, WetDay
from models.weather.station import (
    StationColumns,
    WeatherFileError,
    parse_columns,
    read_station,
)

__all__ = [
    "EARLY_SOURCE",
    "LATE_SOURCE",
    "STEPS",
    "Favoured",
    "StationColumns",
    "StationRecord",
    "Step",
    "WeatherFileError",
    "WeatherHour",
    "WetDay",
    "WetSince",
    "care_days",
    "early_value",
    "hyre_days",
    "hyre_favourable",
    "late_value",
    "parse_columns",
    "rain_since",
    "read_station",
    "step_of",
    "wet_days",
    "wet_since",
]
