"""The parts of a report, gathered: today's sheet, a strip for each plant, the rounds by night."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from markupsafe import Markup

from models.care.cautions import said
from models.care.records import Task
from models.care.season import concerns
from models.care.visits import NightLook, Visit
from models.care.words import day_words, joined, time_words
from models.entries import LogEntry, PhotoEntry
from models.numerals import counted
from scripts.care.record import entry_line
from scripts.care.text import (
    PARTS,
    again_words,
    day_list,
    next_words,
    sentence,
    short_words,
)
from scripts.page.course import course_picture, course_svg
from scripts.page.figures import SMALL_PX, Album, Figure, Wanted, side_px
from scripts.page.standing import Standing
from scripts.page.tiles import StatusShown, Tile, status_shown, tile_of
from scripts.trend.words import plant_words

__all__ = [
    "NOT_LISTED",
    "NightRound",
    "PlantStrip",
    "TaskRow",
    "TodaySheet",
    "night_rounds",
    "place_words",
    "plant_entries",
    "plant_strips",
    "plants_told",
    "smaller_words",
    "today_sheet",
]

NOT_LISTED = frozenset({"rain", "decline", "season"})
"""Kinds of entries that a plant's own list leaves out: drawn beside it, or not about it."""

_MOST_IN_ROW = 5  # photos of a plant
_MOST_PHOTOS = 150  # of all plants together
_MOST_NIGHT_PHOTOS = 9
_MOST_ENTRIES = 12


@dataclass(frozen=True)
class TaskRow:
    """A task as it is printed: when, what, from when on, why, and whether it comes again."""

    part: str
    what: str
    wait: str
    why: str
    again: str
    urgent: bool


@dataclass(frozen=True)
class TodaySheet:
    """What to do today and tonight, and what comes then.

    Attributes
    ----------
    rounds : tuple of (str, str, tuple of TaskRow)
        Title, way round in words (empty for a single stop), tasks in walking order.
    nothing : str
        What comes next where there is nothing to do; else empty.
    coming : tuple of (str, tuple of str)
        The days after, each with its tasks in few words.
    remarks, habits, cautions : tuple of str
        What was logged against a rule; habits that may help; cautions, each in full.
    why_not : str
        Why the plant that the grower chose for the spot-test is not the one asked for.
    """

    rounds: tuple[tuple[str, str, tuple[TaskRow, ...]], ...]
    nothing: str
    coming: tuple[tuple[str, tuple[str, ...]], ...]
    remarks: tuple[str, ...]
    habits: tuple[str, ...]
    cautions: tuple[str, ...]
    why_not: str


def today_sheet(standing: Standing) -> TodaySheet:
    """Return today's sheet as it is printed: with every caution in full."""
    season, plan = standing.season, standing.plan
    today = day_list(season, plan)
    names = dict.fromkeys(name for task in plan.tasks for name in task.cautions)
    cautions, _ = said(names, set(), sells_produce=season.limits.sells_produce)
    later = [task for task in plan.tasks if task.day > season.today]
    rounds = tuple(
        (
            one.title,
            f"{' → '.join(one.way)} (about {one.far})" if len(one.way) > 1 else "",
            tuple(map(_task_row, one.tasks)),
        )
        for one in today.rounds
    )
    return TodaySheet(
        rounds=rounds,
        nothing="" if rounds else f"Nothing to do today. {today.coming}".strip(),
        coming=tuple(
            (f"{day_words(day)} {day.year}", tuple(map(_in_few_words, tasks)))
            for day, tasks in groupby(later, key=lambda task: task.day)
        ),
        remarks=tuple(f"Entry {remark.entry}: {remark.sentence}" for remark in plan.remarks),
        habits=tuple(f"{offer.advice} {offer.reason}" for offer in plan.habits),
        cautions=tuple(cautions),
        why_not=sentence(plan.choice.why_not) if plan.choice.why_not else "",
    )


