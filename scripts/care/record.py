"""A garden's record read for care, and what was logged said back."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple, Protocol

from models.care.burn_log import verdict_of
from models.care.mornings import NO_PRODUCT
from models.care.planning import plan_season
from models.care.records import DayWeather
from models.care.review import review
from models.care.season import Season, gone_plants, products_of, season_of
from models.care.seasons import NEW_SEASON, Span, named_span, spans_of
from models.care.shots import FILED, Shots
from models.care.thresholds import thresholds_of
from models.care.visits import Shot
from models.care.words import day_words, joined, rain_words, time_words
from models.entries import LogEntry
from models.garden.beds import Garden, Plant
from models.garden.settings import read_garden
from models.journal import Journal, JournalError, open_journal
from models.mix import RECIPES
from models.numerals import plain_number
from models.weather import WeatherFileError
from scripts.care.log_words import Said
from scripts.care.text import sentence, wrapped
from scripts.care.weather_file import garden_weather
from vision.photo.find import printable

__all__ = [
    "WHOLE",
    "Logged",
    "Reading",
    "entry_line",
    "garden_product",
    "gone_from",
    "last_season",
    "last_season_in",
    "log_said",
    "past_season",
    "past_season_in",
    "products_in",
    "read_season",
    "season_in",
    "spans_in",
    "weather_of",
    "weather_or_reason",
    "withdraw",
]


class Reading(Protocol):
    """How the photos of a record are read."""

    def photos(self, journal: Journal, since: datetime) -> tuple[Sequence[Shot], Shots]:
        """Return the photos since a moment, and what tells what they say."""

    def plant_times(self, journal: Journal) -> Sequence[datetime]:
        """Return when the photos of plants were taken."""


class _Whole:
    """Photos read with all that was measured on them."""

    def photos(self, journal: Journal, since: datetime) -> tuple[Sequence[Shot], Shots]:
        return journal.photos(since=since), FILED

    def plant_times(self, journal: Journal) -> Sequence[datetime]:
        return journal.plant_photo_times()


WHOLE: Reading = _Whole()


def read_season(
    folder: Path, now: datetime, weather: Iterable[DayWeather] = (), garden: Garden | None = None
) -> Season:
    """Return a garden's season at a time.

    Raises
    ------
    GardenError, JournalError, CareSettingsError, BadVerdictError
        With one sentence.
    """
    garden = garden or read_garden(folder)
    with open_journal(folder) as journal:
        return season_in(journal, garden, now, weather)


def season_in(
    journal: Journal,
    garden: Garden,
    now: datetime,
    weather: Iterable[DayWeather] = (),
    since: datetime | None = None,
    reading: Reading = WHOLE,
) -> Season:
    """Return a garden's season at a time from its open journal; see `read_season`.

    Parameters
    ----------
    journal : Journal
        The garden's.
    garden : Garden
        As its settings say.
    now : datetime
        The moment asked about.
    weather : iterable of DayWeather
        Measured and forecast days.
    since : datetime, optional
        What is older is left out.
    reading : Reading
        How its photos are read.
    """
    begin = since or now - timedelta(days=thresholds_of(garden).season_days)
    photos, shots = reading.photos(journal, begin)
    log = journal.log_entries(with_corrected=True)
    return season_of(garden, photos, log, now, weather, since, shots)


def last_season(
    folder: Path, garden: Garden, now: datetime, since: datetime | None = None
) -> Season:
    """Return the season as it stands, or the last one that was photographed, as it ended.

    What `trend`, `howmany` and the summary tell of; while a season lasts it is that of `flag`. One
    of which the grower said that it begins is told of from then on, though it holds nothing yet.

    Parameters
    ----------
    folder : Path
        The garden's.
    garden : Garden
        As its settings file says.
    now : datetime
        The moment asked about; what is later is left out, as from a camera whose clock is wrong.
    since : datetime, optional
        What is older is left out.

    Raises
    ------
    JournalError, CareSettingsError, BadVerdictError
        With one sentence.
    """
    with open_journal(folder) as journal:
        return last_season_in(journal, garden, now, since)


def last_season_in(
    journal: Journal,
    garden: Garden,
    now: datetime,
    since: datetime | None = None,
    reading: Reading = WHOLE,
) -> Season:
    """Return the last season from a garden's open journal; see `last_season`, `season_in`."""
    season = season_in(journal, garden, now, since=since, reading=reading)
    if season.measured_days or season.began:
        return season
    past = [at for at in reading.plant_times(journal) if at <= now]
    new = [entry.at for entry in journal.log_entries(kind=NEW_SEASON) if entry.at <= now]
    if not past or max(new, default=max(past)) > max(past):
        return season
    end = max(past).replace(hour=23, minute=59)
    return season_in(journal, garden, end, since=since, reading=reading)


