"""Habits that prevent, offered when the record gives the reason; each can be declined for good."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

from models.care.alarms import alarm_of
from models.care.mornings import rain_on
from models.care.season import Season
from models.care.words import day_words, joined

__all__ = ["HABITS", "Habit", "Offer", "offers"]

RAIN_BEFORE_DAYS = 10  # leaf spot shows 6 days and more after infection
DRY_DAYS = 7


@dataclass(frozen=True)
class Offer:
    """A habit offered, with the reason in this garden's record."""

    name: str
    advice: str
    reason: str
    plants: tuple[str, ...] = ()


@dataclass(frozen=True)
class Habit:
    """A habit.

    Attributes
    ----------
    name : str
        The word by which it is declined.
    advice : str
        What to do.
    when : str
        The reason in the record that brings it up, for the table.
    reason : callable
        Returns plants and the reason in words; an empty reason: not offered.
    """

    name: str
    advice: str
    when: str
    reason: Callable[[Season], tuple[tuple[str, ...], str]]


def offers(season: Season) -> tuple[Offer, ...]:
    """Return the habits for which the record gives a reason and that were not declined."""
    declined = {*season.limits.declined, *(e.text for e in season.entries("decline"))}
    found: list[Offer] = []
    for habit in () if season.is_over else HABITS:
        plants, reason = habit.reason(season)
        if reason and habit.name not in declined:
            found.append(Offer(habit.name, habit.advice, reason, plants))
    return tuple(found)


def _plants_with(season: Season, sign: str) -> tuple[str, ...]:
    return tuple(name for name in season.plants if season.seen(sign, name))


def _sickened_after_rain(season: Season) -> tuple[tuple[str, ...], str]:
    low = _plants_with(season, "low-lesions")
    after = {name: day for name in season.plants if (day := _first_sick_after_rain(season, name))}
    plants = tuple(name for name in season.plants if name in low or name in after)
    if low:
        return plants, f"You saw lesions start low on {joined(low)}."
    if after:
        name, day = next(iter(after.items()))
        return plants, (
            f"{joined(plants)} showed the first lesions within {RAIN_BEFORE_DAYS} days after rain "
            f"({name} on {day})."
        )
    return (), ""


def _first_sick_after_rain(season: Season, plant: str) -> str:
    """Return the day of a plant's first marked visit if it rained shortly before; else empty."""
    first = next(
        (v.day for v in season.visits[plant] if v.severity_pct >= season.limits.watch_pct), None
    )
    if first is None:
        return ""
    days = (first - timedelta(days=step) for step in range(1, RAIN_BEFORE_DAYS + 1))
    return day_words(first) if any((rain_on(season, day) or 0) > 0 for day in days) else ""


def _lying(season: Season) -> tuple[tuple[str, ...], str]:
    plants = _plants_with(season, "lying")
    return plants, f"You saw {joined(plants)} touch the ground." if plants else ""


def _worst_leaves(season: Season) -> tuple[tuple[str, ...], str]:
    limit = season.limits.strip_pct
    found = {}
    for name in season.plants:
        last = season.visits[name][-1:]
        if alarm_of(season, name) is not None:
            continue  # it is isolated; leaves are the least of it
        stripped = [e.at.date() for e in season.entries("removed_leaves", name)]
        if last and last[0].worst_leaf_pct >= limit and all(last[0].day > day for day in stripped):
            found[name] = last[0]
    if not found:
        return (), ""
    words = joined(f"{n} ({v.worst_leaf_pct:.0f} %, {day_words(v.day)})" for n, v in found.items())
    return tuple(found), f"The sickest leaf photographed of {words}."


def _caterpillars(season: Season) -> tuple[tuple[str, ...], str]:
    plants = tuple(
        name
        for name in season.plants
        if any(look.count > 0 for look in season.nights[name])
        or any(e.amount != 0 for e in season.entries("hand_pick", name))
    )
    return plants, f"Caterpillars were found on {joined(plants)}." if plants else ""


def _aphids(season: Season) -> tuple[tuple[str, ...], str]:
    plants = _plants_with(season, "aphids")
    return plants, f"You saw aphids on {joined(plants)}." if plants else ""


def _dry_week(season: Season) -> tuple[tuple[str, ...], str]:
    """Return the reason for a bird bath: caterpillars, and a week without recorded rain."""
    if not _caterpillars(season)[1]:
        return (), ""
    days = [season.today - timedelta(days=step) for step in range(DRY_DAYS)]
    rain = [rain_on(season, day) for day in days]
    recorded = any(entry.kind == "rain" for entry in season.log) or None not in rain
    if not recorded or any(rain):
        return (), ""
    return (), f"No rain is on record for {DRY_DAYS} days, and there were caterpillars this season."


HABITS: tuple[Habit, ...] = (
    Habit(
        "water-low",
        "Water from the bottom, and mulch: splashed soil carries disease up to the lowest leaves.",
        "first lesions within 10 days after rain, or you saw lesions start low",
        _sickened_after_rain,
    ),
    Habit(
        "stake",
        "Stake the plants and prune what touches the ground.",
        "you saw a plant touch the ground",
        _lying,
    ),
    Habit(
        "strip",
        "Take off the worst of the lower leaves, but no more than a quarter of the plant's "
        "leaves: in a trial half cost no yield, three quarters cost a third to a half of it.",
        "a leaf photographed is sicker than {strip_pct} %",
        _worst_leaves,
    ),
    Habit(
        "sharp-mulch",
        "Lay a ring of wood chips or another sharp mulch around the stem.",
        "caterpillars were found",
        _caterpillars,
    ),
    Habit("basil", "Plant basil beside them.", "you saw aphids", _aphids),
    Habit(
        "bird-water",
        "Put out water for birds: they eat caterpillars.",
        "a week without rain, and caterpillars this season",
        _dry_week,
    ),
)
"""Every habit. The limit of leaf removal is of Ferrandino and Elmer 1992, Plant Disease 76:208
[read]; the others are practice."""
