"""A plant's course as an inline picture: severity with intervals, and what happened meanwhile.

Plain SVG, drawn by us: it needs no script, opens offline, prints, and is readable at 360 pixels
across. Colours stand as attributes, so that a look's style sheet may set others by the classes.
Every kind of mark has its own form, line or lane beside its colour, and a title in words.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, sqrt

from markupsafe import Markup, escape

from models.care.mornings import rain_on
from models.care.season import Season, concerns
from models.care.visits import NightLook
from models.care.words import DIRECTION_SIGNS, day_words, joined, rain_words, short_day_words
from models.entries import LogEntry
from models.numerals import counted
from models.progress import ProgressCurve, SeverityPoint
from models.progress.course import Course, recent_line_pct
from scripts.trend.strip import event_words, nice_end
from vision.photo.find import printable

__all__ = [
    "COURSE_KEY",
    "CoursePicture",
    "course_picture",
    "course_svg",
    "course_words",
    "severity_words",
]

COURSE_KEY = (
    "Dots: mean of the leaves of a visit, with its 95 % interval; hollow where all photos of that "
    "day are flagged. Thick line: the last visits, by which the direction is judged. Fine dotted "
    "line: the severity from which a plant counts as sick. The scale is that of square roots, so "
    "that small steps show. Below: ▼ sprays, by the first letter of their product; bars, rain, the "
    "longest written out; rings, caterpillars counted at night; squares, caterpillars picked; − "
    "leaves taken off."
)
"""What the marks mean, to be said once beside the pictures."""

_WIDE = 340.0
_LEFT, _RIGHT, _TOP, _PLOT = 54.0, 10.0, 10.0, 132.0
_GAP, _LANE, _AXIS = 8.0, 22.0, 20.0  # heights below the plot
_RAIN_WORDS = 52.0  # across
_CUT = 5.0  # of an arrow where an interval is cut
_TICKS = (0, 1, 5, 10, 20, 40, 60, 80, 100)
_LEAST_GAP = 13.0  # between the numbers of the scale
_STEPS = (1, 2, 7, 14, 28, 56, 112, 224)  # days between the dates of the axis
_MOST_DATES = 5
_SHORTEST = 6  # days across, so that a single visit does not fill the picture

BLUE, VERMILLION, ORANGE, SKY, GREEN = "#0072B2", "#D55E00", "#E69F00", "#56B4E9", "#009E73"
_DIRECTIONS: Mapping[str, tuple[str, str]] = {
    "rising": (VERMILLION, "none"),
    "level": (BLUE, "8 4"),
    "falling": (GREEN, "8 3 2 3"),
    "cannot tell": ("currentColor", "2 3"),
}
"""Colour and dashes of the line for each direction, from the palette of Okabe and Ito (2008)."""


@dataclass(frozen=True)
class CoursePicture:
    """All that is drawn of one plant.

    Attributes
    ----------
    plant : str
        Its name.
    points : tuple of SeverityPoint
        Its visits, by day; may be empty.
    course : Course or None
        Where it is going; None without a measured visit, or for a plant that was taken out.
    log : tuple of LogEntry
        What was done to it, by time.
    rain : mapping of date to str
        Days with rain, each in words.
    rain_mm : mapping of date to float
        The same days' rain.
    nights : tuple of NightLook
        Counts of caterpillars.
    doubtful : frozenset of date
        Days of which all photos are flagged.
    first, last : date
        Ends of the time axis.
    threshold_pct : float
        From which a plant counts as sick.
    end_pct : float
        End of the severity axis.
    """

    plant: str
    points: tuple[SeverityPoint, ...]
    course: Course | None
    log: tuple[LogEntry, ...]
    rain: Mapping[date, str]
    rain_mm: Mapping[date, float]
    nights: tuple[NightLook, ...]
    doubtful: frozenset[date]
    first: date
    last: date
    threshold_pct: float
    end_pct: float

    @property
    def shows_anything(self) -> bool:
        """Whether anything is known of the plant itself; rain alone falls on every plant."""
        return bool(self.points or self.log or self.nights)


def course_picture(
    season: Season,
    plant: str,
    curve: ProgressCurve | None,
    curves: Iterable[ProgressCurve] = (),
) -> CoursePicture:
    """Gather what is drawn of a plant.

    Parameters
    ----------
    season : Season
        The garden's, as it stands.
    plant : str
        Its name.
    curve : ProgressCurve or None
        Its severity over time; None where no leaf was measured.
    curves : iterable of ProgressCurve
        Those beside which it is seen: all get the same axes. Only its own by default.
    """
    beside = list(curves) or ([curve] if curve else [])
    own = [e for e in season.log if e.kind in _LANES_OF_LOG and concerns(e, plant)]
    days = [point.day for one in beside for point in one.points]
    days += [look.night for look in season.nights.get(plant, ())] if not beside else []
    first = min(days, default=season.today)
    last = max([*days, *(e.at.date() for e in own)], default=season.today)
    last = max(min(last, season.today), first + timedelta(days=_SHORTEST))
    rained = {
        day: fallen
        for day in _rainy_days(season)
        if first <= day <= last and (fallen := rain_on(season, day))
    }
    return CoursePicture(
        plant=plant,
        points=curve.points if curve else (),
        course=None if curve is None or curve.gone else curve.course,
        log=tuple(e for e in own if first <= e.at.date() <= last),
        rain={day: _rain_words(season, day, fallen) for day, fallen in rained.items()},
        rain_mm=rained,
        nights=tuple(n for n in season.nights.get(plant, ()) if first <= n.night <= last),
        doubtful=frozenset(v.day for v in season.visits.get(plant, ()) if v.doubts),
        first=first,
        last=last,
        threshold_pct=season.limits.sick_pct,
        end_pct=_end_pct(beside, season.limits.sick_pct),
    )


def _rainy_days(season: Season) -> list[date]:
    """Return the days up to now on which the log or the weather record may know of rain."""
    measured = (day for day, weather in season.weather.items() if weather.rain_mm)
    logged = (entry.at.date() for entry in season.entries("rain"))
    return sorted({day for day in (*measured, *logged) if day <= season.today})


def _rain_words(season: Season, day: date, fallen: float) -> str:
    logged = [e for e in season.entries("rain") if e.at.date() == day]
    known = season.weather.get(day)
    unmeasured = logged and all(e.amount is None for e in logged)
    if unmeasured and (known is None or known.rain_mm is None):
        return "rain"
    return f"rain {rain_words(fallen, season.garden.units)}"


def _end_pct(curves: Sequence[ProgressCurve], threshold_pct: float) -> float:
    """Return a round end of the severity axis: one wild interval must not flatten all."""
    points = [point for curve in curves for point in curve.points]
    tallest = max((point.severity_pct for point in points), default=0.0)
    widest = max(((point.interval_pct or (0, 0))[1] for point in points), default=0.0)
    return nice_end(max(min(widest, 1.5 * tallest), 1.3 * threshold_pct))


def severity_words(point: SeverityPoint) -> str:
    """Return a visit's severity with its interval, such as ``12.3 % (8.0 to 17.1)``."""
    ends = point.interval_pct
    interval = "" if ends is None else f" ({ends[0]:.1f} to {ends[1]:.1f})"
    return f"{point.severity_pct:.1f} %{interval}"


