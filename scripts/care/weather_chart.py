"""Strips of days: how long leaves were wet, what that favoured, and the looks between them."""

import io
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from models.weather import STEPS, WetDay
from scripts.trend.words import day_words
from vision.drawing import BLUE, ORANGE, SKY_BLUE, VERMILLION, Colour

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["weather_chart"]

_SIZES = {"little": 12, "some": 48, "much": 120}  # of a day's square, points²
_STRIPS = ("early blight,\nleaf spot", "late blight")


def _hex(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


_FILLS = {"little": "0.6", "some": _hex(ORANGE), "much": _hex(VERMILLION)}


def weather_chart(
    days: Sequence[WetDay], looks: Sequence[tuple[datetime, float]] = (), kind: str = "png"
) -> bytes:
    """Return a chart of looks, wet hours and what they favoured, over the same days.

    Parameters
    ----------
    days : sequence of WetDay
        From noon to noon.
    looks : sequence of (datetime, float)
        When each photo was taken, and its severity, percent. Photos from before the first day are
        left out.
    kind : {"png", "svg"}
        Format.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({"font.size": 11, "svg.hashsalt": "weather"}):
        looks = [one for one in looks if days and one[0].date() >= days[0].day]
        heights = [3.0, 2.4, 1.5] if looks else [2.4, 1.5]
        figure: Figure = Figure(figsize=(6.4, 1.6 * len(heights) + 2.2), dpi=120)
        figure.set_layout_engine("constrained")
        *above, wet, strips = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights)
        for axes in above:
            _draw_looks(axes, looks)
        _draw_wet_hours(wet, days)
        _draw_strips(strips, days)
        for axes in (*above, wet, strips):
            _hatch_forecast(axes, days, "forecast" if axes is strips else None)
            axes.spines[["top", "right"]].set_visible(False)
        _name_days(strips)
        figure.suptitle("How long leaves were wet, and what that favoured", fontsize=12)
        figure.legend(loc="outside lower center", ncols=2, frameon=False)
        picture = io.BytesIO()
        figure.savefig(picture, format=kind)
    return picture.getvalue()


def _draw_looks(axes: "Axes", looks: Sequence[tuple[datetime, float]]) -> None:
    at: Any = [when.replace(tzinfo=None) for when, _ in looks]
    shown = [severity for _, severity in looks]
    axes.plot(at, shown, "o", color=_hex(BLUE), markersize=5, label="one photo of a plant")
    axes.set(ylabel="severity,\n% of the leaf", ylim=(0, None))


def _draw_wet_hours(axes: "Axes", days: Sequence[WetDay]) -> None:
    known = [(_middle(day.day), day.wet_hours) for day in days if day.wet_hours is not None]
    at: Any = [middle for middle, _ in known]
    axes.bar(
        at,
        [hours for _, hours in known],
        width=0.8,
        color=_hex(SKY_BLUE),
        edgecolor=_hex(BLUE),
        label="hours with wet leaves, noon to noon",
    )
    axes.set(ylabel="hours wet", ylim=(0, 24), yticks=(0, 6, 12, 18, 24))


def _draw_strips(axes: "Axes", days: Sequence[WetDay]) -> None:
    """Draw a square a day and disease: the more was favoured, the larger and the warmer."""
    for step in STEPS:
        at: list[Any] = []
        row: list[int] = []
        for day in days:
            hit = [n for n, found in enumerate((day.early, day.late)) if found == step]
            at += [_middle(day.day)] * len(hit)
            row += hit
        axes.scatter(
            at,
            row,
            s=_SIZES[step],
            c=_FILLS[step],
            marker="s",
            edgecolors="black",
            linewidths=0.6,
            label=f"favoured {step}",
        )
    axes.set(yticks=(0, 1), yticklabels=_STRIPS, ylim=(1.6, -0.6))
    axes.tick_params(axis="y", length=0)


def _middle(day: date) -> datetime:
    """Return the midnight in the middle of a day that ends at noon."""
    return datetime.combine(day, time())


def _hatch_forecast(axes: "Axes", days: Sequence[WetDay], label: str | None) -> None:
    """Hatch the ground on which forecast days stand."""
    ahead: Any = [_middle(day.day) for day in days if day.forecast]
    if ahead:
        half = timedelta(hours=12)
        look: dict[str, Any] = {"facecolor": "none", "edgecolor": "0.75", "hatch": "//"}
        axes.axvspan(ahead[0] - half, ahead[-1] + half, label=label, zorder=0, **look)


def _name_days(axes: "Axes") -> None:
    from matplotlib import dates, ticker

    locator: Any = dates.AutoDateLocator(minticks=3, maxticks=7)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(
        ticker.FuncFormatter(lambda day, _: day_words(dates.num2date(day)))  # type: ignore[no-untyped-call]
    )
