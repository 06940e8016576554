"""The gate before peroxide: one plant first, 24 hours, a look for burn, then perhaps the others."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from models.care.records import BurnVerdict
from models.care.season import PEROXIDE, Season, concerns, hours_between
from models.entries import LogEntry

__all__ = ["Gate", "GateState", "burned_on", "gate_of", "is_locked", "judged", "test_of"]

GateState = Literal["untested", "running", "passed", "blocked"]


@dataclass(frozen=True)
class Gate:
    """Whether peroxide may go on further plants.

    Attributes
    ----------
    state : {"untested", "running", "passed", "blocked"}
        ``untested``: one plant first. ``running``: a test awaits its check. ``passed``: no burn was
        seen, which never means safe. ``blocked``: a burn was seen.
    spray : LogEntry or None
        The spray that decides it.
    verdict : BurnVerdict or None
        The check that decides it.
    until : date or None
        The last day on which ``passed``, ``blocked`` or ``running`` holds.
    """

    state: GateState
    spray: LogEntry | None = None
    verdict: BurnVerdict | None = None
    until: date | None = None


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
    checks = judged(season, spray)
    burns = [check for check in checks if check.verdict == "burned"]
    return next(iter([*burns[-1:], *checks[-1:]]), None)


def burned_on(season: Season, plant: str) -> BurnVerdict | None:
    """Return the burn seen on a plant within the pause after it; else None."""
    pause = timedelta(days=season.limits.burn_pause_days)
    burns = [
        check
        for spray in season.sprays(PEROXIDE, plant)
        for check in judged(season, spray)
        if check.verdict == "burned"
        and check.plant == plant
        and season.today <= check.checked_at.date() + pause
    ]
    return burns[-1] if burns else None


def gate_of(season: Season) -> Gate:
    """Return whether peroxide may go on further plants now.

    The last burn blocks, until its pause is over or a later test passed. Then the last test that
    passed holds for its days. Else a spray whose check is still open makes the gate wait.
    """
    sprays = season.sprays(PEROXIDE)
    tested = [(spray, test_of(season, spray)) for spray in sprays]
    burn = _last_burn(tested)
    passed = _last_passed(season, tested, burn)
    if burn and not passed and season.today <= (until := _pause_ends(season, burn)):
        return Gate("blocked", _spray_of(season, sprays, burn), burn, until)
    if passed:
        return passed
    return _running(season, tested, burn)


def _last_burn(tested: list[tuple[LogEntry, BurnVerdict | None]]) -> BurnVerdict | None:
    burns = [check for _, check in tested if check and check.verdict == "burned"]
    return max(burns, key=lambda check: check.checked_at, default=None)


def _last_passed(
    season: Season, tested: list[tuple[LogEntry, BurnVerdict | None]], burn: BurnVerdict | None
) -> Gate | None:
    """Return the gate that the last test without a burn opens; a later burn shuts it."""
    valid = timedelta(days=season.limits.test_valid_days)
    for spray, check in reversed(tested):
        later_burn = burn is not None and burn.checked_at >= spray.at
        if check and check.verdict == "no burn seen" and not later_burn:
            until = spray.at.date() + valid
            return Gate("passed", spray, check, until) if season.today <= until else None
    return None


def _running(
    season: Season, tested: list[tuple[LogEntry, BurnVerdict | None]], burn: BurnVerdict | None
) -> Gate:
    """Return ``running`` while the last spray's check is open, else ``untested``."""
    open_for = timedelta(days=season.limits.test_open_days)
    for spray, check in reversed(tested):
        undecided = check is None or check.verdict == "cannot tell"
        later_burn = burn is not None and burn.checked_at >= spray.at
        until = spray.at.date() + open_for
        if undecided and not later_burn and season.today <= until:
            return Gate("running", spray, check, until)
    return Gate("untested")


def _pause_ends(season: Season, burn: BurnVerdict) -> date:
    return burn.checked_at.date() + timedelta(days=season.limits.burn_pause_days)


def _spray_of(season: Season, sprays: tuple[LogEntry, ...], check: BurnVerdict) -> LogEntry | None:
    number = season.root(check.spray)
    return next((spray for spray in sprays if season.root(spray.number) == number), None)
