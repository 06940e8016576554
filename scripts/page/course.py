"""A plant's course as a drawing: visits with their intervals, sprays, rain, leaves and pickings.

Only places and words are worked out here; ``templates/parts.html`` draws them. The severity scale
is that of the trend's chart, by square roots: the step from 1 to 5 % matters more than that from
61 to 65 %.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt

from models.care.words import day_words, rain_words
from models.entries import LogEntry
from models.numerals import plain_number
from models.progress import SeverityPoint

__all__ = ["Course", "Event", "Tick", "Visited", "draw_course"]

WIDTH, HEIGHT = 360, 190
LEFT, RIGHT, TOP, BOTTOM = 34, 8, 24, 160
_TICKS = (0, 1, 5, 10, 20, 40, 60, 80, 100)
_RAIN_HEIGHT = 34
_LEAST_RAIN_HEIGHT = 4
_LABEL_ROOM = 46  # between the middles of two dates
_SHOWN = ("spray", "rain", "removed_leaves", "hand_pick")


@dataclass(frozen=True)
class Tick:
    """A place of a scale with its words."""

    at: float
    words: str


@dataclass(frozen=True)
class Visited:
    """A visit: its place, the ends of its interval, and the words that say it."""

    x: float
    y: float
    low_y: float
    high_y: float
    words: str


@dataclass(frozen=True)
class Event:
    """Something done or fallen: where, of which kind, how tall where it is rain, in words."""

    x: float
    kind: str
    words: str
    tall: float = 0.0


@dataclass(frozen=True)
class Course:
    """All that is drawn, in units of a drawing of `WIDTH` × `HEIGHT`.

    Attributes
    ----------
    words : str
        The drawing in a sentence, for those who do not see it.
    visits, events : tuple
        From left to right.
    across, up : tuple of Tick
        The scales of days and of percent.
    threshold_y : float or None
        Where the garden's threshold of "sick" lies; None outside the scale.
    """

    words: str
    visits: tuple[Visited, ...]
    events: tuple[Event, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    threshold_y: float | None
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = BOTTOM


@dataclass(frozen=True)
class _Scale:
    first: date
    days: int
    end_pct: float

    def x(self, day: date) -> float:
        room = WIDTH - RIGHT - LEFT - 12
        return round(LEFT + 6 + room * (day - self.first).days / self.days, 1)

    def y(self, severity_pct: float) -> float:
        share = min(1.0, sqrt(max(0.0, severity_pct) / self.end_pct))
        return round(BOTTOM - (BOTTOM - TOP) * share, 1)


def draw_course(
    plant: str,
    points: Sequence[SeverityPoint],
    log: Iterable[LogEntry],
    *,
    threshold_pct: float,
    units: str,
) -> Course:
    """Lay out a plant's course.

    Parameters
    ----------
    plant : str
        Its name; entries of other plants are passed over.
    points : sequence of SeverityPoint
        Its visits by day, at least one.
    log : iterable of LogEntry
        The garden's.
    threshold_pct : float
        Severity from which a plant counts as sick.
    units : {"metric", "US"}
        Of the rain.
    """
    first, last = points[0].day, points[-1].day
    tallest = max(_ends(point)[1] for point in points)
    end = next((tick for tick in _TICKS if tick >= max(tallest, 1.2 * threshold_pct)), 100)
    scale = _Scale(first, max(1, (last - first).days), float(end))
    shown = [
        entry
        for entry in log
        if entry.kind in _SHOWN
        and first <= entry.at.date() <= last
        and (not entry.plants or plant in entry.plants)
    ]
    most_rain = max((e.amount or 0.0 for e in shown if e.kind == "rain"), default=0.0)
    ticks = [tick for tick in _TICKS if tick <= end]
    inside = threshold_pct <= end
    return Course(
        words=_in_words(plant, points),
        visits=tuple(_visited(point, scale) for point in points),
        events=tuple(_event(entry, scale, most_rain, units) for entry in shown),
        across=tuple(_days(points, scale)),
        up=tuple(Tick(scale.y(tick), f"{tick} %" if tick == end else f"{tick}") for tick in ticks),
        threshold_y=scale.y(threshold_pct) if inside else None,
    )


def _ends(point: SeverityPoint) -> tuple[float, float]:
    return point.interval_pct or (point.severity_pct, point.severity_pct)


def _visited(point: SeverityPoint, scale: _Scale) -> Visited:
    low, high = _ends(point)
    leaves = "1 leaf" if point.leaf_count == 1 else f"{point.leaf_count} leaves"
    words = (
        f"{day_words(point.day)}: {point.severity_pct:.1f} % ({low:.1f} to {high:.1f}), {leaves}"
    )
    return Visited(
        scale.x(point.day), scale.y(point.severity_pct), scale.y(low), scale.y(high), words
    )


def _event(entry: LogEntry, scale: _Scale, most_rain: float, units: str) -> Event:
    x, when = scale.x(entry.at.date()), day_words(entry.at.date())
    count = plain_number(entry.amount, 4) if entry.amount is not None else ""
    match entry.kind:
        case "rain":
            share = (entry.amount or 0.0) / most_rain if most_rain else 0.0
            fell = f" {rain_words(entry.amount, units)}" if entry.amount is not None else ""
            tall = max(_LEAST_RAIN_HEIGHT, round(_RAIN_HEIGHT * share, 1))
            return Event(x, "rain", f"{when}: rain{fell}", tall)
        case "spray":
            return Event(x, "spray", f"{when}: sprayed {entry.product}")
        case "hand_pick":
            return Event(x, "pick", f"{when}: {count} caterpillars picked")
        case _:
            return Event(x, "leaves", f"{when}: {count} leaves taken off")


def _days(points: Sequence[SeverityPoint], scale: _Scale) -> Iterable[Tick]:
    """Yield the days of visits between which there is room, the last one always."""
    last = Tick(scale.x(points[-1].day), _short(points[-1].day))
    right = -float(_LABEL_ROOM)
    for point in points[:-1]:
        x = scale.x(point.day)
        if x - right >= _LABEL_ROOM and last.at - x >= _LABEL_ROOM:
            right = x
            yield Tick(x, _short(point.day))
    yield last


def _short(day: date) -> str:
    return day_words(day).split(" ", 1)[1]


def _in_words(plant: str, points: Sequence[SeverityPoint]) -> str:
    first, last = points[0], points[-1]
    if first is last:
        return f"{plant}, {day_words(last.day)}: {last.severity_pct:.1f} % sick."
    return (
        f"{plant} from {day_words(first.day)} to {day_words(last.day)}: from "
        f"{first.severity_pct:.1f} % to {last.severity_pct:.1f} % sick, in {len(points)} visits."
    )