def course_words(picture: CoursePicture) -> str:
    """Return what a course shows, in one line, for those who do not see it."""
    if not picture.points:
        said = "no leaf measured"
    else:
        last = picture.points[-1]
        direction = f", {picture.course.direction}" if picture.course else ""
        visits = counted(len(picture.points), "visit")
        said = f"{visits}; on {day_words(last.day)} {severity_words(last)}{direction}"
    kinds = (("spray", "spray"), ("hand_pick", "picking"), ("removed_leaves", "taking off"))
    counts = [(sum(e.kind == kind for e in picture.log), name) for kind, name in kinds]
    counts += [(len(picture.rain), "day of rain"), (len(picture.nights), "look at night")]
    plural = {"day of rain": "days of rain", "look at night": "looks at night"}
    plural |= {"taking off": "takings off of leaves"}
    happened = [counted(n, name, plural.get(name, "")) for n, name in counts if n]
    return f"{picture.plant}: {said}{'; ' if happened else ''}{joined(happened)}"


@dataclass(frozen=True)
class _Frame:
    """Where days and severities lie in the picture."""

    first: date
    last: date
    end_pct: float

    def x(self, day: date, back: float = 0.0) -> float:
        """Return the place of a day, or of so many days (below 0) from it."""
        share = ((day - self.first).days + back + 0.5) / ((self.last - self.first).days + 1)
        return _LEFT + share * (_WIDE - _LEFT - _RIGHT)

    def y(self, severity_pct: float) -> float:
        share = sqrt(min(max(severity_pct, 0.0), self.end_pct) / self.end_pct)
        return _TOP + _PLOT * (1 - share)

    @property
    def day_width(self) -> float:
        return (_WIDE - _LEFT - _RIGHT) / ((self.last - self.first).days + 1)


