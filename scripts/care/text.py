"""Statuses, tasks, remarks and habits as text for the terminal and for printing."""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from models.care.cautions import cautions_of, said
from models.care.layout import places_m, shortest_way, way_length_m
from models.care.planning import Plan
from models.care.records import PlantStatus, Task
from models.care.rules import NIGHT_RULES
from models.care.season import PEROXIDE, Season
from models.care.words import INTERVAL_WORDS, day_words, time_words
from scripts.common.terminal import LINE

__all__ = [
    "NO_DIAGNOSIS",
    "PARTS",
    "STATUS_SIGNS",
    "DayList",
    "Round",
    "again_words",
    "day_list",
    "flag_text",
    "next_words",
    "plan_text",
    "round_of",
    "sentence",
    "short_words",
    "today_text",
    "wrapped",
]

STATUS_SIGNS = {
    "isolate": "!!",
    "check for burn": "? ",
    "treat": "* ",
    "spot-test": "* ",
    "pick caterpillars": "* ",
    "prevent": "* ",
    "hold": "||",
    "waiting": "||",
    "rest": "||",
    "watch": "o ",
    "clear": "  ",
}
"""The second cue beside the word, in the order in which statuses are listed."""

PARTS = {"morning": "in the morning", "day": "by day", "night": "at night"}
_MOST_STOPS = 30  # more are not read name by name
_NIGHT_ROWS = frozenset(rule.name for rule in NIGHT_RULES)
NO_DIAGNOSIS = "A pattern says what lesions look like. It is not a diagnosis."


def wrapped(text: str, indent: int, first: str = "") -> str:
    """Return a text in lines, the first with its own beginning, the others indented."""
    return textwrap.fill(
        text, LINE, initial_indent=first or " " * indent, subsequent_indent=" " * indent
    )


def sentence(words: str) -> str:
    """Return words as a sentence of their own."""
    return f"{words[0].upper()}{words[1:]}."


def flag_text(season: Season, plan: Plan, wanted: Sequence[str]) -> str:
    """Return each plant's status, most urgent first, with the measurement and rule behind it."""
    shown = [s for s in plan.statuses if not wanted or s.plant in wanted]
    order = list(STATUS_SIGNS)
    shown.sort(key=lambda status: order.index(status.status))
    head = f"{season.garden.name}, {time_words(plan.now)} {plan.now.year}"
    lines = [head, "", *(_status_lines(status, plan) for status in shown)]
    lines += [_gone_line(season, plant) for plant in wanted if plant not in season.plants]
    if plan.choice.why_not:
        lines.append(wrapped(sentence(plan.choice.why_not), 0))
    lines += _without_plant(season)
    counts = {name: sum(1 for s in shown if s.status == name) for name in order}
    lines += ["", ", ".join(f"{count} {name}" for name, count in counts.items() if count)]
    return "\n".join([*lines, wrapped(f"{INTERVAL_WORDS} {NO_DIAGNOSIS}", 0)])


def _gone_line(season: Season, plant: str) -> str:
    """Return why a plant has no status."""
    gone = season.seen("gone", plant)
    when = f" on {day_words(gone[-1].at.date())} {gone[-1].at.year}" if gone else ""
    return wrapped(f"{plant} was taken out{when}, and has no status any more.", 3)


def _without_plant(season: Season) -> list[str]:
    """Say how many photos of late belong to no plant, and so count for none."""
    since = season.now - timedelta(days=season.limits.photo_days)
    lost = [photo for photo in season.photos if not photo.plant and photo.taken_at >= since]
    have = "1 photo has" if len(lost) == 1 else f"{len(lost)} photos have"
    return [f"{have} no plant yet: spotlamp assign"] if lost else []


def _status_lines(status: PlantStatus, plan: Plan) -> str:
    first = f"{STATUS_SIGNS[status.status]} {status.plant:<8} {status.status:<18} "
    lines = [wrapped(status.measured, len(first), first), wrapped(status.why, len(first))]
    if coming := next_words(_tasks_behind(status, plan)):
        lines.append(wrapped(coming, len(first)))
    if status.photo:
        lines.append(f"{' ' * len(first)}Photo: {status.photo}")
    return "\n".join(lines)


