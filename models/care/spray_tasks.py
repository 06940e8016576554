"""The sprays as tasks: peroxide that the table asks for, and the preventive calendar around it."""

from dataclasses import replace
from datetime import date, datetime, timedelta

from models.care.cautions import cautions_of
from models.care.evidence import Evidence
from models.care.mornings import first_morning
from models.care.prevention import PlannedSpray, planned_sprays
from models.care.records import Task
from models.care.rules import Rule
from models.care.season import PEROXIDE, Season, hours_after
from models.care.tasks import Leaves, by_rule, measured_words, photo_of, task_for
from models.care.words import day_words, joined

__all__ = ["spray_tasks"]

_ONE_MORE_DAY = "the one more day after the look for burn"


def spray_tasks(season: Season, leaves: Leaves, until: date) -> list[Task]:
    """Return the sprays: peroxide that the table asks for, and the preventive calendar.

    Peroxide goes first and prevention waits for it, unless prevention can be done and its wait be
    over before, or was put off for too long already.
    """
    curative = [*by_rule(leaves, "spot-test").values(), *by_rule(leaves, "treat").values()]
    wants = _prevented(season, leaves)
    if not curative:
        return [_prevent(season, spray) for spray in planned_sprays(season, wants, until)]
    opens = _opens(curative)
    day, not_before, moved = first_morning(season, PEROXIDE, season.today, opens, _ONE_MORE_DAY)
    first = next(iter(planned_sprays(season, wants, until)), None)
    until_test = _test_holds_until(curative)
    if first is not None and _goes_first(season, first, day):
        wait = max(_wait_after(season, first.day), opens or season.now)
        later = first_morning(season, PEROXIDE, season.today, wait)
        # Prevention that would let a passed spot-test lapse does not go first.
        if later[0] <= (until_test or later[0]):
            day, not_before, moved = later
    sprays = _around(season, wants, until, first, day)
    make = _curative if day <= (until_test or day) else _lapsing
    tasks = [make(season, rule, members, day, not_before, moved) for rule, members in curative]
    return [*tasks, *(_prevent(season, spray) for spray in sprays)]


def _opens(curative: list[tuple[Rule, list[Evidence]]]) -> datetime | None:
    """Return when the one more day after a test's look is over; None where none passed."""
    opens = [members[0].gate.opens for _, members in curative]
    return next((at for at in opens if at is not None), None)


def _test_holds_until(curative: list[tuple[Rule, list[Evidence]]]) -> date | None:
    """Return the last day for which a passed spot-test holds; None where none passed."""
    treat = [members[0].gate.until for rule, members in curative if rule.task == "treat"]
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
    return Task(key, "lapses", what, why, plants, season.daytime, "day", cautions_of("treat"))


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
    """Return the plants sprayed preventively: lately looked at, neither isolated nor burned."""
    if season.limits.preventive == "none":
        return []
    return [
        plant
        for plant, (rule, evidence) in leaves.items()
        if rule.status != "isolate" and evidence.burn is None and evidence.is_looked_after
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
    why = rule.why + measured_words(members) + (f" Moved: {moved}." if moved else "")
    number = len(season.sprays(PEROXIDE)) + 1
    photo = photo_of(members)
    key = f"{rule.task}:{_numbered(season, number)}"
    task = task_for(key, rule, plants, day, "morning", why, photo=photo, not_before=not_before)
    return replace(task, product=PEROXIDE)


def _numbered(season: Season, number: int) -> str:
    """Return the number of a season's spray; that of last season is not planned anew by it."""
    return f"{season.began.date()}:{number}" if season.began else str(number)


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
        key=f"prevent:{_numbered(season, spray.ordinal)}",
        kind="prevent",
        what=what,
        why=why,
        plants=spray.plants,
        day=spray.day,
        part="morning",
        cautions=cautions_of("prevent"),
        not_before=spray.not_before,
        repeat_days=season.limits.interval_days if spray.is_last else None,
        product=product,
    )
