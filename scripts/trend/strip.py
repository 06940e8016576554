"""A plant's season in the terminal: one line a visit, with sprays and rain between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from models.care.words import rain_words
from models.entries import LogEntry
from models.progress import ProgressCurve, SeverityPoint
from scripts.trend.words import day_words, mark

__all__ = ["event_words", "nice_end", "strip"]

_ENDS = (1, 2, 5, 10, 20, 30, 40, 50, 60, 80, 100)
_LEFT = 17  # signs before the scale


@dataclass(frozen=True)
class _Scale:
    end_pct: float
    signs: int

    def place(self, severity_pct: float) -> int:
        return min(self.signs - 1, max(0, round(severity_pct / self.end_pct * (self.signs - 1))))


def nice_end(severity_pct: float) -> float:
    """Return a round end of a scale that holds a severity, percent."""
    return float(next((end for end in _ENDS if end >= severity_pct), 100))


def strip(
    curve: ProgressCurve, log: Sequence[LogEntry], units: str = "metric", width: int = 100
) -> list[str]:
    """Draw a plant's visits, one line each, time going down.

    Parameters
    ----------
    curve : ProgressCurve
        The plant.
    log : sequence of LogEntry
        Sprays, rain and removed leaves; those of other plants are passed over.
    units : {"metric", "US"}
        Of the rain.
    width : int
        Signs a line.
    """
    widest = max(_upper(point) for point in curve.points)
    # One wild interval must not press all else to the left; it is cut, with an arrow.
    tallest = max(point.severity_pct for point in curve.points)
    scale = _Scale(nice_end(min(widest, 2 * tallest + 1)), max(20, min(60, width - _LEFT - 2)))
    lines = [_head(curve, scale)]
    events = [entry for entry in log if not entry.plants or curve.plant in entry.plants]
    before = date.min
    for point in curve.points:
        lines += [
            _event_line(entry, units) for entry in events if before <= entry.at.date() < point.day
        ]
        lines.append(_visit_line(point, scale))
        before = point.day
    lines += [_event_line(entry, units) for entry in events if entry.at.date() >= before]
    return lines


def _upper(point: SeverityPoint) -> float:
    return point.severity_pct if point.interval_pct is None else point.interval_pct[1]


def _head(curve: ProgressCurve, scale: _Scale) -> str:
    title = f"{curve.plant} {mark(curve)}"
    half, end = f"{scale.end_pct / 2:g}", f"{scale.end_pct:g} %"
    ruler = [" "] * (scale.signs + len(end))
    for text, place in (("0", 0), (half, scale.signs // 2), (end, scale.signs - len(end))):
        ruler[place : place + len(text)] = text
    gap = "" if len(title) < _LEFT else "\n" + " " * _LEFT
    return f"{title.ljust(_LEFT)}{gap}{''.join(ruler).rstrip()}"


def _visit_line(point: SeverityPoint, scale: _Scale) -> str:
    cells = [" "] * scale.signs
    if point.interval_pct is not None:
        low, high = map(scale.place, point.interval_pct)
        cells[low : high + 1] = "─" * (high - low + 1)
        cells[low] = "├"
        cells[high] = "→" if point.interval_pct[1] > scale.end_pct else "┤"
    cells[scale.place(point.severity_pct)] = "●"
    return f"{day_words(point.day):>7} {point.severity_pct:5.1f} %  {''.join(cells).rstrip()}"


def _event_line(entry: LogEntry, units: str) -> str:
    return f"{day_words(entry.at.date()):>7}          {event_words(entry, units)}"


def event_words(entry: LogEntry, units: str = "metric") -> str:
    """Return a spray, rain or removed leaves as a few words."""
    match entry.kind:
        case "spray":
            return f"▽ {entry.product or 'spray'}"
        case "rain":
            return "☂ rain" if entry.amount is None else f"☂ rain {rain_words(entry.amount, units)}"
        case _:
            count = "" if entry.amount is None else f"{ceil(entry.amount)} "
            return f"✂ {count}leaves removed"
