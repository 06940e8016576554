"""The start page: what to do this morning and tonight, in walking order, and a tap to log it."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from models.care.planning import Plan
from models.care.records import Task
from models.care.words import day_words, time_words
from scripts.care.log import log_entry
from scripts.care.text import PARTS, Round, again_words, day_list, sentence
from scripts.page.pages import FORESEEN, Pages, Said, Values, any_of, sentence_of
from scripts.page.standing import Standing
from scripts.page.ticks import Tick, ticks_of
from scripts.page.tiles import StatusShown, status_shown
from scripts.page.views.log import unwrapped

__all__ = ["Card", "RoundShown", "by_day", "round_shown", "tick_off", "today"]

_WAITING = ("hold", "waiting", "rest")
_BY_PHOTOS = ("photo", "night", "burn-check")


@dataclass(frozen=True)
class Card:
    """A task to be drawn, with the ways in which it is ticked off, numbered."""

    task: Task
    ticks: tuple[tuple[int, Tick], ...]
    locked: bool
    photograph: bool
    picture: str


@dataclass(frozen=True)
class RoundShown:
    """A way round the garden with its tasks."""

    title: str
    way: tuple[str, ...]
    far: str
    cards: tuple[Card, ...]


def round_shown(one: Round, standing: Standing) -> RoundShown:
    """Return a way round as it is drawn."""
    cards = tuple(_card(task, standing) for task in one.tasks)
    return RoundShown(one.title, one.way, one.far, cards)


def _card(task: Task, standing: Standing) -> Card:
    locked = task.not_before is not None and task.not_before > standing.now
    return Card(
        task=task,
        ticks=tuple(enumerate(ticks_of(task, standing.season))),
        locked=locked,
        photograph=task.kind in _BY_PHOTOS,
        picture=standing.photo_hashes.get(task.photo, ""),
    )


def today(pages: Pages, request: Request) -> Response:
    """Show what is to be done."""
    standing = pages.desk.standing()
    plan, day = standing.plan, day_list(standing.season, standing.plan)
    return pages.show(
        request,
        "today.html",
        here="today",
        trouble=standing.trouble,
        day_words=f"{day_words(standing.season.today)} {standing.season.today.year}",
        why_not=sentence(plan.choice.why_not) if plan.choice.why_not else "",
        rounds=[round_shown(one, standing) for one in day.rounds],
        coming=day.coming,
        cautions=day.cautions,
        reminder=day.reminder,
        waiting=_waiting(plan),
        remarks=plan.remarks,
        later=by_day(t for t in plan.tasks if t.day > standing.season.today),
        habits=plan.habits,
        parts_of_day=PARTS,
        time_words=time_words,
        again_words=again_words,
    )


def _waiting(plan: Plan) -> list[StatusShown]:
    return [status_shown(status) for status in plan.statuses if status.status in _WAITING]


def by_day(tasks: Iterable[Task]) -> list[tuple[str, list[Task]]]:
    """Return the tasks of a plan under their days."""
    return [(day_words(day), list(of_day)) for day, of_day in groupby(tasks, lambda t: t.day)]


def tick_off(pages: Pages, request: Request, form: Values, _: FormData) -> Response:
    """Write the log entry that a tap on a task stands for."""
    back = "/night" if form.get("back") == "/night" else "/"
    standing = pages.desk.standing()
    task = next((t for t in standing.plan.tasks if t.key == form.get("task")), None)
    if task is None:
        gone = "That task is no longer on the plan: somebody was quicker, or something changed."
        return pages.back(request, back, Said(gone, wrong=True))
    ways = dict(enumerate(ticks_of(task, standing.season)))
    tick = ways.get(int(form.get("way", "-1")) if form.get("way", "").isdecimal() else -1)
    if tick is None:
        return pages.back(request, back, Said("There is no such way to tick it off.", wrong=True))
    words = tick.said(any_of(form, "number", 20))
    try:
        logged = log_entry(pages.desk.folder, words, pages.desk.at)
    except FORESEEN as error:
        return pages.back(request, back, Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    return pages.back(
        request, back, Said(unwrapped(logged.words), undo=f"/log/{logged.number}/withdraw")
    )
