"""The garden as it stands, gathered once for all pages until something changes.

Whatever the record, the settings or the weather file say anew is seen by their files' dates; what
the clock alone changes, every few minutes. Gathering then reads the photos of the days that changed
(``known_days``), and works out all else from what each plant's days say.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, partial
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar

from models.care.planning import Plan, plan_season
from models.care.records import PlantStatus
from models.care.season import Season
from models.care.seasons import Span, spans_of
from models.care.visits import Shot
from models.entries import LogEntry, PhotoEntry
from models.garden.beds import Garden
from models.garden.settings import GARDEN_FILE, read_garden
from models.journal import DamagedError, Journal, journal_file, open_journal
from models.journal.examining import examine
from models.progress import ProgressCurve
from models.remarks import remarks_kept
from scripts.care.record import (
    WHOLE,
    Reading,
    last_season_in,
    past_season_in,
    season_in,
    weather_or_reason,
)
from scripts.common.moments import moment
from scripts.page.known_days import ChangedMeanwhileError, KnownDays
from scripts.trend.read import Trend, trend_of

__all__ = ["Desk", "Standing"]

_Gathered = TypeVar("_Gathered")
_Gather = Callable[[Journal, Garden, datetime, Reading], _Gathered]

_MINUTES = 5
"""What the clock alone changes, such as a lock that ends, is seen after so long at the latest."""


@dataclass(frozen=True, eq=False)
class Standing:
    """A garden at a moment: what every page is made from.

    Attributes
    ----------
    folder : Path
        The garden's.
    garden : Garden
        As its settings say.
    season : Season
        As `flag`, `plan` and `today` see it.
    plan : Plan
        Statuses and tasks.
    told : Season
        The season whose courses are told: this one, or the last that was photographed.
    log : tuple of LogEntry
        All that holds, oldest first.
    removed : tuple of PhotoEntry
        Photos that were taken out of the record.
    trouble : str
        Why there is no weather; empty where there is, or where none is named.
    """

    folder: Path
    garden: Garden
    season: Season
    plan: Plan
    told: Season
    log: tuple[LogEntry, ...]
    removed: tuple[PhotoEntry, ...] = ()
    trouble: str = ""

    @property
    def now(self) -> datetime:
        """The moment for which it was gathered."""
        return self.season.now

    @cached_property
    def curves(self) -> Mapping[str, ProgressCurve]:
        """Each measured plant's course, as `trend` tells it."""
        return {curve.plant: curve for curve in self._trend.curves} if self._trend else {}

    @cached_property
    def notes(self) -> Mapping[str, tuple[str, ...]]:
        """What `trend` says of plants besides their courses."""
        return self._trend.notes if self._trend else {}

    @cached_property
    def _trend(self) -> Trend | None:
        if not self.told.measured_days:
            return None
        plan = self.plan if self.told is self.season else None
        return trend_of(self.told, self.log, plan=plan)

    @cached_property
    def photos_of(self) -> Mapping[str, tuple[Shot, ...]]:
        """Each plant's photos, newest first; those of no plant under an empty name."""
        found: dict[str, list[Shot]] = {}
        for photo in reversed(self.told.photos):
            found.setdefault(photo.plant, []).append(photo)
        return {plant: tuple(photos) for plant, photos in found.items()}

    def entries(self, photos: Sequence[Shot]) -> tuple[PhotoEntry, ...]:
        """Return photos with all that was measured on them, in the same order."""
        return self.told.shots.entries(photos)

    @cached_property
    def statuses_of(self) -> Mapping[str, tuple[PlantStatus, ...]]:
        """Each standing plant's status, and that of its caterpillars where it has any."""
        found: dict[str, list[PlantStatus]] = {}
        for status in self.plan.statuses:
            found.setdefault(status.plant, []).append(status)
        return {plant: tuple(statuses) for plant, statuses in found.items()}

    @cached_property
    def photo_by_hash(self) -> Mapping[str, Shot]:
        """Each photo by its hash."""
        return {photo.sha256: photo for photo in self.told.photos}

    @cached_property
    def photo_hashes(self) -> Mapping[str, str]:
        """The hash of each photo by its path in the journal."""
        return {photo.photo: photo.sha256 for photo in self.told.photos}


