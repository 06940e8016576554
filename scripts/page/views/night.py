"""The night round: last night's photos and counts, and what to pick, in walking order."""

from datetime import date, timedelta
from itertools import groupby, islice

from starlette.requests import Request
from starlette.responses import Response

from models.care.cautions import cautions_of, said
from models.care.season import NIGHT_ENDS_AT
from models.care.visits import Shot
from models.care.words import day_words, time_words
from scripts.care.text import PARTS, again_words, round_of
from scripts.page.pages import Pages
from scripts.page.strips import photo_tile
from scripts.page.views.today import round_shown

__all__ = ["night"]

_KINDS = ("pick", "night")
_MOST_NIGHTS = 5


def night(pages: Pages, request: Request) -> Response:
    """Show what to pick, and the photos of the last nights; red on black unless asked otherwise."""
    standing = pages.desk.standing()
    season = standing.season
    due = [
        task
        for task in standing.plan.tasks
        if task.kind in _KINDS and task.day <= season.today + timedelta(days=1)
    ]
    tonight = round_shown(round_of("Pick list", season, due), standing)
    cautions, _ = said(cautions_of("night"), set(), sells_produce=season.limits.sells_produce)
    photos = (p for p in reversed(standing.told.photos) if p.mode == "night")
    nights = [
        (day_words(day), [photo_tile(photo) for photo in standing.entries(list(taken))])
        for day, taken in islice(groupby(photos, key=_evening), _MOST_NIGHTS)
    ]
    return pages.show(
        request,
        "night.html",
        here="night",
        look=pages.look(request) or "night",
        tonight=tonight,
        nights=nights,
        cautions=cautions,
        parts_of_day=PARTS,
        time_words=time_words,
        again_words=again_words,
    )


def _evening(photo: Shot) -> date:
    """Return the day whose evening began the night of a photo."""
    early = photo.taken_at.hour < NIGHT_ENDS_AT
    return photo.taken_at.date() - timedelta(days=1) if early else photo.taken_at.date()
