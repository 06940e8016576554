"""``spotlamp report``: a garden in one file, to be printed, kept or handed on.

The file needs nothing from outside: pictures stand in it, the style sheet too, and no script. All
that it says comes from what the other commands say; here it is only laid out.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from models.care.words import INTERVAL_WORDS, day_words, time_words
from models.garden.settings import GardenError
from models.numerals import counted
from scripts.care.text import NO_DIAGNOSIS, STATUS_SIGNS
from scripts.common.files import write_whole
from scripts.common.which_garden import known_plant
from scripts.page.changes import STATE, Changes, changes_since, kept_reports, said_in, state_bytes
from scripts.page.clinic import clinic_page
from scripts.page.course import COURSE_KEY
from scripts.page.figures import LINES_KEY, Album, Figure, Wanted
from scripts.page.method import method_of
from scripts.page.sheets import (
    night_rounds,
    plant_strips,
    plants_told,
    smaller_words,
    today_sheet,
)
from scripts.page.standing import Desk, Standing
from scripts.page.templating import HERE, template_environment
from scripts.page.tiles import Bed, Tile, beds_of
from scripts.trend.read import trend_of
from scripts.trend.words import heading
from vision.errors import SpotlampError
from vision.photo.find import printable

__all__ = ["MARK", "NoReportError", "Wishes", "write_report"]

MARK = b'<meta name="generator" content="Spotlamp report">'
"""By which a report is known again, so that no other file is written over."""

_TILE_PX = 150
_MOST_TILE_PHOTOS = 40  # plants of a garden whose tiles have photos
_MOST_ACROSS = 6  # plants of a row side by side
_HEAD_BYTES = 2000


class NoReportError(SpotlampError):
    """A report cannot be written; the message is one sentence for people."""


@dataclass(frozen=True)
class Wishes:
    """What a report is to tell of.

    Attributes
    ----------
    plant : str
        For the plant clinic: this plant alone; empty: the whole garden.
    season : str
        Name of an earlier season; empty: the present one.
    at : str or None
        As of this moment, as typed; now by default.
    jobs : int or None
        Processes that make the pictures; all cores by default.
    """

    plant: str = ""
    season: str = ""
    at: str | None = None
    jobs: int | None = None


def write_report(
    folder: Path,
    out: Path,
    wishes: Wishes,
    on_start: Callable[[int], None] = lambda total: None,
    on_done: Callable[[object], None] = lambda made: None,
) -> str:
    """Write a garden's report as one file, and say what it holds.

    What it said is kept in the garden's folder, so that the next one can tell what changed; not so
    of a report of one plant, or of an earlier season.

    Parameters
    ----------
    folder : Path
        The garden's.
    out : Path
        The file.
    wishes : Wishes
        What to tell of.
    on_start, on_done : callable
        Told how many pictures are made, and of each that is done.

    Raises
    ------
    NoReportError
        When the file is another one, or there is no such plant to tell of.
    GardenError
        When the garden has no plants.
    SpotlampError
        Whatever else is wrong with garden, record or disk, in one sentence.
    """
    _refuse_other_file(out)
    standing = _standing(folder, wishes)
    if not standing.garden.plants:
        raise GardenError(
            f"“{standing.garden.name}” has no plants yet: add a bed with “spotlamp new {folder} "
            "--bed NAME=PLANTS”."
        )
    plants = 1 if wishes.plant else len(plants_told(standing))
    album = Album(folder, wishes.jobs, plants, on_start, on_done)
    if wishes.plant:
        name = _plant(standing, wishes.plant)
        page = _rendered(
            "report_clinic.html", standing, title=name, page=clinic_page(standing, name, album)
        )
        write_whole({out: page})
        return _written(out, page, album)
    reports = kept_reports(folder)
    page = _whole_garden(standing, changes_since(standing, reports), wishes.season, album)
    files = {out: page}
    if not wishes.season:
        files[folder / STATE] = state_bytes(reports, said_in(standing))
    write_whole(files)
    return _written(out, page, album)


def _refuse_other_file(out: Path) -> None:
    if out.suffix.casefold() not in (".html", ".htm"):
        raise NoReportError(f"“{out}” is no name for a report: let it end in .html.")
    if out.is_dir():
        raise NoReportError(f"“{out}” is a folder: name a file for the report.")
    if out.is_file():
        with out.open("rb") as stream:
            if MARK not in stream.read(_HEAD_BYTES):
                raise NoReportError(f"“{out}” is no report of ours and stays: name another file.")


def _written(out: Path, page: bytes, album: Album) -> str:
    lines = [f"Written to {out} ({len(page) / 1e6:.1f} MB): open it in a browser, and print it."]
    if album.missing:
        photos = counted(len(album.missing), "photo")
        lines.append(f"{photos} could not be shown; the report says which, and why.")
    return "\n".join(lines)


def _standing(folder: Path, wishes: Wishes) -> Standing:
    """Return the garden as it stands, or as it stood when an earlier season ended."""
    desk = Desk(folder, wishes.at)
    return desk.earlier(wishes.season) if wishes.season else desk.standing()


@cache
def _templates() -> jinja2.Environment:
    return template_environment(
        finalize=lambda value: printable(value) if type(value) is str else value
    )


def _plant(standing: Standing, name: str) -> str:
    """Return a plant's name as the record has it, also of one that has left the garden."""
    return name if name in standing.curves else known_plant(standing.garden, name)


