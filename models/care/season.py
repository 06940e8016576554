"""A season as care sees it: the log without what was taken back, and each plant's visits."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from operator import attrgetter
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from models.care.burn_log import BEFORE_DAYS, verdict_of
from models.care.records import BurnVerdict, DayWeather, Verdict
from models.care.seasons import NEW_SEASON, season_begin
from models.care.shots import FILED, Shots
from models.care.thresholds import Thresholds, thresholds_of
from models.care.visits import (
    DayLook,
    DayPhotos,
    FeedingSign,
    NightLook,
    Shot,
    Visit,
    day_photos,
    nights_together,
    visit_of,
)
from models.entries import LogEntry
from models.garden.beds import Garden

if TYPE_CHECKING:
    from models.progress import GardenVisits

__all__ = [
    "DARK_FROM",
    "NIGHT_ENDS_AT",
    "PEROXIDE",
    "Season",
    "concerns",
    "effective",
    "gone_plants",
    "hours_after",
    "hours_between",
    "products_of",
    "season_of",
]

NIGHT_ENDS_AT = 5  # o'clock; before it, "tonight" is still the night of yesterday's evening
DARK_FROM = 21  # o'clock; from then on nothing can be done "by day" before tomorrow
PEROXIDE = "peroxide"
_BY_EYE: Mapping[str, tuple[Verdict, str]] = {
    "burned": ("burned", "You saw it by eye."),
    "no-burn": ("no burn seen", "You looked by eye and saw none; small burns are easily missed."),
}


def hours_between(earlier: datetime, later: datetime) -> float:
    """Return the hours that really pass, also across a change of the clocks.

    Two times of one zone would be subtracted as their clocks show them.
    """
    return (later.astimezone(UTC) - earlier.astimezone(UTC)) / timedelta(hours=1)


def hours_after(at: datetime, hours: float) -> datetime:
    """Return the time so many hours later, in the same zone, across a change of the clocks too."""
    return (at.astimezone(UTC) + timedelta(hours=hours)).astimezone(at.tzinfo)


def effective(log: Iterable[LogEntry]) -> tuple[LogEntry, ...]:
    """Return the entries that hold, in order of time: neither corrected nor withdrawn.

    Withdrawing a correction takes the action back as a whole; the first version does not return.
    """
    entries = list(log)
    replaced = {entry.corrects for entry in entries if entry.corrects is not None}
    holding = (e for e in entries if e.number not in replaced and not e.withdrawn)
    return tuple(sorted(holding, key=lambda entry: (entry.at.astimezone(UTC), entry.number)))


@dataclass(frozen=True, eq=False)
class Season:
    """Everything that a plan is made from, up to ``now``.

    Attributes
    ----------
    garden : Garden
        Beds and plants.
    limits : Thresholds
        The garden's.
    now : datetime
        In the garden's time zone.
    photos : tuple of Shot
        Taken up to ``now``, in order of time.
    log : tuple of LogEntry
        What holds up to ``now``, in order of time.
    roots : mapping of int to int
        The number under which each entry was first logged, by its number.
    weather : mapping of date to DayWeather
        Measured and forecast days.
    shots : Shots
        Tells what the photos say.
    later : Season or None
        The season of which this is an earlier moment, where it is one.
    """

    garden: Garden
    limits: Thresholds
    now: datetime
    photos: tuple[Shot, ...]
    log: tuple[LogEntry, ...]
    roots: Mapping[int, int]
    weather: Mapping[date, DayWeather]
    shots: Shots = FILED
    later: "Season | None" = None

    @property
    def today(self) -> date:
        """The garden's calendar day."""
        return self.now.date()

    @property
    def tonight(self) -> date:
        """The day whose evening begins the present or the coming night."""
        early = self.now.hour < NIGHT_ENDS_AT
        return self.today - timedelta(days=1) if early else self.today

    @property
    def is_dark(self) -> bool:
        """Whether it is night: what is asked for by day must wait."""
        return self.now.hour >= DARK_FROM or self.now.hour < NIGHT_ENDS_AT

    @property
    def daytime(self) -> date:
        """The day on which something can next be done by day."""
        return self.today + timedelta(days=1) if self.now.hour >= DARK_FROM else self.today

    @cached_property
    def is_over(self) -> bool:
        """Whether nobody has photographed or logged anything for so long that nothing is known."""
        times = [photo.taken_at for photo in self.photos[-1:]]
        times += [entry.at for entry in self.log if entry.kind != "decline"]
        last = max((at.astimezone(UTC) for at in times), default=None)
        quiet = timedelta(days=self.limits.quiet_days)
        return last is not None and self.now.astimezone(UTC) - last > quiet

    @cached_property
    def plants(self) -> tuple[str, ...]:
        """The plants that still stand, in the garden's order."""
        gone = gone_plants(self.log)
        return tuple(plant.name for plant in self.garden.plants if plant.name not in gone)

    @cached_property
    def planted(self) -> Mapping[str, datetime]:
        """When a new plant took the place and name of another; what was before is not its own."""
        new = [e for e in self.log if e.kind == "seen" and e.text == "planted"]
        return {name: entry.at for entry in new for name in entry.plants}

    @cached_property
    def photos_of(self) -> Mapping[str, tuple[Shot, ...]]:
        """Each plant's photos, also of those that are gone; one pass, there may be thousands."""
        found: dict[str, list[Shot]] = {name: [] for name in self.plants}
        for photo in self.photos:
            if photo.plant and self._is_its_own(photo.plant, photo.taken_at):
                found.setdefault(photo.plant, []).append(photo)
        return {name: tuple(photos) for name, photos in found.items()}

    @cached_property
    def looks(self) -> Mapping[str, tuple[DayLook, ...]]:
        """What each plant's days say, oldest first, also of plants that are gone."""
        if self.later is not None and self.later.planted == self.planted:
            return self._looks_of(self.later)
        days = {name: _by_day(photos) for name, photos in self.photos_of.items()}
        looks = iter(self.shots.looks([day for found in days.values() for day in found]))
        return {name: tuple(next(looks) for _ in found) for name, found in days.items()}

    def _looks_of(self, later: "Season") -> Mapping[str, tuple[DayLook, ...]]:
        """Return what each plant's days say, by a later moment: only the last may say less."""
        found: dict[str, tuple[DayLook, ...]] = dict.fromkeys(self.plants, ())
        last: dict[str, tuple[Shot, ...]] = {}
        for name, looks in later.looks.items():
            found[name] = looks[: bisect_left(looks, self.today, key=attrgetter("day"))]
            if len(found[name]) < len(looks):
                own = _of_day(later.photos_of[name], self.today)
                last[name] = tuple(photo for photo in own if photo.taken_at <= self.now)
        last = {name: photos for name, photos in last.items() if photos}
        looked = zip(last, self.shots.looks(list(last.values())), strict=True)
        return found | {name: (*found[name], look) for name, look in looked}

    @cached_property
    def measured_days(self) -> Mapping[str, tuple[DayLook, ...]]:
        """Each plant's days on which a leaf was measured, also of those that are gone."""
        days = {name: tuple(d for d in found if d.measured) for name, found in self.looks.items()}
        return {name: found for name, found in days.items() if found}

    def last_day_photos(self, plant: str) -> DayPhotos:
        """Return the photos of a plant's last measured day, and those that count.

        Raises
        ------
        KeyError
            When no leaf of it was measured.
        """
        last = self.measured_days[plant][-1].day
        of_day = _of_day(self.photos_of[plant], last)
        found = day_photos(self.shots.entries(of_day))
        if found is None:
            raise KeyError(plant)
        return found

    @property
    def first_day(self) -> date:
        """The first measured day; today without any."""
        days = (day.day for found in self.measured_days.values() for day in found)
        return min(days, default=self.today)

    @property
    def began(self) -> datetime | None:
        """When the grower said that this season begins; None without that word."""
        said = self.entries(NEW_SEASON)
        return said[-1].at if said else None

    @cached_property
    def courses(self) -> "GardenVisits":
        """Every plant's severity over time: what `trend`, the statuses and the summary show."""
        from models.progress import summed_visits  # NumPy

        return summed_visits(
            {
                name: [(day.day.toordinal(), day.measured.summed) for day in days if day.measured]
                for name, days in self.measured_days.items()
            }
        )

    @cached_property
    def visits(self) -> Mapping[str, tuple[Visit, ...]]:
        """Each plant's day visits, oldest first, also of plants that are gone."""
        return _Visits(self)

    @cached_property
    def nights(self) -> Mapping[str, tuple[NightLook, ...]]:
        """Each plant's looks by night, oldest first."""
        return {
            name: nights_together(night for look in self.looks[name] for night in look.nights)
            for name in self.plants
        }

    @cached_property
    def feeding(self) -> Mapping[str, tuple[FeedingSign, ...]]:
        """Each plant's droppings and eaten leaves by day, oldest first."""
        return {
            name: tuple(sign for look in self.looks[name] for sign in look.feeding)
            for name in self.plants
        }

    @cached_property
    def verdicts(self) -> tuple[BurnVerdict, ...]:
        """The burn checks in the log, oldest first: by photos, or by the grower's own eyes."""
        return tuple(verdict for entry in self.log for verdict in self._verdicts_in(entry))

    def _verdicts_in(self, entry: LogEntry) -> Iterable[BurnVerdict]:
        if entry.kind == "burn_check":
            kept = verdict_of(entry)
            if self._still_shown(kept):
                yield kept
        elif entry.kind == "seen" and entry.text in _BY_EYE:
            for plant in entry.plants:
                sprays = [e for e in self.sprays(PEROXIDE, plant) if e.at <= entry.at]
                if sprays:
                    verdict, reason = _BY_EYE[entry.text]
                    yield BurnVerdict(
                        verdict, plant, sprays[-1].number, entry.at, {}, reason=reason
                    )

    def _still_shown(self, verdict: BurnVerdict) -> bool:
        """Whether the photos behind a verdict are still this plant's, before and after its spray.

        Their dates or plants may have been put right since, or a photo taken out of the record. A
        burn counts all the same, until the grower takes its entry back.
        """
        root = self.root(verdict.spray)
        spray = next((e for e in self.log if self.root(e.number) == root), None)
        # At the season's far end, the photos before a spray lie before all that is looked at here.
        all_here = self.limits.season_days - BEFORE_DAYS
        if spray is None or verdict.verdict == "burned":
            return True
        if self.now - spray.at > timedelta(days=all_here):
            return True
        own = {
            photo.photo: hours_between(spray.at, photo.taken_at)
            for photo in self.photos
            if photo.plant == verdict.plant and photo.taken_from != "file"
        }
        before = all(name in own and own[name] < 0 for name in verdict.before)
        return before and all(
            name in own and own[name] >= self.limits.wait_hours for name in verdict.after
        )

    def entries(self, kind: str, plant: str | None = None) -> tuple[LogEntry, ...]:
        """Return the entries of a kind; with a plant, those that concern it."""
        known = self._entries_of
        if (kind, plant) not in known:  # asked for between any two looks at a plant
            known[kind, plant] = self._chosen(kind, plant)
        return known[kind, plant]

    @cached_property
    def _entries_of(self) -> dict[tuple[str, str | None], tuple[LogEntry, ...]]:
        return {}

    def _chosen(self, kind: str, plant: str | None) -> tuple[LogEntry, ...]:
        found = (e for e in self.log if e.kind == kind)
        if plant is None:
            return tuple(found)
        return tuple(e for e in found if concerns(e, plant) and self._is_its_own(plant, e.at))

    def _is_its_own(self, plant: str, at: datetime) -> bool:
        """Whether a time lies in this plant's life, not in that of one before it."""
        return plant not in self.planted or at >= self.planted[plant]

    def before(self, entry: LogEntry) -> "Season":
        """Return the season as it stood just before one of its entries; made once for each."""
        if entry not in self._before:
            log = self.log[: self.log.index(entry)]
            photos = tuple(p for p in self.photos if p.taken_at <= entry.at)
            now = entry.at.astimezone(self.now.tzinfo)
            self._before[entry] = replace(self, now=now, log=log, photos=photos, later=self)
        return self._before[entry]

    @cached_property
    def _before(self) -> dict[LogEntry, "Season"]:
        return {}

    def sprays(self, product: str, plant: str | None = None) -> tuple[LogEntry, ...]:
        """Return the sprays of a product, alone or with others, oldest first."""
        return tuple(e for e in self.entries("spray", plant) if product in products_of(e))

    def seen(self, sign: str, plant: str) -> tuple[LogEntry, ...]:
        """Return the times at which the grower saw a sign on a plant."""
        return tuple(e for e in self.entries("seen", plant) if e.text == sign)

    def root(self, number: int) -> int:
        """Return the number under which an entry was first logged."""
        return self.roots.get(number, number)


