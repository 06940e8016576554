"""From statuses to tasks: what, which plants, when, why, which cautions, which photo."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, timedelta

from models.care.caterpillars import NightEvidence
from models.care.cautions import cautions_of
from models.care.choice import doubt_of
from models.care.enough import is_uncertain, settle_words, walk_words
from models.care.evidence import Evidence
from models.care.layout import neighbours
from models.care.peroxide import open_checks
from models.care.records import Part, Task
from models.care.rules import LEAF_RULES, Rule
from models.care.season import DARK_FROM, Season, hours_between
from models.care.words import day_words, joined, time_words, visit_words

__all__ = [
    "Leaves",
    "Nights",
    "by_rule",
    "doubt_words",
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
    words: Mapping[str, str] | None = None,
) -> Task:
    """Return the task that a row asks for, in the row's words and with its cautions.

    ``words`` holds what else stands in braces in the row's words.
    """
    what = _asked(rule, plants, words or {})
    cautions = cautions_of(rule.task)
    return Task(key, rule.task, what, why, plants, day, part, cautions, photo, not_before)


def _asked(rule: Rule, plants: tuple[str, ...], words: Mapping[str, str]) -> str:
    what = rule.ask.format(plants=joined(plants), **words)
    return _one(what) if len(plants) == 1 else what


def _one(words: str) -> str:
    """Return words about leaves as they are said of one plant, of which there is no "each"."""
    return words.replace(" of each, ", ", ")


def by_rule(leaves: Leaves, kind: str) -> dict[str, tuple[Rule, list[Evidence]]]:
    """Return the plants whose row asks for a kind of task, row by row."""
    grouped: dict[str, tuple[Rule, list[Evidence]]] = {}
    for rule, evidence in leaves.values():
        if rule.task == kind:
            grouped.setdefault(rule.name, (rule, []))[1].append(evidence)
    return grouped


def measured_words(members: Iterable[Evidence], rule: Rule | None = None) -> str:
    """Return the readings behind a task, with the doubt where that is why the task's row fits.

    Of many plants only the names stand in it.
    """
    seen = [(e, e.visit) for e in members if e.visit is not None]
    if not seen or len(seen) > _FEW:
        return ""
    doubts = [doubt_words(rule, e) if rule else "" for e, _ in seen]
    readings = (f"{e.plant}, {visit_words(visit)}" for e, visit in seen)
    told = (f"{r} ({d})" if d else r for r, d in zip(readings, doubts, strict=True))
    return f" {'; '.join(told)}."


def photo_of(members: Iterable[Evidence]) -> str:
    """Return the photo behind a task about one plant; empty where there are several."""
    shown = [e.visit.photo for e in members if e.visit is not None]
    return shown[0] if len(shown) == 1 else ""


def leaf_tasks(season: Season, leaves: Leaves, until: date) -> list[Task]:
    """Return the tasks about leaves, without sprays."""
    if season.is_over:
        return [*_isolate_tasks(season, leaves), *_photo_tasks(season, leaves)]
    return [
        *_isolate_tasks(season, leaves),
        *_single_tasks(season, leaves),
        *_burn_check_tasks(season),
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
        part: Part = "night" if season.is_dark else "day"
        key = f"isolate:{plant}:{since}"
        yield task_for(key, rule, (plant,), _now_day(season), part, why, photo=photo)
        yield from _neighbour_task(season, plant, since, near)


def _neighbour_task(
    season: Season, plant: str, since: date, near: tuple[str, ...]
) -> Iterable[Task]:
    """Ask for photos of the plants next to one that is isolated, unless taken since."""
    standing = [name for name in near if name in season.plants and not season.is_over]
    unseen = [name for name in standing if not any(v.day >= since for v in season.visits[name])]
    if unseen:
        yield Task(
            f"neighbours:{plant}:{since}",
            "photo",
            f"Look at the neighbours of {plant} first, and photograph them: {joined(unseen)}.",
            f"What isolates {plant} reaches the plants beside it in its bed first.",
            tuple(unseen),
            season.daytime,
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
            yield task_for(key, rule, plants, season.daytime, "day", why, photo=photo_of(members))


def _burn_check_tasks(season: Season) -> Iterable[Task]:
    """Return the look for burn after each peroxide spray, also while it is still locked."""
    for check in open_checks(season):
        rule = _rule("check again" if check.verdict else "check for burn").said(season.limits)
        why = f"{rule.why} Sprayed {time_words(check.spray.at)}."
        if check.verdict is not None and check.verdict.reason:
            why += f" Last time: {check.verdict.reason}"
        day, part = _light_from(season, max(check.opens, season.now))
        key = f"burn-check:{season.root(check.spray.number)}"
        locked = check.opens if hours_between(season.now, check.opens) > 0 else None
        yield task_for(key, rule, check.plants, day, part, why, not_before=locked)


def _light_from(season: Season, at: datetime) -> tuple[date, Part]:
    """Return the first day, and its part, on which leaves can be looked at from a time on."""
    if at.hour >= DARK_FROM:
        return at.date() + timedelta(days=1), "morning"
    return at.date(), "morning" if at.hour < season.limits.morning_until.hour else "day"


def _now_day(season: Season) -> date:
    """Return the day of what can be done at any hour: by night that of its evening."""
    return season.tonight if season.is_dark else season.today


def _rule(name: str) -> Rule:
    return next(rule for rule in LEAF_RULES if rule.name == name)


def _photo_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    for rule, members in by_rule(leaves, "photo").values():
        for day in sorted({_photo_day(season, e) for e in members}):
            these = [e for e in members if _photo_day(season, e) == day]
            plants = tuple(e.plant for e in these)
            why = rule.why + measured_words(these, rule)
            key = f"photo:{rule.name}:{day}"
            counts = joined(f"{e.more_leaves} of {e.plant}" for e in these)
            words = {"walk": walk_words(season.limits), "counts": counts}
            yield task_for(key, rule, plants, day, "day", why, photo=photo_of(these), words=words)


def _photo_day(season: Season, evidence: Evidence) -> date:
    """Return the next daylight, or tomorrow where enough leaves were photographed today already."""
    visit, enough = evidence.visit, season.limits.walk_leaves
    done = visit is not None and visit.day == season.today and visit.leaf_count >= enough
    return season.today + timedelta(days=1) if done else season.daytime


_SAYS_ITS_DOUBT = ("flagged", "doubtful", "open")


def doubt_words(rule: Rule, evidence: Evidence) -> str:
    """Return what makes a plant's reading doubtful where that is why its row fits; or empty."""
    if rule.name == "sudden rise":
        return evidence.sudden.rstrip(".")
    if rule.name not in _SAYS_ITS_DOUBT or evidence.visit is None:
        return ""
    doubt = doubt_of(evidence)
    if rule.name == "flagged":
        return doubt
    if not is_uncertain(evidence.visit, evidence.limits):
        return ""  # its pattern, which stands in the reading
    return f"{doubt}; {settle_words(evidence.more_leaves, evidence.limits)}"


def _next_walks(season: Season, leaves: Leaves, until: date) -> Iterable[Task]:
    """Return when the plants that need no photo today are photographed again."""
    days: dict[date, list[Evidence]] = defaultdict(list)
    for rule, evidence in leaves.values():
        if evidence.visit is not None and rule.task != "photo":
            wait = _look_again_days(season, rule)
            day = max(evidence.visit.day + timedelta(days=wait), season.daytime)
            if day <= until and day != evidence.visit.day:
                days[day].append(evidence)
    for day, members in sorted(days.items()):
        plants = tuple(e.plant for e in members)
        walk = walk_words(season.limits)
        what = f"Photograph {joined(plants)}: {walk if len(plants) > 1 else _one(walk)}."
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
    part: Part = "night" if season.is_dark else "day"
    return task_for(key, rule, plants, _now_day(season), part, why, photo=look.photo)


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
