"""Logged actions that broke a rule: they stay as they happened, and are pointed out."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from models.care.alarms import alarm_of
from models.care.burn_log import verdict_of
from models.care.choice import late_doubt
from models.care.mornings import NO_PRODUCT, last_spray
from models.care.peroxide import gate_of, open_checks
from models.care.prevention import due_after
from models.care.records import Remark
from models.care.season import PEROXIDE, Season, concerns, hours_between, products_of
from models.care.words import day_words, heat_words, joined, rain_words, time_words
from models.entries import LogEntry
from models.mix import RECIPES, CannotMixError, check_together

__all__ = ["LOG_RULES", "LogRule", "review"]

DRIES_HOURS = 2  # a spray wants so long to dry before rain [read, general advice]


@dataclass(frozen=True)
class LogRule:
    """A rule for what is logged.

    Attributes
    ----------
    name : str
        Unique.
    words : str
        The rule, for the table.
    broken : callable
        Returns what was against it, as a sentence; empty where nothing was.
    """

    name: str
    words: str
    broken: Callable[[Season, LogEntry], str]


def review(
    season: Season, *, since: date | None = None, number: int | None = None
) -> tuple[Remark, ...]:
    """Return what was against a rule, entry by entry.

    Parameters
    ----------
    season : Season
        As it stands.
    since : date, optional
        Only entries of this day and later.
    number : int, optional
        Only the entry of this number.
    """
    entries = [
        entry
        for entry in season.log
        if (since is None or entry.at.date() >= since) and number in (None, entry.number)
    ]
    found = (
        Remark(entry.number, rule.name, sentence)
        for entry in entries
        for rule in LOG_RULES
        if (sentence := rule.broken(season, entry))
    )
    return tuple(found)


def _is_spray(entry: LogEntry, product: str = "") -> bool:
    return entry.kind == "spray" and (not product or product in products_of(entry))


def _not_in_the_morning(season: Season, entry: LogEntry) -> str:
    limits = season.limits
    if not _is_spray(entry) or limits.morning_from <= entry.at.time() <= limits.morning_until:
        return ""
    return (
        f"sprayed {time_words(entry.at)}: spray in the morning, from {limits.morning_from:%H:%M} "
        f"to {limits.morning_until:%H:%M}."
    )


def _late(season: Season, entry: LogEntry) -> str:
    limits = season.limits
    last = _last_like(season, entry)
    if last is None:
        return ""
    days = (entry.at.date() - last.at.date()).days
    between = season.log[season.log.index(last) : season.log.index(entry)]
    waited = any(_is_spray(e, PEROXIDE) for e in between)
    rested = {name for e in between if _puts_to_rest(e) for name in e.plants}
    allowed = limits.interval_days + (_longest_wait_days(season) if waited else 0)
    if days <= allowed or (entry.plants and set(entry.plants) <= rested):
        return ""
    return (
        f"{days} days after the last preventive spray, {days - limits.interval_days} too late; "
        "the count starts again from here."
    )


def _last_like(season: Season, entry: LogEntry) -> LogEntry | None:
    """Return the preventive spray before this one that reached any of its plants."""
    product = season.limits.preventive
    if not _is_spray(entry, product):
        return None
    before = season.log[: season.log.index(entry)]
    shared = (
        e
        for e in reversed(before)
        if _is_spray(e, product)
        and (not e.plants or not entry.plants or set(e.plants) & set(entry.plants))
    )
    return next(shared, None)


def _puts_to_rest(entry: LogEntry) -> bool:
    """Whether an entry keeps its plants from being sprayed: a burn, or wilting."""
    if entry.kind == "burn_check":
        return verdict_of(entry).verdict == "burned"
    return entry.kind == "seen" and entry.text in ("wilting", "cleared", "burned")


def _longest_wait_days(season: Season) -> int:
    """Return for how long the plan itself lets prevention wait for peroxide."""
    return season.limits.overdue_days + season.limits.between_hours // 24


def _too_soon(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry):
        return ""
    wait = season.limits.between_hours
    for earlier in reversed(season.log[: season.log.index(entry)]):
        other = set(products_of(earlier)) ^ set(products_of(entry)) if _is_spray(earlier) else set()
        if other - {NO_PRODUCT} and (hours := hours_between(earlier.at, entry.at)) < wait:
            return (
                f"{entry.product} {hours:.0f} hours after {earlier.product} (entry "
                f"{earlier.number}): {wait} hours belong between two products. Look at the "
                "leaves for burn."
            )
    return ""


def _in_one_tank(season: Season, entry: LogEntry) -> str:
    products = products_of(entry) if _is_spray(entry) else ()
    base = next((one for one in products if one in RECIPES), "")
    if not base or len(products) < 2:
        return ""
    try:
        check_together(base, tuple(one for one in products if one != base))
    except CannotMixError as error:
        return f"{error} Rinse the sprayer, and look at the leaves for burn."
    return ""


def _too_often(season: Season, entry: LogEntry) -> str:
    """Return which plants got the same product again before its time."""
    if not _is_spray(entry):
        return ""
    before = season.before(entry)
    found = {}
    for product in products_of(entry):
        for plant in (p for p in before.plants if concerns(entry, p)):
            last = last_spray(before, product, plant)
            if last is not None and (why := _why_too_often(before, product, last, entry)):
                found[plant] = (last, why)
    if not found:
        return ""
    last, why = next(iter(found.values()))
    hours = hours_between(last.at, entry.at)
    gap = f"{hours:.0f} hours" if hours < 48 else f"{hours / 24:.0f} days"
    when = f"{'less than 2 hours' if hours < 2 else gap} after {last.product}"
    return f"{entry.product} on {joined(found)} {when} (entry {last.number}): {why}"


def _why_too_often(before: Season, product: str, last: LogEntry, entry: LogEntry) -> str:
    """Return the rule about a product's repetition that a spray broke; empty where none."""
    limits = before.limits
    if product == limits.preventive:
        due = due_after(before, last.at.date(), last)
        # After rain that fell before the spray only the wet leaves are wrong.
        early = due.day > entry.at.date() + timedelta(days=1 if due.by_rain else 0)
        if not early:
            return ""
        rain = rain_words(limits.rain_mm, before.garden.units)
        return (
            f"every {limits.interval_days} days, and after a day with more than {rain} of rain, is "
            "enough; more burns leaves."
        )
    if product == PEROXIDE:
        days = (entry.at.date() - last.at.date()).days
        rule = (
            f"lesions from before still come out for {limits.again_days} days; look for burn, and "
            "judge it by new lesions."
        )
        return rule if days <= limits.again_days else ""
    soon = hours_between(last.at, entry.at) < limits.between_hours and product != NO_PRODUCT
    return "follow its label on how often." if soon else ""


