"""Charts of a season: one panel a plant, with sprays and rain where they fell."""

import io
import textwrap
from collections.abc import Sequence
from datetime import datetime, time, timedelta
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np

from models.care.words import rain_words
from models.entries import LogEntry
from models.progress import ProgressCurve
from models.progress.course import recent_line_pct
from scripts.common.letters import families, legible
from scripts.trend.read import Trend
from scripts.trend.strip import nice_end
from scripts.trend.words import day_words, mark

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["MOST_PANELS", "draw_trend"]

MOST_PANELS = 24
"""Plants drawn, those that rise first; more would be too small to read."""

BLUE, VERMILLION, ORANGE, SKY, GREEN, BLACK = (
    *("#0072B2", "#D55E00", "#E69F00", "#56B4E9", "#009E73", "#000000"),
)  # Okabe & Ito 2008

_COLOURS = {"rising": VERMILLION, "level": BLUE, "falling": GREEN, "cannot tell": BLACK}
_LINES: dict[str, Any] = {"rising": "-", "level": "--", "falling": "-.", "cannot tell": ":"}
_SCALE = "severity, % of the leaf; square-root scale, so small steps show"
_TICKS = (0, 1, 5, 10, 20, 40, 60, 80, 100)
_PANEL_IN = (2.1, 1.75)  # three across: readable on a phone, 390 pixels wide
_MOST_ACROSS = 3
_TITLE_SIGNS = 60
_REMOVED: Any = (0, (1, 1.5))
_RAIN_HEIGHT = 0.2  # of a panel, for the heaviest rain


def draw_trend(trend: Trend, dpi: int = 130) -> dict[str, bytes]:
    """Draw the season.

    Parameters
    ----------
    trend : Trend
        The season.
    dpi : int
        Pixels an inch of the PNG.

    Returns
    -------
    dict of str to bytes
        ``trend.png`` and ``trend.svg``.
    """
    from matplotlib import rc_context

    # A fixed salt gives the same SVG for the same season.
    with rc_context(
        {"svg.hashsalt": "trend", "font.size": 10, "font.family": families(_words(trend))}
    ):
        figure = _figure(trend)
        files = {}
        for ending in ("png", "svg"):
            data = io.BytesIO()
            metadata = {"Date": None} if ending == "svg" else {"Software": None}
            figure.savefig(data, format=ending, dpi=dpi, metadata=metadata)
            files[f"trend.{ending}"] = data.getvalue()
    return files


def _figure(trend: Trend) -> "Figure":
    from matplotlib.figure import Figure

    curves = trend.curves[:MOST_PANELS]
    across = min(_MOST_ACROSS, len(curves)) if len(curves) > 2 else 1
    down = ceil(len(curves) / across)
    panel = _PANEL_IN if across > 1 else (_MOST_ACROSS * _PANEL_IN[0], 3.0)
    figure = Figure(figsize=(panel[0] * across, panel[1] * down + 1.6), layout="constrained")
    panels = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
    end = _end(curves, trend.threshold_pct)
    for number, curve in enumerate(curves):
        _draw_plant(panels.flat[number], curve, trend, end)
    for unused in panels.flat[len(curves) :]:
        unused.set_visible(False)
    _days_axis(panels, trend, len(curves))
    figure.supylabel(_SCALE if down > 1 else _SCALE.replace("; ", ";\n"), fontsize=10)
    figure.suptitle(_title(trend, len(curves)), fontsize=11)
    figure.legend(
        *_legend(trend),
        loc="outside lower center",
        ncols=2,
        frameon=False,
        handlelength=3.0,
    )
    return figure


def _words(trend: Trend) -> str:
    """Return all that others named, for which the chart needs letters."""
    products = [entry.product or "" for entry in trend.log]
    return "".join([trend.garden.name, *(curve.plant for curve in trend.curves), *products])