_SHORT = {
    "burn-check": "look for burn",
    "burned": "rinse, and let it recover",
    "choose": "choose whether to test it",
    "isolate": "isolate",
    "lapses": "wait, the spot-test lapses",
    "night": "look with the UV torch",
    "photo": "photograph",
    "pick": "pick caterpillars",
    "prevent": "spray {product}",
    "spot-test": "spot-test with {product}",
    "treat": "spray {product}",
}
"""Each kind of task in few words."""

_AT_NIGHT = ("pick", "night")  # kinds of tasks that belong to the second status


def short_words(task: Task) -> str:
    """Return a task in few words, such as ``spray soda``."""
    return _SHORT.get(task.kind, task.kind).format(product=task.product)


def next_words(tasks: Iterable[Task]) -> str:
    """Return when each kind of task comes next; empty where there is none.

    The plan's own days, so that a status never names another.
    """
    coming: dict[str, Task] = {}
    for task in tasks:
        coming.setdefault(short_words(task), task)
    found = [f"{day_words(t.day)} {PARTS[t.part]}: {what}" for what, t in coming.items()]
    return f"Next: {'; '.join(found)}." if found else ""


def _tasks_behind(status: PlantStatus, plan: Plan) -> list[Task]:
    """Return the tasks that a status leads to: of its leaves, or of its caterpillars."""
    night = status.rule in _NIGHT_ROWS
    return [t for t in plan.tasks_of(status.plant) if (t.kind in _AT_NIGHT) == night]


def plan_text(season: Season, plan: Plan) -> str:
    """Return the plan day by day, with every caution in full, as it is printed."""
    head = f"{season.garden.name}: what to do, as of {time_words(plan.now)} {plan.now.year}"
    lines = [head, *_why_not(plan)]
    for day, tasks in groupby(plan.tasks, key=lambda task: task.day):
        lines += ["", f"{day_words(day)} {day.year}", *(_task_text(task) for task in tasks)]
    if not plan.tasks:
        lines += ["", "Nothing to do."]
    before: set[str] = set()
    return "\n".join([*lines, *_remarks(plan), *_habits(plan), *_cautions(season, plan, before)])


def _task_text(task: Task) -> str:
    first = f"  [ ] {PARTS[task.part]}: "
    lines = [wrapped(task.what, 6, first)]
    if task.not_before:
        lines.append(wrapped(f"Not before {time_words(task.not_before)}.", 6))
    lines.append(wrapped(f"Why: {task.why}", 6))
    if task.photo:
        lines.append(f"      Photo: {task.photo}")
    if task.repeat_days:
        lines.append(f"      {again_words(task)}")
    return "\n".join(lines)


def again_words(task: Task) -> str:
    """Return when a task comes again; empty where it does not."""
    if not task.repeat_days:
        return ""
    return f"And so on every {task.repeat_days} days, with a photo in the week before."


def _why_not(plan: Plan) -> list[str]:
    """Say why the plant that the grower chose for the spot-test is not the one asked for."""
    return ["", wrapped(sentence(plan.choice.why_not), 0)] if plan.choice.why_not else []


def _remarks(plan: Plan) -> list[str]:
    if not plan.remarks:
        return []
    items = [wrapped(f"entry {r.entry}: {r.sentence}", 4, "  ! ") for r in plan.remarks]
    return ["", "Logged against a rule", *items]


def _habits(plan: Plan) -> list[str]:
    if not plan.habits:
        return []
    items = [
        wrapped(f"{offer.advice} {offer.reason} ({offer.name})", 4, "  - ") for offer in plan.habits
    ]
    end = "  “spotlamp log decline HABIT” ends an offer for good."
    return ["", "Habits that may help: gardeners' practice, not trial evidence", *items, end]


def _cautions(season: Season, plan: Plan, before: set[str]) -> list[str]:
    names = dict.fromkeys(name for task in plan.tasks for name in task.cautions)
    return _take_care(*said(names, before, sells_produce=season.limits.sells_produce))


def _take_care(full: Sequence[str], brief: str) -> list[str]:
    lines = [wrapped(sentence, 4, "  - ") for sentence in full]
    if brief:
        lines.append(wrapped(f"As always: {brief}.", 4, "  - "))
    return ["", "Take care", *lines] if lines else []