def _unlooked(season: Season, entry: LogEntry) -> str:
    """Return which plants had to be looked at for burn before anything else was sprayed."""
    if not _is_spray(entry) or _is_spray(entry, PEROXIDE):
        return ""
    checks = open_checks(season.before(entry))
    names = [name for c in checks if hours_between(c.opens, entry.at) >= 0 for name in c.plants]
    return f"sprayed before {joined(names)} was looked at for burn: look now." if names else ""


def _may_be_late(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry, PEROXIDE):
        return ""
    before = season.before(entry)
    named = [
        name
        for name in before.plants
        if concerns(entry, name)
        and (looks := before.visits[name])
        and late_doubt(looks[-1], season.limits)
        and alarm_of(before, name) is None
    ]
    if not named:
        return ""
    return (
        f"peroxide on {joined(named)}, which may have late blight: photograph more leaves, and "
        "show one to an extension service or plant clinic."
    )


def _untested(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry, PEROXIDE):
        return ""
    before = season.before(entry)
    gate = gate_of(before)
    plants = entry.plants or season.plants
    awaiting = {name for check in open_checks(before) for name in check.plants}
    if gate.state == "blocked":
        return "peroxide although a burn was seen: rinse the leaves, and stop."
    if gate.state == "running" and set(plants) - awaiting:
        return "peroxide on further plants before the tested one was looked at for burn."
    if gate.state == "settling" and gate.opens is not None:
        return (
            "peroxide on further plants within a day of the look for burn: one more day belongs "
            f"between them, until {time_words(gate.opens)}."
        )
    if gate.state == "untested" and len(plants) > 1:
        return (
            f"peroxide on {len(plants)} plants without a spot-test on one: look at all of them "
            "for burn after 24 hours, and spray no others until then."
        )
    return ""


