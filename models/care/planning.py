"""The plan: every plant's status, what to do next, what was against a rule, and habits to offer."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from models.care.caterpillars import NightEvidence, night_evidence
from models.care.choice import Choice, choose
from models.care.evidence import Evidence, evidence_of
from models.care.habits import Offer, offers
from models.care.records import DayWeather, PlantStatus, Remark, Task
from models.care.review import review
from models.care.rules import (
    LEAF_CONDITIONS,
    LEAF_RULES,
    NIGHT_CONDITIONS,
    NIGHT_RULES,
    Rule,
    first_fitting,
)
from models.care.season import Season, season_of
from models.care.spray_tasks import spray_tasks
from models.care.tasks import Leaves, Nights, doubt_words, leaf_tasks, night_tasks
from models.care.words import day_words, pattern_words, time_words, visit_words
from models.entries import LogEntry, PhotoEntry
from models.garden.beds import Garden

__all__ = ["Plan", "plan", "plan_season"]

_PARTS = ("morning", "day", "night")
_OPEN = ("doubtful", "open")  # rows of plants of which it is uncertain whether they are sick
_URGENCY = ("isolate", "burned", "burn-check", "treat", "spot-test", "prevent", "pick", "night")


@dataclass(frozen=True)
class Plan:
    """What a record says to do.

    Attributes
    ----------
    now : datetime
        The moment for which it was made.
    statuses : tuple of PlantStatus
        Plant by plant in the garden's order; a plant with caterpillars has two.
    tasks : tuple of Task
        By day; isolation first, then by part of the day and urgency.
    remarks : tuple of Remark
        Logged actions of the last interval that were against a rule.
    habits : tuple of Offer
        Habits to offer.
    choice : Choice
        The plant to spot-test, and why the grower's own choice is not followed where it is not.
    """

    now: datetime
    statuses: tuple[PlantStatus, ...]
    tasks: tuple[Task, ...]
    remarks: tuple[Remark, ...]
    habits: tuple[Offer, ...]
    choice: Choice

    def tasks_of(self, plant: str) -> tuple[Task, ...]:
        """Return what is to be done about a plant, in the plan's order."""
        return tuple(task for task in self.tasks if plant in task.plants)


def plan(
    garden: Garden,
    photos: Sequence[PhotoEntry],
    log: Sequence[LogEntry],
    now: datetime,
    *,
    weather: Iterable[DayWeather] = (),
    days: int = 14,
) -> Plan:
    """Return what to do from a record: the same record and the same ``now`` give the same plan.

    Parameters
    ----------
    garden : Garden
        Beds, plants and settings.
    photos, log : sequences of PhotoEntry and LogEntry
        The whole record, in any order.
    now : datetime
        With its time zone.
    weather : iterable of DayWeather
        Measured and forecast days.
    days : int
        How far the calendar looks ahead.

    Raises
    ------
    CareSettingsError, BadVerdictError
        With one sentence.
    """
    return plan_season(season_of(garden, photos, log, now, weather), days)


def plan_season(season: Season, days: int = 14) -> Plan:
    """Return what to do from a gathered season; see `plan`."""
    evidence = evidence_of(season)
    choice = choose(season, evidence)
    leaves, nights = _rows(season, evidence, choice)
    until = season.today + timedelta(days=days)
    tasks = [
        *leaf_tasks(season, leaves, until),
        *night_tasks(season, nights),
        *spray_tasks(season, leaves, until),
    ]
    return Plan(
        now=season.now,
        statuses=tuple(_statuses(season, leaves, nights, tasks)),
        tasks=tuple(sorted(tasks, key=_order)),
        remarks=review(season, since=season.today - timedelta(days=season.limits.interval_days)),
        habits=offers(season),
        choice=choice,
    )


def _rows(
    season: Season, evidence: Mapping[str, Evidence], choice: Choice
) -> tuple[Leaves, Nights]:
    """Return the row of each table that fits each plant."""
    leaves = {}
    for plant, facts in evidence.items():
        chosen = facts.choosing(choice.plant, by_grower=choice.by_grower)
        row = first_fitting(LEAF_RULES, LEAF_CONDITIONS, chosen)
        if row is None:
            raise ValueError("the last row of the table fits every plant")
        leaves[plant] = (row.said(season.limits), chosen)
    nights: dict[str, tuple[Rule, NightEvidence]] = {}
    if season.is_over:
        return leaves, nights
    for plant, night in night_evidence(season).items():
        row = first_fitting(NIGHT_RULES, NIGHT_CONDITIONS, night)
        if row is not None:
            nights[plant] = (row.said(season.limits), night)
    return leaves, nights


