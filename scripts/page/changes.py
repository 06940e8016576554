"""What changed since the last report: what each report said is kept in the garden's folder."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from models.care.words import day_words, joined, short_day_words
from models.numerals import counted
from models.plain_json import read_json
from scripts.care.record import entry_line
from scripts.page.course import severity_words
from scripts.page.standing import Standing
from scripts.trend.words import mark
from vision.photo.find import printable

__all__ = ["STATE", "Changes", "Report", "changes_since", "kept_reports", "said_in", "state_bytes"]

STATE = ".last-report.json"
"""In the garden's folder: what the last reports said."""

_FORM = 1  # raised whenever what is kept has another form
_MOST_KEPT = 60
_MOST_ENTRIES = 40


@dataclass(frozen=True)
class _Said:
    """What a report said of one plant, in words: statuses, last visit, severity, direction."""

    statuses: tuple[str, ...]
    seen: str
    severity: str
    direction: str


@dataclass(frozen=True)
class Report:
    """What a report said.

    Attributes
    ----------
    at : datetime
        The moment as of which it was made, with its zone.
    photos : int
        Photos of the season.
    entry : int
        Number of the last log entry.
    plants : mapping of str to _Said
        By name.
    """

    at: datetime
    photos: int
    entry: int
    plants: Mapping[str, _Said]


@dataclass(frozen=True)
class Changes:
    """What changed since an earlier report.

    Attributes
    ----------
    since : str
        When that one was made, in words; empty where there is none.
    lines : tuple of str
        In all, one sentence each.
    plants : tuple of (str, tuple of str)
        Plants that stand otherwise, each with what was and what is.
    entries : tuple of str
        What was logged since.
    """

    since: str = ""
    lines: tuple[str, ...] = ()
    plants: tuple[tuple[str, tuple[str, ...]], ...] = ()
    entries: tuple[str, ...] = field(default=())


def said_in(standing: Standing) -> Report:
    """Return what a report of a garden says."""
    names = dict.fromkeys([*standing.season.plants, *standing.curves])
    return Report(
        at=standing.now,
        photos=len(standing.told.photos),
        entry=max((entry.number for entry in standing.log), default=0),
        plants={name: _said(standing, name) for name in names},
    )


def _said(standing: Standing, plant: str) -> _Said:
    statuses = tuple(s.status for s in standing.statuses_of.get(plant, ()))
    curve = standing.curves.get(plant)
    if curve is None:
        return _Said(statuses, "", "", "")
    point = curve.points[-1]
    return _Said(statuses, point.day.isoformat(), severity_words(point), mark(curve))


def kept_reports(folder: Path) -> tuple[Report, ...]:
    """Return what earlier reports of a garden said, oldest first; none that cannot be read."""
    try:
        values = read_json((folder / STATE).read_bytes())
        if values["form"] != _FORM:
            return ()
        return tuple(sorted(map(_report, values["reports"]), key=lambda one: one.at))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return ()


def _report(values: Mapping[str, Any]) -> Report:
    at = datetime.fromisoformat(values["at"])
    if at.tzinfo is None:
        raise ValueError("without a zone")
    plants = {str(name): _said_of(said) for name, said in values["plants"].items()}
    return Report(at, int(values["photos"]), int(values["entry"]), plants)


def _said_of(values: Mapping[str, Any]) -> _Said:
    if values["seen"]:
        date.fromisoformat(values["seen"])
    statuses = tuple(str(status) for status in values["statuses"])
    return _Said(statuses, *(str(values[name]) for name in ("seen", "severity", "direction")))


def state_bytes(reports: Sequence[Report], made: Report) -> bytes:
    """Return the file that keeps what reports said, with a new one.

    One of the same moment is replaced.
    """
    kept = sorted([*(r for r in reports if r.at != made.at), made], key=lambda one: one.at)
    rows = [
        {
            "at": one.at.isoformat(),
            "photos": one.photos,
            "entry": one.entry,
            "plants": {name: vars(said) for name, said in one.plants.items()},
        }
        for one in kept[-_MOST_KEPT:]
    ]
    return (json.dumps({"form": _FORM, "reports": rows}, ensure_ascii=False) + "\n").encode()


def changes_since(standing: Standing, reports: Sequence[Report]) -> Changes:
    """Return what changed since the last report of an earlier day.

    A report made twice on one day, as after a photo that was forgotten, compares with the same one.
    """
    made = said_in(standing)
    today = standing.season.today
    zone = standing.now.tzinfo
    earlier = [one for one in reports if one.at.astimezone(zone).date() < today]
    if not earlier:
        return Changes()
    last = earlier[-1]
    at = last.at.astimezone(zone)
    new = [entry for entry in standing.log if entry.number > last.entry]
    units = standing.garden.units
    plants = ((name, tuple(_otherwise(last.plants.get(name), said))) for name, said in
              made.plants.items())  # fmt: skip
    changed = tuple((name, words) for name, words in plants if words)
    lines = list(_in_all(made.photos - last.photos, len(new)))
    gone = [name for name in last.plants if name not in made.plants]
    if gone:
        lines.append(f"No longer told of: {joined(map(printable, gone))}.")
    same = [name for name in made.plants if name not in dict(changed)]
    if changed and same:
        lines.append(f"As before: {joined(same)}.")
    return Changes(
        since=f"{day_words(at.date())} {at.year}",
        lines=tuple(lines),
        plants=changed,
        entries=tuple(entry_line(entry, units) for entry in new[-_MOST_ENTRIES:]),
    )


def _in_all(photos: int, entries: int) -> Iterator[str]:
    found = [counted(photos, "photo")] if photos > 0 else []
    found += [counted(entries, "entry of the log", "entries of the log")] if entries else []
    yield f"New: {' and '.join(found)}." if found else "No photo and no log entry is new."
    if photos < 0:
        yield (
            f"{counted(-photos, 'photo')} fewer than then: taken out of the record, or of "
            "another season."
        )


def _otherwise(before: _Said | None, now: _Said) -> Iterator[str]:
    """Yield how a plant stands otherwise than before, in words."""
    if before is None:
        yield "new in this report"
        return
    if before.statuses != now.statuses:
        yield f"{_words(before.statuses)} → {_words(now.statuses)}"
    # Of one and the same visit the interval alone may change: it is learned from all plants.
    if (before.seen, _mean(before)) != (now.seen, _mean(now)):
        yield f"sick: {_seen(before)} → {_seen(now)}"
    if before.direction != now.direction:
        yield f"{before.direction or 'no course'} → {now.direction or 'no course'}"


def _words(statuses: Sequence[str]) -> str:
    return " and ".join(statuses) or "no status"


def _mean(said: _Said) -> str:
    return said.severity.partition(" (")[0]


def _seen(said: _Said) -> str:
    if not said.seen:
        return "not measured"
    return f"{said.severity}, {short_day_words(date.fromisoformat(said.seen))}"
