"""What ``spotlamp trend`` tells: every plant's course from the journal, and what a spray did."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from itertools import groupby
from pathlib import Path
from zoneinfo import ZoneInfo

from models.care.planning import Plan, plan_season
from models.care.season import Season as Gathered
from models.care.seasons import since_new
from models.care.words import day_words
from models.entries import LogEntry
from models.garden.beds import Garden
from models.garden.settings import read_garden
from models.journal import open_journal
from models.progress import Effect, GardenVisits, ProgressCurve, judge_spray, progress_curve
from models.progress.course import RECENT_DAYS
from models.progress.growth import AFTER_DAYS
from scripts.care.record import last_season, past_season
from scripts.common.moments import now_in
from scripts.common.which_garden import known_plant
from vision.errors import SpotlampError

__all__ = [
    "NoTrendError",
    "Trend",
    "find_spray",
    "read_trend",
    "told_season",
    "trend_of",
]

_ORDER = {"rising": 0, "cannot tell": 1, "level": 2, "falling": 3}
_MARKED = ("spray", "rain", "removed_leaves")


class NoTrendError(SpotlampError):
    """There is nothing to tell; the message is one sentence for people."""


@dataclass(frozen=True)
class Trend:
    """The season's courses.

    Attributes
    ----------
    garden : Garden
        As its settings file says.
    curves : tuple of ProgressCurve
        Plants that rise first, the fastest foremost; those that were taken out last.
    log : tuple of LogEntry
        Sprays, rain and removed leaves of these days, by time.
    threshold_pct : float
        Severity whose date is foretold.
    effect : Effect or None
        Of the spray that was asked about.
    chosen : bool
        Whether the plants were named.
    notes : mapping of str to tuple of str
        What else is to be said of plants, as sentences: flagged visits, and how many leaves would
        settle whether it is sick.
    """

    garden: Garden
    curves: tuple[ProgressCurve, ...]
    log: tuple[LogEntry, ...]
    threshold_pct: float
    effect: Effect | None
    chosen: bool
    notes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def first_day(self) -> date:
        """First visit of any plant told of."""
        return min(curve.points[0].day for curve in self.curves)

    @property
    def last_day(self) -> date:
        """Last visit of any plant told of."""
        return max(curve.points[-1].day for curve in self.curves)


def read_trend(
    folder: Path,
    plants: Sequence[str] = (),
    *,
    threshold_pct: float | None = None,
    recent_days: int = RECENT_DAYS,
    since: date | None = None,
    effect: str | None = None,
    at: datetime | None = None,
    season: str | None = None,
) -> Trend:
    """Read a garden's journal and judge its plants.

    Parameters
    ----------
    folder : Path
        Of the garden.
    plants : sequence of str
        Those to tell of; all by default.
    threshold_pct : float, optional
        Severity whose date is foretold; by default that from which the garden's care settings
        call a plant sick.
    recent_days : int
        Length of the last stretch by which the direction is judged.
    since : date, optional
        First day told of; the last season by default.
    effect : str, optional
        The spray asked about: its number in the log, its day, or its product.
    at : datetime, optional
        As of this time; now by default.
    season : str, optional
        Name of the season told of, such as ``2026``; an earlier one as it ended. The last one by
        default.

    Raises
    ------
    NoTrendError
        When there is no measured leaf, or no such spray.
    GardenError, JournalError, NoSuchSeasonError
        When the garden cannot be read or has no such plant.
    """
    garden = read_garden(folder)
    told = told_season(folder, garden, at, since, season)
    with open_journal(folder) as journal:
        log = told.log if season else since_new(journal.log_entries())
    return trend_of(
        told,
        log,
        plants,
        threshold_pct=threshold_pct,
        recent_days=recent_days,
        since=since,
        effect=effect,
    )


def trend_of(
    season: Gathered,
    log: Sequence[LogEntry],
    plants: Sequence[str] = (),
    *,
    threshold_pct: float | None = None,
    recent_days: int = RECENT_DAYS,
    since: date | None = None,
    effect: str | None = None,
    plan: Plan | None = None,
) -> Trend:
    """Judge the plants of a gathered season; see `read_trend`.

    ``plan`` is the season's, where it was made already.

    Raises
    ------
    NoTrendError
        When there is no measured leaf, or no such spray.
    """
    garden, courses = season.garden, season.courses
    threshold = season.limits.sick_pct if threshold_pct is None else threshold_pct
    first = since or season.first_day
    found = [
        progress_curve(courses, name, threshold_pct=threshold, recent_days=recent_days, since=first)
        for name in _chosen(garden, courses, plants)
    ]
    standing = set(season.plants)
    told = [replace(curve, gone=curve.plant not in standing) for curve in found if curve]
    if not told:
        raise NoTrendError(f"No leaf of {' or '.join(plants)} was measured in this season.")
    curves = tuple(sorted(told, key=_urgency))
    judged = None if effect is None else _effect(courses, log, effect)
    marked = _marked(log, curves)
    notes = _notes(season, first, plan or plan_season(season))
    return Trend(garden, curves, marked, threshold, judged, bool(plants), notes)


def told_season(
    folder: Path,
    garden: Garden,
    at: datetime | None = None,
    since: date | None = None,
    name: str | None = None,
) -> Gathered:
    """Return the season to tell of, as `flag` and `plan` see it; by its name an earlier one.

    Raises
    ------
    NoTrendError
        When no leaf was measured in it.
    NoSuchSeasonError
        When there is none of this name.
    """
    zone = ZoneInfo(garden.time_zone)
    begin = None if since is None else datetime.combine(since, time(), zone)
    now = at or now_in(garden.time_zone)
    if name is None:
        season = last_season(folder, garden, now, begin)
    else:
        season = past_season(folder, garden, name, now)
    if not season.measured_days:
        raise NoTrendError(_nothing_measured(season, name))
    return season


def _nothing_measured(season: Gathered, name: str | None) -> str:
    ask = "photograph leaves by day, and file them with “spotlamp score”."
    if season.began is not None:
        began = f"{day_words(season.began.date())} {season.began.year}"
        return (
            f"No leaf of any plant is measured yet in the season that began on {began}: {ask} "
            "“spotlamp season” lists the earlier ones."
        )
    if name is not None:
        return f"No leaf of any plant was measured in the season {name}."
    return f"The journal holds no measured leaf of any plant yet: {ask}"


def _notes(season: Gathered, first: date, plan: Plan) -> dict[str, tuple[str, ...]]:
    """Return what else is to be said of plants: flagged days, and what would settle a doubt."""
    undecided = {s.plant: s.open_why for s in plan.statuses if s.open_why}
    notes: dict[str, tuple[str, ...]] = {}
    for name, visits in season.visits.items():
        flagged = [visit for visit in visits if visit.doubts and visit.day >= first]
        said = [
            f"All photos of {day_words(visit.day)} are flagged ({', '.join(visit.doubts)}): read "
            "that visit with care."
            for visit in flagged
        ]
        if reason := undecided.get(name):
            said.append(f"Whether it is sick is open at the last visit: {reason}.")
        notes[name] = tuple(said)
    return notes


def _chosen(garden: Garden, season: GardenVisits, plants: Sequence[str]) -> Sequence[str]:
    if not plants:
        return season.plants
    names = [name if name in season.plants else known_plant(garden, name) for name in plants]
    missing = [name for name in names if name not in season.plants]
    if missing:
        raise NoTrendError(f"No leaf of {missing[0]} was measured in this season.")
    return list(dict.fromkeys(names))


def _urgency(curve: ProgressCurve) -> tuple[float, ...]:
    line = curve.course.line
    return (
        curve.gone,
        _ORDER[curve.course.direction],
        -line.low_per_day if line else 0.0,
        -curve.points[-1].severity_pct,
    )


def _marked(log: Sequence[LogEntry], curves: Sequence[ProgressCurve]) -> tuple[LogEntry, ...]:
    """Return what the charts mark: sprays, rain and removed leaves of the days and plants told."""
    days = [point.day for curve in curves for point in curve.points]
    names = {curve.plant for curve in curves}
    return tuple(
        entry
        for entry in log
        if entry.kind in _MARKED
        and min(days) <= entry.at.date() <= max(days)
        and (not entry.plants or names & set(entry.plants))
    )


def _effect(season: GardenVisits, log: Sequence[LogEntry], wanted: str) -> Effect:
    points = {plant: season.points(plant) for plant in season.plants}
    spray = find_spray(log, wanted)
    others = [entry for entry in log if not _same_spraying(entry, spray)]
    return judge_spray(spray, points, others)


def _same_spraying(one: LogEntry, other: LogEntry) -> bool:
    return (
        one.kind == other.kind == "spray"
        and one.product == other.product
        and one.at.date() == other.at.date()
    )


def find_spray(log: Sequence[LogEntry], wanted: str) -> LogEntry:
    """Return the spray that is meant; entries of one product on one day are one spray.

    Parameters
    ----------
    log : sequence of LogEntry
        The garden's log, by time.
    wanted : str
        A number in the log, a day such as ``2026-07-15``, or a product, which stands for the first
        spray of its last series.

    Raises
    ------
    NoTrendError
        When there is none, or a day has several, with the sprays to choose from.
    """
    sprays = [_joined(list(group)) for _, group in groupby(_sorted_sprays(log), _spraying)]
    text = wanted.strip().lstrip("#").casefold()
    numbers = {entry.number: entry for entry in log if entry.kind == "spray"}
    if text.isdigit() and int(text) in numbers:
        meant = numbers[int(text)]
        return next(spray for spray in sprays if _same_spraying(spray, meant))
    of_day = [spray for spray in sprays if spray.at.date().isoformat() == text]
    of_product = [spray for spray in sprays if spray.product.casefold() == text]
    if len(of_day) == 1 or of_product:
        return of_day[0] if len(of_day) == 1 else _start_of_series(of_product)
    raise NoTrendError(_no_spray(of_day or sprays, wanted, several=bool(of_day)))


def _start_of_series(sprays: Sequence[LogEntry]) -> LogEntry:
    """Return the first of the last sprays that follow one another within ``AFTER_DAYS``.

    Beside a later one, the growth before it would be that of a plant that is sprayed already.
    """
    first = sprays[-1]
    for earlier in reversed(sprays[:-1]):
        if (first.at.date() - earlier.at.date()).days > AFTER_DAYS:
            break
        first = earlier
    return first


def _spraying(entry: LogEntry) -> tuple[date, str]:
    return entry.at.date(), entry.product


def _sorted_sprays(log: Sequence[LogEntry]) -> list[LogEntry]:
    return sorted((entry for entry in log if entry.kind == "spray"), key=_spraying)


def _joined(entries: Sequence[LogEntry]) -> LogEntry:
    """Return entries of one spraying as one; an entry without plants is of the whole garden."""
    first = min(entries, key=lambda entry: entry.at)
    if not all(entry.plants for entry in entries):
        return replace(first, plants=())
    plants = dict.fromkeys(plant for entry in entries for plant in entry.plants)
    return replace(first, plants=tuple(plants))


def _no_spray(sprays: Sequence[LogEntry], wanted: str, *, several: bool) -> str:
    known = ", ".join(
        f"{spray.number} ({spray.product or 'spray'}, {spray.at.date().isoformat()})"
        for spray in sprays[-6:]
    )
    if several:
        return f"There were several sprays on {wanted}: name one by its number: {known}."
    if not known:
        return "No spray is in the log."
    return f"There is no spray “{wanted}” in the log; the last ones are {known}."