def _task_row(task: Task) -> TaskRow:
    wait = f"Not before {time_words(task.not_before)}." if task.not_before else ""
    urgent = task.kind == "isolate"
    return TaskRow(PARTS[task.part], task.what, wait, task.why, again_words(task), urgent)


def _in_few_words(task: Task) -> str:
    plants = f": {joined(task.plants)}" if task.plants else ""
    return f"{PARTS[task.part]}: {short_words(task)}{plants}"


@dataclass(frozen=True)
class PlantStrip:
    """One plant of the report.

    Attributes
    ----------
    name : str
        Of the plant.
    place : str
        Where it stands, in words.
    tile : Tile
        Severity, direction and statuses.
    statuses : tuple of StatusShown
        With the measurements and rules behind them.
    coming : str
        What is to be done about it next; may be empty.
    course : Markup
        Its course, drawn; empty for a plant of which nothing is known.
    words : tuple of str
        What `trend` says of it.
    figures : tuple of Figure
        Photos by day, oldest first.
    shown : str
        How many of its photos these are.
    entries : tuple of str
        What was logged of it, newest last.
    """

    name: str
    place: str
    tile: Tile
    statuses: tuple[StatusShown, ...]
    coming: str
    course: Markup
    words: tuple[str, ...]
    figures: tuple[Figure, ...]
    shown: str
    entries: tuple[str, ...]


def plants_told(standing: Standing) -> tuple[str, ...]:
    """Return the plants of a report: the garden's, then those that have left it."""
    names = [plant.name for plant in standing.garden.plants]
    return tuple(dict.fromkeys([*names, *standing.curves]))


def smaller_words(strips: Sequence[PlantStrip]) -> str:
    """Return why the pictures of many plants are small; empty where they are not."""
    pictures = sum(len(strip.figures) for strip in strips)
    if side_px(pictures) == SMALL_PX:
        return ""
    return (
        f"With {counted(len(strips), 'plant')} the {pictures} pictures are smaller than usual, so "
        "that this file can still be sent."
    )


def place_words(standing: Standing, name: str) -> str:
    """Return where a plant stands."""
    found = next((plant for plant in standing.garden.plants if plant.name == name), None)
    if found is None:
        return "no longer in the garden"
    return f"bed {found.bed}, row {found.row}, place {found.place}"