def spans_in(folder: Path, garden: Garden, now: datetime) -> tuple[Span, ...]:
    """Return the seasons of a garden's record, oldest first, the present one last.

    Raises
    ------
    JournalError
        When the record cannot be read.
    """
    with open_journal(folder) as journal:
        return spans_of(journal.plant_photo_times(), journal.log_entries(), now)


def past_season(
    folder: Path,
    garden: Garden,
    name: str,
    now: datetime,
    weather: Iterable[DayWeather] = (),
) -> Season:
    """Return a season by its name: an earlier one as it ended, the present one as it stands.

    Plants that left the garden since stand in an earlier one where they stood.

    Raises
    ------
    NoSuchSeasonError, JournalError, CareSettingsError, BadVerdictError
        With one sentence.
    """
    with open_journal(folder) as journal:
        return past_season_in(journal, garden, name, now, weather)


def past_season_in(
    journal: Journal,
    garden: Garden,
    name: str,
    now: datetime,
    weather: Iterable[DayWeather] = (),
    reading: Reading = WHOLE,
) -> Season:
    """Return a season by its name from a garden's open journal; see `past_season`, `season_in`."""
    spans = spans_of(reading.plant_times(journal), journal.log_entries(), now)
    span = named_span(spans, name)
    moment = now if span.end is None or span.moment is None else span.moment
    then = season_in(journal, garden, moment, weather, span.begin, reading)
    if span.end is None:
        return then
    return replace(then, garden=_as_it_stood(then, journal.plants()))


def _as_it_stood(season: Season, recorded: Iterable[Plant]) -> Garden:
    """Return the garden with the plants that have left it since, where they stood last."""
    there = {plant.name for plant in season.garden.plants}
    seen = {photo.plant for photo in season.photos}
    left = [plant for plant in recorded if plant.name in seen - there]
    return replace(season.garden, plants=(*season.garden.plants, *left))


def gone_from(folder: Path) -> set[str]:
    """Return the plants of a garden that were logged as taken out this season."""
    with open_journal(folder) as journal:
        return gone_plants(journal.log_entries())


def products_in(folder: Path) -> set[str]:
    """Return the products of the sprays in a garden's log."""
    with open_journal(folder) as journal:
        return {entry.product for entry in journal.log_entries(kind="spray")}


def garden_product(garden: Garden) -> str:
    """Return the preventive product that a garden's settings name."""
    return thresholds_of(garden).preventive


class Logged(NamedTuple):
    """An entry that was filed.

    Attributes
    ----------
    number : int
        Its number in the log.
    words : str
        What to say back: the entry, and what was against a rule.
    """

    number: int
    words: str


def log_said(folder: Path, said: Said | None, at: datetime | None, correct: int | None) -> Logged:
    """File what was said, and return its number and what to say back.

    Parameters
    ----------
    folder : Path
        The garden's.
    said : Said or None
        None only with `correct`: the entry's other values stay.
    at : datetime or None
        When it happened; None only with `correct`: the time stays.
    correct : int or None
        Number of the entry in whose place it goes.
    """
    garden = read_garden(folder)
    # What was done is logged, whatever is wrong with the weather file.
    weather, trouble = weather_or_reason(garden, folder)
    with open_journal(folder) as journal:
        entry = _entry(journal, said, at, correct)
        number = journal.log(entry)
        entry = replace(entry, number=number)
        season = season_in(journal, garden, max(entry.at, _last_moment(journal)), weather)
    lines = [f"Logged: {entry_line(entry, garden.units)}"]
    lines += [wrapped(f"Without the weather: {trouble}", 4, "  ! ")] if trouble else []
    lines += [wrapped(remark.sentence, 4, "  ! ") for remark in review(season, number=number)]
    lines += [*_without_rules(season, entry), *_what_follows(season, entry)]
    return Logged(number, "\n".join(lines))


