"""From statuses to tasks: what, which plants, when, why, which cautions, which photo."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from models.care.caterpillars import NightEvidence
from models.care.cautions import cautions_of
from models.care.choice import doubt_of
from models.care.evidence import Evidence, needs_care
from models.care.layout import neighbours
from models.care.mornings import first_morning
from models.care.prevention import PlannedSpray, planned_sprays
from models.care.records import Part, Task
from models.care.rules import LEAF_RULES, Rule
from models.care.season import PEROXIDE, Season, concerns, hours_after
from models.care.words import day_words, joined, time_words, visit_words

__all__ = ["Found", "leaf_tasks", "night_tasks", "spray_tasks"]

_ENOUGH_LEAVES = 3
_FEW = 4  # so many plants are described one by one
Leaves = Mapping[str, tuple[Rule, Evidence]]


@dataclass(frozen=True)
class Found:
    """The rows that fit: of leaves for every plant, of caterpillars where one fits."""

    leaves: Leaves
    nights: Mapping[str, tuple[Rule, NightEvidence]]


def _task(
    key: str,
    rule: Rule,
    plants: tuple[str, ...],
    day: date,
    part: Part,
    why: str,
    **more: object,
) -> Task:
    what = rule.ask.format(plants=joined(plants))
    cautions = cautions_of(rule.task)
    return Task(key, rule.task, what, why, plants, day, part, cautions, **more)  # type: ignore[arg-type]


def _by_rule(leaves: Leaves, kind: str) -> dict[str, tuple[Rule, list[Evidence]]]:
    """Return the plants whose row asks for a kind of task, row by row."""
    grouped: dict[str, tuple[Rule, list[Evidence]]] = {}
    for rule, evidence in leaves.values():
        if rule.task == kind:
            grouped.setdefault(rule.name, (rule, []))[1].append(evidence)
    return grouped


def _measured(members: Iterable[Evidence]) -> str:
    """Return the readings behind a task; of many plants only the names stand in it."""
    seen = [e for e in members if e.visit is not None]
    if not seen or len(seen) > _FEW:
        return ""
    return " " + "; ".join(f"{e.plant}, {visit_words(e.visit)}" for e in seen if e.visit) + "."


def _photo(members: Iterable[Evidence]) -> str:
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
        why = f"{rule.why} {evidence.alarm.words}{_measured([evidence])}"
        photo = _photo([evidence])
        yield _task(
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
        for rule, members in _by_rule(leaves, kind).values():
            plants = tuple(e.plant for e in members)
            why = rule.why + _measured(members)
            burn = members[0].burn
            since = burn.checked_at.date() if burn else season.today
            key = f"{kind}:{'+'.join(plants)}:{since if burn else ''}"
            yield _task(key, rule, plants, season.today, "day", why, photo=_photo(members))


def _burn_check_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    """Return the burn check of the open spot-test, also while it is still locked."""
    gate = next((e.gate for _, e in leaves.values()), None)
    if gate is None or gate.state != "running" or gate.spray is None:
        return
    tested = tuple(
        plant
        for plant, (rule, _) in leaves.items()
        if concerns(gate.spray, plant) and rule.status != "isolate"
    )
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
    yield _task(key, rule, tested, at.date(), part, why, not_before=locked)


def _rule(name: str) -> Rule:
    return next(rule for rule in LEAF_RULES if rule.name == name)


def _photo_tasks(season: Season, leaves: Leaves) -> Iterable[Task]:
    for rule, members in _by_rule(leaves, "photo").values():
        for day in sorted({_photo_day(season, e) for e in members}):
            these = [e for e in members if _photo_day(season, e) == day]
            plants = tuple(e.plant for e in these)
            why = rule.why + _doubts(these) + _measured(these)
            key = f"photo:{rule.name}:{day}"
            yield _task(key, rule, plants, day, "day", why, photo=_photo(these))


def _photo_day(season: Season, evidence: Evidence) -> date:
    """Return today, or tomorrow where enough leaves were photographed today already."""
    visit = evidence.visit
    done = visit is not None and visit.day == season.today and visit.leaf_count >= _ENOUGH_LEAVES
    return season.today + timedelta(days=1) if done else season.today


def _doubts(members: Iterable[Evidence]) -> str:
    """Return what makes sick plants' readings doubtful; nothing for plants that are not sick."""
    doubts = dict.fromkeys(doubt_of(e) for e in members if needs_care(e))
    words = "; ".join(doubt for doubt in doubts if doubt)
    return f" Here {words}." if words else ""


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


def night_tasks(season: Season, nights: Mapping[str, tuple[Rule, NightEvidence]]) -> list[Task]:
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
    return _task(key, rule, plants, season.today, "day", why, photo=look.photo)


def _look_again(season: Season, rule: Rule, evidence: NightEvidence) -> Task:
    picked = evidence.picked_at
    if picked is None:
        raise ValueError("looking again follows a picking")
    after = (picked - timedelta(hours=12)).date() + timedelta(days=1)
    night = max(season.tonight, after)
    why = f"{rule.why} Picked {time_words(picked)}."
    key = f"recheck:{evidence.plant}:{after}"
    return _task(key, rule, (evidence.plant,), night, "night", why)


def _look_tonight(season: Season, rule: Rule, evidence: NightEvidence) -> Task:
    sign, look = evidence.feeding, evidence.look
    since = sign.at.date() if sign else (look.night if look else season.today)
    photo = sign.photo if sign else (look.photo if look else "")
    words = f"{sign.frass_count} droppings" if sign and sign.frass_count else "eaten leaves"
    found = f"Found {day_words(since)}: {words}." if sign else f"Counted {day_words(since)}."
    why = f"{rule.why} {found}"
    key = f"night:{evidence.plant}:{since}"
    return _task(key, rule, (evidence.plant,), season.tonight, "night", why, photo=photo)


