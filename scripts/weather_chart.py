"""Weather risk beside severity, on one axis of days."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from vision.drawing import BLACK, BLUE, ORANGE, VERMILLION, Colour

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["RiskCourse", "draw_risk", "weather_chart"]

_LOOKS: tuple[tuple[Colour, str, str], ...] = ((BLUE, "-", "s"), (ORANGE, "--", "^"))


@dataclass(frozen=True)
class RiskCourse:
    """The sums of one table of risk.

    Attributes
    ----------
    name : str
        For the legend.
    sums : tuple of (date, int)
        Severity values added up to each day.
    limit : int
        From here on it is time to photograph every plant.
    """

    name: str
    sums: tuple[tuple[date, int], ...]
    limit: int


def _hex(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def draw_risk(
    axes: "Axes", courses: Sequence[RiskCourse], forecast_from: date | None = None
) -> None:
    """Draw courses of risk into axes whose x axis is in days, such as below a severity chart.

    Each course has a colour, a line and a sign of its own, and a thin line at its limit. What
    follows from a forecast lies on a hatched ground.
    """
    for course, (colour, line, sign) in zip(courses, _LOOKS, strict=False):
        days, totals = zip(*course.sums, strict=True) if course.sums else ((), ())
        hue = _hex(colour)
        axes.plot(
            days,
            totals,
            drawstyle="steps-post",
            color=hue,
            linestyle=line,
            marker=sign,
            markersize=3,
            label=course.name,
        )
        axes.axhline(course.limit, linewidth=0.8, color=hue, linestyle=line)
        axes.annotate(
            f"photograph from {course.limit} on",
            (0.55, course.limit),
            xycoords=("axes fraction", "data"),
            ha="center",
            va="bottom",
            fontsize=7,
        )
    if forecast_from is not None:
        last = max((day for course in courses for day, _ in course.sums), default=forecast_from)
        begin, end = (_number(day) for day in (forecast_from, last + timedelta(days=1)))
        look: dict[str, Any] = {"facecolor": "none", "edgecolor": "0.7", "hatch": "//"}
        axes.axvspan(begin, end, label="forecast", zorder=0, **look)
    highest = max((course.limit for course in courses), default=1)
    axes.set(ylabel="risk of the weather\n(sum of daily values)", ylim=(0, None))
    axes.set_ylim(top=max(axes.get_ylim()[1], 1.15 * highest))
    axes.legend(loc="center left", fontsize=7)


def _number(day: date) -> float:
    from matplotlib.dates import date2num

    return float(date2num(day))  # type: ignore[no-untyped-call]


def weather_chart(
    courses: Sequence[RiskCourse],
    severities: Sequence[tuple[datetime, float]] = (),
    forecast_from: date | None = None,
    kind: str = "png",
) -> bytes:
    """Return a chart of severity above and risk below, over the same days.

    Parameters
    ----------
    courses : sequence of RiskCourse
        At most two.
    severities : sequence of (datetime, float)
        Severity of each photo, percent.
    forecast_from : date, optional
        First day of the forecast.
    kind : {"png", "svg"}
        Format.
    """
    from matplotlib import dates
    from matplotlib.figure import Figure

    figure: Figure = Figure(figsize=(7.2, 5.0), dpi=120, layout="constrained")
    below: Any = figure.subplots(2 if severities else 1, 1, sharex=True)
    if severities:
        above, below = below
        days = [when.replace(tzinfo=None) for when, _ in severities]
        shown = [value for _, value in severities]
        above.plot(days, shown, "o", color=_hex(VERMILLION), markeredgecolor=_hex(BLACK))
        above.set(ylabel="severity, % of the leaf area", ylim=(0, None))
        above.set_title("Severity of each photo, and what the weather favoured")
    draw_risk(below, courses, forecast_from)
    locator: Any = dates.AutoDateLocator()  # type: ignore[no-untyped-call]
    below.xaxis.set_major_locator(locator)
    below.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    picture = io.BytesIO()
    figure.savefig(picture, format=kind)
    return picture.getvalue()
