"""From statuses to tasks: what, which plants, when, why, which cautions, which photo."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, timedelta

from models.care.caterpillars import NightEvidence
from models.care.cautions import cautions_of
from models.care.choice import doubt_of
from models.care.evidence import Evidence, needs_care
from models.care.layout import neighbours
from models.care.records import Part, Task
from models.care.rules import LEAF_RULES, Rule
from models.care.season import Season, concerns, hours_after
from models.care.words import day_words, joined, time_words, visit_words

__all__ = [
    "Leaves",
    "Nights",
    "by_rule",
    "leaf_tasks",
    "measured_words",
    "night_tasks",
    "photo_of",
    "task_for",
]

Leaves = Mapping[str, tuple[Rule, Evidence]]
"""The row about leaves that fits each plant, with the facts."""

Nights = Mapping[str, tuple[Rule, NightEvidence]]
"""The row about caterpillars, for the plants that one fits."""

_ENOUGH_LEAVES = 3
_FEW = 4  # so many plants are described one by one


def task_for(
    key: str,
    rule: Rule,
    plants: tuple[str, ...],
    day: date,
    part: Part,
    why: str,
    *,
    photo: str = "",
    not_before: datetime | None = None,
) -> Task:
    """Return the task that a row asks for, in the row's words and with its cautions."""
    what = rule.ask.format(plants=joined(plants))
    cautions = cautions_of(rule.task)
    return Task(key, rule.task, what, why, plants, day, part, cautions, photo, not_before)


def by_rule(leaves: Leaves, kind: str) -> dict[str, tuple[Rule, list[Evidence]]]:
    """Return the plants whose row asks for a kind of task, row by row."""
    grouped: dict[str, tuple[Rule, list[Evidence]]] = {}
    for rule, evidence in leaves.values():
        if rule.task == kind:
            grouped.setdefault(rule.name, (rule, []))[1].append(evidence)
    return grouped


def measured_words(members: Iterable[Evidence]) -> str:
    """Return the readings behind a task; of many plants only the names stand in it."""
    seen = [e for e in members if e.visit is not None]
    if not seen or len(seen) > _FEW:
        return ""
    return " " + "; ".join(f"{e.plant}, {visit_words(e.visit)}" for e in seen if e.visit) + "."


def photo_of(members: Iterable[Evidence]) -> str:
    """Return the photo behind a task about one plant; empty where there are several."""
    shown = [e.visit.photo for e in members if e.visit is not None]
    return shown[0] if len(shown) == 1 else ""


def leaf_tasks(season: Season, leaves: Leaves, until: date) -> list[Task]:
    """Return the tasks about leaves, without sprays."""
    return [
        *_isolate_tasks(season, leaves),
        *_single_tasks(season, leaves),
        *_burn_check_tasks(season, leaves),
        *_photo_tasks(season, leaves),
        *_next_walks(season, leaves, until),
    ]


def _isolate_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    for rule, evidence in leaves.values():
        if rule.status != "isolate" or evidence.alarm is None:
            continue
        plant, since = evidence.plant, evidence.alarm.day
        near = neighbours(season.garden, plant)
        why = f"{rule.why} {evidence.alarm.words}{measured_words([evidence])}"
        photo = photo_of([evidence])
        yield task_for(
            f"isolate:{plant}:{since}", rule, (plant,), season.today, "day", why, photo=photo
        )
        yield from _neighbour_task(season, plant, since, near)


def _neighbour_task(
    season: Season, plant: str, since: date, near: tuple[str, ...]
) -> Iterable[Task]:
    """Ask for photos of the plants next to one that is isolated, unless taken since."""
    standing = [name for name in near if name in season.plants]
    unseen = [name for name in standing if not any(v.day >= since for v in season.visits[name])]
    if unseen:
        yield Task(
            f"neighbours:{plant}:{since}",
            "photo",
            f"Look at the neighbours of {plant} first, and photograph them: {joined(unseen)}.",
            f"What isolates {plant} reaches the plants beside it in its bed first.",
            tuple(unseen),
            season.today,
            "day",
        )


def _single_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    """Return what is asked of burned plants, and where no plant fits the rule for a test."""
    for kind in ("burned", "choose"):
        for rule, members in by_rule(leaves, kind).values():
            plants = tuple(e.plant for e in members)
            why = rule.why + measured_words(members)
            burn = members[0].burn
            since = burn.checked_at.date() if burn else season.today
            key = f"{kind}:{'+'.join(plants)}:{since if burn else ''}"
            yield task_for(key, rule, plants, season.today, "day", why, photo=photo_of(members))


def _burn_check_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    """Return the burn check of the open spot-test, also while it is still locked."""
    gate = next((e.gate for _, e in leaves.values()), None)
    if gate is None or gate.state != "running" or gate.spray is None:
        return
    tested = tuple(plant for plant in leaves if concerns(gate.spray, plant))
    if not tested:
        return
    opens = hours_after(gate.spray.at, season.limits.wait_hours)
    at = max(opens, season.now)
    again = gate.verdict is not None
    rule = _rule("check again" if again else "check for burn")
    why = f"{rule.why} Sprayed {time_words(gate.spray.at)}."
    if gate.verdict is not None and gate.verdict.reason:
        why += f" Last time: {gate.verdict.reason}"
    key = f"burn-check:{season.root(gate.spray.number)}"
    part: Part = "morning" if at.hour < season.limits.morning_until.hour else "day"
    locked = opens if opens > season.now else None
    yield task_for(key, rule, tested, at.date(), part, why, not_before=locked)


