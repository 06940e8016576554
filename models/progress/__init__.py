"""Severity over time: whether a plant gets worse, how fast, and how sure that is."""

from models.progress.areas import CourseArea, course_area
from models.progress.course import Course, Line, judge_course, recent_points
from models.progress.curve import Change, Doubling, ProgressCurve, progress_curve
from models.progress.effect import Effect, judge_spray
from models.progress.garden_visits import GardenVisits, garden_visits, summed_visits
from models.progress.leaves import LeafTable, leaf_table
from models.progress.points import SeverityPoint, VisitSum, sum_visit
from models.progress.rates import MODELS, RateFit, doubling_days, fit_rate
from models.progress.threshold import DaysTo, days_to

__all__ = [
    "MODELS",
    "Change",
    "Course",
    "CourseArea",
    "DaysTo",
    "Doubling",
    "Effect",
    "GardenVisits",
    "LeafTable",
    "Line",
    "ProgressCurve",
    "RateFit",
    "SeverityPoint",
    "VisitSum",
    "course_area",
    "days_to",
    "doubling_days",
    "fit_rate",
    "garden_visits",
    "judge_course",
    "judge_spray",
    "leaf_table",
    "progress_curve",
    "recent_points",
    "sum_visit",
    "summed_visits",
]