def _statuses(
    season: Season, leaves: Leaves, nights: Nights, tasks: Sequence[Task]
) -> Iterable[PlantStatus]:
    for plant in season.plants:
        own = [task for task in tasks if plant in task.plants]
        yield _as_planned(_leaf_status(*leaves[plant]), own)
        if plant in nights:
            yield _night_status(*nights[plant])


def _as_planned(status: PlantStatus, tasks: Sequence[Task]) -> PlantStatus:
    """Return a status with the reason that the plan gives, where the calendar had its say too."""
    planned = next((task for task in tasks if task.kind in (status.status, "lapses")), None)
    if planned is None or status.status not in ("prevent", "treat", "spot-test"):
        return status
    if planned.kind == "lapses":
        return replace(status, status="hold", why=planned.why)
    if status.status == "prevent":
        return replace(status, why=planned.why)
    return status


def _leaf_status(rule: Rule, evidence: Evidence) -> PlantStatus:
    visit = evidence.visit
    return PlantStatus(
        plant=evidence.plant,
        status=rule.status,
        rule=rule.name,
        why=rule.why,
        measured=_behind(rule, evidence),
        measured_on=visit.day if visit else None,
        severity_pct=visit.severity_pct if visit else None,
        severity_low_pct=visit.low_pct if visit else None,
        severity_high_pct=visit.high_pct if visit else None,
        pattern=pattern_words(visit) if visit else "",
        photo=visit.photo if visit else "",
        open_why=doubt_words(rule, evidence) if rule.name in _OPEN else "",
        more_leaves=evidence.more_leaves if rule.name in _OPEN else None,
    )


def _behind(rule: Rule, evidence: Evidence) -> str:
    """Return the facts behind a row: the reading, and what else decided."""
    facts = [visit_words(evidence.visit) if evidence.visit else "no measured photo"]
    if evidence.alarm is not None and rule.status == "isolate":
        facts.insert(0, f"{day_words(evidence.alarm.day)}: {evidence.alarm.words.rstrip('.')}")
    if evidence.spray is not None and rule.status in ("waiting", "check for burn", "rest"):
        facts.insert(0, f"sprayed with peroxide {time_words(evidence.spray.at)}")
    if evidence.check is not None and rule.status in ("check for burn", "rest"):
        at = time_words(evidence.check.checked_at)
        facts.insert(1, f"burn check {at}: {evidence.check.verdict}")
    if doubt := doubt_words(rule, evidence):
        facts.append(doubt)
    return "; ".join(facts)


def _night_status(rule: Rule, evidence: NightEvidence) -> PlantStatus:
    day, measured, photo = _seen_at_night(evidence)
    plant, status = evidence.plant, rule.status
    return PlantStatus(plant, status, rule.name, rule.why, measured, day, photo=photo)


def _seen_at_night(evidence: NightEvidence) -> tuple[date | None, str, str]:
    """Return when, what, and on which photo: the picking, the count, or the signs by day."""
    look, sign, picked = evidence.look, evidence.feeding, evidence.picked_at
    if picked is not None:
        return picked.date(), f"picked {time_words(picked)}", ""
    if look is not None and (look.count or sign is None):
        counted = f"{look.count} caterpillars ({look.low} to {look.high})"
        return look.night, f"night of {day_words(look.night)}: {counted}", look.photo
    if sign is None:
        return None, "", ""
    words = f"{sign.frass_count} droppings, {sign.chewed_pct:.0f} % of a leaf eaten"
    return sign.at.date(), f"{day_words(sign.at.date())}: {words}", sign.photo


def _order(task: Task) -> tuple[object, ...]:
    urgency = _URGENCY.index(task.kind) if task.kind in _URGENCY else len(_URGENCY)
    return (task.day, task.kind != "isolate", _PARTS.index(task.part), urgency, task.key)