class _Visits(Mapping[str, tuple[Visit, ...]]):
    """Each plant's visits, made when they are asked for: of an earlier moment few are."""

    def __init__(self, season: Season) -> None:
        self._season = season
        self._made: dict[str, tuple[Visit, ...]] = {}
        self._names = dict.fromkeys((*season.plants, *season.measured_days))

    def __getitem__(self, plant: str) -> tuple[Visit, ...]:
        if plant not in self._names:
            raise KeyError(plant)
        if plant not in self._made:
            days = self._season.measured_days.get(plant, ())
            points = self._season.courses.points(plant)
            found = (visit_of(day, point) for day, point in zip(days, points, strict=True))
            self._made[plant] = tuple(visit for visit in found if visit)
        return self._made[plant]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def _by_day(photos: Iterable[Shot]) -> list[tuple[Shot, ...]]:
    """Return a plant's photos by their calendar day, oldest first."""
    days: dict[date, list[Shot]] = {}
    for photo in photos:
        days.setdefault(photo.taken_at.date(), []).append(photo)
    return [tuple(days[day]) for day in sorted(days)]


def _of_day(photos: Sequence[Shot], day: date) -> Sequence[Shot]:
    """Return those of a plant's photos, in order of time, that are of a calendar day."""
    return photos[bisect_left(photos, day, key=_day_of) : bisect_right(photos, day, key=_day_of)]