def plant_strips(standing: Standing, album: Album) -> tuple[PlantStrip, ...]:
    """Return a strip for each plant, in the garden's order; pictures are made at once."""
    names = plants_told(standing)
    most = max(1, min(_MOST_IN_ROW, _MOST_PHOTOS // max(1, len(names))))
    photos = {name: _over_time(standing, name, most) for name in names}
    side = side_px(sum(map(len, photos.values())))
    wanted = {name: [Wanted(photo, side) for photo in found] for name, found in photos.items()}
    album.make(one for photos in wanted.values() for one in photos)
    return tuple(_strip(standing, name, wanted[name], album) for name in names)


def _strip(standing: Standing, name: str, wanted: Sequence[Wanted], album: Album) -> PlantStrip:
    curve = standing.curves.get(name)
    by_day = sum(photo.mode == "day" for photo in standing.photos_of.get(name, ()))
    picture = course_picture(standing.told, name, curve, standing.curves.values())
    return PlantStrip(
        name=name,
        place=place_words(standing, name),
        tile=tile_of(standing, name),
        statuses=tuple(map(status_shown, standing.statuses_of.get(name, ()))),
        coming=next_words(standing.plan.tasks_of(name)),
        course=course_svg(picture) if picture.shows_anything else Markup(""),
        words=tuple(plant_words(curve, standing.notes.get(name, ()))) if curve else (),
        figures=tuple(album.figure(one) for one in wanted),
        shown=f"{len(wanted)} of {counted(by_day, 'photo')} by day" if wanted else "",
        entries=plant_entries(standing, name)[-_MOST_ENTRIES:],
    )


def plant_entries(standing: Standing, name: str) -> tuple[str, ...]:
    """Return what was logged of a plant this season, oldest first."""
    units = standing.garden.units
    own = (e for e in standing.told.log if concerns(e, name) and e.kind not in NOT_LISTED)
    return tuple(entry_line(entry, units) for entry in own)


def _over_time(standing: Standing, name: str, most: int) -> list[PhotoEntry]:
    """Return the sickest photo of visits spread over the season, the first and last among them."""
    by_path = {photo.photo: photo for photo in standing.photos_of.get(name, ())}
    visits = [v for v in standing.told.visits.get(name, ()) if v.photo in by_path]
    return list(standing.entries([by_path[visit.photo] for visit in _spread(visits, most)]))


def _spread(visits: Sequence[Visit], most: int) -> list[Visit]:
    """Return so many visits evenly from a row, both ends among them; one alone is the last."""
    if len(visits) <= most:
        return list(visits)
    if most == 1:
        return [visits[-1]]
    step = (len(visits) - 1) / (most - 1)
    return [visits[round(number * step)] for number in range(most)]


@dataclass(frozen=True)
class NightRound:
    """A night with the UV torch.

    Attributes
    ----------
    night : str
        The day whose evening began it.
    looks : tuple of (str, str)
        Each plant with what was counted on it.
    entries : tuple of str
        What was picked and seen that night.
    figures : tuple of Figure
        Photos with caterpillars.
    """

    night: str
    looks: tuple[tuple[str, str], ...]
    entries: tuple[str, ...]
    figures: tuple[Figure, ...]


def night_rounds(standing: Standing, album: Album) -> tuple[NightRound, ...]:
    """Return the rounds by night, the last one first."""
    looks = [look for found in standing.told.nights.values() for look in found]
    entries = [e for e in standing.told.log if _of_the_night(e)]
    nights = sorted({*(look.night for look in looks), *map(_night, entries)}, reverse=True)
    wanted = _night_photos(standing, looks)
    album.make(wanted.values())
    return tuple(
        _round(
            night,
            [look for look in looks if look.night == night],
            [entry for entry in entries if _night(entry) == night],
            wanted,
            album,
            standing.garden.units,
        )
        for night in nights
    )


def _of_the_night(entry: LogEntry) -> bool:
    signs = ("cocoons", "no-caterpillars")
    return entry.kind == "hand_pick" or (entry.kind == "seen" and entry.text in signs)


def _night(entry: LogEntry) -> date:
    return (entry.at - timedelta(hours=12)).date()


def _night_photos(standing: Standing, looks: Iterable[NightLook]) -> Mapping[str, Wanted]:
    """Return the last photos on which caterpillars were counted, by their paths."""
    by_path = {photo.photo: photo for photo in standing.told.photos}
    found = sorted((one for one in looks if one.count), key=lambda one: one.at, reverse=True)
    last = found[:_MOST_NIGHT_PHOTOS]
    photos = [by_path[look.photo] for look in last if look.photo in by_path]
    return {photo.photo: Wanted(photo) for photo in standing.entries(photos)}


def _round(
    night: date,
    looks: Sequence[NightLook],
    entries: Sequence[LogEntry],
    wanted: Mapping[str, Wanted],
    album: Album,
    units: str,
) -> NightRound:
    photos = [wanted[look.photo] for look in looks if look.photo in wanted]
    return NightRound(
        night=f"{day_words(night)} {night.year}",
        looks=tuple(_counted(looks)),
        entries=tuple(entry_line(entry, units) for entry in entries),
        figures=tuple(album.figure(one) for one in photos),
    )


def _counted(looks: Sequence[NightLook]) -> Iterator[tuple[str, str]]:
    for look in sorted(looks, key=lambda one: -one.count):
        number = counted(look.count, "caterpillar") if look.count else "none seen"
        yield look.plant, f"{number} ({look.low} to {look.high})"
