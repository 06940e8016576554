"""A season's courses in plain sentences."""

from collections.abc import Sequence
from datetime import date
from math import exp

from models.care.words import DIRECTION_SIGNS
from models.numerals import counted
from models.progress import Course, DaysTo, ProgressCurve
from models.progress.course import HARDLY_SICK_PCT
from models.progress.curve import Change, Doubling
from scripts.trend.read import Trend

__all__ = [
    "GONE",
    "day_words",
    "growth_pct",
    "heading",
    "mark",
    "plant_words",
    "rate_words",
    "signed",
    "table_lines",
]


GONE = "taken out"
"""What stands where a direction would, of a plant that is gone."""

NO_GREEN_PCT = 90.0
FALLS = "severity falls only where sick leaves come off or new leaves outgrow them"


def mark(curve: ProgressCurve) -> str:
    """Return where a plant is going as a word with its sign, such as ``▲ rising``."""
    if curve.gone:
        return f"× {GONE}"
    direction = curve.course.direction
    return f"{DIRECTION_SIGNS[direction]} {direction}"


def day_words(day: date) -> str:
    """Return a day for people, without the year: ``3 Jul``."""
    return f"{day.day} {day:%b}"


def growth_pct(rate_per_day: float) -> float:
    """Return by how much a rate makes the sick share grow a day while it is small, percent."""
    return 100 * (exp(rate_per_day) - 1)


def rate_words(rate_per_day: float) -> str:
    """Return a rate as growth a day, such as ``+9 %``."""
    growth = growth_pct(rate_per_day)
    return f"{signed(growth, 0 if abs(growth) >= 1 else 1)} %"


def signed(value: float, decimals: int = 0) -> str:
    """Return a number with its sign, none where it is rounded to 0.

    >>> signed(-0.4), signed(3.26, 1)
    ('0', '+3.3')
    """
    text = f"{value:+.{decimals}f}"
    return text.replace("-", "−") if any(sign in "123456789" for sign in text) else text[1:]


def heading(trend: Trend) -> str:
    """Return what the trend rests on."""
    points = [point for curve in trend.curves for point in curve.points]
    leaves = sum(point.leaf_count for point in points)
    return (
        f"{trend.garden.name}, {day_words(trend.first_day)} to {day_words(trend.last_day)} "
        f"{trend.last_day.year}: {counted(len(trend.curves), 'plant')}, "
        f"{counted(len(points), 'visit')}, {counted(leaves, 'leaf', 'leaves')}"
    )


def plant_words(curve: ProgressCurve, notes: Sequence[str] = ()) -> list[str]:
    """Return what is to be said of one plant, sentence by sentence."""
    said = [f"{curve.plant} was taken out; until then:"] if curve.gone else []
    said.append(_course_words(curve))
    said += notes
    if curve.points[-1].severity_pct >= NO_GREEN_PCT:
        said.append("Hardly any green is left on its leaves, so it can hardly grow sicker.")
    if curve.to_threshold and curve.course.direction != "cannot tell":
        said += _days_words(curve.to_threshold, curve.course)
    if curve.since_last:
        said.append(_change_words(curve.since_last))
    if curve.area:
        said.append(_area_words(curve))
    return said


def _course_words(curve: ProgressCurve) -> str:
    course, last = curve.course, curve.points[-1]
    rests = (
        f"{counted(course.visits, 'visit')} from {day_words(course.first_day)} to "
        f"{day_words(course.last_day)}, {counted(course.leaves, 'leaf', 'leaves')}"
    )
    first = next(point for point in curve.points if point.day == course.first_day)
    from_to = f"from {first.severity_pct:.1f} to {last.severity_pct:.1f} % ({rests})"
    line = course.line
    if line is None:
        return f"{curve.plant}: cannot tell: {course.reason} (now {last.severity_pct:.1f} %)."
    interval = f"{rate_words(line.low_per_day)} to {rate_words(line.high_per_day)} a day"
    if course.direction == "cannot tell":
        return (
            f"{curve.plant}: cannot tell: {course.reason}, {from_to}. The growth lies anywhere "
            f"from {interval}; further walks narrow it."
        )
    if course.direction == "level":
        hardly = last.severity_pct < HARDLY_SICK_PCT and first.severity_pct < HARDLY_SICK_PCT
        sick = f", hardly sick (below {HARDLY_SICK_PCT:g} %)" if hardly else ""
        return f"{curve.plant} is level{sick}: {from_to}; growth {interval}."
    if course.direction == "falling":
        return f"{curve.plant} is falling: {from_to}; {interval}. {FALLS.capitalize()}."
    return f"{curve.plant} is rising: {from_to}; {interval}{_doubling_words(curve.doubling)}."


