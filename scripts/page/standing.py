"""The garden as it stands, gathered once for all pages until something changes.

Gathering reads all photos of the season. The pages read what was gathered, so that they take as
long as there are plants, not photos. Whatever the record, the settings or the weather file say anew
is seen by their files' dates; what the clock alone changes, every few minutes.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, partial
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

from models.care.planning import Plan, plan_season
from models.care.records import PlantStatus
from models.care.season import Season
from models.care.seasons import Span
from models.entries import LogEntry, PhotoEntry
from models.garden.beds import Garden
from models.garden.settings import GARDEN_FILE, read_garden
from models.journal import open_journal
from models.progress import ProgressCurve
from scripts.care.record import last_season, past_season, read_season, spans_in, weather_or_reason
from scripts.common.moments import moment
from scripts.trend.read import Trend, trend_of

__all__ = ["Desk", "Standing"]

_Gathered = TypeVar("_Gathered")

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
    def photos_of(self) -> Mapping[str, tuple[PhotoEntry, ...]]:
        """Each plant's photos, newest first; those of no plant under an empty name."""
        found: dict[str, list[PhotoEntry]] = {}
        for photo in reversed(self.told.photos):
            found.setdefault(photo.plant, []).append(photo)
        return {plant: tuple(photos) for plant, photos in found.items()}

    @cached_property
    def statuses_of(self) -> Mapping[str, tuple[PlantStatus, ...]]:
        """Each standing plant's status, and that of its caterpillars where it has any."""
        found: dict[str, list[PlantStatus]] = {}
        for status in self.plan.statuses:
            found.setdefault(status.plant, []).append(status)
        return {plant: tuple(statuses) for plant, statuses in found.items()}

    @cached_property
    def entries_of(self) -> Mapping[str, PhotoEntry]:
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
    """

    def __init__(self, folder: Path, at: str | None = None) -> None:
        self.folder, self.at = folder.absolute(), at
        self._lock = Lock()
        self._kept: dict[tuple[str, ...], tuple[object, Any]] = {}

    def garden(self) -> Garden:
        """Return the garden as its settings say now."""
        return read_garden(self.folder)

    def now(self, garden: Garden | None = None) -> datetime:
        """Return the moment as of which pages are shown."""
        return moment(self.at, (garden or self.garden()).time_zone)

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

    def seasons(self) -> tuple[Span, ...]:
        """Return the seasons of the record, oldest first."""
        return self._once(("seasons",), partial(spans_in, self.folder))

    def _once(
        self, key: tuple[str, ...], gather: Callable[[Garden, datetime], _Gathered]
    ) -> _Gathered:
        """Return what was gathered under a key; gather it where something has changed since."""
        with self._lock:  # two pages asked for at once gather once
            garden = self.garden()
            now = self.now(garden)
            state = self._state(garden, now)
            known = self._kept.get(key)
            if known is None or known[0] != state:
                known = self._kept[key] = (state, gather(garden, now))
            gathered: _Gathered = known[1]
            return gathered

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


def _gathered(folder: Path, garden: Garden, now: datetime) -> Standing:
    weather, why_not = weather_or_reason(garden, folder)
    trouble = f"Without the weather: {why_not}" if why_not else ""
    season = read_season(folder, now, weather, garden=garden)
    told = season if season.measured_days else last_season(folder, garden, now)
    with open_journal(folder) as journal:
        log = tuple(entry for entry in journal.log_entries() if entry.at <= now)
        removed = journal.removed_photos()
    return Standing(folder, garden, season, plan_season(season), told, log, removed, trouble)


def _as_it_ended(folder: Path, name: str, garden: Garden, now: datetime) -> Standing:
    season = past_season(folder, garden, name, now)
    plan = plan_season(season)
    return Standing(folder, season.garden, season, plan, season, season.log)