def _isolated(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry):
        return ""
    before = season.before(entry)
    named = [n for n in before.plants if concerns(entry, n) and alarm_of(before, n) is not None]
    if not named:
        return ""
    return f"{joined(named)} should be isolated: no home remedy helps there; see its task."


def _not_sick(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry, PEROXIDE):
        return ""
    limit = season.limits.watch_pct
    before = season.before(entry)
    looks = {name: before.visits[name] for name in before.plants if concerns(entry, name)}
    well = [name for name, seen in looks.items() if seen and seen[-1].severity_pct < limit]
    if not well:
        return ""
    return f"peroxide on {joined(well)}, which showed nothing: only sick plants are treated."


def _wet(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry):
        return ""
    day, at = entry.at.date(), entry.at.time()
    known = season.weather.get(day)
    rows = [row for row, _ in known.rain_rows] if known else []
    rained = any(e.at.date() == day and e.at <= entry.at for e in season.entries("rain"))
    if rained or (known and known.wet_morning) or any(row <= at for row in rows):
        return f"the leaves were probably wet on {day_words(day)}: spray dry leaves."
    dry_by = (entry.at + timedelta(hours=DRIES_HOURS)).time()
    if any(at < row <= dry_by for row in rows):
        return (
            f"it rained on {day_words(day)} before the spray was dry, within {DRIES_HOURS} hours: "
            "most of it is lost."
        )
    return ""


def _hot(season: Season, entry: LogEntry) -> str:
    if not _is_spray(entry):
        return ""
    for day in (entry.at.date(), entry.at.date() + timedelta(days=1)):
        hottest = season.weather[day].hottest_c if day in season.weather else None
        if hottest is not None and hottest >= season.limits.heat_c:
            heat = heat_words(hottest, season.garden.units)
            return f"{heat} on {day_words(day)}: sprays burn in heat; look for burn."
    return ""


def _early_check(season: Season, entry: LogEntry) -> str:
    by_eye = entry.kind == "seen" and entry.text == "no-burn"
    if entry.kind != "burn_check" and not by_eye:
        return ""
    verdicts = [v for v in season.verdicts if v.checked_at == entry.at and v.plant in entry.plants]
    for verdict in verdicts:
        number = season.root(verdict.spray)
        spray = next((e for e in season.sprays(PEROXIDE) if season.root(e.number) == number), None)
        if spray is None:
            return f"the burn check names entry {verdict.spray}, which is no peroxide spray."
        hours = hours_between(spray.at, verdict.checked_at)
        if verdict.verdict != "burned" and hours < season.limits.wait_hours:
            return (
                f"the burn check was made {hours:.0f} hours after the spray; it counts from "
                f"{season.limits.wait_hours} hours on. Look again."
            )
    return "" if verdicts else "there was no peroxide spray to look at."


LOG_RULES: tuple[LogRule, ...] = (
    LogRule("mornings", "Sprays are made in the morning.", _not_in_the_morning),
    LogRule(
        "interval",
        "Preventive sprays are at most {interval_days} days apart, and the waits after peroxide.",
        _late,
    ),
    LogRule("one at a time", "{between_hours} hours lie between two products.", _too_soon),
    LogRule(
        "not too often",
        "The same spray is not repeated on a plant before its time: the preventive one after "
        "{interval_days} days or real rain, peroxide after {again_days} days.",
        _too_often,
    ),
    LogRule("one tank", "Two products are not mixed in one tank.", _in_one_tank),
    LogRule(
        "one plant first",
        "Peroxide goes on one plant first, and on others only one more day after a look that saw "
        "no burn.",
        _untested,
    ),
    LogRule(
        "look first",
        "A plant sprayed with peroxide is looked at for burn before anything else is sprayed.",
        _unlooked,
    ),
    LogRule("may be late blight", "Peroxide never goes on what may be late blight.", _may_be_late),
    LogRule("only sick plants", "Only sick plants get peroxide.", _not_sick),
    LogRule("isolated", "Plants to be isolated are not sprayed.", _isolated),
    LogRule("dry leaves", "Sprays go on dry leaves.", _wet),
    LogRule(
        "heat", "Sprays are not made in heat of {heat_c} °C or more, nor the day before it.", _hot
    ),
    LogRule(
        "24 hours", "A burn check counts from {wait_hours} hours after the spray on.", _early_check
    ),
)
