"""The garden as it stands, gathered once for all pages until something changes.

Gathering reads all photos of the season. The pages read what was gathered, so that they take as
long as there are plants, not photos. Whatever the record, the settings or the weather file say anew
is seen by their files' dates; what the clock alone changes, every few minutes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from threading import Lock

from models.care.planning import Plan, plan_season
from models.care.records import DayWeather, PlantStatus
from models.care.season import Season
from models.care.seasons import Span
from models.entries import LogEntry, PhotoEntry
from models.garden.beds import Garden
from models.garden.settings import GARDEN_FILE, read_garden
from models.journal import open_journal
from models.progress import ProgressCurve
from models.weather import WeatherFileError
from scripts.care.record import last_season, past_season, read_season, spans_in, weather_of
from scripts.common.moments import moment
from scripts.trend.read import Trend, trend_of

__all__ = ["Desk", "Standing"]

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
        self._kept: tuple[object, Standing] | None = None
        self._earlier: dict[str, tuple[object, Standing]] = {}

    def garden(self) -> Garden:
        """Return the garden as its settings say now."""
        return read_garden(self.folder)

    def now(self, garden: Garden | None = None) -> datetime:
        """Return the moment as of which pages are shown."""
        return moment(self.at, (garden or self.garden()).time_zone)

    def forget(self) -> None:
        """Gather anew for the next page."""
        with self._lock:
            self._kept = None
            self._earlier.clear()

    def standing(self) -> Standing:
        """Return the garden as it stands.

        Raises
        ------
        SpotlampError
            With one sentence, where the garden or its record cannot be read.
        """
        with self._lock:  # two pages asked for at once gather once
            garden = self.garden()
            now = self.now(garden)
            state = self._state(garden, now)
            if self._kept is None or self._kept[0] != state:
                self._kept = (state, _gathered(self.folder, garden, now))
            return self._kept[1]

    def earlier(self, name: str) -> Standing:
        """Return the garden as it stood at the end of an earlier season, by the season's name.

        Raises
        ------
        NoSuchSeasonError
            When there is none of this name.
        SpotlampError
            As `standing` does.
        """
        with self._lock:
            garden = self.garden()
            now = self.now(garden)
            state = self._state(garden, now)
            known = self._earlier.get(name)
            if known is None or known[0] != state:
                self._earlier[name] = (state, _as_it_ended(self.folder, garden, name, now))
            return self._earlier[name][1]

    def seasons(self) -> tuple[Span, ...]:
        """Return the seasons of the record, oldest first."""
        garden = self.garden()
        return spans_in(self.folder, garden, self.now(garden))

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
    weather, trouble = _weather(garden, folder)
    season = read_season(folder, now, weather, garden=garden)
    told = season if season.measured_days else last_season(folder, garden, now)
    with open_journal(folder) as journal:
        log = tuple(entry for entry in journal.log_entries() if entry.at <= now)
        removed = journal.removed_photos()
    return Standing(folder, garden, season, plan_season(season), told, log, removed, trouble)


def _as_it_ended(folder: Path, garden: Garden, name: str, now: datetime) -> Standing:
    season = past_season(folder, garden, name, now)
    plan = plan_season(season)
    return Standing(folder, season.garden, season, plan, season, season.log)


def _weather(garden: Garden, folder: Path) -> tuple[tuple[DayWeather, ...], str]:
    """Return the garden's weather; a file that cannot be read takes no page away."""
    try:
        return tuple(weather_of(garden, folder)), ""
    except WeatherFileError as error:
        return (), f"Without the weather: {error}"
