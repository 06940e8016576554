"""The seasons of a garden's record: listed, a new one begun, and that taken back."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

import typer

from models.care.planning import plan_season
from models.care.season import Season
from models.care.seasons import NEW_SEASON, Span, named_span, spans_of
from models.care.words import day_words, joined, short_day_words
from models.entries import LogEntry
from models.garden.settings import read_garden
from models.journal import open_journal
from models.numerals import counted
from scripts.care.record import read_season, spans_in
from scripts.care.text import wrapped
from scripts.common.moments import moment, now_in
from vision.errors import SpotlampError

__all__ = ["NoSeasonError", "new_season", "season_end", "season_lines", "span_words", "undo_season"]

_NOT_DONE = frozenset({"burn-check", "isolate", "pick"})
"""Kinds of tasks that are pointed out when a season is closed over them."""


class NoSeasonError(SpotlampError):
    """A season cannot be closed, or taken back; the message is one sentence for people."""


def season_lines(folder: Path) -> list[str]:
    """Return the seasons of a garden, oldest first, as lines."""
    garden = read_garden(folder)
    spans = spans_in(folder, garden, now_in(garden.time_zone))
    if not spans:
        return ["Nothing is recorded yet: the first photo or entry begins the first season."]
    width = max(len(span.name) for span in spans)
    return [f"{span.name:<{width}}  {span_words(span)}" for span in spans]


def season_end(folder: Path, name: str) -> str | None:
    """Return the moment as of which a season is looked at, as typed; None for the present one.

    Raises
    ------
    NoSuchSeasonError
        When there is none of this name.
    """
    garden = read_garden(folder)
    span = named_span(spans_in(folder, garden, now_in(garden.time_zone)), name)
    if span.end is None or span.moment is None:
        return None
    return f"{span.moment:%Y-%m-%d %H:%M}"


def span_words(span: Span) -> str:
    """Return a season's days, and what it holds."""
    photos = counted(span.photos, "photo")
    entries = counted(span.entries, "entry", "entries")
    now = ", going on" if span.end is None else ""
    return f"{_span_days(span)}: {photos}, {entries}{now}"


def _span_days(span: Span) -> str:
    """Return the days of a season, such as ``15 Jun to 31 Jul 2025``."""
    first, last = span.first_day, (span.last or span.begin).date()
    day = _day(last, year=True)
    if span.last is None:
        return f"from {day}"
    if first == last:
        return day
    return f"{_day(first, year=first.year != last.year)} to {day}"


def _day(day: date, *, year: bool) -> str:
    words = short_day_words(day)
    return f"{words} {day.year}" if year else words


def new_season(folder: Path, at: str | None = None) -> str:
    """Begin a new season, and say what was closed and how to see it.

    Raises
    ------
    NoSeasonError
        When nothing was recorded since the last season began.
    typer.BadParameter
        When the time cannot be read, or is still to come.
    """
    garden = read_garden(folder)
    now = now_in(garden.time_zone)
    when = moment(at, garden.time_zone, hour=0)
    if when > now:
        raise typer.BadParameter(
            f"{when:%Y-%m-%d %H:%M} is still to come: say it when the season begins.",
            param_hint="--at",
        )
    before = read_season(folder, when, garden=garden)
    with open_journal(folder) as journal:
        photos, log = journal.plant_photo_times(), journal.log_entries()
        closed = _closed(spans_of(photos, log, when - timedelta(microseconds=1)), when)
        number = journal.log(LogEntry(0, NEW_SEASON, when))
        spans = spans_of(photos, journal.log_entries(), now)
    begun = next(span for span in spans if span.begin == when)
    return "\n".join([*_said(closed, begun, number), *_left_open(before)])


def _closed(before: Sequence[Span], when: datetime) -> Span:
    """Return the season that a new one ends; refuse where it holds nothing."""
    if before and before[-1].last is not None:
        return before[-1]
    since = f" since the season began on {_day(before[-1].first_day, year=True)}" if before else ""
    raise NoSeasonError(
        f"Nothing is recorded before {when:%Y-%m-%d %H:%M}{since}: there is no season to close."
    )


def _said(closed: Span, begun: Span, number: int) -> list[str]:
    began = f"{day_words(begun.first_day)} {begun.first_day.year}"
    lines = [
        wrapped(
            f"Closed: the season {closed.name}. A new one begins on {began}: every plant starts "
            "afresh, also those that were taken out.",
            0,
        )
    ]
    if begun.last is not None:
        held = f"{counted(begun.photos, 'photo')} and {counted(begun.entries, 'entry', 'entries')}"
        lines.append(wrapped(f"{held} recorded since then belong to it.", 0))
    return [
        *lines,
        f"  To read the old one: spotlamp trend --season {closed.name}",
        f"  To take this back:   spotlamp season --undo   (entry {number} of the log)",
    ]


def _left_open(season: Season) -> list[str]:
    """Name what was still to be done on plants of the season that is closed."""
    if season.is_over:
        return []
    left = [task for task in plan_season(season).tasks if task.kind in _NOT_DONE]
    if not left:
        return []
    plants = joined(dict.fromkeys(plant for task in left for plant in task.plants))
    text = (
        f"Still open was the care of {plants} ({left[0].what.rstrip('.')}): if these plants still "
        "stand, take this back, and end the season when they are gone."
    )
    return [wrapped(text, 4, "  ! ")]


def undo_season(folder: Path) -> str:
    """Take the last new season back, and say so.

    Raises
    ------
    NoSeasonError
        When nobody said that a season begins.
    """
    with open_journal(folder) as journal:
        said = journal.log_entries(kind=NEW_SEASON)
        if not said:
            raise NoSeasonError("No “season new” is in the log: there is nothing to take back.")
        journal.withdraw(said[-1].number)
    at = said[-1].at
    return wrapped(
        f"Taken back: the season of {day_words(at.date())} {at.year}. What was recorded since "
        "belongs to the one before again.",
        0,
    )
