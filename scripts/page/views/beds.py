"""The garden as it stands, and one plant of it."""

from datetime import date

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from models.care.season import concerns
from models.care.words import INTERVAL_WORDS, day_words, time_words
from models.entries import LogEntry, PhotoEntry
from scripts.care.record import entry_line
from scripts.care.seasons import new_season, span_words, undo_season
from scripts.care.text import PARTS, next_words
from scripts.common.which_garden import known_plant
from scripts.page.course import COURSE_KEY, course_picture, course_svg
from scripts.page.pages import FORESEEN, Pages, Said, Values, sentence_of
from scripts.page.standing import Standing
from scripts.page.strips import PhotoTile, photo_tile
from scripts.page.tiles import beds_of, tile_of
from scripts.page.views.log import unwrapped
from scripts.trend.words import plant_words

__all__ = ["beds", "begin_season", "plant", "reopen_season"]

_MOST_LOOSE = 24
_A_STRIP = 40  # photos shown at once


def beds(pages: Pages, request: Request) -> Response:
    """Show each plant where it stands."""
    standing, season = _asked(pages, request)
    spans = pages.desk.seasons()
    loose = standing.photos_of.get("", ())[:_MOST_LOOSE]
    return pages.show(
        request,
        "beds.html",
        here="beds",
        trouble=standing.trouble,
        beds=beds_of(standing),
        season=season,
        spans=[(span, span_words(span)) for span in spans[::-1]] if len(spans) > 1 else [],
        closes=bool(spans and spans[-1].photos),
        interval_words=INTERVAL_WORDS,
        without_plant=[photo_tile(photo) for photo in standing.entries(loose)],
        taken_out=[photo_tile(photo) for photo in standing.removed[::-1][:_MOST_LOOSE]],
    )


def _asked(pages: Pages, request: Request) -> tuple[Standing, str]:
    """Return the garden as it stands, or as an earlier season left it, and that one's name."""
    name = request.query_params.get("season", "")[:20]
    return (pages.desk.earlier(name), name) if name else (pages.desk.standing(), "")


def begin_season(pages: Pages, request: Request, _form: Values, _: FormData) -> Response:
    """Close the season, and begin a new one."""
    try:
        words = unwrapped(new_season(pages.desk.folder, pages.desk.at))
    except FORESEEN as error:
        return pages.back(request, "/beds", Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    return pages.back(request, "/beds", Said(words, undo="/season/undo"))


def reopen_season(pages: Pages, request: Request, _form: Values, _: FormData) -> Response:
    """Take back that a new season begins."""
    try:
        said = Said(unwrapped(undo_season(pages.desk.folder)))
    except FORESEEN as error:
        said = Said(sentence_of(error), wrong=True)
    pages.desk.forget()
    return pages.back(request, "/beds", said)


def plant(pages: Pages, request: Request) -> Response:
    """Show a plant: its photos, its course, and what its status rests on."""
    standing, season = _asked(pages, request)
    name = known_plant(standing.garden, request.path_params["name"])
    photos = standing.entries(standing.photos_of.get(name, ()))
    first = _page_of(request)
    curve = standing.curves.get(name)
    picture = course_picture(standing.told, name, curve)
    tasks = standing.plan.tasks_of(name)
    return pages.show(
        request,
        "plant.html",
        here="beds",
        name=name,
        season=season,
        bed=next(p.bed for p in standing.garden.plants if p.name == name),
        tile=tile_of(standing, name),
        course=course_svg(picture) if picture.points or picture.log else "",
        course_key=COURSE_KEY,
        told=plant_words(curve, standing.notes.get(name, ())) if curve else [],
        coming=next_words(tasks),
        tasks=[(f"{day_words(t.day)}, {PARTS[t.part]}", t) for t in tasks],
        strip=[photo_tile(photo) for photo in photos[first : first + _A_STRIP]],
        newer=max(0, first - _A_STRIP) if first else None,
        older=first + _A_STRIP if first + _A_STRIP < len(photos) else None,
        photo_count=len(photos),
        patterns=_patterns(photos),
        entries=_entries(standing, name),
        hashes=standing.photo_hashes,
        time_words=time_words,
    )


def _page_of(request: Request) -> int:
    text = request.query_params.get("from", "0")
    return int(text) if text.isdecimal() and len(text) < 7 else 0


def _patterns(photos: tuple[PhotoEntry, ...]) -> list[tuple[str, PhotoTile, str]]:
    """Return the patterns called, day by day: the photo, and the measurement behind the call."""
    shown: dict[date, tuple[str, PhotoTile, str]] = {}
    for photo in photos:
        if photo.pattern and photo.leaves:
            day = photo.taken_at.date()
            first = photo.leaves[0]
            reason = f"Leaf {first.leaf}: {first.pattern_reason}" if first.pattern_reason else ""
            shown.setdefault(day, (day_words(day), photo_tile(photo), reason))
    return list(shown.values())


def _entries(standing: Standing, name: str) -> list[str]:
    def about(entry: LogEntry) -> bool:
        return concerns(entry, name)

    found = [entry_line(e, standing.garden.units) for e in standing.log if about(e)]
    return found[::-1]