def _rule(name: str) -> Rule:
    return next(rule for rule in LEAF_RULES if rule.name == name)


def _photo_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    for rule, members in by_rule(leaves, "photo").values():
        for day in sorted({_photo_day(season, e) for e in members}):
            these = [e for e in members if _photo_day(season, e) == day]
            plants = tuple(e.plant for e in these)
            why = rule.why + _doubts(these) + measured_words(these)
            key = f"photo:{rule.name}:{day}"
            yield task_for(key, rule, plants, day, "day", why, photo=photo_of(these))


def _photo_day(season: Season, evidence: Evidence) -> date:
    """Return today, or tomorrow where enough leaves were photographed today already."""
    visit = evidence.visit
    done = visit is not None and visit.day == season.today and visit.leaf_count >= _ENOUGH_LEAVES
    return season.today + timedelta(days=1) if done else season.today


def _doubts(members: Iterable[Evidence]) -> str:
    """Return what makes sick plants' readings doubtful; nothing for plants that are not sick."""
    doubts = dict.fromkeys(e.sudden.rstrip(".") or doubt_of(e) for e in members if needs_care(e))
    words = "; ".join(doubt for doubt in doubts if doubt)
    return f" Here: {words}." if words else ""


def _next_walks(season: Season, leaves: Leaves, until: date) -> Iterable[Task]:
    """Return when the plants that need no photo today are photographed again."""
    days: dict[date, list[Evidence]] = defaultdict(list)
    for rule, evidence in leaves.values():
        if evidence.visit is not None and rule.task != "photo":
            wait = _look_again_days(season, rule)
            day = max(evidence.visit.day + timedelta(days=wait), season.today)
            if day <= until and day != evidence.visit.day:
                days[day].append(evidence)
    for day, members in sorted(days.items()):
        plants = tuple(e.plant for e in members)
        what = f"Photograph {joined(plants)}: three leaves of each, the lowest among them."
        apart = [name for name in plants if leaves[name][0].status == "isolate"]
        if apart:
            what += f" {joined(apart)} last, and clean your hands afterwards."
        dates = sorted({e.visit.day for e in members if e.visit})
        why = f"Last photographed {joined(day_words(d) for d in dates)}; " + (
            f"every {season.limits.photo_days} days, and every {season.limits.look_days} under "
            "watch or before a spray."
        )
        yield Task(f"photo:walk:{day}", "photo", what, why, plants, day, "day")


def _look_again_days(season: Season, rule: Rule) -> int:
    limits = season.limits
    if rule.status in ("hold", "spot-test", "treat"):
        return limits.fresh_days
    return limits.look_days if rule.status in ("watch", "isolate") else limits.photo_days


def night_tasks(season: Season, nights: Nights) -> list[Task]:
    """Return the tasks about caterpillars."""
    tasks = []
    for rule, evidence in nights.values():
        build = _NIGHT_TASKS.get(rule.name)
        if build is not None:
            tasks.append(build(season, rule, evidence))
    return tasks


def _pick(season: Season, rule: Rule, evidence: NightEvidence) -> Task:
    look = evidence.look
    if look is None:
        raise ValueError("picking follows a count")
    number = evidence.left_to_pick
    why = (
        f"{rule.why} Counted in the night of {day_words(look.night)}: {look.count} "
        f"({look.low} to {look.high})"
    )
    why += f", {look.count - number} of them with cocoons." if number != look.count else "."
    key = f"pick:{evidence.plant}:{look.night}"
    plants = (evidence.plant,)
    return task_for(key, rule, plants, season.today, "day", why, photo=look.photo)


def _look_again(season: Season, rule: Rule, evidence: NightEvidence) -> Task:
    picked = evidence.picked_at
    if picked is None:
        raise ValueError("looking again follows a picking")
    after = (picked - timedelta(hours=12)).date() + timedelta(days=1)
    night = max(season.tonight, after)
    why = f"{rule.why} Picked {time_words(picked)}."
    key = f"recheck:{evidence.plant}:{after}"
    return task_for(key, rule, (evidence.plant,), night, "night", why)


def _look_tonight(season: Season, rule: Rule, evidence: NightEvidence) -> Task:
    sign, look = evidence.feeding, evidence.look
    since = sign.at.date() if sign else (look.night if look else season.today)
    photo = sign.photo if sign else (look.photo if look else "")
    words = f"{sign.frass_count} droppings" if sign and sign.frass_count else "eaten leaves"
    found = f"Found {day_words(since)}: {words}." if sign else f"Counted {day_words(since)}."
    why = f"{rule.why} {found}"
    key = f"night:{evidence.plant}:{since}"
    return task_for(key, rule, (evidence.plant,), season.tonight, "night", why, photo=photo)


_NIGHT_TASKS: Mapping[str, Callable[[Season, Rule, NightEvidence], Task]] = {
    "pick": _pick,
    "look again after picking": _look_again,
    "look tonight": _look_tonight,
    "old count": _look_tonight,
}