def course_svg(picture: CoursePicture) -> Markup:
    """Return a course as inline SVG; nothing in it is drawn by ids, so a page may hold many."""
    frame = _Frame(picture.first, picture.last, picture.end_pct)
    lanes = [(name, marks) for name, draw in _LANES if (marks := draw(frame, picture))]
    bottom = _TOP + _PLOT + _GAP + _LANE * len(lanes)
    parts = [
        *_scale(frame, picture.threshold_pct),
        *_spray_lines(frame, picture.log),
        *_recent_line(frame, picture.course),
        *_visits(frame, picture),
        *_lanes(lanes),
        *_dates(frame, bottom),
    ]
    if not picture.points:
        parts.append(_text(_LEFT + 8, _TOP + _PLOT / 2, "no leaf measured yet", anchor="start"))
    head = (
        f'<svg class="course" viewBox="0 0 {_WIDE:g} {bottom + _AXIS:g}" role="img" '
        f'aria-label="{escape(printable(course_words(picture)))}" font-size="12" '
        'font-family="sans-serif" fill="currentColor">'
    )
    return Markup("".join([head, *parts, "</svg>"]))


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _line(
    ends: tuple[float, float, float, float],
    kind: str,
    colour: str = "currentColor",
    width: float = 1.0,
    dashes: str = "none",
) -> str:
    x1, y1, x2, y2 = map(_n, ends)
    dashed = "" if dashes == "none" else f' stroke-dasharray="{dashes}"'
    return (
        f'<line class="{kind}" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{colour}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _text(x: float, y: float, words: str, anchor: str = "middle", kind: str = "words") -> str:
    return (
        f'<text class="{kind}" x="{_n(x)}" y="{_n(y)}" text-anchor="{anchor}">'
        f"{escape(printable(words))}</text>"
    )


def _titled(title: str, *parts: str) -> str:
    return f"<g><title>{escape(printable(title))}</title>{''.join(parts)}</g>"


def _scale(frame: _Frame, threshold_pct: float) -> Iterator[str]:
    above = frame.y(0) + _LEAST_GAP
    for tick in (tick for tick in _TICKS if tick <= frame.end_pct):
        y = frame.y(tick)
        yield _line((_LEFT, y, _WIDE - _RIGHT, y), "grid", "#999999", 0.4)
        if above - y >= _LEAST_GAP:
            yield _text(_LEFT - 5, y + 4, f"{tick} %" if tick else "0", anchor="end")
            above = y
    y = frame.y(threshold_pct)
    yield _line((_LEFT, y, _WIDE - _RIGHT, y), "sick", width=1, dashes="1 3")


def _dates(frame: _Frame, bottom: float) -> Iterator[str]:
    days = (frame.last - frame.first).days
    step = next((s for s in _STEPS if days / s < _MOST_DATES), _STEPS[-1])
    yield _line((_LEFT, bottom, _WIDE - _RIGHT, bottom), "axis", width=1)
    for number in range(days // step + 1):
        day = frame.first + timedelta(days=number * step)
        x = frame.x(day)
        yield _line((x, bottom, x, bottom + 4), "axis")
        # At the far right a date would be cut.
        anchor = "end" if x > _WIDE - 24 else "middle"
        yield _text(
            x if anchor == "middle" else _WIDE, bottom + 16, short_day_words(day), anchor=anchor
        )


def _recent_line(frame: _Frame, course: Course | None) -> Iterator[str]:
    """Draw the line by which the direction was judged."""
    if course is None or course.line is None:
        return
    colour, dashes = _DIRECTIONS[course.direction]
    span = (course.last_day - course.first_day).days
    back = [-span * (1 - step / 20) for step in range(21)]
    heights = recent_line_pct(course, back)
    points = " ".join(
        f"{_n(frame.x(course.last_day, day))},{_n(frame.y(height))}"
        for day, height in zip(back, heights, strict=True)
    )
    dashed = "" if dashes == "none" else f' stroke-dasharray="{dashes}"'
    sign = DIRECTION_SIGNS[course.direction]
    yield _titled(
        f"{sign} {course.direction}",
        f'<polyline class="going" points="{points}" fill="none" stroke="{colour}" '
        f'stroke-width="4" stroke-opacity="0.6"{dashed}/>',
    )


def _visits(frame: _Frame, picture: CoursePicture) -> Iterator[str]:
    way = " ".join(f"{_n(frame.x(p.day))},{_n(frame.y(p.severity_pct))}" for p in picture.points)
    yield f'<polyline class="visits" points="{way}" fill="none" stroke="{BLUE}" stroke-width="1"/>'
    for point in picture.points:
        flagged = point.day in picture.doubtful
        fill = "#ffffff" if flagged else BLUE
        x, y = frame.x(point.day), frame.y(point.severity_pct)
        dot = (
            f'<circle class="{"doubtful" if flagged else "visit"}" cx="{_n(x)}" cy="{_n(y)}" '
            f'r="3.5" fill="{fill}" stroke="{BLUE}" stroke-width="1.5"/>'
        )
        leaves = counted(point.leaf_count, "leaf", "leaves")
        note = ", all photos flagged" if flagged else ""
        title = f"{day_words(point.day)}: {severity_words(point)}, {leaves}{note}"
        yield _titled(title, *_interval(frame, point, x), dot)


def _interval(frame: _Frame, point: SeverityPoint, x: float) -> Iterator[str]:
    """Draw an interval with its ends; an arrow where it goes beyond the scale."""
    if point.interval_pct is None:
        return
    low, high = point.interval_pct
    top, foot = frame.y(high), frame.y(low)
    yield _line((x, foot, x, top), "interval", BLUE)
    yield _line((x - 3, foot, x + 3, foot), "interval", BLUE)
    if high > frame.end_pct:
        yield _line((x - 3, top + _CUT, x, top), "interval", BLUE)
        yield _line((x + 3, top + _CUT, x, top), "interval", BLUE)
    else:
        yield _line((x - 3, top, x + 3, top), "interval", BLUE)


def _spray_lines(frame: _Frame, log: Sequence[LogEntry]) -> Iterator[str]:
    for entry in log:
        if entry.kind == "spray":
            x = frame.x(entry.at.date())
            yield _line((x, _TOP, x, _TOP + _PLOT + _GAP), "spray-line", ORANGE, 1, "4 3")


Marks = list[tuple[float, str]]
"""Marks of a lane, drawn about the lane's middle, each with its place across."""


def _sprays(frame: _Frame, picture: CoursePicture) -> Marks:
    return [
        (
            frame.x(entry.at.date()),
            _titled(
                f"{day_words(entry.at.date())}: {event_words(entry)}",
                f'<path class="spray" d="M-5 -9h10l-5 7z" fill="{ORANGE}" stroke="currentColor" '
                'stroke-width="0.8"/>',
                _text(0, 9.5, (entry.product or "spray")[:1].upper()),
            ),
        )
        for entry in picture.log
        if entry.kind == "spray"
    ]


def _rain(frame: _Frame, picture: CoursePicture) -> Marks:
    most = max(picture.rain_mm.values(), default=0.0)
    width = min(max(frame.day_width * 0.8, 2.0), 6.0)
    written = _written_rain(frame, picture, most)
    marks = []
    for day, fallen in picture.rain_mm.items():
        height = max(2.0, (_LANE - 5) * fallen / most)
        bar = (
            f'<rect class="rain" x="{_n(-width / 2)}" y="{_n(8 - height)}" width="{_n(width)}" '
            f'height="{_n(height)}" fill="{SKY}" stroke="currentColor" stroke-width="0.6"/>'
        )
        words = written.get(day, "")
        marks.append((frame.x(day), _titled(f"{day_words(day)}: {picture.rain[day]}", bar, words)))
    return marks


def _written_rain(frame: _Frame, picture: CoursePicture, most: float) -> dict[date, str]:
    """Return the heaviest rain in words, beside its bar where no other bar is in their way."""
    day = next((d for d, fallen in picture.rain_mm.items() if fallen == most), None)
    if day is None or picture.rain[day] == "rain":
        return {}
    here = frame.x(day)
    others = [frame.x(d) for d in picture.rain if d != day] + [_LEFT, _WIDE]
    words = picture.rain[day].removeprefix("rain ")
    if not any(here < x < here + _RAIN_WORDS for x in others):
        return {day: _text(6, 5, words, "start")}
    if not any(here - _RAIN_WORDS < x < here for x in others):
        return {day: _text(-6, 5, words, "end")}
    return {}


def _seen_at_night(frame: _Frame, picture: CoursePicture) -> Marks:
    marks = []
    for look in picture.nights:
        found = f"{look.count} ({look.low} to {look.high}) caterpillars counted"
        ring = (
            '<circle class="counted" r="8.5" fill="none" stroke="currentColor" '
            f'stroke-width="{1.6 if look.count else 0.6:g}"/>'
        )
        title = f"night of {day_words(look.night)}: {found}"
        marks.append((frame.x(look.night), _titled(title, ring, _text(0, 4, str(look.count)))))
    return marks


def _picked(frame: _Frame, picture: CoursePicture) -> Marks:
    return [
        (
            frame.x(entry.at.date()),
            _titled(
                f"{day_words(entry.at.date())}: {_amount(entry, '')} caterpillars picked",
                '<rect class="picked" x="-8" y="-8" width="16" height="16" fill="none" '
                f'stroke="{VERMILLION}" stroke-width="1.6"/>',
                _text(0, 4, _amount(entry, "?")),
            ),
        )
        for entry in picture.log
        if entry.kind == "hand_pick"
    ]


def _leaves_off(frame: _Frame, picture: CoursePicture) -> Marks:
    return [
        (
            frame.x(entry.at.date()),
            _titled(
                f"{day_words(entry.at.date())}: {event_words(entry)}",
                _text(0, 4, f"−{_amount(entry, '')}"),
            ),
        )
        for entry in picture.log
        if entry.kind == "removed_leaves"
    ]


def _amount(entry: LogEntry, unknown: str) -> str:
    return unknown if entry.amount is None else str(ceil(entry.amount))


_LANES = (
    ("sprays", _sprays),
    ("rain", _rain),
    ("at night", _seen_at_night),
    ("picked", _picked),
    ("leaves", _leaves_off),
)
_LANES_OF_LOG = ("spray", "hand_pick", "removed_leaves")


def _lanes(lanes: Sequence[tuple[str, Marks]]) -> Iterator[str]:
    for number, (name, marks) in enumerate(lanes):
        middle = _TOP + _PLOT + _GAP + _LANE * (number + 0.5)
        yield _text(_LEFT - 5, middle + 4, name, anchor="end", kind="lane")
        for x, mark in marks:
            yield f'<g transform="translate({_n(x)} {_n(middle)})">{mark}</g>'
