"""Weather of the garden: a station's file, and published tables of how it favours diseases."""

from models.weather.days import care_days, hyre_days, rain_since, risk_days
from models.weather.records import RiskDay, StationRecord, WeatherHour
from models.weather.severity_values import (
    EARLY_FIRST,
    EARLY_NEXT,
    EARLY_SOURCE,
    LATE_FIRST,
    LATE_SOURCE,
    RiskSum,
    add_up,
    early_value,
    hyre_favourable,
    late_value,
)
from models.weather.station import (
    StationColumns,
    WeatherFileError,
    parse_columns,
    read_station,
)
from models.weather.wash_off import residue_share, wash_off_words

__all__ = [
    "EARLY_FIRST",
    "EARLY_NEXT",
    "EARLY_SOURCE",
    "LATE_FIRST",
    "LATE_SOURCE",
    "RiskDay",
    "RiskSum",
    "StationColumns",
    "StationRecord",
    "WeatherFileError",
    "WeatherHour",
    "add_up",
    "care_days",
    "early_value",
    "hyre_days",
    "hyre_favourable",
    "late_value",
    "parse_columns",
    "rain_since",
    "read_station",
    "residue_share",
    "risk_days",
    "wash_off_words",
]
