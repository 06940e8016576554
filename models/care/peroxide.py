"""The gate before peroxide: one plant first, 24 hours, a look for burn, one more day, the others.

Every peroxide spray brings a look for burn, whoever advised it; until it is made, none follows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal

from models.care.records import BurnVerdict
from models.care.season import PEROXIDE, Season, concerns, hours_after, hours_between
from models.entries import LogEntry

__all__ = [
    "Gate",
    "GateState",
    "OpenCheck",
    "burned_on",
    "gate_of",
    "is_locked",
    "judged",
    "look_at",
    "open_checks",
    "test_of",
]

Tested = Sequence[tuple[LogEntry, BurnVerdict | None]]
"""Sprays with the verdict that holds for each."""

GateState = Literal["untested", "running", "settling", "passed", "blocked"]


@dataclass(frozen=True)
class Gate:
    """Whether peroxide may go on further plants.

    Attributes
    ----------
    state : {"untested", "running", "settling", "passed", "blocked"}
        ``untested``: one plant first. ``running``: a spray awaits its check. ``settling``: no burn
        was seen, and one more day is not over. ``passed``: it is over, which never means safe.
        ``blocked``: a burn was seen.
    spray : LogEntry or None
        The spray that decides it.
    verdict : BurnVerdict or None
        The check that decides it.
    until : date or None
        The last day on which the test, its check or the pause after a burn holds.
    opens : datetime or None
        When ``settling`` ends, or ended for ``passed``.
    """

    state: GateState
    spray: LogEntry | None = None
    verdict: BurnVerdict | None = None
    until: date | None = None
    opens: datetime | None = None


@dataclass(frozen=True)
class OpenCheck:
    """A peroxide spray after which plants still await their look for burn.

    Attributes
    ----------
    spray : LogEntry
        The spray.
    plants : tuple of str
        The plants that still stand and were not yet looked at, in the garden's order.
    opens : datetime
        From when on a burn can be judged.
    verdict : BurnVerdict or None
        The last look at one of them, where it could not tell.
    """

    spray: LogEntry
    plants: tuple[str, ...]
    opens: datetime
    verdict: BurnVerdict | None = None


def is_locked(spray: LogEntry, at: datetime, wait_hours: float) -> bool:
    """Whether it is too early to judge a burn: fewer than so many hours since the spray."""
    return hours_between(spray.at, at) < wait_hours


def judged(season: Season, spray: LogEntry) -> tuple[BurnVerdict, ...]:
    """Return the burn checks of a spray, oldest first.

    A check made too early does not count, unless it saw a burn: that is one whenever it shows.
    """
    number = season.root(spray.number)
    return tuple(
        verdict
        for verdict in season.verdicts
        if season.root(verdict.spray) == number
        and concerns(spray, verdict.plant)
        and (
            verdict.verdict == "burned"
            or not is_locked(spray, verdict.checked_at, season.limits.wait_hours)
        )
    )


def test_of(season: Season, spray: LogEntry) -> BurnVerdict | None:
    """Return the verdict that holds for a spray: a burn always, else the last; None before any."""
    return _holding(judged(season, spray))


def look_at(season: Season, spray: LogEntry, plant: str) -> BurnVerdict | None:
    """Return the verdict that holds for one plant of a spray; None before any."""
    return _holding([check for check in judged(season, spray) if check.plant == plant])


def _holding(checks: Sequence[BurnVerdict]) -> BurnVerdict | None:
    burns = [check for check in checks if check.verdict == "burned"]
    return next(iter([*burns[-1:], *checks[-1:]]), None)


def open_checks(season: Season) -> tuple[OpenCheck, ...]:
    """Return the peroxide sprays that still await a look for burn, oldest first.

    Of each plant its last spray counts. “Cannot tell” leaves the check open. It lapses only when a
    look would no longer say anything of the present leaves.
    """
    waiting: dict[int, list[str]] = {}
    sprays: dict[int, LogEntry] = {}
    for plant in season.plants:
        spray = next(iter(season.sprays(PEROXIDE, plant)[-1:]), None)
        if spray is not None and _awaits_look(season, spray, plant):
            sprays[spray.number] = spray
            waiting.setdefault(spray.number, []).append(plant)
    found = [_open_check(season, sprays[number], plants) for number, plants in waiting.items()]
    return tuple(sorted(found, key=lambda one: (one.opens, one.spray.number)))


def _awaits_look(season: Season, spray: LogEntry, plant: str) -> bool:
    if season.today > spray.at.date() + timedelta(days=season.limits.test_open_days):
        return False
    check = look_at(season, spray, plant)
    return check is None or check.verdict == "cannot tell"


def _open_check(season: Season, spray: LogEntry, plants: list[str]) -> OpenCheck:
    looks = [look for plant in plants if (look := look_at(season, spray, plant))]
    opens = hours_after(spray.at, season.limits.wait_hours)
    return OpenCheck(spray, tuple(plants), opens, looks[-1] if looks else None)


def burned_on(season: Season, plant: str) -> BurnVerdict | None:
    """Return the burn seen on a plant within the pause after it, of whatever spray; else None."""
    pause = timedelta(days=season.limits.burn_pause_days)
    burns = [
        check
        for spray in season.sprays(PEROXIDE, plant)
        for check in judged(season, spray)
        if check.verdict == "burned" and check.plant == plant
    ]
    # Soda burns too; by eye a burn is seen whatever was sprayed.
    burns += [
        BurnVerdict("burned", plant, 0, entry.at, {}, reason="You saw it by eye.")
        for entry in season.seen("burned", plant)
    ]
    last = max(burns, key=lambda check: check.checked_at, default=None)
    return last if last and season.today <= last.checked_at.date() + pause else None


def gate_of(season: Season) -> Gate:
    """Return whether peroxide may go on further plants now.

    A burn blocks until its pause is over. Then an open check makes everything wait. Then the last
    test that passed opens the gate, one more day after its look, and holds for its days.
    """
    sprays = season.sprays(PEROXIDE)
    tested = [(spray, test_of(season, spray)) for spray in sprays]
    burn = _last_burn(tested)
    if burn and season.today <= (until := _pause_ends(season, burn)):
        return Gate("blocked", _spray_of(season, sprays, burn), burn, until)
    return _running(season) or _passed(season, tested, burn) or Gate("untested")


def _last_burn(tested: Tested) -> BurnVerdict | None:
    burns = [check for _, check in tested if check and check.verdict == "burned"]
    return max(burns, key=lambda check: check.checked_at, default=None)


def _running(season: Season) -> Gate | None:
    """Return ``running`` while any spray still awaits its look for burn."""
    waiting = open_checks(season)
    if not waiting:
        return None
    last = waiting[-1]
    until = last.spray.at.date() + timedelta(days=season.limits.test_open_days)
    return Gate("running", last.spray, last.verdict, until)


def _passed(season: Season, tested: Tested, burn: BurnVerdict | None) -> Gate | None:
    """Return the gate that the last test without a burn opens; a later burn shuts it.

    It opens one more day after the last of the looks that were to be made.
    """
    valid = timedelta(days=season.limits.test_valid_days)
    clean = [
        (spray, check)
        for spray, check in tested
        if check is not None
        and check.verdict == "no burn seen"
        and not (burn is not None and burn.checked_at >= spray.at)
        and season.today <= spray.at.date() + valid
    ]
    if not clean:
        return None
    spray, check = clean[-1]
    opens = max((_opens(season, one) for one, _ in clean), key=lambda at: at.astimezone(UTC))
    state: GateState = "settling" if hours_between(season.now, opens) > 0 else "passed"
    return Gate(state, spray, check, spray.at.date() + valid, opens)


def _opens(season: Season, spray: LogEntry) -> datetime:
    """Return when the one more day after the look that saw no burn of a spray is over.

    Of several looks in a row the first counts, so that looking again does not put it off; of
    several plants the last to be looked at.
    """
    more = season.limits.between_hours - season.limits.wait_hours
    first: dict[str, datetime] = {}
    for check in judged(season, spray):
        if check.verdict != "no burn seen":
            first.pop(check.plant, None)
        else:
            first.setdefault(check.plant, check.checked_at)
    return hours_after(max(first.values()), more)


def _pause_ends(season: Season, burn: BurnVerdict) -> date:
    return burn.checked_at.date() + timedelta(days=season.limits.burn_pause_days)


def _spray_of(season: Season, sprays: tuple[LogEntry, ...], check: BurnVerdict) -> LogEntry | None:
    number = season.root(check.spray)
    return next((spray for spray in sprays if season.root(spray.number) == number), None)