class Desk:
    """Gathers a garden, and hands out what was gathered until something has changed.

    Parameters
    ----------
    folder : Path
        The garden's.
    at : str, optional
        The moment as of which everything is shown, as typed; the present one otherwise.
    keeps_days : bool
        Whether what plants' days say is kept from one gathering, and one start, to the next.
        Without, all photos of the season are read each time, as the commands do.
    """

    def __init__(self, folder: Path, at: str | None = None, *, keeps_days: bool = False) -> None:
        self.folder, self.at = folder.absolute(), at
        self._lock = RLock()
        self._kept: dict[tuple[str, ...], tuple[object, Any]] = {}
        self._days = KnownDays(self.folder) if keeps_days else None
        self._heard: dict[tuple[str, ...], list[str]] = {}
        self._examined = self._damaged = False

    def garden(self) -> Garden:
        """Return the garden as its settings say now."""
        return read_garden(self.folder)

    def now(self, garden: Garden | None = None) -> datetime:
        """Return the moment as of which pages are shown."""
        return moment(self.at, (garden or self.garden()).time_zone)

    def close(self) -> None:
        """Keep what was learned of plants' days for the next start."""
        if self._days is not None:
            with self._lock:
                self._days.save(whole=True)

    def forget(self) -> None:
        """Gather anew for the next page."""
        with self._lock:
            self._kept.clear()

    def standing(self) -> Standing:
        """Return the garden as it stands.

        Raises
        ------
        SpotlampError
            With one sentence, where the garden or its record cannot be read.
        """
        return self._once(("now",), partial(_gathered, self.folder))

    def earlier(self, name: str) -> Standing:
        """Return the garden as it stood at the end of an earlier season, by the season's name.

        Raises
        ------
        NoSuchSeasonError
            When there is none of this name.
        SpotlampError
            As `standing` does.
        """
        return self._once(("earlier", name), partial(_as_it_ended, self.folder, name))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was remarked when the garden was gathered, such as which rows are damaged."""
        heard = list(self._heard.values())
        return tuple(dict.fromkeys(sentence for said in heard for sentence in said))

    def seasons(self) -> tuple[Span, ...]:
        """Return the seasons of the record, oldest first."""
        return self._once(("seasons",), _spans)

    def _once(self, key: tuple[str, ...], gather: _Gather[_Gathered]) -> _Gathered:
        """Return what was gathered under a key; gather it where something has changed since."""
        with self._lock:  # two pages asked for at once gather once
            garden = self.garden()
            now = self.now(garden)
            state = self._state(garden, now)
            known = self._kept.get(key)
            if known is None or known[0] != state:
                with remarks_kept() as self._heard[key]:
                    known = self._kept[key] = (state, self._gather(gather, garden, now, state))
            gathered: _Gathered = known[1]
            return gathered

    def _gather(
        self, gather: _Gather[_Gathered], garden: Garden, now: datetime, state: object
    ) -> _Gathered:
        try:
            with self._journal() as journal:
                reading = self._reading(journal, garden, state)
                return gather(journal, garden, now, reading)
        except (ChangedMeanwhileError, DamagedError):
            # Changed once more, or damaged: then all is read, and what is damaged is named.
            self._kept["reading",] = (state, WHOLE)
            with open_journal(self.folder) as journal:
                return gather(journal, garden, now, WHOLE)
        finally:
            if self._days is not None:
                self._days.save()

    def look_through(self) -> None:
        """Hold all pages and rows of the journal's file against each other and their checksums.

        While any is damaged, everything is read each time, and what is damaged is set aside and
        named.
        """
        file = journal_file(self.folder, self.garden().journal)
        damaged = file is not None and examine(file).state in ("rows", "damaged")
        with self._lock:
            if damaged != self._damaged:
                self._damaged = damaged
                self._kept.clear()
                self._heard.clear()

    def _journal(self) -> Journal:
        """Open the journal; its file's pages are looked through the first time, or if damaged."""
        journal = open_journal(self.folder, examined=self._examined and not self._damaged)
        self._examined = not journal.readonly
        return journal

    def _reading(self, journal: Journal, garden: Garden, state: object) -> Reading:
        """Return the record by the states of its photos, asked for once until something changes."""
        known = self._kept.get(("reading",))
        if self._days is None or self._damaged:
            return WHOLE
        if known is None or known[0] != state:
            reading = self._days.reading(garden, journal)
            known = self._kept["reading",] = (state, reading)
        found: Reading = known[1]
        return found

    def _state(self, garden: Garden, now: datetime) -> object:
        """Return what is another when something has changed."""
        if "://" in garden.journal:
            return object()  # a server's database tells no date: gathered for every page
        names = [GARDEN_FILE, garden.journal, f"{garden.journal}-wal"]
        weather = garden.settings.get("weather", {})
        names += [weather["file"]] if isinstance(weather.get("file"), str) else []
        dates = tuple(_date_of(self.folder / name) for name in names)
        return dates, now.replace(minute=now.minute // _MINUTES * _MINUTES)


def _date_of(path: Path) -> tuple[int, int] | None:
    try:
        facts = path.stat()
    except OSError:
        return None
    return facts.st_mtime_ns, facts.st_size


def _gathered(
    folder: Path, journal: Journal, garden: Garden, now: datetime, reading: Reading
) -> Standing:
    weather, why_not = weather_or_reason(garden, folder)
    trouble = f"Without the weather: {why_not}" if why_not else ""
    season = season_in(journal, garden, now, weather, reading=reading)
    measured = bool(season.measured_days)
    told = season if measured else last_season_in(journal, garden, now, reading=reading)
    log = tuple(entry for entry in journal.log_entries() if entry.at <= now)
    removed = journal.removed_photos()
    return Standing(folder, garden, season, plan_season(season), told, log, removed, trouble)


def _as_it_ended(
    folder: Path, name: str, journal: Journal, garden: Garden, now: datetime, reading: Reading
) -> Standing:
    season = past_season_in(journal, garden, name, now, reading=reading)
    plan = plan_season(season)
    return Standing(folder, season.garden, season, plan, season, season.log)


def _spans(journal: Journal, garden: Garden, now: datetime, reading: Reading) -> tuple[Span, ...]:
    return spans_of(reading.plant_times(journal), journal.log_entries(), now)