@dataclass(frozen=True)
class Round:
    """What is done on one way round the garden.

    Attributes
    ----------
    title : str
        ``Today`` or ``Tonight``.
    way : tuple of str
        The plants in walking order; isolated ones last.
    far : str
        How long the way is about, in the garden's units.
    tasks : tuple of Task
        What does not wait first, then the morning's, each as one comes by.
    """

    title: str
    way: tuple[str, ...]
    far: str
    tasks: tuple[Task, ...]


@dataclass(frozen=True)
class DayList:
    """What is to be done this morning and tonight.

    Attributes
    ----------
    rounds : tuple of Round
        Those on which there is something to do.
    coming : str
        Where there is nothing to do today: what comes next; else empty.
    cautions : tuple of str
        To be said fully.
    reminder : str
        Those that the grower has read before, in few words; may be empty.
    """

    rounds: tuple[Round, ...]
    coming: str
    cautions: tuple[str, ...]
    reminder: str


def day_list(season: Season, plan: Plan) -> DayList:
    """Return what is to be done this morning and tonight, and the shortest way round."""
    due = [task for task in plan.tasks if task.day <= season.today]
    tonight = [task for task in due if task.part == "night"]
    by_day = [task for task in due if task.part != "night"]
    rounds = (round_of("Today", season, by_day), round_of("Tonight", season, tonight))
    names = dict.fromkeys(name for task in due for name in task.cautions)
    known = _known_cautions(season)
    full, brief = said(names, known, sells_produce=season.limits.sells_produce)
    coming = "" if due else _next_day(plan, season.today)
    return DayList(tuple(one for one in rounds if one.tasks), coming, tuple(full), brief)


def today_text(season: Season, plan: Plan) -> str:
    """Return what is to be done this morning and tonight, and the shortest way round."""
    day = day_list(season, plan)
    lines = [f"{season.garden.name}, {day_words(season.today)} {season.today.year}"]
    lines += _why_not(plan)
    for one in day.rounds:
        lines += _round_lines(one)
    if not day.rounds:
        lines += ["", "Nothing to do today."]
        lines += [wrapped(day.coming, 0)] if day.coming else []
    return "\n".join([*lines, *_take_care(day.cautions, day.reminder)])


def round_of(title: str, season: Season, tasks: Sequence[Task]) -> Round:
    """Return tasks as one way round the garden."""
    way = _way(season, tasks)
    order = {plant: number for number, plant in enumerate(way)}
    # What does not wait is read first; then the morning's, each as one comes by.
    by_way = sorted(
        tasks,
        key=lambda t: (
            t.kind != "isolate",
            t.part != "morning",
            min(order[plant] for plant in t.plants),
        ),
    )
    length = way_length_m(places_m(season.garden), way)
    far = f"{length / 0.3048:.0f} ft" if season.garden.units == "US" else f"{length:.0f} m"
    return Round(title, way, far, tuple(by_way))


def _round_lines(one: Round) -> list[str]:
    lines = ["", one.title]
    if len(one.way) > 1:
        many = f"{len(one.way)} plants, row by row"
        stops = " > ".join(one.way) if len(one.way) <= _MOST_STOPS else many
        lines.append(wrapped(f"Way round: {stops} (about {one.far})", 2))
    return [*lines, *(_task_text(task) for task in one.tasks)]


def _way(season: Season, tasks: Iterable[Task]) -> tuple[str, ...]:
    """Return the way round the plants of the tasks; isolated ones are visited last."""
    stops = {plant for task in tasks for plant in task.plants}
    last = {plant for task in tasks if task.kind == "isolate" for plant in task.plants}
    return (*shortest_way(season.garden, stops - last), *shortest_way(season.garden, last))


def _next_day(plan: Plan, today: date) -> str:
    later = next((task for task in plan.tasks if task.day > today), None)
    if later is None:
        return ""
    return f"Next, {day_words(later.day)} {PARTS[later.part]}: {later.what}"


def _known_cautions(season: Season) -> set[str]:
    """Return the cautions that the grower has read: those of what was done before."""
    known: set[str] = set()
    if season.sprays(season.limits.preventive):
        known.update(cautions_of("prevent"))
    if season.sprays(PEROXIDE):
        known.update(cautions_of("treat"))
    if season.entries("hand_pick") or any(season.nights.values()):
        known.update(cautions_of("night"))
    return known