def _day_of(photo: Shot) -> date:
    return photo.taken_at.date()


def products_of(entry: LogEntry) -> tuple[str, ...]:
    """Return what was in a spray's tank, such as ``("soda", "aspirin")`` for ``soda+aspirin``."""
    return tuple(part.strip() for part in entry.product.split("+") if part.strip())


def gone_plants(log: Iterable[LogEntry]) -> set[str]:
    """Return the plants taken out this season and not planted anew; the log is in order of time."""
    gone: set[str] = set()
    for entry in log:
        if entry.kind == "seen" and entry.text == "gone":
            gone.update(entry.plants)
        elif entry.kind == "seen" and entry.text == "planted":
            gone.difference_update(entry.plants)
        elif entry.kind == NEW_SEASON:
            gone.clear()
    return gone


def concerns(entry: LogEntry, plant: str) -> bool:
    """Whether an entry concerns a plant: by its name, or the whole garden."""
    return not entry.plants or plant in entry.plants


def season_of(
    garden: Garden,
    photos: Sequence[Shot],
    log: Sequence[LogEntry],
    now: datetime,
    weather: Iterable[DayWeather] = (),
    since: datetime | None = None,
    shots: Shots = FILED,
) -> Season:
    """Gather a season as it stands at a time; what is later than ``now`` is left out.

    Parameters
    ----------
    garden : Garden
        With its settings.
    photos, log : sequences of Shot and LogEntry
        The whole record, in any order.
    now : datetime
        With its time zone.
    weather : iterable of DayWeather
        Measured and forecast days.
    since : datetime, optional
        What is older is left out; by default what is older than the season (`season_begin`).
    shots : Shots
        Tells what the photos say; by default they are entries, which say it themselves.

    Raises
    ------
    CareSettingsError, BadVerdictError
        With one sentence.
    """
    now = now.astimezone(ZoneInfo(garden.time_zone))
    limits = thresholds_of(garden)
    holding = effective(log)
    if since is None:
        taken = (photo.taken_at for photo in photos if photo.plant)
        since = season_begin(taken, holding, now, limits.season_days)
    since, until = since.astimezone(UTC), now.astimezone(UTC)
    timed = ((photo.taken_at.astimezone(UTC), photo) for photo in photos)
    past = sorted(
        ((at, p) for at, p in timed if since <= at and (at <= until or _is_of_today(p, now))),
        key=lambda one: (one[0], one[1].photo, one[1].sha256),
    )
    held = [
        e
        for e in holding
        # What was declined is declined for good.
        if (since <= e.at.astimezone(UTC) or e.kind == "decline") and e.at.astimezone(UTC) <= until
    ]
    return Season(
        garden=garden,
        limits=limits,
        now=now,
        photos=tuple(photo for _, photo in past),
        log=tuple(held),
        roots=_roots(log),
        weather={day.day: day for day in weather},
        shots=shots,
    )


def _is_of_today(photo: Shot, now: datetime) -> bool:
    """Whether a photo counts all day, because its name tells only that it is of today."""
    taken = photo.taken_at.astimezone(now.tzinfo)
    return photo.taken_from == "name" and taken.time() == time(12) and taken.date() == now.date()


def _roots(log: Iterable[LogEntry]) -> dict[int, int]:
    """Follow each correction back to the entry that was first logged."""
    corrects = {entry.number: entry.corrects for entry in log if entry.corrects is not None}
    roots = {}
    for number in corrects:
        first, steps = number, 0
        while first in corrects and steps <= len(corrects):
            first, steps = corrects[first], steps + 1
        roots[number] = first
    return roots
