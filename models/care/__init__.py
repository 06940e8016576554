"""What to do for each plant: statuses, tasks and the rules behind them.

Pure functions over the garden, its photos and its log. Nothing here reads a clock or a file: the
same record and the same ``now`` give the same plan.
"""

from models.care.burn_log import BadVerdictError, entry_of, verdict_of
from models.care.planning import Plan, plan
from models.care.records import (
    BurnVerdict,
    DayWeather,
    PlantStatus,
    Remark,
    Task,
)
from models.care.thresholds import CareSettingsError, Thresholds, thresholds_of

__all__ = [
    "BadVerdictError",
    "BurnVerdict",
    "CareSettingsError",
    "DayWeather",
    "Plan",
    "PlantStatus",
    "Remark",
    "Task",
    "Thresholds",
    "entry_of",
    "plan",
    "thresholds_of",
    "verdict_of",
]