def _title(trend: Trend, shown: int) -> str:
    days = f"{day_words(trend.first_day)} to {day_words(trend.last_day)} {trend.last_day.year}"
    part = f", {shown} of {len(trend.curves)} plants" if shown < len(trend.curves) else ""
    name = textwrap.shorten(legible(trend.garden.name), _TITLE_SIGNS, placeholder=" …")
    return f"{name}\nsick share of the leaves, {days}{part}"


def _end(curves: Sequence[ProgressCurve], threshold_pct: float) -> float:
    """Return the common end of the severity axes: one wild interval must not flatten all."""
    tallest = max(point.severity_pct for curve in curves for point in curve.points)
    widest = max((point.interval_pct or (0, 0))[1] for curve in curves for point in curve.points)
    return nice_end(max(min(widest, 1.5 * tallest), 1.3 * threshold_pct))


def _draw_plant(axes: "Axes", curve: ProgressCurve, trend: Trend, end: float) -> None:
    events = [entry for entry in trend.log if not entry.plants or curve.plant in entry.plants]
    _draw_rain(axes, events, trend.log)
    _draw_sprays(axes, events)
    _draw_removed_leaves(axes, events)
    _draw_recent_line(axes, curve)
    _draw_visits(axes, curve)
    axes.axhline(trend.threshold_pct, color=BLACK, linewidth=0.7, linestyle=(0, (1, 3)))
    direction = curve.course.direction
    axes.set_title(
        f"{legible(curve.plant)}  {mark(curve)}",
        color=BLACK if curve.gone else _COLOURS[direction],
        fontsize=11,
        fontweight="bold",
    )
    # A square-root scale: the step from 1 to 5 % matters more than that from 61 to 65 %.
    axes.set_yscale("function", functions=(_root, np.square))
    axes.set_yticks([tick for tick in _TICKS if tick <= end])
    axes.set_yticklabels([f"{tick}" for tick in _TICKS if tick <= end])
    axes.set_ylim(0, end)
    axes.grid(axis="y", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _root(severity_pct: Any) -> Any:  # noqa: ANN401  whatever Matplotlib asks for
    return np.sqrt(np.maximum(severity_pct, 0))


def _draw_visits(axes: "Axes", curve: ProgressCurve) -> None:
    days = [point.day for point in curve.points]
    severity = np.array([point.severity_pct for point in curve.points])
    ends = [point.interval_pct or 2 * (point.severity_pct,) for point in curve.points]
    low, high = np.array(ends).T
    axes.errorbar(
        days,  # type: ignore[arg-type]  # Matplotlib takes dates
        severity,
        yerr=np.maximum([severity - low, high - severity], 0),
        fmt="o-",
        color=BLUE,
        ecolor=BLUE,
        elinewidth=1,
        capsize=2,
        markersize=4,
        linewidth=1,
        zorder=3,
    )


def _goes(curve: ProgressCurve, direction: str) -> bool:
    """Whether a line of this direction is drawn for a plant."""
    course = curve.course
    return course.direction == direction and course.line is not None and not curve.gone


def _draw_recent_line(axes: "Axes", curve: ProgressCurve) -> None:
    """Draw the line by which the direction was judged, bent back from the logit scale."""
    course = curve.course
    if course.line is None or curve.gone:
        return
    back = np.linspace((course.first_day - course.last_day).days, 0, 40)
    height = recent_line_pct(course, back)
    last = datetime.combine(course.last_day, time())
    axes.plot(
        [last + timedelta(days=float(day)) for day in back],  # type: ignore[arg-type]
        height,
        color=_COLOURS[course.direction],
        linestyle=_LINES[course.direction],
        linewidth=2.6,
        alpha=0.65,
        zorder=2,
    )


def _draw_sprays(axes: "Axes", events: Sequence[LogEntry]) -> None:
    for entry in events:
        if entry.kind == "spray":
            day = entry.at.date()
            axes.axvline(day, color=ORANGE, linestyle="--", linewidth=1.2, zorder=1)  # type: ignore[arg-type]
            axes.annotate(
                f"▼{(entry.product or 'spray')[:1].upper()}",
                (day, 1.0),
                xycoords=("data", "axes fraction"),
                ha="center",
                va="top",
                fontsize=9,
                color=BLACK,
            )


def _draw_removed_leaves(axes: "Axes", events: Sequence[LogEntry]) -> None:
    """Mark where severity may fall by itself, since sick leaves came off."""
    for entry in events:
        if entry.kind == "removed_leaves":
            day: Any = entry.at.date()
            axes.axvline(day, color="0.5", linestyle=_REMOVED, linewidth=1.0, zorder=1)
            axes.annotate(
                "✂", (day, 0.88), xycoords=("data", "axes fraction"), ha="center", va="top",
                fontsize=9, color=BLACK,
            )  # fmt: skip


def _draw_rain(axes: "Axes", events: Sequence[LogEntry], log: Sequence[LogEntry]) -> None:
    """Draw rain as bars that hang from the top, the heaviest of the season longest."""
    rain = [entry for entry in events if entry.kind == "rain"]
    most = max((entry.amount or 0.0 for entry in log if entry.kind == "rain"), default=0.0)
    for entry in rain:
        share = (entry.amount or 0.0) / most if most else 0.0
        axes.bar(
            entry.at.date(),  # type: ignore[arg-type]
            -max(0.03, _RAIN_HEIGHT * share),
            bottom=1.0,
            width=0.9,
            transform=axes.get_xaxis_transform(),
            color=SKY,
            edgecolor=BLUE,
            hatch="///",
            linewidth=0.4,
            zorder=0,
        )


def _days_axis(panels: Any, trend: Trend, count: int) -> None:  # noqa: ANN401  an array of Axes
    from matplotlib import dates, ticker

    library: Any = dates  # its functions are not typed

    first, last = trend.first_day - timedelta(days=2), trend.last_day + timedelta(days=2)
    for number, axes in enumerate(panels.flat[:count]):
        axes.set_xlim(first, last)
        axes.xaxis.set_major_locator(library.AutoDateLocator(minticks=2, maxticks=3))
        axes.xaxis.set_major_formatter(
            ticker.FuncFormatter(lambda day, _: day_words(library.num2date(day)))
        )
        below = number + panels.shape[1] < count
        axes.tick_params(axis="x", labelbottom=not below, labelsize=9)


def _legend(trend: Trend) -> tuple[list[Any], list[str]]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    entries: list[tuple[Any, str]] = [
        (Line2D([], [], color=BLUE, marker="o", markersize=4), "mean, 95 % interval")
    ]
    entries += [
        (Line2D([], [], color=_COLOURS[name], linestyle=_LINES[name], linewidth=2.6), name)
        for name in _LINES
        if any(_goes(c, name) for c in trend.curves[:MOST_PANELS])
    ]
    dotted = Line2D([], [], color=BLACK, linewidth=0.7, linestyle=(0, (1, 3)))
    entries.append((dotted, f"{trend.threshold_pct:g} %"))
    products = dict.fromkeys(e.product or "spray" for e in trend.log if e.kind == "spray")
    if products:
        dashed = Line2D([], [], color=ORANGE, linestyle="--", linewidth=1.2)
        names = ", ".join(f"{product[:1].upper()} {legible(product)}" for product in products)
        entries.append((dashed, f"spray ({names})"))
    if any(e.kind == "removed_leaves" for e in trend.log):
        dots = Line2D([], [], color="0.5", linestyle=_REMOVED, linewidth=1.0)
        entries.append((dots, "✂ leaves taken off"))
    rain = [e.amount for e in trend.log if e.kind == "rain" and e.amount]
    if any(e.kind == "rain" for e in trend.log):
        most = f", longest {rain_words(max(rain), trend.garden.units)}" if rain else ""
        patch = Patch(facecolor=SKY, edgecolor=BLUE, hatch="///", linewidth=0.4)
        entries.append((patch, f"rain{most}"))
    return [handle for handle, _ in entries], [label for _, label in entries]