def _doubling_words(doubling: Doubling | None) -> str:
    if doubling is None or doubling.days is None:
        return ""
    return (
        f", doubling in {_days_range(doubling.days, doubling.fastest_days, doubling.slowest_days)}"
    )


def _days_range(days: float, low: float | None, high: float | None) -> str:
    first = "0" if low is None else f"{low:.0f}"
    if high is None or high > 365:
        return f"{days:.0f} days ({first} or more)"
    return f"{days:.0f} days ({first} to {high:.0f})"


def _days_words(found: DaysTo, course: Course) -> list[str]:
    goal = f"{found.threshold_pct:g} %"
    if found.latest_days == 0:
        return [f"It is above {goal} already."]
    if found.days is None:
        if course.direction == "rising":
            return [f"At this pace it does not reach {goal} this season."]
        return []
    if found.days == 0:
        return [f"It is at about {goal} already."]
    return [
        f"At this pace it reaches {goal} in "
        f"{_days_range(found.days, found.earliest_days, found.latest_days)} from the last visit."
    ]


def _change_words(change: Change) -> str:
    since = f"In the {counted(change.days, 'day')} since the visit before"
    words = f"{since}: {signed(change.points, 1)} points"
    if change.low_points is not None and change.high_points is not None:
        ends = f"{signed(change.low_points, 1)} to {signed(change.high_points, 1)}"
        sure = change.low_points > 0 or change.high_points < 0
        meaning = "more than chance" if sure else "which may be the choice of leaves alone"
        words += f" ({ends}), {meaning}"
    if change.lesions_per_leaf is not None:
        words += f"; {signed(change.lesions_per_leaf)} lesions a leaf"
    return words + "."


def _area_words(curve: ProgressCurve) -> str:
    area = curve.area
    if area is None:
        return ""
    words = (
        f"Since {day_words(curve.points[0].day)}: {area.standardised_audpc:.1f} % on average, "
        f"area under the course {area.audpc:.0f} percent-days (stairs {area.audps:.0f})"
    )
    logistic = next((fit for fit in curve.rates if fit.model == "logistic"), None)
    if logistic and logistic.standard_error_per_day is not None:
        words += (
            f"; logistic rate {signed(logistic.rate_per_day, 3)} ± "
            f"{logistic.standard_error_per_day:.3f} a day"
        )
    return words + "."


def table_lines(trend: Trend) -> list[str]:
    """Return all plants as a table, one line each, those that rise first."""
    width = max(len("plant"), *(len(curve.plant) for curve in trend.curves))
    goal = f"to {trend.threshold_pct:g} %"
    head = (
        f"{'plant'.ljust(width)}  last visit  severity (95 % interval)  direction      growth a day"
    )
    return [
        f"{head}         {goal}",
        *(_table_line(curve, width) for curve in trend.curves),
    ]


def _table_line(curve: ProgressCurve, width: int) -> str:
    point, line = curve.points[-1], curve.course.line
    ends = point.interval_pct
    interval = "" if ends is None else f" ({ends[0]:.1f} to {ends[1]:.1f})"
    growth = (
        ""
        if line is None
        else f"{rate_words(line.rate_per_day)} ({_percent(line.low_per_day)} to "
        f"{_percent(line.high_per_day)})"
    )
    cells = (
        f"{curve.plant.ljust(width)}  {day_words(point.day):>10}",
        f"{point.severity_pct:5.1f} %{interval}".ljust(24),
        mark(curve).ljust(13),
        "" if curve.gone else growth.ljust(19),
        "" if curve.gone else _goal_words(curve),
    )
    return "  ".join(cells).rstrip()


def _percent(rate_per_day: float) -> str:
    return rate_words(rate_per_day).removesuffix(" %")


def _goal_words(curve: ProgressCurve) -> str:
    found = curve.to_threshold
    if found is None or (curve.course.direction == "cannot tell" and found.latest_days != 0):
        return ""
    if found.days is None:
        return "not foreseen"
    return "reached" if found.days == 0 else f"in {found.days:.0f} days"