def _without_rules(season: Season, entry: LogEntry) -> list[str]:
    """Say of which products in the tank no more is known than that the waits hold."""
    known = {season.limits.preventive, NO_PRODUCT, *RECIPES}
    others = [part for part in products_of(entry) if part not in known]
    if entry.kind != "spray" or not others:
        return []
    wait = season.limits.between_hours
    words = f"{wait} hours before and after other products, and not on isolated plants"
    text = f"no rules are known here for {joined(others)}, but: {words}. Follow its label."
    return [wrapped(text, 4, "  ! ")]


def weather_or_reason(garden: Garden, folder: Path) -> tuple[Sequence[DayWeather], str]:
    """Return the garden's weather, or none and the reason."""
    try:
        return weather_of(garden, folder), ""
    except WeatherFileError as error:
        return (), str(error)


def weather_of(garden: Garden, folder: Path, file: Path | None = None) -> Sequence[DayWeather]:
    """Return the days of the garden's weather file, or of another with the same columns.

    Raises
    ------
    WeatherFileError, CareSettingsError
        With one sentence.
    """
    limits = thresholds_of(garden)
    morning = (limits.morning_from, limits.morning_until)
    return garden_weather(garden, folder, morning=morning, file=file)


def _entry(
    journal: Journal, said: Said | None, at: datetime | None, correct: int | None
) -> LogEntry:
    if correct is not None:
        old = _holding(journal, correct)
        kept = said or Said(old.kind, old.plants, old.product, old.amount, old.text)
        return replace(_entry(journal, kept, at or old.at, None), corrects=correct)
    if said is None or at is None:
        raise ValueError("only a correction may leave out what happened, or when")
    return LogEntry(0, said.kind, at, said.plants, said.product, said.amount, said.text)


def _holding(journal: Journal, number: int) -> LogEntry:
    found = next((e for e in journal.log_entries() if e.number == number), None)
    if found is None:
        raise JournalError(f"There is no entry {number} in the log that still holds.")
    return found


def _last_moment(journal: Journal) -> datetime:
    """Return the time of the last entry: what was logged late is judged by what followed."""
    return journal.log_entries()[-1].at


def _what_follows(season: Season, entry: LogEntry) -> list[str]:
    """Say what comes next after a spray, a picking or a sign."""
    kinds = _FOLLOWS.get(entry.product if entry.kind == "spray" else entry.kind, ())
    found = plan_season(season)
    if entry.kind == "choice" and found.choice.why_not:
        return [wrapped(f"{sentence(found.choice.why_not)}", 4, "  ! ")]
    tasks = [
        task for task in found.tasks if task.kind in kinds and set(task.plants) & set(entry.plants)
    ]
    if entry.text == "no-burn":  # it opens the others
        tasks += [task for task in found.tasks if task.kind == "treat"]
    if not tasks:
        return []
    when = f"{day_words(tasks[0].day)}, {tasks[0].part}"
    if tasks[0].not_before:
        when = f"from {time_words(tasks[0].not_before)}"
    return [wrapped(f"{tasks[0].what}", 4, f"  Next, {when}: ")]


_FOLLOWS = {
    "soda": ("prevent",),
    "peroxide": ("burn-check", "prevent"),
    "choice": ("spot-test",),
    "hand_pick": ("night",),
    "seen": ("isolate", "night"),
}


def withdraw(folder: Path, number: int) -> str:
    """Take an entry back, and say so."""
    garden = read_garden(folder)
    with open_journal(folder) as journal:
        entry = _holding(journal, number)
        journal.withdraw(number)
    return f"Taken back: {entry_line(entry, garden.units)}"


_VERBS = {
    "spray": "sprayed",
    "rain": "rain",
    "hand_pick": "caterpillars picked",
    "removed_leaves": "leaves taken off",
    "watering": "watered",
    "note": "note",
    "burn_check": "burn check",
    "seen": "seen",
    "choice": "chosen for the spot-test",
    "decline": "habit declined",
    NEW_SEASON: "new season",
}


def entry_line(entry: LogEntry, units: str) -> str:
    """Return an entry in one line."""
    parts = [_VERBS[entry.kind], entry.product]
    if entry.amount is not None:
        rain = entry.kind == "rain"
        parts.append(rain_words(entry.amount, units) if rain else plain_number(entry.amount, 6))
    parts.append(verdict_of(entry).verdict if entry.kind == "burn_check" else entry.text)
    words = printable(" ".join(part for part in parts if part))
    where = f": {joined(entry.plants)}" if entry.plants else ""
    return f"{entry.number}  {entry.at:%Y-%m-%d %H:%M}  {words}{where}"