def _whole_garden(standing: Standing, changes: Changes, season: str, album: Album) -> bytes:
    strips = plant_strips(standing, album)
    return _rendered(
        "report.html",
        standing,
        title=standing.garden.name,
        season=season,
        told=_told(standing),
        counts=tuple(_counts(standing)),
        today=None if season else today_sheet(standing),
        beds=[(bed, list(_rows(bed))) for bed in beds_of(standing)],
        tiles=_tile_photos(standing, album),
        strips=strips,
        smaller=smaller_words(strips),
        nights=night_rounds(standing, album),
        changes=changes,
    )


def _told(standing: Standing) -> str:
    """Return what the courses rest on; empty where nothing is measured."""
    if not standing.curves:
        return ""
    return heading(trend_of(standing.told, standing.log))


def _counts(standing: Standing) -> Iterator[str]:
    """Yield how many plants have each status, the most urgent first."""
    counts: Counter[str] = Counter(status.status for status in standing.plan.statuses)
    for status in STATUS_SIGNS:
        if counts[status]:
            yield f"{counts[status]} {status}"


def _rows(bed: Bed) -> Iterator[tuple[str, int, tuple[Tile | None, ...]]]:
    """Yield a bed's rows; one that is too wide for paper in pieces.

    Each with its places in words where it is a piece, and how many plants stand side by side.
    """
    for row in bed.rows:
        across = min(_MOST_ACROSS, len(row))
        pieces = range(0, len(row), _MOST_ACROSS)
        for first in pieces:
            piece = row[first : first + _MOST_ACROSS]
            places = f"places {first + 1} to {first + len(piece)}" if len(pieces) > 1 else ""
            yield places, across, piece


def _tile_photos(standing: Standing, album: Album) -> Mapping[str, Figure]:
    """Return each plant's last photo by day, small; none where there are too many plants."""
    plants = [plant.name for plant in standing.garden.plants]
    if len(plants) > _MOST_TILE_PHOTOS:
        return {}
    by_day = {
        name: [photo for photo in standing.photos_of.get(name, ()) if photo.mode == "day"]
        for name in plants
    }
    wanted = {
        name: Wanted(standing.entries(photos[:1])[0], _TILE_PX)
        for name, photos in by_day.items()
        if photos
    }
    album.make(wanted.values())
    return {name: album.figure(one) for name, one in wanted.items()}


def _rendered(name: str, standing: Standing, **values: Any) -> bytes:  # noqa: ANN401  for a template
    """Return a page of a template, with what all of them say."""
    style = (HERE / "static" / "report.css").read_text(encoding="utf-8")
    text = (
        _templates()
        .get_template(name)
        .render(
            style=Markup(style),
            garden=standing.garden,
            made=f"{time_words(standing.now)} {standing.now.year}",
            trouble=standing.trouble,
            method=method_of(standing),
            interval_words=INTERVAL_WORDS,
            no_diagnosis=NO_DIAGNOSIS,
            course_key=COURSE_KEY,
            lines_key=LINES_KEY,
            counted=counted,
            day=lambda at: day_words(at.date()),
            **values,
        )
    )
    return text.encode()