_NIGHT_TASKS: Mapping[str, Callable[[Season, Rule, NightEvidence], Task]] = {
    "pick": _pick,
    "look again after picking": _look_again,
    "look tonight": _look_tonight,
    "old count": _look_tonight,
}


def spray_tasks(season: Season, leaves: Leaves, until: date) -> list[Task]:
    """Return the sprays: peroxide that the table asks for, and the preventive calendar.

    Peroxide goes first and prevention waits for it, unless prevention can be done and its wait be
    over before, or was put off for too long already.
    """
    curative = [*_by_rule(leaves, "spot-test").values(), *_by_rule(leaves, "treat").values()]
    wants = _prevented(season, leaves)
    if not curative:
        return [_prevent(season, spray) for spray in planned_sprays(season, wants, until)]
    day, not_before, moved = first_morning(season, PEROXIDE, season.today)
    first = next(iter(planned_sprays(season, wants, until)), None)
    until_test = _test_holds_until(curative)
    if first is not None and _goes_first(season, first, day):
        wait = _wait_after(season, first.day)
        later = first_morning(season, PEROXIDE, season.today, wait)
        # Prevention that would let a passed spot-test lapse does not go first.
        if later[0] <= (until_test or later[0]):
            day, not_before, moved = later
    sprays = _around(season, wants, until, first, day)
    make = _curative if day <= (until_test or day) else _lapsing
    tasks = [make(season, rule, members, day, not_before, moved) for rule, members in curative]
    return [*tasks, *(_prevent(season, spray) for spray in sprays)]


def _test_holds_until(curative: list[tuple[Rule, list[Evidence]]]) -> date | None:
    """Return the last day for which a passed spot-test holds; None where none passed."""
    treat = [members[0].gate.until for rule, members in curative if rule.status == "treat"]
    return treat[0] if treat else None


def _lapsing(
    season: Season,
    rule: Rule,
    members: list[Evidence],
    day: date,
    not_before: datetime | None,
    moved: str,
) -> Task:
    """Say that no morning suits while the spot-test still holds."""
    plants = tuple(e.plant for e in members)
    what = f"Wait with {joined(plants)}: by {day_words(day)} the spot-test no longer holds."
    why = f"{rule.why} No earlier morning suits: {moved}. One plant is then tested again."
    key = f"lapses:{len(season.sprays(PEROXIDE)) + 1}"
    return Task(key, "lapses", what, why, plants, season.today, "day", cautions_of("treat"))


def _goes_first(season: Season, spray: PlannedSpray, peroxide_on: date) -> bool:
    """Whether prevention goes before peroxide."""
    in_time = _wait_after(season, spray.day).date() <= peroxide_on
    overdue = (season.today - spray.due.day).days >= season.limits.overdue_days
    return in_time or (overdue and spray.day <= peroxide_on + timedelta(days=2))


def _wait_after(season: Season, day: date) -> datetime:
    """Return when the wait ends after a spray that is planned for the start of a morning."""
    begin = datetime.combine(day, season.limits.morning_from, season.now.tzinfo)
    return hours_after(begin, season.limits.between_hours)


def _around(
    season: Season, wants: list[str], until: date, first: PlannedSpray | None, peroxide_on: date
) -> tuple[PlannedSpray, ...]:
    """Return the preventive sprays, those after the peroxide once its wait is over."""
    wait = _wait_after(season, peroxide_on)
    if first is None or first.day >= peroxide_on:
        return planned_sprays(season, wants, until, wait)
    later = planned_sprays(season, wants, until)
    kept = [spray for spray in later if spray.day < peroxide_on or spray.day >= wait.date()]
    return tuple(kept)


def _prevented(season: Season, leaves: Leaves) -> list[str]:
    """Return the plants that are sprayed preventively: neither isolated nor burned."""
    if season.limits.preventive == "none":
        return []
    return [
        plant
        for plant, (rule, evidence) in leaves.items()
        if rule.status != "isolate" and evidence.burn is None
    ]


def _curative(
    season: Season,
    rule: Rule,
    members: list[Evidence],
    day: date,
    not_before: datetime | None,
    moved: str,
) -> Task:
    plants = tuple(e.plant for e in members)
    why = rule.why + _measured(members) + (f" Moved: {moved}." if moved else "")
    number = len(season.sprays(PEROXIDE)) + 1
    photo = _photo(members)
    key = f"{rule.task}:{number}"
    return _task(key, rule, plants, day, "morning", why, photo=photo, not_before=not_before)


def _prevent(season: Season, spray: PlannedSpray) -> Task:
    everyone = len(spray.plants) == len(season.plants)
    which = "all plants" if everyone else joined(spray.plants)
    product = season.limits.preventive
    what = (
        f"Spray {which} with the preventive {product} mix, over the top and on the undersides, "
        "and nothing else that day."
    )
    moved = f"Moved: {spray.moved}." if spray.moved else ""
    why = " ".join(part for part in (spray.due.why, spray.due.beside, moved) if part)
    return Task(
        key=f"prevent:{spray.ordinal}",
        kind="prevent",
        what=what,
        why=why,
        plants=spray.plants,
        day=spray.day,
        part="morning",
        cautions=cautions_of("prevent"),
        not_before=spray.not_before,
        repeat_days=season.limits.interval_days if spray.is_last else None,
    )
